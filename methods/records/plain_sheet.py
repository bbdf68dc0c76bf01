"""A large sheet of a workbook kept by columns, where it can only be one plain table.

Its head is cut and laid out as any sheet. Below the head each *different* cell is looked at once, and what that shows
must rule out that a row is anything but a reading: no headings, no titles, no single cells, nothing said beside the
table. Where it does not, the sheet is laid out in full and looked at row by row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import islice
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import InputError
from methods.records.blocks import breakdown_number, cut, is_heading, reads_as_number
from methods.records.coded import Body, Coded
from methods.records.layout import Layout
from methods.records.shapes import layout_of
from methods.records.text import Sheet

#: The rows from which a sheet is kept by columns, and how many of them are its head.
MANY_ROWS = 20_000
HEAD_ROWS = 700
#: Rows of data that the head must hold: columns are judged by 300.
_SAMPLE = 320
_PIECE = 4_096
_MOST_ASKED = 50_000  # rows that are looked at one by one before all are


class _Seen(dict[Any, int]):
    """Numbers each different cell as it first comes."""

    def __missing__(self, value: Any) -> int:
        self[value] = number = len(self)
        return number


def coded_columns(rows: Iterable[list[Any]], text: Callable[[Any], str]) -> list[Coded]:
    """The columns of a sheet, each different cell as text once.

    Parameters
    ----------
    rows : iterable of list
        Rows of one length, as the spreadsheet holds them.
    text : callable
        From a cell to its text.
    """
    seen: list[_Seen] = []
    pieces: list[list[np.ndarray]] = []
    source = iter(rows)
    while piece := list(islice(source, _PIECE)):
        if not seen:
            seen, pieces = [_Seen() for _ in piece[0]], [[] for _ in piece[0]]
        for at, cells in enumerate(zip(*piece, strict=True)):
            if not set(map(type, cells)) <= {float, str}:  # True is 1 and a day may be a moment, for a dictionary
                cells = tuple(c if type(c) is float else text(c) for c in cells)
            pieces[at].append(np.fromiter(map(seen[at].__getitem__, cells), np.int32, len(cells)))
    return [_of_texts(np.concatenate(p), map(text, s)) for p, s in zip(pieces, seen, strict=True)]


def _of_texts(codes: np.ndarray, texts: Iterable[str]) -> Coded:
    """Cells of one text are one; those without a text are empty."""
    known: dict[str, int] = {"": -1}
    lookup = np.fromiter((known.setdefault(t, len(known) - 1) for t in texts), np.int32)
    return Coded(lookup[codes] if len(lookup) else codes, list(known)[1:])


def sheet_of(name: str, columns: list[Coded]) -> Sheet | None:
    """A sheet that is kept by columns, with its head as cells of text; None where it holds nothing."""
    if all(c.empty for c in columns):
        return None
    size = max(int(np.flatnonzero(c.codes >= 0)[-1]) + 1 for c in columns if not c.empty)
    sheet = Sheet([], [], name=name, columns=[Coded(c.codes[:size], c.uniques) for c in columns])
    head = sheet.laid_out(min(size, HEAD_ROWS))
    sheet.cells, sheet.rows = head, list(range(1, len(head) + 1))
    return sheet


def is_plain(sheet: Sheet, columns: dict[str, str] | None) -> bool:
    """Whether a sheet that is kept by columns can only be the one table that begins in its head.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    columns : dict of str to str, optional
        Column of the record table to heading, as the caller said.
    """
    assert sheet.columns is not None
    found = cut(sheet)
    block = found.blocks[0].sheet
    if len(found.blocks) > 1 or block.head is None or block.turned:
        return False
    try:
        plan = layout_of(block, columns)
    except InputError:
        return False
    top, last = block.rows[block.head], sheet.rows[-1]
    lines = [*found.lines, *found.blocks[0].lines]
    if (
        plan.kind == "transposed"
        or plan.first >= len(plan.rows)
        or len(plan.rows) - plan.first < min(_SAMPLE, len(sheet.columns[0].codes) - top)
        or block.cols != list(range(1, len(sheet.columns) + 1))
        or block.rows[block.head :] != list(range(top, last + 1))
        or any(row >= top for row, _, _ in lines)
    ):
        return False
    below = [Coded(c.codes[plan.rows[plan.first] - 1 :], c.uniques) for c in sheet.columns]
    began = any(
        bool((c.codes[top - 1 :] >= 0).any()) and not bool((c.codes[top - 1 : last] >= 0).any()) for c in sheet.columns
    )
    return not began and _only_readings(below)


def _only_readings(columns: list[Coded]) -> bool:
    """Whether each row is empty, or holds a number and something beside it and reads as no row of headings."""
    size = len(columns[0].codes)
    filled = np.zeros(size, np.int16)
    number = np.zeros(size, bool)
    counting = np.zeros((3, size), bool)
    for column in columns:
        filled += column.codes >= 0
        number |= _flag(column, [reads_as_number(t) for t in column.uniques])
        may = np.array([*map(breakdown_number, column.uniques), 0], np.int32)
        for n in range(3):
            counting[n] |= (may == n + 1)[column.codes]
    if bool(((filled == 1) | ((filled > 1) & ~number)).any()):
        return False
    # A row of headings that holds numbers counts 1, 2, 3 in them.
    asked = np.flatnonzero(counting.all(axis=0))
    if len(asked) > _MOST_ASKED:
        return False
    return not any(is_heading([c.text(row) for c in columns]) for row in asked.tolist())


def _flag(column: Coded, of: list[bool]) -> np.ndarray:
    return np.array([*of, False])[column.codes]


def body_below(sheet: Sheet, plan: Layout) -> Body:
    """The data below the heading of a sheet that is kept by columns.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    plan : Layout
        How it is laid out.
    """
    assert sheet.columns is not None
    first = plan.rows[plan.first]
    held = np.zeros(len(sheet.columns[0].codes) - first + 1, bool)
    for column in sheet.columns:
        held |= column.codes[first - 1 :] >= 0
    kept = np.flatnonzero(held)
    return Body([_as_it_comes(c, first - 1 + kept) for c in sheet.columns], first + kept, np.zeros(len(kept), bool))


def _as_it_comes(column: Coded, rows: np.ndarray) -> Coded:
    """Some rows of a column, its different cells in the order in which they come there."""
    codes, found = pd.factorize(column.codes[rows])
    texts = [column.uniques[f] if f >= 0 else "" for f in found.tolist()]
    return _of_texts(codes.astype(np.int32), texts)


def numbers_below(sheet: Sheet, is_number: Callable[[str], bool]) -> int:
    """How many cells of a sheet that is kept by columns read as numbers."""
    return sum(int(_flag(c, list(map(is_number, c.uniques))).sum()) for c in sheet.columns or [])
