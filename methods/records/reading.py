"""From somebody's file to records: open it, find its shape, parse its voltages, bring the other columns along."""

from __future__ import annotations

import dataclasses
import hashlib
import os
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from methods.archive.container import SUFFIX, as_file, is_archive, is_shared
from methods.cage.limits import MAX_BYTES
from methods.cage.source import bytes_of
from methods.columns import COLUMNS
from methods.errors import InputError, UnusableFile
from methods.records.account import Account
from methods.records.areas import Area
from methods.records.assemble import assemble
from methods.records.balance import hold, numbers_in
from methods.records.body import body_of
from methods.records.by_hand import overrule, rows_said
from methods.records.by_word import account_or_said, in_words, words_of
from methods.records.ceilings import mark_ceilings
from methods.records.cells import BLANK, VALUE, WITHSTOOD
from methods.records.checks import look_over
from methods.records.coded import Body
from methods.records.context import take_context
from methods.records.export import is_written_out
from methods.records.flat import Flat, flatten, log_refused, multiply_by_gap, places_of, refuse_sentinels
from methods.records.kept import Log, Records, Source
from methods.records.layout import Layout
from methods.records.naming import gap_of, gaps_below, settle_names, units_of
from methods.records.one_name import log_sheets, over_sheets
from methods.records.only import only
from methods.records.options import Options, options_of
from methods.records.other_units import apply_unit_column
from methods.records.outcomes import apply_outcomes
from methods.records.prescribed import apply_protocols
from methods.records.recipe import Recipe
from methods.records.rows import blocks_of, fill_down, refuse_rows
from methods.records.said import areas_said, check_fit, settle, sheets_read, that_fits
from methods.records.saturation import add_saturation
from methods.records.several_sheets import leave_repeated, tell_fillings_apart, tell_sheets_apart
from methods.records.shapes import layout_of
from methods.records.sheets import open_frame, open_parquet, open_workbook, pick
from methods.records.summaries import compare_summaries, drop_computed
from methods.records.summary_rows import refuse_summaries
from methods.records.table import filling_codes
from methods.records.tables import tables_of
from methods.records.taken_apart import take_apart
from methods.records.text import Sheet, cut_text, decode, from_ascii
from methods.records.voltages import ask_for_unit, decimal_mark, magnitude_units, parse_column

#: The sizes from which text is read by columns instead of cell by cell.
LARGE = 3_000_000


def read(
    source: Any,
    *,
    columns: Mapping[str, str] | None = None,
    sheet: str | Sequence[str] | None = None,
    decimal: str | None = None,
    unit: str | None = None,
    ceiling_kv: float | bool | None = None,
    day_first: bool | None = None,
    layout: str | None = None,
    name: str | None = None,
    thousands: str | None = None,
    censored: str | Iterable[str] = (),
    areas: Iterable[Area | Mapping[str, Any]] = (),
    recipe: Recipe | str | os.PathLike[str] | Sequence[Recipe | str | os.PathLike[str]] | None = None,
    context: Mapping[str, str] | str | Sequence[str] | None = None,
    say: str | Sequence[str] | None = None,
    where: Mapping[str, Any] | None = None,
    since: str | None = None,
    until: str | None = None,
) -> Records:
    """Read breakdown voltages from a file, whatever its shape, and say what was kept, refused and guessed.

    Parameters
    ----------
    source : path, bytes, binary or text file object, or DataFrame
        CSV, TSV, semicolon or pipe text in UTF-8, UTF-16 or cp1252; XLSX; Parquet; an archive
        (:mod:`methods.archive`) or a folder of shared ones, whose rows were read when they were added. Bytes want
        ``name``.
    columns : mapping, optional
        Contract name -> heading in the file, such as ``{"kv": "Yield", "filling": "Batch"}``. With ``kv``
        given, any finite number above zero counts.
    sheet : str or sequence of str, optional
        The worksheets, by name or number; by default all that hold readings.
    decimal : "." or ",", optional
        The decimal mark.
    unit : "kV", "V", "kVp", "Vp", "kV/mm" or "kV/cm", optional
        The unit of bare numbers.
    ceiling_kv : float or False, optional
        Values at this ceiling (kV) are withstood; False: repeated equal maxima are breakdowns.
    day_first : bool, optional
        How 03/04/2025 is meant.
    layout : "long", "wide", "two-block" or "transposed", optional
    name : str, optional
        What to call the source.
    thousands : str, optional
        The thousands mark, which settles the decimal mark too.
    censored : str or iterable of str, optional
        More words that mean "withstood", in a voltage cell or in the outcome column.
    areas : iterable of Area or mapping, optional
        What is said by hand about ranges of cells, sheets or the file: what they are, and the electrode, gap,
        stirring, method, sample ... of the readings in them; see :class:`methods.records.Area`.
    recipe : Recipe, path or text, or several, optional
        How this shape of file is read (:class:`methods.records.Recipe`); the other options overrule it. Of several the
        first that fits is taken.
    context : mapping, str or sequence of str, optional
        What stands nowhere in the file: ``{"electrode": "disk"}`` or ``"electrode=disk"`` for all of it,
        ``"gap_mm=2.5@Tests!B5:F9"`` for some cells, ``"electrode=disk@Tests"`` for a sheet.
    say : str or sequence of str, optional
        What cells are, in words of :data:`methods.records.by_word.DEEDS`: ``"headings@4"``, ``"readings@C:H"``,
        ``"summary@J"``, ``"means=sample@A"``, ``"fillings=6"``.
    where : mapping, optional
        Column -> the level, or levels, that are wanted, as they are written; all other rows are left.
    since, until : str, optional
        First and last day of the tests that are wanted, YYYY-MM-DD; rows without a day are left.

    Returns
    -------
    Records

    Raises
    ------
    UnusableFile
        Not a table, no voltages, too large, summaries only.
    InputError
        An option that names something that is not there.
    """
    if _is_archive(source):
        if context or say:
            raise InputError("The rows of an archive were read when they were added: nothing can be said of them now.")
        return _from_archive(source, name, where=where, since=since, until=until)
    if where or since or until:
        others: dict[str, Any] = {
            "columns": columns, "sheet": sheet, "decimal": decimal, "unit": unit, "ceiling_kv": ceiling_kv,
            "day_first": day_first, "layout": layout, "name": name, "thousands": thousands, "censored": censored,
            "areas": areas, "recipe": recipe, "context": context, "say": say,
        }  # fmt: skip
        return only(read(source, **others), where, since, until)
    if isinstance(recipe, (list, tuple)) and len(recipe) > 1:
        if hasattr(source, "read"):
            source, name = bytes_of(source, name, MAX_BYTES)
        recipe = that_fits([Recipe.of(r) for r in recipe], open_sheets(source, name))
    said = Recipe.of(recipe[0] if isinstance(recipe, (list, tuple)) and recipe else recipe or None)
    if context or say:
        if hasattr(source, "read"):
            source, name = bytes_of(source, name, MAX_BYTES)
        others = {
            "columns": columns, "sheet": sheet, "decimal": decimal, "unit": unit, "ceiling_kv": ceiling_kv,
            "day_first": day_first, "layout": layout, "name": name, "thousands": thousands, "censored": censored,
            "areas": areas,
        }  # fmt: skip
        return read(source, recipe=_in_words(said, source, context, say, others), **others)
    given = said.overruled(decimal=decimal, unit=unit, ceiling_kv=ceiling_kv, day_first=day_first, layout=layout,
                           thousands=thousands, censored=censored or None)  # fmt: skip
    options = options_of(columns, sheet, areas=areas, **given)
    log = Log()
    every, opened, origin = _open(source, name, options, log, said)
    whole = list(opened)
    options = dataclasses.replace(options, areas=(*areas_said(said, whole), *options.areas))
    account = Account(every, numbers=numbers_in(every))
    account.unread = {s.name: "the sheet was not asked for" for s in every if all(s is not o for o in opened)}
    opened = tables_of(opened, origin["name"], options, account, log, said)
    tell = len({s.name for s in opened}) > 1
    parts = [_read_sheet(s, options, log, tell, account) for s in opened]
    table = pd.concat([p[0] for p in parts], ignore_index=True) if len(parts) > 1 else parts[0][0]
    places = pd.concat([p[1] for p in parts], ignore_index=True) if len(parts) > 1 else parts[0][1]
    if not any(s.said for s in opened):
        table, places = in_file_order(table, places, parts)
    plan = parts[0][2]
    read_cells = sum(p[3] for p in parts)
    if tell and options.sheet is None and not said.sheets:
        counts: dict[str, int] = {}
        for s, p in zip(opened, parts, strict=True):
            counts[s.name] = counts.get(s.name, 0) + p[3]
        table, places, left = leave_repeated(table, places, counts, account, log)
        read_cells -= left
    if not len(table):
        first = log.first_refusal()
        if first is None:
            raise UnusableFile("No cell under the heading of the voltages holds anything.", rule="at least one voltage")
        raise UnusableFile(
            f"None of the {read_cells} voltages could be used; row {first[0]}, column {first[1]!r}: {first[2]!r}: "
            f"{first[4]} ({first[3]}).",
            row=first[0], column=first[1], text=first[2], rule=first[3],
        )  # fmt: skip
    if tell:
        tell_sheets_apart(table, places, log)
        tell_fillings_apart(table, places, log)
        table, taken = over_sheets(table, places["source_sheet"].astype(str).to_numpy())
        log_sheets(taken, log)
    codes = parts[0][4] if len(parts) == 1 else {}
    written_out = is_written_out([h.text for h in plan.headings])
    if not written_out and fillings_by_order(table, log):
        codes.pop("filling", None)
    touched = settle(said, whole, table, places) if said.sheets else set()
    for column in touched.union(*(a.context for a in options.areas)):
        codes.pop(column, None)  # what was coded before is not what stands there now
    apply_protocols(table, places["source_row"].to_numpy(), codes, log)
    look_over(table, places["source_row"].to_numpy(), plan, codes, log)
    table = add_saturation(table)
    found = Records(table, log.problems(), log.guesses(), read_cells, _source(origin, opened, plan), places, account)
    hold(found)
    return found


def _in_words(said: Recipe, source: Any, context: Any, say: Any, others: dict[str, Any]) -> Recipe:
    """The recipe with what is said in words besides."""
    called = others["name"] or (Path(source).name if isinstance(source, (str, os.PathLike)) else "")
    return in_words(
        said, words_of(context), words_of(say), called, lambda: open_sheets(source, others["name"]),
        lambda recipe: account_or_said(
            open_sheets(source, others["name"]), recipe, lambda r: read(source, recipe=r, **others)
        ),
    )  # fmt: skip


def _is_archive(source: Any) -> bool:
    if isinstance(source, (bytes, bytearray)):
        return is_archive(bytes(source[:16]))
    if isinstance(source, (str, os.PathLike)):
        return Path(source).suffix.casefold() == SUFFIX or is_shared(source)
    return False


def _from_archive(source: Any, name: str | None, **chosen: Any) -> Records:
    """The rows of an archive; options that say how a sheet is read are the business of what was added."""
    from methods.archive.reading import read_archive

    if isinstance(source, (bytes, bytearray)):
        with as_file(bytes(source)) as path:
            return read_archive(path, name or "archive", **chosen)
    if is_shared(source):
        from methods.archive.shared import read_shared

        return read_shared(source, name, **chosen)
    return read_archive(source, name, **chosen)


def open_sheets(source: Any, name: str | None = None) -> list[Sheet]:
    """The sheets of a file as cells of text, as they stand: nothing is read yet, so nothing can be refused.

    Of a long text only the head is cut into cells.

    Raises
    ------
    UnusableFile
        No table at all: empty, binary, damaged, too large.
    """
    if isinstance(source, pd.DataFrame):
        return [open_frame(source)]
    if _is_archive(source):
        raise UnusableFile("An archive has no sheets: its rows were read when they were added.")
    sheets = _sheets(*bytes_of(source, name, MAX_BYTES))[0]
    for sheet in sheets:
        sheet.lay_out()
    return sheets


def _open(
    source: Any, name: str | None, options: Options, log: Log, said: Recipe
) -> tuple[list[Sheet], list[Sheet], dict[str, Any]]:
    """Bytes to all sheets, and to those that are to be read."""
    if isinstance(source, pd.DataFrame):
        digest = hashlib.sha256(pd.util.hash_pandas_object(source, index=False).to_numpy().tobytes()).hexdigest()
        sheets = [open_frame(source)]
        check_fit(said, sheets)
        return sheets, list(sheets), {"name": name or "table", "sha256": digest, "encoding": None}
    raw, called = bytes_of(source, name, MAX_BYTES)
    if len(raw) < LARGE:
        digest = hashlib.sha256(raw).hexdigest()
        sheets, encoding = _sheets(raw, called)
    else:
        with ThreadPoolExecutor(1) as pool:  # hashing lets the interpreter go on
            hashed = pool.submit(hashlib.sha256, raw)
            sheets, encoding = _sheets(raw, called)
        digest = hashed.result().hexdigest()
    if options.areas or options.layout or said != Recipe.of(None):  # what is said of cells is looked for among all
        for sheet in sheets:
            sheet.lay_out()
    check_fit(said, sheets)
    if not sheets[0].name and options.sheet is not None:
        raise InputError(f"{called} has no sheets, so sheet {options.sheet!r} cannot be chosen.", column="sheet")
    picked = _picked(sheets, options, said, log) if sheets[0].name else list(sheets)
    return sheets, picked, {"name": called, "sha256": digest, "encoding": encoding}


def _picked(sheets: list[Sheet], options: Options, said: Recipe, log: Log) -> list[Sheet]:
    """Of a workbook's sheets those to read: what the recipe names, and what is found among the others."""
    use, rest = sheets_read(said, sheets) if said.sheets and options.sheet is None else ([], sheets)
    try:
        found = pick(rest, options.sheet) if rest else []
    except InputError:
        if not use:
            raise
        found = []
    if not use and not found:
        raise InputError("The recipe leaves no sheet to read.", column="recipe", rule="a sheet that is used")
    return [s for s in sheets if any(s is t for t in (*use, *found))]


def _sheets(raw: bytes, called: str) -> tuple[list[Sheet], str | None]:
    """The sheets in these bytes, and the encoding of a text."""
    suffix = Path(called).suffix.casefold()
    if raw[:4] == b"PAR1":
        return [open_parquet(raw)], None
    if raw[:2] == b"PK" or raw[:4] == b"\xd0\xcf\x11\xe0" or suffix in (".xlsx", ".xlsm", ".ods"):
        return open_workbook(raw), None
    if len(raw) > LARGE and raw.isascii() and b"\0" not in raw:
        return [from_ascii(raw)], "utf-8"
    text, encoding = decode(raw)
    return [cut_text(text, large=LARGE)], encoding


def _source(origin: dict[str, Any], opened: list[Sheet], plan: Layout) -> Source:
    names = ", ".join(s.name for s in opened if s.name)
    return Source(
        origin["name"], origin["sha256"], names or None, origin["encoding"], opened[0].delimiter or None, plan.kind
    )


def _read_sheet(
    sheet: Sheet, options: Options, log: Log, tell: bool, account: Account
) -> tuple[pd.DataFrame, pd.DataFrame, Layout, int, dict[str, np.ndarray]]:
    """One sheet to its part of the table, with the place of each row in the file."""
    plan = layout_of(sheet, options.columns, options.layout)
    if sheet.long and plan.kind == "transposed":  # turned as a whole
        sheet = dataclasses.replace(cut_text(sheet.whole(), large=MAX_BYTES), context=sheet.context)
        plan = layout_of(sheet, options.columns, options.layout)
    body = body_of(sheet, plan)
    for entry in plan.guesses:
        log.guess(*entry)
    take_context(plan, sheet, log)
    settle_names(plan, body, log)
    drop_computed(plan, body, log, sheet.cols)
    units = units_of(plan, options, log)
    take_apart(plan, body, sheet, log)
    written_out = is_written_out([h.text for h in plan.headings])
    if not written_out:
        fill_down(plan, body, log)
    mark = decimal_mark([body.columns[i] for i in plan.values], units[0], options.decimal, log)
    units = magnitude_units(plan, body, units, mark, log)
    parsed = [parse_column(body.columns[i], u, mark, options.words) for i, u in zip(plan.values, units, strict=True)]
    if options.unit is None and options.decimal is None:
        ask_for_unit(plan, parsed)
    flat = flatten(parsed)
    place = places_of(plan, body, flat, f"{sheet.name}!" if tell else "")
    refuse_rows(plan, body, flat)
    apply_unit_column(plan, body, flat)
    refuse_summaries(plan, body, flat, place, log, rows_said(options.areas, sheet, "values"), units)
    if not plan.named:
        refuse_sentinels(flat, plan.voltage)
    gaps = gap_of(plan, body, place.body_rows, log)
    gaps = gaps_below(plan, body, gaps)
    multiply_by_gap(flat, gaps, plan, place, log)
    apply_outcomes(plan, body, flat, place, options.words, log)
    ceiling = False if written_out and options.ceiling_kv is None else options.ceiling_kv
    mark_ceilings(plan, body, flat, place, ceiling, log)
    compare_summaries(plan, body, flat, place, mark, log, units, gaps)
    log_refused(flat, place, log)
    blocks = blocks_of(plan, body, flat, options.layout, log)
    gaps = np.where(np.isnan(gaps), gaps[blocks], gaps)
    keep = (flat.kind == VALUE) | (flat.kind == WITHSTOOD)
    table, codes = assemble(plan, body, flat, keep, place, gaps, blocks, options.day_first, log)
    across = _across(sheet, plan, body, flat)[keep]
    overrule(table, sheet.name, place.numbers[keep], across, options.areas, options.day_first, log)
    account.add(sheet, plan, body, flat)
    origin = pd.DataFrame(
        {
            "source_row": place.rows[keep],
            "source_column": place.columns.take(np.flatnonzero(keep)),
            "source_sheet": pd.Categorical.from_codes(
                np.zeros(int(keep.sum()), np.int8), categories=pd.Index([sheet.name])
            ),
            "source_place": across,
        }
    )
    return table, origin, plan, int((flat.kind != BLANK).sum()), codes


def in_file_order(table: pd.DataFrame, places: pd.DataFrame, parts: list[Any]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Tables that stand side by side are brought into the order of the file, row by row.

    Parameters
    ----------
    table : DataFrame
        Rows that were read (n).
    places : DataFrame
        (n rows) Where each stands in the file.
    parts : list of object
        The tables that they come from.
    """
    if not len(table) or len(parts) == 1 or any(p[2].column_rows is not None for p in parts):
        return table, places
    rows = places["source_row"].astype(str).str.rpartition("!")[2].astype(int)
    sheets = pd.factorize(places["source_sheet"])[0]
    order = np.lexsort((places["source_place"].to_numpy(), rows.to_numpy(), sheets))
    return table.iloc[order].reset_index(drop=True), places.iloc[order].reset_index(drop=True)


def fillings_by_order(table: pd.DataFrame, log: Log) -> bool:
    """Number the fillings where the order of the breakdowns begins anew within a sample and condition, in place."""
    order = table["order"].to_numpy(dtype=float)
    if not len(table) or len(table) > 200_000 or table["filling"].notna().any() or not np.isfinite(order).all():
        return False
    codes = pd.Series(filling_codes(table))
    again = pd.Series(order == 1.0).groupby(codes).cumsum()
    if not (again.groupby(codes).min() == 1).all() or int(again.max()) < 2:
        return False
    series = pd.Series(order).groupby([codes, again])
    if not bool((series.transform("min") == 1).all()) or bool(series.diff().dropna().le(0).any()):
        return False
    runs = pd.Series(pd.factorize(codes * (len(table) + 1) + again)[0])
    for own in table.columns.difference(list(COLUMNS)):  # a column of the file's own that changes with the count
        seen = pd.Series(pd.factorize(table[own], use_na_sentinel=False)[0])
        if seen.groupby(runs).nunique().max() == 1 and (codes * (len(table) + 1) + seen).nunique() == runs.nunique():
            return False  # says what differs, and it need not be the filling
    table["filling"] = again.astype(int).astype(str).astype("str")
    log.guess(
        "filling", "a filling ends where the breakdowns are counted from 1 again",
        f"{int(again.max())} times for one sample", "--column filling=HEADING, or --say fillings=one",
    )  # fmt: skip
    return True


def _across(sheet: Sheet, plan: Layout, body: Body, flat: Flat) -> np.ndarray:
    """The number of the file's column in which each voltage cell stands."""
    if plan.column_rows is not None:
        return body.rows[flat.row]
    places = np.asarray(plan.values) + 1 if sheet.cols is None else np.asarray(sheet.cols)[plan.values]
    return places.astype(np.int32)[flat.column]
