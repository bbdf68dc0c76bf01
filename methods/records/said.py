"""A recipe at work: areas and tables before the sheets are read, fillings and headings as levels afterwards."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
import pandas as pd

from methods.cage.limits import MAX_BYTES
from methods.columns import CONDITION
from methods.errors import InputError
from methods.records.areas import Area
from methods.records.factors import labels_of
from methods.records.heading_row import find_heading
from methods.records.headings import fold
from methods.records.places import Place
from methods.records.recipe import Part, Recipe, SheetRecipe, matching, row_of
from methods.records.table import group_codes
from methods.records.text import Sheet, cut_text


def check_fit(recipe: Recipe, sheets: list[Sheet]) -> None:
    """Raise an InputError of one line where the recipe is for another shape of file."""
    why = recipe.fits(sheets)
    if why:
        named = f" {recipe.name!r}" if recipe.name else ""
        raise InputError(f"The recipe{named} does not fit this file: {why}.", column="recipe", rule="the same layout")


def that_fits(recipes: Sequence[Recipe], sheets: list[Sheet]) -> Recipe:
    """The first recipe that fits these sheets; InputError, with what differs from each, where none does."""
    why = [r.fits(sheets) for r in recipes]
    if all(why):
        told = "; ".join(f"{r.name or number}: {w}" for number, (r, w) in enumerate(zip(recipes, why, strict=True), 1))
        raise InputError(f"None of the recipes fits this file: {told}.", column="recipe", rule="the same layout")
    return recipes[why.index("")]


def sheets_read(recipe: Recipe, sheets: list[Sheet]) -> tuple[list[Sheet], list[Sheet]]:
    """The sheets that the recipe has read, and those that it says nothing of."""
    spoken = {id(found): said for said in recipe.sheets if (found := matching(recipe, said, sheets)) is not None}
    use = [s for s in sheets if id(s) in spoken and spoken[id(s)].use]
    return use, [s for s in sheets if id(s) not in spoken]


def areas_said(recipe: Recipe, sheets: list[Sheet]) -> list[Area]:
    """What the recipe says of areas: what is left out, what sums up, what holds for the file, a sheet or some cells."""
    out = [Area(context=recipe.context)] if recipe.context else []
    for said in recipe.sheets:
        sheet = matching(recipe, said, sheets)
        if sheet is None:
            continue
        for part in (said.whole, *said.blocks):
            within = part.cells or Place()
            for role, texts in (
                ("values", part.readings), ("summary", part.summary), ("leave_out", part.leave_out),
            ):  # fmt: skip
                for text in texts:
                    out += [_area(sheet, p, role=role) for p in rows_saying(text, sheet, within)]
            if part.context:
                out.append(_area(sheet, within, context=part.context))
    return out


def _area(sheet: Sheet, place: Place, **said: object) -> Area:
    rows = None if place.top is None else (place.top, place.bottom or place.top)
    right = place.left if place.right is None else place.right
    columns = None if place.left is None or right is None else (place.left + 1, right + 1)
    return Area(sheet.name, rows, columns, **said)  # type: ignore[arg-type]


def rows_saying(text: str, sheet: Sheet, within: Place) -> list[Place]:
    """The place that the text names, or the rows of which a cell says it.

    Parameters
    ----------
    text : str
        A place such as ``B4:F9``, or what a cell says.
    sheet : Sheet
        The sheet.
    within : Place
        The place that is looked at.
    """
    try:
        return [Place.parse(text)]
    except InputError:
        key = fold(text.removeprefix("="))
    rows = zip(sheet.rows, sheet.cells, strict=True)
    hits = [n for n, r in rows if within.has_row(n) and any(c.strip() and fold(c) == key for c in r)]
    return [Place(n, within.left, n, within.right) for n in hits]


def tables_said(recipe: Recipe, sheet: Sheet, sheets: list[Sheet]) -> list[Sheet]:
    """The tables of a sheet as they are said to be; none where the recipe leaves that to the reader.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    sheet : Sheet
        The sheet.
    sheets : list of Sheet
        All sheets of the file.
    """
    names = {getattr(matching(recipe, s, sheets), "name", None): s for s in recipe.sheets}
    said = names.get(sheet.name, SheetRecipe())
    apart = [b for b in said.blocks if b.table]
    parts = apart or ([said.whole] if said.whole.shapes else [])
    if parts and sheet.long:
        whole = cut_text(sheet.whole(), large=MAX_BYTES)
        sheet = dataclasses.replace(whole, name=sheet.name)
    return [_table(p, sheet) for p in parts]


def _table(part: Part, sheet: Sheet) -> Sheet:
    """One table: its cells cut out, its row of headings and what they mean said."""
    place = part.cells or Place()
    width = max(map(len, sheet.cells))
    keep = [i for i, n in enumerate(sheet.rows) if place.has_row(n)]
    columns = [i for i in range(width) if place.has_column(i)]
    if not keep or not columns:
        raise InputError(f"The area {place} of the recipe lies outside the sheet.", column="recipe", text=str(place))
    lines = [sheet.cells[i] for i in keep]
    cells = [[r[c] if c < len(r) else "" for c in columns] for r in lines]
    rows = [sheet.rows[i] for i in keep]
    head = _head(part, cells, rows)
    if head is None and (part.heading_row == 0 or part.values or part.means):  # empty headings above the first row
        cells.insert(0, [""] * len(columns))
        rows.insert(0, 0)
        head = 0
    means = {columns.index(c): name for c, name in part.means.items() if c in columns}
    means |= {columns.index(c): "kv" for c in part.values if c in columns}
    for at in (at for at, name in means.items() if name == "unused"):
        for row in cells:
            row[at] = ""
    return dataclasses.replace(
        sheet, cells=cells, rows=rows, cols=[c + 1 for c in columns], head=head, means=means, said=True
    )


def _head(part: Part, cells: list[list[str]], rows: list[int]) -> int | None:
    if part.heading_row == 0:
        return None
    if part.heading_row is None:
        return find_heading(cells, set())
    if part.heading_row not in rows:
        raise InputError(
            f"There is no row {part.heading_row} for the headings.", column="recipe", text=str(part.heading_row)
        )
    return rows.index(part.heading_row)


# --------------------------------------------------------------------- on the table


def settle(recipe: Recipe, sheets: list[Sheet], table: pd.DataFrame, places: pd.DataFrame) -> set[str]:
    """Set headings that are levels and fillings in place; the columns that were touched.

    ``places`` has the sheet, row and column (from 1) of each reading's cell; ``sheets`` are those of the file.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    sheets : list of Sheet
        Sheets of the file.
    table : DataFrame
        Rows that were read (n); changed in place.
    places : DataFrame
        (n rows) Where each stands in the file.
    """
    names = places["source_sheet"].astype("str").to_numpy(dtype=object)
    rows = _numbers(places["source_row"])
    columns = places["source_place"].to_numpy(dtype=np.int64) - 1
    touched: set[str] = set()
    rules: list[tuple[np.ndarray, str]] = []
    apart = any(b.context and b.cells and b.cells.by_columns for s in recipe.sheets for b in s.blocks)
    for said in recipe.sheets:
        sheet = matching(recipe, said, sheets)
        if sheet is None:
            continue
        for part in (said.whole, *said.blocks):
            inside = (names == sheet.name) & _within(part.cells or Place(), rows, columns)
            if part.heads and part.heading_row:
                texts = [c.strip() for c in row_of(sheet, part.heading_row)]
                by_column = {c: texts[c] for c in set(columns[inside].tolist()) if 0 <= c < len(texts) and texts[c]}
                where = inside & np.isin(columns, list(by_column))
                labels_of(table, part.heads, where, [by_column[c] for c in columns[where].tolist()])
                touched.add(part.heads)
                apart = True
            if part.filling:
                rules.append((inside, part.filling))
    for inside, rule in rules:
        touched.add("filling")
        _fill(table, inside, rule, rows, columns)
    if apart or rules:
        touched.add("order")
        group = pd.Series(group_codes(table, ["sample", *CONDITION, "filling"]))
        table["order"] = group.groupby(group).cumcount().to_numpy(dtype=float) + 1
    return touched


def _numbers(rows: pd.Series) -> np.ndarray:
    """Row numbers without the sheet's name before them."""
    if pd.api.types.is_integer_dtype(rows):
        return rows.to_numpy()
    return rows.astype("str").str.rsplit("!", n=1).str[-1].astype(int).to_numpy()


def _within(place: Place, rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
    out = np.ones(len(rows), dtype=bool)
    if place.top is not None:
        out &= (rows >= place.top) & (rows <= (place.bottom or place.top))
    if place.left is not None:
        out &= (columns >= place.left) & (columns <= (place.left if place.right is None else place.right))
    return out


def _fill(table: pd.DataFrame, inside: np.ndarray, rule: str, rows: np.ndarray, columns: np.ndarray) -> None:
    """Number the fillings of these readings within each sample and condition."""
    at = np.flatnonzero(inside)
    group = group_codes(table, ["sample", *CONDITION])[at]
    frame = pd.DataFrame({"group": group, "row": rows[at], "column": columns[at]})
    if rule == "one":
        number = np.ones(len(at), dtype=int)
    elif rule in ("row", "column"):
        number = frame.groupby("group")[rule].transform(lambda v: pd.factorize(v)[0] + 1).to_numpy(dtype=int)
    else:
        number = frame.groupby("group").cumcount().to_numpy(dtype=int) // int(rule) + 1
    labels_of(table, "filling", inside, [str(n) for n in number])
