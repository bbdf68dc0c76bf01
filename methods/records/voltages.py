"""Voltage columns: text to kV. Clean cells go through in one pass; only those that fail it meet the grammar."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from methods.errors import UnusableFile
from methods.records.cells import BLANK, LARGEST, REFUSED, SMALLEST, VALUE, parse
from methods.records.coded import Body, Coded
from methods.records.kept import Log
from methods.records.layout import Layout

#: kV for one of the unit; kV/mm and kV/cm still want the gap (times mm).
FACTORS = {"kV": 1.0, "V": 1e-3, "kVp": 1 / math.sqrt(2), "Vp": 1e-3 / math.sqrt(2), "kV/mm": 1.0, "kV/cm": 0.1}
#: Units that want the gap, and by which code a cell says which of them it was written in.
PER_LENGTH = {"kV/mm": 1, "kV/cm": 2}
_GROUPED = re.compile(r"[<>≥+\s]*[1-9]\d{0,2}[.,]\d{3}(?!\d)\D*")
_COMMA = re.compile(r"\d,\d{1,2}(?!\d)|\d,\d{4,}")
_POINT = re.compile(r"\d\.\d{1,2}(?!\d)|\d\.\d{4,}")


@dataclass
class Voltages:
    """One voltage column, parsed: arrays with an entry a row."""

    kv: np.ndarray
    kind: np.ndarray
    per_mm: np.ndarray  # a code of PER_LENGTH where the number is kV/mm and still wants the gap, otherwise 0
    cells: Coded
    notes: dict[int, str]  # code -> remark behind the number
    rules: dict[int, str]  # code -> rule that the cell breaks

    def note(self, row: int) -> str | None:
        return self.notes.get(int(self.cells.codes[row])) if self.cells.numbers is None else None

    def rule(self, row: int) -> str:
        found = self.rules.get(int(self.cells.codes[row])) if self.cells.numbers is None else None
        return found or "a breakdown voltage is above zero; 0 and negative codes stand for no reading"


def decimal_mark(columns: list[Coded], unit: str | None, given: str | None, log: Log) -> str | None:
    """The decimal mark of the voltage columns, shown where it is a guess. None: each cell by its own evidence.

    Parameters
    ----------
    columns : list of Coded
        The voltage columns.
    unit : str or None
        Their unit, where it is known.
    given : str or None
        The mark that the caller said.
    log : Log
        Takes the problems and guesses.
    """
    texts = [t for c in columns for t in c.uniques[:20_000]]
    comma = [t for t in texts if "," in t and _COMMA.search(t)]
    point = [t for t in texts if "." in t and _POINT.search(t)]
    grouped = [t for t in texts if _GROUPED.fullmatch(t)]
    if given is not None:
        return given
    if comma and point:
        log.guess("decimal mark", "both comma and point", f"{comma[0]!r} and {point[0]!r}", "--decimal")
        return None
    if comma:
        log.guess("decimal mark", "comma", f"{comma[0]!r} among {len(texts)} different cells", "--decimal point")
    if grouped and unit in ("V", "Vp") and not (comma or point):
        mark = "." if "." in grouped[0] else ","
        log.guess(
            "thousands mark",
            "point" if mark == "." else "comma",
            f"{grouped[0]!r} in {unit}: as a decimal it would be near zero",
            f"--decimal {'point' if mark == '.' else 'comma'}",
        )
        return "," if mark == "." else "."
    unsure = [t for t in grouped if "," in t or not (point or comma)]
    if unsure and not point and len(grouped) >= len(texts) / 2:
        shown = unsure[0]
        log.guess(
            "decimal mark",
            "comma" if "," in shown else "point",
            f"{shown!r} could also be thousands; as a decimal it lies between 1 and 999",
            "--decimal " + ("point" if "," in shown else "comma"),
        )
    return "," if comma else None


def parse_column(cells: Coded, unit: str | None, decimal: str | None, words: frozenset[str]) -> Voltages:
    """Parse one column. ``unit`` is what a bare number is in; a unit in the cell overrules it.

    Parameters
    ----------
    cells : Coded
        The column.
    unit : str or None
        What a bare number is in; kV by default.
    decimal : str or None
        Decimal mark; None: each cell by its own evidence.
    words : frozenset[str]
        Words that mean a withstand, beside the known ones.
    """
    if cells.numbers is not None:
        kv = cells.numbers * FACTORS[unit or "kV"]
        kind = np.full(len(kv), VALUE, np.int8)
        kind[np.isnan(kv)] = BLANK
        with np.errstate(invalid="ignore"):
            kind[~((cells.numbers > SMALLEST) & (cells.numbers < LARGEST)) & ~np.isnan(kv)] = REFUSED
        return Voltages(kv, kind, np.full(len(kv), PER_LENGTH.get(unit or "", 0), np.int8), cells, {}, {})
    texts = pd.Series(cells.uniques, dtype=object)
    size = len(texts)
    plain = texts
    if decimal == ",":
        plain = (
            texts.where(~texts.str.contains(".", regex=False).astype(bool), None).str.replace(",", ".", regex=False)
            if size
            else texts
        )
    quick = pd.to_numeric(plain, errors="coerce").to_numpy(dtype=float) if size else np.empty(0)
    value = quick * FACTORS[unit or "kV"]
    kind = np.full(size + 1, BLANK, np.int8)
    good = (quick > SMALLEST) & (quick < LARGEST)
    kind[:-1][good] = VALUE
    per_mm = np.zeros(size + 1, np.int8)
    per_mm[:-1] = PER_LENGTH.get(unit or "", 0)
    notes: dict[int, str] = {}
    rules: dict[int, str] = {}
    for at in np.flatnonzero(~good):
        cell = parse(cells.uniques[at], decimal, words)
        own = cell.unit or unit or "kV"
        kind[at], value[at], per_mm[at] = cell.kind, cell.value * FACTORS[own], PER_LENGTH.get(own, 0)
        if cell.note:
            notes[int(at)] = cell.note
        if cell.rule:
            rules[int(at)] = cell.rule
    value = np.append(value, np.nan)
    return Voltages(value[cells.codes], kind[cells.codes], per_mm[cells.codes], cells, notes, rules)


#: A column of voltages that lies outside as a whole (kV) is not in the unit that its heading names.
CREDIBLE_KV = (0.1, 1000.0)


def ask_for_unit(plan: Layout, parsed: list[Voltages]) -> None:
    """Ask for the unit where readings cannot be in the one that their heading names: 41200 under ``kV``.

    Raises
    ------
    UnusableFile
        All readings lie outside :data:`CREDIBLE_KV`, and nobody said the unit or the column.
    """
    if plan.named or not plan.voltage:
        return
    held = []
    for i, column in zip(plan.values, parsed, strict=True):
        if plan.headings[i].unit in FACTORS:
            good = (column.kind == VALUE) & np.isfinite(column.kv) & np.logical_not(column.per_mm)
            held.append(column.kv[good])
    kv = np.concatenate(held) if held else np.empty(0)
    if not len(kv) or not (kv.min() > CREDIBLE_KV[1] or kv.max() < CREDIBLE_KV[0]):
        return
    head, other = plan.headings[plan.values[0]], "V" if float(np.median(kv)) > 1 else "kV"
    number = float(np.median(kv)) / FACTORS[head.unit or "kV"]
    raise UnusableFile(
        f"The readings under {head.text!r} cannot be {head.unit}: their median is {number:g}. "
        f"Say their unit with --unit {other} or --unit {head.unit}.",
        rule="a unit that fits the readings", column=head.text,
    )  # fmt: skip


def magnitude_units(plan: Layout, body: Body, units: list[str | None], mark: str | None, log: Log) -> list[str | None]:
    """Volts where a heading that speaks of voltage gives no unit and the numbers can only be volts; a guess.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    units : list[str or None]
        Unit of each voltage column, as far as known.
    mark : str or None
        Decimal mark; None: each cell by its own evidence.
    log : Log
        Takes the problems and guesses.
    """
    if plan.named or not plan.voltage or any(u is not None for u in units):
        return units
    middle = []
    for i in plan.values:
        column = parse_column(body.columns[i], "kV", mark, frozenset())
        held = column.kv[(column.kind == VALUE) & np.isfinite(column.kv)]
        if len(held):
            middle.append(float(np.median(held)))
    if middle and 1000 <= float(np.median(middle)) <= 150_000:
        log.guess(
            "unit", "V, turned into kV", f"no unit in the heading and a median of {np.median(middle):g}", "--unit kV"
        )
        return ["V"] * len(units)
    return units
