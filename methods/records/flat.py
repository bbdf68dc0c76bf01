"""The voltage cells in reading order: row by row, and within a row from the first breakdown to the last."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from methods.records.cells import BLANK, REFUSED, VALUE, WITHSTOOD
from methods.records.coded import Body
from methods.records.kept import Log
from methods.records.layout import Layout
from methods.records.voltages import PER_LENGTH, Voltages

ZERO_RULE = "a breakdown voltage is above zero; 0 and negative codes stand for no reading"


@dataclass
class Flat:
    """One entry a voltage cell, blank ones too. ``row`` counts rows of the body, ``column`` the value columns."""

    kv: np.ndarray
    kind: np.ndarray
    per_mm: np.ndarray
    row: np.ndarray
    column: np.ndarray
    parsed: list[Voltages]
    rules: dict[int, str] = field(default_factory=dict)
    codes: dict[int, str] = field(default_factory=dict)

    def text(self, at: int) -> str:
        """The cell as it was written."""
        return self.parsed[self.column[at]].cells.text(int(self.row[at]))

    def refuse(self, where: np.ndarray, rule: str, code: str) -> None:
        """Refuse the cells at these places, unless they are refused or blank already.

        Parameters
        ----------
        where : ndarray
            Indices of the cells.
        rule : str
            The rule that they break, in words.
        code : str
            Its code.
        """
        for at in where:
            if self.kind[at] not in (REFUSED, BLANK):
                self.kind[at] = REFUSED
                self.rules[int(at)] = rule
                self.codes[int(at)] = code

    def refuse_all(self, where: np.ndarray, rule: str, code: str) -> None:
        """Refuse the cells at these places with this rule, even where another rule refused them; blank ones stay.

        Parameters
        ----------
        where : ndarray
            Indices of the cells.
        rule : str
            The rule that they break, in words.
        code : str
            Its code.
        """
        for at in where:
            if self.kind[at] != BLANK:
                self.kind[at] = REFUSED
                self.rules[int(at)] = rule
                self.codes[int(at)] = code

    def code(self, at: int) -> str:
        """The code of the rule that a refused cell breaks."""
        return self.codes.get(int(at), "no_voltage")

    def rule(self, at: int) -> str:
        column = self.parsed[self.column[at]]
        own = column.rules.get(int(column.cells.codes[self.row[at]])) if column.cells.numbers is None else None
        return self.rules.get(int(at)) or own or ZERO_RULE


@dataclass
class Places:
    """Where each voltage cell stands in the user's file, and each row of the body."""

    rows: np.ndarray
    columns: pd.Categorical
    body_rows: np.ndarray
    numbers: np.ndarray  # the rows without the sheet's name


def flatten(parsed: list[Voltages]) -> Flat:
    """Interleave the value columns."""
    size, width = len(parsed[0].kv), len(parsed)
    if width == 1:
        one = parsed[0]
        return Flat(one.kv, one.kind, one.per_mm, np.arange(size), np.zeros(size, np.int64), parsed)
    return Flat(
        np.stack([p.kv for p in parsed], axis=1).ravel(),
        np.stack([p.kind for p in parsed], axis=1).ravel(),
        np.stack([p.per_mm for p in parsed], axis=1).ravel(),
        np.repeat(np.arange(size), width),
        np.tile(np.arange(width), size),
        parsed,
    )


def places_of(plan: Layout, body: Body, flat: Flat, prefix: str) -> Places:
    """Row and column of each voltage cell as the user sees them.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    flat : Flat
        Its voltage cells.
    prefix : str
        Stands before each row, such as the sheet's name; may be empty.
    """
    if plan.column_rows is not None:
        rows = np.asarray([plan.column_rows[i] for i in plan.values])[flat.column]
        labels = body.columns[0]
        names = [labels.text(r) or f"column {body.rows[r]}" for r in range(len(body))]
        kinds, codes = list(dict.fromkeys(names)), flat.row
        columns = pd.Categorical([names[r] for r in codes], categories=kinds)
        body_rows = np.full(len(body), rows[0] if len(rows) else 1)
    else:
        heads = [plan.headings[i].text or f"column {i + 1}" for i in plan.values]
        if len(set(heads)) != len(heads):
            heads = [f"{h} ({n})" for n, h in enumerate(heads, 1)]
        rows = body.rows[flat.row] if len(flat.parsed) > 1 else body.rows
        columns = pd.Categorical.from_codes(flat.column, categories=pd.Index(heads))
        body_rows = body.rows
    numbers = rows
    if prefix:
        rows = np.array([f"{prefix}{r}" for r in rows], dtype=object)
        body_rows = np.array([f"{prefix}{r}" for r in body_rows], dtype=object)
    return Places(rows, columns, body_rows, numbers)


def refuse_sentinels(flat: Flat, voltage: bool) -> None:
    """999, 9999 ... that stand apart from every other number are codes for "no reading"."""
    held = flat.kind == VALUE
    high = held & (flat.kv >= 99)
    if not high.any():
        return
    codes = np.isin(flat.kv, (99.9, 999, 999.9, 9999, 99999, 999999)) & high
    codes |= np.isin(np.round(flat.kv * 1000, 6), (99999, 999999, 9999, 99999.9)) & (flat.kv >= 99) & high
    if not codes.any():
        return
    rest = flat.kv[held & ~codes]
    top = float(rest.max()) if len(rest) else 0.0
    if not voltage and top > 150:  # numbers that may be of another kind, where 999 is one of them
        return
    where = np.flatnonzero(codes & (flat.kv > max(2 * top, 500 if not len(rest) else 0)))
    flat.refuse(where, "a row of nines far above every other number is a code for no reading", "sentinel")


def multiply_by_gap(flat: Flat, gaps: np.ndarray, plan: Layout, place: Places, log: Log) -> None:
    """kV/mm (or kV/cm) times the gap is kV; without a gap the cell cannot be used.

    Parameters
    ----------
    flat : Flat
        The voltage cells; changed in place.
    gaps : ndarray
        (rows of the body,) Gaps, mm.
    plan : Layout
        How the sheet is laid out.
    place : Places
        Where the cells stand in the file.
    log : Log
        Takes the problems and guesses.
    """
    held = (flat.per_mm > 0) & ((flat.kind == VALUE) | (flat.kind == WITHSTOOD))
    if not held.any():
        return
    gap = gaps[flat.row]
    known = held & np.isfinite(gap) & (gap > 0)
    flat.kv = np.where(known, flat.kv * gap, flat.kv)
    for unit, code in PER_LENGTH.items():
        mine = flat.per_mm == code
        rule = f"{unit} becomes kV only with the gap, and the gap is not given"
        flat.refuse(np.flatnonzero(held & ~known & mine), rule, "gap_wanted")
        if (known & mine).any():
            length = unit.removeprefix("kV/")
            log.guess("unit", f"{unit} times the gap in {length}", f"{int((known & mine).sum())} values", "--unit kV")


def log_refused(flat: Flat, place: Places, log: Log) -> None:
    """One problem for each refused cell.

    Parameters
    ----------
    flat : Flat
        The voltage cells.
    place : Places
        Where they stand in the file.
    log : Log
        Takes the problems and guesses.
    """
    for at in np.flatnonzero(flat.kind == REFUSED).tolist():
        log.problem(
            place.rows[at], str(place.columns[at]), flat.text(at), flat.rule(at), "refused: not used as a breakdown",
            code=flat.code(at), refused=True,
        )  # fmt: skip
