"""How the levels of a factor are written, ordered and found again."""

from __future__ import annotations

import re
from typing import Any

import pandas as pd

from methods.columns import NOT_GIVEN, level_text


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
