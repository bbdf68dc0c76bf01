"""Several tables under each other on one sheet, and several readings in one cell."""

from __future__ import annotations

import dataclasses
import re

from methods.records.cells import BLANK, VALUE, WITHSTOOD, is_date, parse
from methods.records.headings import fold, heading
from methods.records.kept import Log
from methods.records.layout import is_number, is_unit_row, shot_run
from methods.records.text import Sheet

_SEPARATORS = (r"\s*/\s*", r"\s*;\s*", r"\s*\|\s*", r",\s+", r"\s+-\s+", r"\s+")
_MOST = 60  # readings in one cell
#: A line that is a number in plain digits, and the least that headings with numbers of their own must hold.
_PLAIN_NUMBER = re.compile(r"^\s*[+-]?[0-9]+(?:[.,][0-9]+)?\s*$", re.MULTILINE)
_NUMBERED = {"1", "2", "3"}
#: What stands between readings in one cell; a cell without it holds one.
_BETWEEN = re.compile(r"[\s/;|]")


def tables_of(sheet: Sheet) -> list[Sheet]:
    """The sheet cut where another heading stands below a blank line or a title; mostly the sheet itself."""
    if sheet.long:
        return [sheet]
    starts = [0]
    heads: list[list[str]] = []
    for at, row in enumerate(sheet.cells):
        if not _is_heading(row):
            continue
        title = _title_above(sheet.cells, at)
        again = bool(heads) and [fold(c) for c in row if c.strip()] == heads[-1]
        if heads and (title < at or _blank(sheet.cells[at - 1])) and not (again and title == at):
            starts.append(title)
        if not again:
            heads.append([fold(c) for c in row if c.strip()])
    if len(starts) == 1:
        return [sheet]
    out: list[Sheet] = []
    for first, last in zip(starts, [*starts[1:], len(sheet.cells)], strict=True):
        part = dataclasses.replace(sheet, cells=sheet.cells[first:last], rows=sheet.rows[first:last])
        held = [c.strip() for r in part.cells[:3] if sum(bool(c.strip()) for c in r) == 1 for c in r if c.strip()]
        part.title = held[0] if held else f"table {len(out) + 1}"
        out.append(part)
    return out


def _blank(row: list[str]) -> bool:
    return not any(c.strip() for c in row)


def _is_heading(row: list[str]) -> bool:
    """Whether a row reads as headings with a voltage or numbered breakdowns among them."""
    filled = [c for c in row if c.strip()]
    joined = "\n".join(filled)
    if joined.isascii() and _PLAIN_NUMBER.search(joined):  # what most rows are, told at a glance
        if not _NUMBERED <= {c.strip().rstrip(".").lstrip("0") for c in filled}:
            return False
    run = shot_run(row)
    if len(filled) < 2 or is_unit_row(row) or any(len(c) > 60 for c in filled):
        return False
    read = [heading(c) for c in filled]
    if sum(is_number(c) for c in filled) > len(run):
        return False
    known = sum(h.name is not None or h.shot is not None or h.summary is not None for h in read)
    shots = sum(h.shot is not None and h.name is None for h in read)
    return known >= len(filled) / 2 and (any(h.name == "kv" or h.summary for h in read) or shots >= 2 or bool(run))


def _title_above(cells: list[list[str]], at: int) -> int:
    """The first of the title lines right above a heading; ``at`` itself when there are none."""
    first = up = at
    while up and _blank(cells[up - 1]):
        up -= 1
    while up and sum(bool(c.strip()) for c in cells[up - 1]) == 1 and not any(map(is_number, cells[up - 1])):
        up -= 1
        first = up
    return first


def split_series(sheet: Sheet, log: Log) -> None:
    """Give each reading a cell of its own where the cells of a column hold several (``58.4/61.2/60.0``), in place."""
    if sheet.long or not sheet.cells:
        return
    for at in range(max(map(len, sheet.cells))):
        column = [r[at] if at < len(r) else "" for r in sheet.cells]
        several = {c: found for c in set(column) if _BETWEEN.search(c.strip()) and (found := _readings(c))}
        if not several:
            continue
        parts = [several.get(c, []) for c in column]
        first = next(i for i, p in enumerate(parts) if p)
        below = [(c, p) for c, p in zip(column[first:], parts[first:], strict=True) if c.strip()]
        if sum(bool(p) for _, p in below) <= len(below) / 2:
            continue
        width = max(len(p) for p in parts)
        _widen(sheet, at, parts, first, width)
        shown = f"{width} readings in one cell, in the order of the test"
        log.guess("breakdowns", shown, repr(column[first]), "write one reading a cell")
        return


def _widen(sheet: Sheet, at: int, parts: list[list[str]], first: int, width: int) -> None:
    head = next((i for i in range(first - 1, -1, -1) if at < len(sheet.cells[i]) and sheet.cells[i][at].strip()), None)
    for i, row in enumerate(sheet.cells):
        row += [""] * (at + 1 - len(row))
        if i == head:
            text = row[at]
            new = [text] * width if heading(text).name == "kv" else [f"b{k + 1}" for k in range(width)]
        else:
            held = parts[i] or [row[at]]
            new = held + [""] * (width - len(held))
        sheet.cells[i] = row[:at] + new + row[at + 1 :]


def _readings(text: str) -> list[str]:
    """The readings of a cell that holds three or more with one mark between them, else an empty list."""
    clean = text.strip()
    if sum(c.isdigit() for c in clean) < 3 or is_date(clean):
        return []
    for mark in _SEPARATORS:
        held = [p for p in re.split(mark, clean) if p]
        if not 3 <= len(held) <= _MOST:
            continue
        cells = [parse(p) for p in held]
        plain = all(c.kind in (VALUE, WITHSTOOD) and not (c.kind == VALUE and c.note) for c in cells)
        thousands = mark == r"\s+" and all(re.fullmatch(r"\d{3}(?:[.,]\d+)?", p) for p in held[1:])
        if plain and not thousands and any(c.kind != BLANK and c.value >= 1 for c in cells):
            return held
    return []
