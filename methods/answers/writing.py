"""How numbers, counts and cells are written for people, the same on the page, in a command's text and in a report."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pandas as pd

#: What stands where there is nothing.
NOTHING = "–"

#: Fractions of one that are read as per cent.
SHARES = frozenset({
    "p", "rate", "power", "power_known", "assurance", "probability_above", "probability_good",
    "probability_fair", "probability_poor", "wrong_verdict_probability",
    "pass_probability", "passes", "coverage", "not_stopped", "pooled_covers", "fillings_covers", "assured",
    "probability_best", "share_above", "confidence", "reached", "superiority",
})  # fmt: skip

#: Ends of the names of settings: they are written as they were made, not rounded.
_SETTINGS = ("_mm", "_kv_s", "order")


def number(value: Any, digits: int = 3) -> str:
    """A number to ``digits`` significant figures without an exponent where that reads well; a dash for none."""
    if value is None or value is pd.NA or (isinstance(value, (float, np.floating)) and not np.isfinite(value)):
        return NOTHING
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return f"{int(value):,}".replace(",", "\u202f").replace("-", "\u2212")
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
        return NOTHING
    return "< 0.001" if value < 0.001 else f"{value:.3f}" if value < 0.1 else f"{value:.2f}"


def plural(n: int, one: str, many: str | None = None) -> str:
    """``1 filling``, ``3 fillings``.

    Parameters
    ----------
    n : int
        The number.
    one : str
        The word for one.
    many : str, optional
        The word for several; with an s by default.

    Examples
    --------
    >>> plural(3, "filling")
    '3 fillings'
    """
    return f"{number(int(n))} {one if n == 1 else many or one + 's'}"


def listed(words: Any) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    items = [str(w) for w in words]
    return items[0] if len(items) == 1 else ", ".join(items[:-1]) + f" and {items[-1]}" if items else ""


def is_p_value(column: str) -> bool:
    """Whether a column holds p-values."""
    return column.endswith(("_p", "p_value")) or column.startswith("p_value")


def is_setting(column: str) -> bool:
    """Whether a column holds what was set, such as a gap, and is written with all its digits."""
    return column.endswith(_SETTINGS)


def _share(value: float) -> str:
    """A fraction as per cent; what is nearly never or nearly always is said so, not by an exponent."""
    if 0 < value < 1e-4:
        return "< 0.01\u202f%"
    return "> 99.99\u202f%" if 1 - 1e-4 < value < 1 else f"{100 * value:.3g}\u202f%"


#: How an estimate was made -> in words.
ESTIMATED = {"reml": "restricted maximum likelihood", "ml": "maximum likelihood"}


def named(column: str, value: str) -> str:
    """What people call that for which a table holds a key: a family, a rule, a protocol, a way to estimate."""
    if column == "family":
        return _families().get(value, value)
    if column in ("rule", "protocol"):
        return _standards(column).get(value, value)
    return ESTIMATED.get(value, value) if column == "estimated_by" else value


@cache
def _families() -> dict[str, str]:
    from methods.families import EVERY_FAMILY, titles

    return titles(EVERY_FAMILY)


@cache
def _standards(column: str) -> dict[str, str]:
    from methods.protocols import load, load_rules

    if column == "rule":
        return {key: str(rule.title) for key, rule in load_rules().items()}
    return {key: f"{p.designation} ({p.edition})" for key, p in load().items()}


def _known(column: str, value: float) -> str | None:
    """A number of a column that is written in a way of its own; None where it is written as any other."""
    if is_p_value(column):
        return p_value(value)
    if column in SHARES:
        return _share(value)
    if column == "false_alarm_percent" and 0 < value < 0.01:
        return "< 0.01"
    if column.endswith("minutes") and value >= 10:
        return number(round(value))
    return f"{value:.10g}".replace("-", "\u2212") if is_setting(column) else None


def cell(column: str, value: Any, digits: int = 3) -> str:
    """One value as it is read in a table.

    Parameters
    ----------
    column : str
        The column that it stands in, which says how it is written.
    value : object
        A number, text, list or mapping; what is missing is a dash.
    digits : int, default 3
        Significant figures of numbers.

    Examples
    --------
    >>> cell("mean_kv", 61.234)
    '61.2'
    """
    if isinstance(value, str):
        return named(column, value)
    if value is None or value is pd.NA or value is pd.NaT:
        return NOTHING
    if isinstance(value, dict):
        return ", ".join(f"{k} {cell(str(k), v, digits)}" for k, v in value.items())
    if isinstance(value, (list, tuple)):
        return ", ".join(cell("", v, digits) for v in value)
    if isinstance(value, (float, np.floating)):
        if not np.isfinite(value):
            return NOTHING
        if (said := _known(column, float(value))) is not None:
            return said
    if isinstance(value, (bool, np.bool_, int, float, np.number)):
        return number(value, digits)
    return str(value)
