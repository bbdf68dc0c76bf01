"""Headings and one-line explanations of the columns that result tables have, and how their numbers are written."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from methods.columns import JOIN, REGISTRY, factor_name

#: Column -> (heading with unit, explanation).
COLUMNS: dict[str, tuple[str, str]] = {
    **{c.name: (c.heading, c.help) for c in REGISTRY},
    "file": ("File", "The file that the row came from."),
    "procedure": ("Procedure", "Method, electrode, gap, stirring and rate of rise together, as far as they differ."),
    "n": ("Readings", "Breakdowns and withstands together."),
    "breakdowns": ("Breakdowns", "Number of breakdown voltages."),
    "withstood": ("Withstood", "Ceiling reached without breakdown: known only to be above it."),
    "fillings": ("Fillings", "Number of fillings: what counts as independent."),
    "level": ("Level", "Level of the compared factor."),
    "family": ("Distribution", "Family of distributions that was fitted."),
    "mean_kv": ("Mean (kV)", "Average breakdown voltage."),
    "sd_kv": ("SD (kV)", "Standard deviation: how widely single breakdowns scatter."),
    "low_kv": ("Low (kV)", "Lower confidence limit."),
    "high_kv": ("High (kV)", "Upper confidence limit."),
    "low": ("Low", "Lower confidence limit."),
    "high": ("High", "Upper confidence limit."),
    "p_value": ("p", "Chance of a shift at least this large if there were none; adjusted for several levels."),
    "row": ("Row", "Line or sheet row of the file."),
    "column": ("Column", "Column of the file."),
    "found": ("Found", "What stood there, as it was written."),
    "rule": ("Rule", "The rule that it breaks."),
    "action": ("What was done", "Kept or refused, and how."),
    "reason": ("Reason", "Why it was left out."),
}


def heading(column: str, own: dict[str, tuple[str, str]] | None = None) -> str:
    """What stands above a column: its name for people, with the unit."""
    if JOIN in column:
        return JOIN.join([heading(column.split(JOIN)[0], own), *(factor_name(c) for c in column.split(JOIN)[1:])])
    return {**COLUMNS, **(own or {})}.get(column, (column.replace("_", " ").strip().capitalize(), ""))[0]


def explanation(column: str, own: dict[str, tuple[str, str]] | None = None) -> str:
    """One line about a column, or nothing."""
    return {**COLUMNS, **(own or {})}.get(column, ("", ""))[1]


def factor(column: str) -> str:
    """What a factor is called within a sentence: ``gap`` for ``gap_mm``."""
    return factor_name(column)


def number(value: Any, digits: int = 3) -> str:
    """A number to ``digits`` significant figures without an exponent where that reads well; a dash for none."""
    if value is None or value is pd.NA or (isinstance(value, (float, np.floating)) and not np.isfinite(value)):
        return "–"
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return f"{int(value):,}".replace(",", "\u202f")
    size = abs(float(value))
    if size == 0:
        return "0"
    if not 1e-4 <= size < 1e6:
        return f"{value:.{digits - 1}e}"
    places = max(0, digits - 1 - int(np.floor(np.log10(size))))
    return f"{float(value):.{places}f}".replace("-", "\u2212")


def signed(value: float, digits: int = 2) -> str:
    """A number with its sign, always."""
    return ("+" if value > 0 else "") + number(float(value), digits)


def p_value(value: float | None) -> str:
    """A p-value as it is read: ``0.032``, ``< 0.001``."""
    if value is None or not np.isfinite(value):
        return "–"
    return "< 0.001" if value < 0.001 else f"{value:.3f}" if value < 0.1 else f"{value:.2f}"


def plural(n: int, one: str, many: str | None = None) -> str:
    """``1 filling``, ``3 fillings``."""
    return f"{number(int(n))} {one if n == 1 else many or one + 's'}"


def listed(words: Any) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    items = [str(w) for w in words]
    return items[0] if len(items) == 1 else ", ".join(items[:-1]) + f" and {items[-1]}" if items else ""


_STEPS = {
    "report": "report the mean",
    "repeat": "repeat the test",
    "incomplete": "go on: not all taken yet",
    "no_rule": "not judged",
    "withstood": "ceiling reached",
}


def step(code: str) -> str:
    """What a consistency rule asks for, in words: ``five_more`` is "five more breakdowns"."""
    if code.endswith("_more"):
        return f"{code.removesuffix('_more')} more breakdowns"
    return _STEPS.get(code, code)
