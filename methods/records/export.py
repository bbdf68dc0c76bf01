"""Tables out of the program, safe to open in a spreadsheet."""

from __future__ import annotations

import numbers
from typing import Any

import pandas as pd

_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def safe_cell(value: Any) -> Any:
    """A text that a spreadsheet would run as a formula gets an apostrophe in front; numbers stay as they are."""
    if isinstance(value, str) and value.lstrip(" ").startswith(_DANGEROUS):
        return "'" + value
    return value


def safe_csv(frame: pd.DataFrame, *, index: bool = False) -> str:
    """CSV text of a table, headings and cells made harmless (see :func:`safe_cell`).

    Every download of the dashboard and the reports goes through here.
    """
    out = frame.reset_index() if index else frame.copy(deep=False)
    columns = []
    for at in range(out.shape[1]):
        column = out.iloc[:, at]
        if isinstance(column.dtype, pd.CategoricalDtype) or not (
            pd.api.types.is_numeric_dtype(column.dtype) or pd.api.types.is_datetime64_any_dtype(column.dtype)
        ):
            column = column.astype(object).map(lambda v: v if isinstance(v, numbers.Number) else safe_cell(v))
        columns.append(column)
    plain = pd.concat(columns, axis=1) if columns else out
    plain.columns = [safe_cell(str(c)) for c in out.columns]
    return str(plain.to_csv(index=False, lineterminator="\r\n"))
