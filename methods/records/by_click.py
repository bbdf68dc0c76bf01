"""One thing that is said about a sheet, added to its recipe: each gives a new recipe and changes none.

What is not said stays as the reader took it: the first word about a column brings the heading row and the value
columns that the reader found, so that only what was pointed at becomes another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import InputError
from methods.records.headings import fold
from methods.records.layout import is_number
from methods.records.places import Place
from methods.records.recipe import Part, Recipe, SheetRecipe, last_row, option_said, row_of, said_text


@dataclass(frozen=True)
class Taken:
    """How the reader took a sheet: the row of its headings and the columns (from 0) of its readings; None: unknown."""

    heading_row: int | None = None
    values: tuple[int, ...] = ()

    @classmethod
    def of(cls, cells: pd.DataFrame, sheet: str, within: Place) -> Taken:
        """What ``records.cells`` says of the cells of this sheet within a place.

        Parameters
        ----------
        cells : DataFrame
            ``records.cells``: what every cell was taken for.
        sheet : str
            Name of the sheet.
        within : Place
            The place that is looked at.
        """
        if not len(cells):
            return cls()
        rows, columns = cells["row"].to_numpy(dtype=int), cells["column"].to_numpy(dtype=int) - 1
        top, bottom, left, right = _ends(within)
        here = (cells["sheet"] == sheet).to_numpy(dtype=bool) & (rows >= top) & (rows <= bottom)
        here = here & (columns >= left) & (columns <= right)
        role = cells["role"].to_numpy(dtype=object)
        heads = rows[here & (role == "heading")]
        readings = np.unique(columns[here & np.isin(role, ("breakdown", "withstood", "refused"))])
        return cls(int(heads.min()) if len(heads) else None, tuple(readings.tolist()))


@dataclass(frozen=True)
class Hand:
    """A recipe, the sheet (its ``name``, ``cells`` and ``rows``) that is spoken of, and how the reader took it."""

    recipe: Recipe
    sheet: Any
    cells: pd.DataFrame

    # ------------------------------------------------------------- what can be said

    def heading_row(self, place: Place) -> Recipe:
        """The first row of the place holds the headings."""
        if place.top is None:
            raise InputError("Select a row, or a cell of it, to say that it holds the headings.")
        part = self._part(place)
        return self._with(place, replace(part, heading_row=place.top, headings=self._headings(part, place.top)))

    def no_heading(self, place: Place) -> Recipe:
        """The table has no row of headings."""
        return self._with(place, replace(self._part(place), heading_row=0, headings=()))

    def readings(self, place: Place, wanted: bool = True) -> Recipe:
        """The columns of the place hold readings, or hold none; rows of them do, whatever they were taken for."""
        part = self._settled(place)
        columns = self._columns(place) if place.by_columns or not place.by_rows else []
        if wanted and place.by_rows and set(columns) <= set(part.values):
            return self._rows_of_readings(Place(place.top, None, place.bottom, None))
        columns = self._columns(place)
        kept = [c for c in part.values if c not in columns]
        values = tuple(sorted([*kept, *columns])) if wanted else tuple(kept)
        means = {c: n for c, n in part.means.items() if c not in columns}
        if not wanted:
            means |= dict.fromkeys(columns, "own")
        return self._with(place, replace(part, values=values, means=means))

    def _rows_of_readings(self, rows: Place) -> Recipe:
        part = self._part(Place())
        label = self._label(rows)
        out = {k: tuple(a for a in getattr(part, k) if a not in (str(rows), label)) for k in ("summary", "leave_out")}
        said = (*(a for a in part.readings if a != str(rows)), str(rows))
        return self._whole(replace(part, readings=said, **out))  # type: ignore[arg-type]

    def means(self, place: Place, name: str) -> Recipe:
        """The headings of the columns mean this column of the table; ``own`` and ``unused`` are no column of it."""
        columns = self._columns(place)
        part = self._settled(place)
        values = tuple(c for c in part.values if c not in columns)
        means = {c: n for c, n in part.means.items() if c not in columns} | dict.fromkeys(columns, name)
        return self._with(place, replace(part, values=values, means=means))

    def heads(self, place: Place, name: str) -> Recipe:
        """The headings of the value columns are levels of this column; empty: they only count."""
        return self._with(place, replace(self._settled(place), heads=name))

    def out(self, place: Place, kind: str) -> Recipe:
        """The cells sum up (``summary``) or are left out (``leave_out``).

        A row with a label of its own is stored by it, so that the next sheet may have the row elsewhere.
        """
        said = self._label(place) or str(place)
        part = self._part(Place())
        other = "leave_out" if kind == "summary" else "summary"
        changed = {kind: (*(a for a in getattr(part, kind) if a != said), said),
                   other: tuple(a for a in getattr(part, other) if a != said)}  # fmt: skip
        return self._whole(replace(part, **changed))  # type: ignore[arg-type]

    def table(self, place: Place) -> Recipe:
        """The place is a table of its own; its first row with several cells holds the headings, if one is a word."""
        if not (place.by_rows and place.by_columns):
            raise InputError("Select the cells from one corner of the table to the other.")
        said = self.recipe.sheet(self.sheet.name)
        blocks = tuple(b for b in said.blocks if b.cells != place)
        old = next((b for b in said.blocks if b.cells == place), Part(place))
        new = replace(old, table=True)
        if old.heading_row is None:
            row = self._first_row(place)
            new = replace(new, heading_row=row, headings=self._headings(new, row) if row else ())
        return self._put(replace(said, blocks=(*blocks, new)))

    def _first_row(self, place: Place) -> int:
        for number, row in zip(self.sheet.rows, self.sheet.cells, strict=True):
            held = [c for at, c in enumerate(row) if c.strip() and place.has(number, at)]
            if len(held) > 1:
                return 0 if all(map(is_number, held)) else int(number)
        return 0

    def context(self, place: Place, name: str, text: str) -> Recipe:
        """For the readings of the place this column is ``text``; an empty one takes back what was said.

        Parameters
        ----------
        place : Place
            The place; all of the sheet if it names nothing.
        name : str
            Column of the record table.
        text : str
            What it is; empty: nothing is said.
        """
        text = said_text(name, text) if text.strip() else ""
        if place == Place():
            part = self._part(place)
            return self._whole(replace(part, context=_said(part.context, name, text)))
        said = self.recipe.sheet(self.sheet.name)
        old = next((b for b in said.blocks if b.cells == place), Part(place))
        new = replace(old, context=_said(old.context, name, text))
        kept = tuple(b for b in said.blocks if b.cells != place)
        return self._put(replace(said, blocks=(*kept, new) if new != Part(place) else kept))

    def of_the_file(self, name: str, text: str) -> Recipe:
        """For every reading of the file this column is ``text``."""
        text = said_text(name, text) if text.strip() else ""
        return replace(self.recipe, context=_said(self.recipe.context, name, text))

    def option(self, name: str, text: str) -> Recipe:
        """A choice for the whole file (unit, decimal, ceiling_kv, day_first, layout); empty takes it back."""
        kept = {k: v for k, v in self.recipe.options.items() if k != name}
        return replace(self.recipe, options={**kept, name: option_said(name, text)} if text.strip() else kept)

    def filling(self, place: Place, rule: str) -> Recipe:
        """How the readings of the place make fillings: ``row``, ``column``, ``one``, a number, or empty: as read."""
        said = self.recipe.sheet(self.sheet.name)
        block = self._block(place)
        if block is not None:
            return self._put(_swap(said, block, replace(block, filling=rule)))
        return self._whole(replace(said.whole, filling=rule))

    def use(self, wanted: bool) -> Recipe:
        """The sheet is read, or it is not."""
        return self._put(replace(self.recipe.sheet(self.sheet.name), use=wanted))

    def forget(self, place: Place) -> Recipe:
        """Nothing that was said of the place holds any more."""
        said = self.recipe.sheet(self.sheet.name)
        blocks = tuple(b for b in said.blocks if not _meets(place, b.cells or Place()))
        part = said.whole
        columns = set(self._columns(place)) if place.by_columns and not place.by_rows else set()
        label = self._label(place)
        changed = {
            k: tuple(a for a in getattr(part, k) if a not in (str(place), label) and not _inside(a, place))
            for k in ("readings", "summary", "leave_out")
        }
        whole = replace(part, means={c: n for c, n in part.means.items() if c not in columns}, **changed)  # type: ignore[arg-type]
        if place.top is not None and not place.by_columns and whole.heading_row == place.top:
            whole = replace(whole, heading_row=None, headings=())
        if place == Place():
            whole = Part()
        return self._put(replace(said, blocks=blocks, whole=whole))

    # ------------------------------------------------------------- how it is put together

    def _columns(self, place: Place) -> list[int]:
        if place.left is None:
            raise InputError("Select a column, or cells of it, to say what it holds.")
        return list(range(place.left, (place.left if place.right is None else place.right) + 1))

    def _block(self, place: Place) -> Part | None:
        """The table of its own in which the place lies."""
        blocks = [b for b in self.recipe.sheet(self.sheet.name).blocks if b.table and b.cells]
        return next((b for b in blocks if place != Place() and _holds(b.cells or Place(), place)), None)

    def _part(self, place: Place) -> Part:
        return self._block(place) or self.recipe.sheet(self.sheet.name).whole

    def _settled(self, place: Place) -> Part:
        """The part with its heading row and value columns, as the reader took them where nothing was said."""
        part = self._part(place)
        taken = Taken.of(self.cells, self.sheet.name, part.cells or Place())
        if part.heading_row is None and taken.heading_row:
            row = taken.heading_row
            part = replace(part, heading_row=row, headings=self._headings(part, row))
        if not part.values and taken.values:
            part = replace(part, values=taken.values)
        return part

    def _headings(self, part: Part, row: int) -> tuple[str, ...]:
        texts = [c.strip() for c in row_of(self.sheet, row)]
        if part.cells is not None and part.cells.left is not None:
            right = part.cells.left if part.cells.right is None else part.cells.right
            texts = texts[part.cells.left : right + 1]
        while texts and not texts[-1]:
            texts.pop()
        return tuple(texts)

    def _label(self, place: Place) -> str:
        """The label of a row that no other row has: its first cell that is no number, where one whole row is meant."""
        if place.by_columns or place.top is None or place.bottom not in (None, place.top):
            return ""
        texts = [c.strip() for c in row_of(self.sheet, place.top) if c.strip()]
        label = texts[0] if texts and not is_number(texts[0]) else ""
        if sum(any(fold(c) == fold(label) for c in row if c.strip()) for row in self.sheet.cells) != 1:
            return ""
        try:
            Place.parse(label)
        except InputError:
            return label if fold(label) else ""
        return f"={label}"

    def _with(self, place: Place, part: Part) -> Recipe:
        block = self._block(place)
        said = self.recipe.sheet(self.sheet.name)
        return self._put(_swap(said, block, part)) if block is not None else self._whole(part)

    def _whole(self, part: Part) -> Recipe:
        return self._put(replace(self.recipe.sheet(self.sheet.name), whole=part))

    def _put(self, said: SheetRecipe) -> Recipe:
        """The recipe with this sheet; bound to the number of rows where it names rows below the heading."""
        head = said.whole.heading_row or 0
        bound = any(_rows_below(a, head) for a in (*said.whole.readings, *said.whole.summary, *said.whole.leave_out))
        bound |= any(b.cells is not None and (b.cells.bottom or 0) > head for b in said.blocks)
        return self.recipe.with_sheet(replace(said, rows=last_row(self.sheet) if bound else None))


def _said(context: Mapping[str, str], name: str, text: str) -> dict[str, str]:
    return {k: v for k, v in context.items() if k != name} | ({name: text} if text else {})


def _swap(said: SheetRecipe, old: Part, new: Part) -> SheetRecipe:
    return replace(said, blocks=tuple(new if b is old else b for b in said.blocks))


def _ends(place: Place) -> tuple[float, float, float, float]:
    far = float("inf")
    right = place.left if place.right is None else place.right
    return (
        place.top or 0, (place.bottom or place.top) or far, -1 if place.left is None else place.left,
        far if right is None else right,
    )  # fmt: skip


def _holds(outer: Place, inner: Place) -> bool:
    """Whether a place lies within another, where it says so itself: a column without rows only by its columns."""
    a, b = _ends(outer), _ends(inner)
    rows = not inner.by_rows or (a[0] <= b[0] and b[1] <= a[1])
    return rows and (not inner.by_columns or (a[2] <= b[2] and b[3] <= a[3]))


def _meets(one: Place, other: Place) -> bool:
    a, b = _ends(one), _ends(other)
    return a[0] <= b[1] and b[0] <= a[1] and a[2] <= b[3] and b[2] <= a[3]


def _inside(area: str, place: Place) -> bool:
    try:
        return _holds(place, Place.parse(area)) and Place.parse(area).by_rows == place.by_rows
    except InputError:
        return False


def _rows_below(area: str, head: int) -> bool:
    try:
        place = Place.parse(area)
    except InputError:
        return False
    return (place.bottom or place.top or 0) > head


def cells_said(recipe: Recipe, sheet: Any) -> pd.DataFrame:
    """What is said of the cells of a sheet, in the form of ``records.cells``: for a file that cannot be read yet."""
    said = recipe.sheet(sheet.name)
    found: dict[tuple[int, int], str] = {}
    for part in (said.whole, *said.blocks):
        within = part.cells or Place()
        head = part.heading_row or 0
        for number, row in zip(sheet.rows, sheet.cells, strict=True):
            for at, text in enumerate(row):
                if not text.strip() or not within.has(number, at):
                    continue
                if number == head:
                    found[number, at] = "heading"
                elif number > head and (at in part.values or at in part.means):
                    name = part.means.get(at, "breakdown")
                    found[number, at] = {"own": "extra", "unused": "not_used"}.get(name, name)
        for role, areas in (("summary", part.summary), ("left_out", part.leave_out)):
            found |= dict.fromkeys(_covered(areas, sheet, within), role)
    rows = [(sheet.name, r, c + 1, role, "said by hand") for (r, c), role in found.items()]
    return pd.DataFrame(rows, columns=["sheet", "row", "column", "role", "why"])


def _covered(areas: tuple[str, ...], sheet: Any, within: Place) -> list[tuple[int, int]]:
    from methods.records.said import rows_saying

    places = [p for a in areas for p in rows_saying(a, sheet, within)]
    return [
        (number, at)
        for number, row in zip(sheet.rows, sheet.cells, strict=True)
        for at, text in enumerate(row)
        if text.strip() and any(p.has(number, at) for p in places)
    ]
