"""What the condition columns and their levels are called within a sentence."""

from __future__ import annotations

from numbers import Real
from typing import Any

#: Columns whose name carries a unit, without it.
_NAMES: dict[str, str] = {
    "gap_mm": "gap",
    "rise_kv_s": "rate of rise",
    "temperature_c": "temperature",
    "water_mg_kg": "water content",
    "tested_on": "day",
}

#: Units of the numbers in a column.
UNITS: dict[str, str] = {"gap_mm": "mm", "rise_kv_s": "kV/s", "temperature_c": "°C", "water_mg_kg": "mg/kg"}


def factor_name(column: str) -> str:
    """A column in words: ``gap`` for ``gap_mm``, ``oil age`` for ``oil_age``."""
    return _NAMES.get(column, column.replace("_", " "))


def with_unit(column: str, value: Any) -> str:
    """A level with its unit where it is a number that has one: ``2 mm``; a whole number without its ``.0``."""
    if isinstance(value, bool) or not isinstance(value, Real):
        return str(value)
    size = float(value)
    number = f"{size:.0f}" if size.is_integer() and abs(size) < 1e15 else f"{size:.12g}"
    return f"{number} {UNITS[column]}" if column in UNITS else number


def name_level(column: str, value: Any) -> str:
    """A level that stands alone in a sentence: words as they are, a number with its unit or its column."""
    if isinstance(value, str) or column in UNITS:
        return with_unit(column, value)
    return f"{factor_name(column)} {with_unit(column, value)}"
