"""An account of every cell of a file: what it was taken for, and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from methods.columns import COLUMNS
from methods.records.cells import BLANK, NO_BREAKDOWN, VALUE, WITHSTOOD
from methods.records.coded import Body
from methods.records.layout import Layout, is_number
from methods.records.text import Sheet

if TYPE_CHECKING:
    from methods.records.flat import Flat

#: Columns of the account. ``row`` and ``column`` count from 1 as the file does.
CELL_KEYS = ("sheet", "row", "column", "text", "number", "role", "why")
#: Roles besides the names of the record table's columns (``sample``, ``filling``, ``order``, ``gap_mm`` ...).
CELL_ROLES = (
    "breakdown", "withstood", "refused", "summary", "heading", "title", "context", "unit", "extra", "left_out",
    "not_used",
)  # fmt: skip
_OUTSIDE = "outside every table that was read"
_KINDS = {VALUE: "breakdown", WITHSTOOD: "withstood", NO_BREAKDOWN: "withstood"}


@dataclass
class _Part:
    """One table that was read: where its cells stand, and what its columns were taken for."""

    sheet: Sheet
    plan: Layout
    body: Body
    flat: Flat


@dataclass
class Account:
    """Collects what became of the cells; :meth:`frame` lays it out."""

    sheets: list[Sheet] = field(default_factory=list)
    parts: list[_Part] = field(default_factory=list)
    said: dict[tuple[str, int, int], tuple[str, str]] = field(default_factory=dict)
    unread: dict[str, str] = field(default_factory=dict)
    unread_tables: list[tuple[Sheet, str]] = field(default_factory=list)
    numbers: dict[str, int] | None = None  # of each sheet, counted beforehand; see :mod:`methods.records.balance`

    def mark(self, sheet: str, row: int, column: int, role: str, why: str) -> None:
        """Say what one cell is; it stays what it was called first.

        Parameters
        ----------
        sheet : str
            Name of the sheet.
        row : int
            Its row, from 1.
        column : int
            Its column, from 1.
        role : str
            What it was taken for.
        why : str
            Why, in words.
        """
        self.said.setdefault((sheet, int(row), int(column)), (role, why))

    def add(self, sheet: Sheet, plan: Layout, body: Body, flat: Flat) -> None:
        """A table that was read.

        Parameters
        ----------
        sheet : Sheet
            The sheet.
        plan : Layout
            How it is laid out.
        body : Body
            Its cells below the heading.
        flat : Flat
            Its voltage cells.
        """
        self.parts.append(_Part(sheet, plan, body, flat))

    def frame(self) -> pd.DataFrame:
        """One row a cell that holds something, in the order of the file."""
        roles = dict(self.said)
        long: list[pd.DataFrame] = []
        for part in self.parts:
            if part.sheet.long:
                long.append(_long_frame(part))
                if part.sheet.columns is not None:
                    long.append(self._head_frame(part))
                continue
            for place, what in _places(part):
                roles.setdefault(place, what)
        rows = []
        by_columns = {p.sheet.name for p in self.parts if p.sheet.columns is not None}
        for sheet in self.sheets:
            if sheet.long and (sheet.columns is None or sheet.name in by_columns):
                continue
            why = self.unread.get(sheet.name, _OUTSIDE)
            lines = sheet.cells if sheet.columns is None else sheet.laid_out()
            for row, line in enumerate(lines, 1) if sheet.columns is not None else zip(sheet.rows, lines, strict=True):
                for at, text in enumerate(line, 1):
                    if text.strip():
                        role, because = roles.get((sheet.name, row, at), ("not_used", why))
                        rows.append((sheet.name, row, at, text, is_number(text), role, because))
        frame = pd.DataFrame(rows, columns=list(CELL_KEYS))
        return pd.concat([frame, *long], ignore_index=True) if long else frame

    def _head_frame(self, part: _Part) -> pd.DataFrame:
        """What stands above the readings of a sheet that is kept by columns: its headings, and lines over them."""
        plan, name = part.plan, part.sheet.name
        roles = {(plan.rows[line], at): _above(plan, line) for line in range(plan.first)
                 for at in range(1, len(plan.headings) + 1)}  # fmt: skip
        whole = next(s for s in self.sheets if s.name == name)
        found = []
        for row, line in zip(whole.rows, whole.cells, strict=True):
            if row >= plan.rows[plan.first]:
                break
            for at, text in enumerate(line, 1):
                if text.strip():
                    told = self.said.get((name, row, at)) or roles.get((row, at), ("not_used", _OUTSIDE))
                    found.append((name, row, at, text, is_number(text), *told))
        return pd.DataFrame(found, columns=list(CELL_KEYS))


def _role(plan: Layout, at: int) -> tuple[str, str]:
    head = plan.headings[at]
    shown = repr(head.text) if head.text else f"column {at + 1}"
    if at in plan.summaries:
        return "summary", f"{plan.summaries[at]}, by the heading {shown}"
    if head.name is not None and head.name in COLUMNS:
        return head.name, f"under {shown}"
    return "extra", f"kept under {shown}"


def _places(part: _Part) -> Iterator[tuple[tuple[str, int, int], tuple[str, str]]]:
    """Each cell of a table, and what it was taken for."""
    sheet, plan, body, flat = part.sheet, part.plan, part.body, part.flat
    name = sheet.name
    down = plan.column_rows
    across = sheet.cols or list(range(1, len(plan.headings) + 1))

    def at(row: int, column: int) -> tuple[str, int, int]:
        return (name, down[column], int(row)) if down is not None else (name, int(row), across[column])

    for place in range(len(flat.kind)):
        kind = int(flat.kind[place])
        if kind == BLANK:
            continue
        column = plan.values[int(flat.column[place])]
        row = body.rows[int(flat.row[place])]
        if kind in _KINDS:
            yield at(row, column), (_KINDS[kind], f"a reading under {plan.headings[column].text!r}")
        else:
            code, rule = flat.code(place), flat.rule(place)
            yield at(row, column), ("summary" if code == "summary" else "refused", rule)
    for column in range(min(len(plan.headings), len(across) if down is None else len(down))):
        what = ("extra", "an empty reading") if column in plan.values else _role(plan, column)
        for row in body.rows.tolist():
            yield at(row, column), what
    for line in range(plan.first):
        for column in range(len(plan.cells[line])):
            yield at(plan.rows[line], column), _above(plan, line)


def _above(plan: Layout, line: int) -> tuple[str, str]:
    return ("heading", "a heading of the table") if line >= plan.head else ("title", "above the table")


def _told(kind: np.ndarray, rows: np.ndarray, column: int, flat: Flat, reading: str) -> tuple[Any, Any]:
    """Role and reason of the cells of one column of voltages."""
    role = np.array(["refused", "breakdown", "withstood"], dtype=object)[
        np.where(kind == VALUE, 1, np.where(np.isin(kind, (WITHSTOOD, NO_BREAKDOWN)), 2, 0))
    ]
    other = np.flatnonzero(role == "refused")
    if not len(other):
        return role, reading
    why = np.full(len(role), reading, dtype=object)
    places = np.flatnonzero((flat.column == column) & np.isin(flat.row, rows[other]))
    found = {int(flat.row[p]): p for p in places.tolist()}
    for at in other.tolist():
        if (place := found.get(int(rows[at]))) is not None and int(flat.kind[place]) != BLANK:
            role[at] = "summary" if flat.code(place) == "summary" else "refused"
            why[at] = flat.rule(place)
        else:
            role[at], why[at] = "extra", "an empty reading"
    return role, why


def _long_frame(part: _Part) -> pd.DataFrame:
    """The account of a long text: by columns."""
    plan, body, flat = part.plan, part.body, part.flat
    out = []
    kinds = np.full((len(body), len(plan.values)), BLANK, np.int8)
    kinds[flat.row, flat.column] = flat.kind
    for at in range(min(len(plan.headings), body.width)):
        column = body.columns[at]
        stands = ~body.filled[at] if at in body.filled else np.ones(len(body), bool)
        if column.numbers is not None:
            held = np.flatnonzero(~np.isnan(column.numbers) & stands)
            texts = pd.Series([f"{v:.12g}" for v in column.numbers[held].tolist()], dtype="str")
            number: np.ndarray | bool = True
        else:
            held = np.flatnonzero((column.codes >= 0) & stands)
            codes = column.codes[held]
            texts = pd.Series(pd.array(column.uniques, dtype="str").take(codes))
            number = np.array([is_number(t) for t in column.uniques])[codes] if column.uniques else False
        role: object
        role, why = _role(plan, at) if at not in plan.values else ("", f"a reading under {plan.headings[at].text!r}")
        if at in plan.values:
            mine = plan.values.index(at)
            kind = kinds[held, mine]
            role, why = _told(kind, held, mine, flat, str(why))
        out.append(pd.DataFrame({"sheet": part.sheet.name, "row": body.rows[held], "column": at + 1, "text": texts,
                                 "number": number, "role": role, "why": why}))  # fmt: skip
    if part.sheet.columns is not None:
        return pd.concat(out, ignore_index=True)
    heads = [
        ("", plan.rows[line], at, text, is_number(text), *_above(plan, line))
        for line in range(plan.first)
        for at, text in enumerate(plan.cells[line], 1)
        if text.strip()
    ]
    return pd.concat([pd.DataFrame(heads, columns=list(CELL_KEYS)), *out], ignore_index=True)
