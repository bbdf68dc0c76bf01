"""The record table: the kept voltages in long form, with every other column brought along."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import COLUMNS, NUMERIC, OF_THE_METHOD, without
from methods.records import factors
from methods.records.cells import WITHSTOOD
from methods.records.coded import Body, Coded, coded
from methods.records.flat import Flat, Places
from methods.records.headings import Heading
from methods.records.kept import Log
from methods.records.layout import Layout
from methods.records.table import BREAKDOWN
from methods.records.table import WITHSTOOD as WITHSTOOD_WORD

#: Rows from which several threads are worth their start.
_MANY = 50_000


def assemble(
    plan: Layout, body: Body, flat: Flat, keep: np.ndarray, place: Places, gaps: np.ndarray, blocks: np.ndarray,
    day_first: bool | None, log: Log,
) -> tuple[pd.DataFrame, dict[str, np.ndarray]]:  # fmt: skip
    """Contract columns first, then the file's own; only rows that were kept.

    Also the codes (0 for empty) of those text columns that were coded on the way, so that nobody codes them again.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    flat : Flat
        Its voltage cells.
    keep : ndarray
        (cells,) Which of them become rows.
    place : Places
        Where they stand in the file.
    gaps : ndarray
        (rows of the body,) Gaps, mm.
    blocks : ndarray
        (rows of the body,) The row on which the series of each began.
    day_first : bool or None
        Whether 03/04 is a day in April; None: told by the dates.
    log : Log
        Takes the problems and guesses.
    """
    every = bool(keep.all())
    index = flat.row if every else flat.row[keep]
    whole = every and len(plan.values) == 1  # each row of the body is a row of the table
    known = _known(plan, body, place.body_rows, day_first, log)
    known["gap_mm"] = gaps
    texts = {name: found for name, found in known.items() if isinstance(found, Coded)}
    mask = keep if len(plan.values) == 1 and not every else None  # of rows of the body
    taken = index if mask is None else mask

    def text(found: Coded) -> pd.Series:
        return factors.text_series(found, mask) if whole or mask is not None else factors.text_series(found.take(index))

    stood = (flat.kind if every else flat.kind[keep]) == WITHSTOOD
    if len(index) < _MANY:
        outcome, series = _outcome(stood), {name: text(found) for name, found in texts.items()}
    else:
        with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as threads:  # Arrow lets others work while it copies
            waiting = threads.submit(_outcome, stood)
            series = dict(zip(texts, threads.map(text, texts.values()), strict=True))
            outcome = waiting.result()
    data: dict[str, Any] = {}
    for name in COLUMNS:
        data[name] = series[name] if name in series else _column(name, known.get(name), plan, taken, whole, log)
    _beside(data, known, plan, log)
    for name in plan.levels[0] if plan.levels else ():
        data[name] = _by_column(name, plan, flat.column[keep], log)
    data["kv"] = pd.Series(flat.kv if every else flat.kv[keep])
    data["outcome"] = outcome
    if len(plan.values) > 1 and (not plan.levels or max(plan.shots) > 1):
        _series(data, plan, body, flat, keep, blocks, log)
    _notes(data, flat, keep)
    data.update(_extras(plan, body, index, whole))
    if "table" in plan.meta:  # one of several on the sheet; fillings that we number start anew in each
        title = plan.meta["table"]
        data["table"] = pd.Series([title] * len(index), dtype="str")
        named = {h.name for h in plan.headings}
        numbered = "filling" not in named and not plan.levels and len(plan.values) > 1
        if numbered or ("filling" in named and "sample" not in named):  # filling 1 of each is another filling
            data["filling"] = title + " " + data["filling"]
    codes = {
        name: (found.codes if whole else found.codes[taken]) + 1
        for name, found in known.items()
        if isinstance(found, Coded) and name != "note"
    }
    return pd.DataFrame(data, copy=False), codes


def _outcome(withstood: np.ndarray) -> pd.Series:
    if not withstood.any():
        return factors.one_text(BREAKDOWN, len(withstood))
    pool = pd.array([BREAKDOWN, WITHSTOOD_WORD], dtype="str")
    return pd.Series(pool.take(withstood.astype(np.int32)))


def _known(plan: Layout, body: Body, rows: np.ndarray, day_first: bool | None, log: Log) -> dict[str, Any]:
    """The contract's columns that the file has, a row of the body each: floats or coded text."""
    out: dict[str, Any] = {}
    for i, h in enumerate(plan.headings):
        if i in plan.values or h.name is None or h.name in ("kv", "outcome", "gap_mm") or h.name not in COLUMNS:
            continue
        out[h.name] = convert_column(h.name, body.columns[i], h, rows, day_first, log)
    return out


def convert_column(name: str, cells: Coded, head: Heading, rows: np.ndarray, day_first: bool | None, log: Log) -> Any:
    """One column in the contract's words and units.

    Parameters
    ----------
    name : str
        Column of the record table.
    cells : Coded
        Its cells.
    head : Heading
        Its heading.
    rows : ndarray
        Row of each cell in the file.
    day_first : bool or None
        Whether 03/04 is a day in April; None: told by the dates.
    log : Log
        Takes the problems and guesses.
    """
    if name in NUMERIC:
        return factors.numbers(name, cells, head, rows, log)
    if name == "electrode":
        return factors.electrodes(cells, log)
    if name == "stirring":
        return factors.stirring(cells, log)
    if name == "tested_on":
        return factors.dates(cells, head, day_first, log)
    return factors.labels(name, cells, head, rows, log)


def _column(name: str, found: Any, plan: Layout, taken: np.ndarray, whole: bool, log: Log) -> pd.Series:
    size = int(taken.sum()) if taken.dtype == bool else len(taken)
    if isinstance(found, np.ndarray):
        return pd.Series(found if whole else found[taken])
    text = plan.meta.get(name)
    if text is None:
        if name in NUMERIC:
            return factors.no_number(size)
        return factors.no_text(size)
    one = Coded(np.zeros(1, np.int64), [text])
    value = convert_column(name, one, Heading(name, name), np.zeros(1, np.int64), None, log)
    log.guess(name, text, plan.places.get(name, "a line above the heading"),
              f"--column {name}=HEADING, or --column {name}=- for none")  # fmt: skip
    if isinstance(value, np.ndarray):
        return pd.Series(np.full(size, value[0]))
    return factors.text_series(Coded(np.zeros(size, np.int64) + (0 if value.uniques else -1), value.uniques))


def _beside(data: dict[str, Any], known: dict[str, Any], plan: Layout, log: Log) -> None:
    """What is said around the table, beside a column that says it, too: for its empty cells, and against the others."""
    for name, text in plan.meta.items():
        if name not in known or name not in data or name in ("kv", "order", "filling", "note"):
            continue
        column = data[name]
        empty = column.isna()
        if name == "gap_mm" and bool(empty.all()):
            continue
        one = Coded(np.zeros(1, np.int64), [text])
        value = convert_column(name, one, Heading(name, name), np.zeros(1, np.int64), None, Log())
        said = value[0] if isinstance(value, np.ndarray) else value.uniques[0] if value.uniques else None
        if said is None or said != said:
            continue
        place = plan.places.get(name, "a line above the heading")
        if name == "method" and "file" in place:
            continue
        others = [v for v in pd.unique(column.dropna()) if v != said]
        if others and name in ("method", *without(OF_THE_METHOD, "edition")):
            log.problem(None, name, f"{said} ({place}); {others[0]} (the column)", "two places say different things",
                        "kept as the column says", code="contradiction")  # fmt: skip
        if bool(empty.any()):
            data[name] = column.fillna(said) if name in NUMERIC else column.fillna(str(said))
            log.guess(name, str(said), f"{place}, where the column is empty", "fill the cells in the file")


def _by_column(name: str, plan: Layout, column: np.ndarray, log: Log) -> pd.Series:
    """A factor whose levels stand in the headings of the value columns."""
    one = coded([level[name] for level in plan.levels])
    value = convert_column(name, one, Heading(name, name), np.zeros(len(one.codes), np.int64), None, log)
    if isinstance(value, np.ndarray):
        return pd.Series(value[column])
    return factors.text_series(value.take(column))


def _series(
    data: dict[str, Any], plan: Layout, body: Body, flat: Flat, keep: np.ndarray, blocks: np.ndarray, log: Log
) -> None:
    """One row is one filling: number the fillings within each sample, and the breakdowns within each filling."""
    rows, shots = flat.row[keep], np.asarray(plan.shots)[flat.column[keep]].astype(float)
    step = max(plan.shots)
    size = len(body)
    used = np.bincount(flat.row[keep], minlength=size) > 0
    if data["order"].isna().all():
        position = np.zeros(size)
        seen: dict[int, int] = {}
        for r in np.flatnonzero(used):
            position[r] = seen.get(int(blocks[r]), 0)
            seen[int(blocks[r])] = int(position[r]) + 1
        data["order"] = pd.Series(shots + step * position[rows])
    if not data["filling"].isna().all():
        return
    codes = pd.factorize(data["sample"], use_na_sentinel=True)[0]
    starts = pd.DataFrame({"block": blocks[rows], "sample": codes}).drop_duplicates("block")
    number = dict(zip(starts["block"], starts.groupby("sample").cumcount() + 1, strict=True))
    data["filling"] = pd.Series([str(number[b]) for b in blocks[rows]], dtype="str")
    what = "column" if plan.column_rows is not None else "row"
    log.guess(
        "filling",
        f"each {what} is one filling, numbered within its sample",
        f"{len(starts)} series",
        "--column filling=HEADING, or --say fillings=one",
    )


def _notes(data: dict[str, Any], flat: Flat, keep: np.ndarray) -> None:
    """Remarks that stood behind numbers go to the note."""
    if not any(p.notes for p in flat.parsed):
        return
    one = flat.parsed[0]
    if len(flat.parsed) == 1 and not data["note"].notna().any():
        pool = {remark: at for at, remark in enumerate(dict.fromkeys(one.notes.values()))}
        lookup = np.full(len(one.cells.uniques) + 1, -1, np.int32)
        for code, remark in one.notes.items():
            lookup[code] = pool[remark]
        data["note"] = factors.text_series(
            Coded(lookup[one.cells.codes if keep.all() else one.cells.codes[keep]], list(pool))
        )
        return
    where = np.flatnonzero(keep)
    texts = np.full(len(where), None, dtype=object)
    if data["note"].notna().any():
        texts = data["note"].to_numpy(dtype=object, copy=True)
    for column, parsed in enumerate(flat.parsed):
        if not parsed.notes or parsed.cells.numbers is not None:
            continue
        mine = np.flatnonzero(flat.column[where] == column)
        codes = parsed.cells.codes[flat.row[where[mine]]]
        for at in np.flatnonzero(np.isin(codes, list(parsed.notes))):
            remark = parsed.notes[int(codes[at])]
            old = texts[mine[at]]
            texts[mine[at]] = remark if pd.isna(old) else f"{old}; {remark}"
    data["note"] = pd.Series(texts, dtype="str")


def _extras(plan: Layout, body: Body, index: np.ndarray, whole: bool) -> dict[str, pd.Series]:
    """The file's own columns, under their own headings."""
    out: dict[str, pd.Series] = {}
    for i, h in enumerate(plan.headings):
        own = h.name is None or h.name not in COLUMNS
        if not own or i in plan.values or i in plan.summaries or i >= len(body.columns):
            continue
        cells = body.columns[i]
        if cells.numbers is None and cells.empty:
            continue
        base = h.name or h.text or f"column {i + 1}"
        name, n = base, 2
        while name in out or name in COLUMNS:
            name, n = f"{base} ({n})", n + 1
        values = factors.extra(cells)
        out[name] = values if whole else values.take(index).reset_index(drop=True)
    return out
