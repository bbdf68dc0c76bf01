"""How the levels of a factor are written, ordered and found again."""

from __future__ import annotations

import math
import re
from typing import Any

import pandas as pd

#: What an empty cell is called when it is a level.
NOT_GIVEN = "not given"


def level_text(value: Any) -> str:
    """Write one level as people read it: ``2`` and not ``2.0``, :data:`NOT_GIVEN` for an empty cell."""
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and math.isnan(value)):
        return NOT_GIVEN
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)


def texts(column: pd.Series) -> pd.Series:
    """Write every cell of a column as its level text; each distinct value is written once."""
    codes, values = pd.factorize(column, use_na_sentinel=True)
    words = [*(level_text(v) for v in values), NOT_GIVEN]
    return pd.Series(pd.array(words, dtype="str").take(codes), index=column.index, dtype="str")


def _natural(text: str) -> tuple[Any, ...]:
    parts = re.split(r"(\d+(?:\.\d+)?)", text.casefold())
    return (text == NOT_GIVEN, *((0, float(p), "") if i % 2 else (1, 0.0, p) for i, p in enumerate(parts)))


def levels_of(column: pd.Series) -> tuple[str, ...]:
    """The distinct levels of a column as text, in natural order (2 before 10), what is not given last."""
    return tuple(sorted({level_text(v) for v in column.unique()}, key=_natural))
