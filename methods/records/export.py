"""Tables out of the program, safe to open in a spreadsheet; and the record table, to be read again as it was."""

from __future__ import annotations

import io
import numbers
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from methods.columns import COLUMNS
from methods.errors import InputError
from methods.extras import need
from methods.records.table import as_table

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


#: The forms in which a record table is written.
KINDS = ("csv", "parquet")


def records_bytes(data: Any, kind: str) -> bytes:
    """The record table as a file that :func:`methods.read` reads back as it is: every row, column, digit and withstand.

    Parameters
    ----------
    data : Records or DataFrame
    kind : "csv" or "parquet"
        In CSV a text that a spreadsheet would run gets an apostrophe in front, which the reader takes away.

    Raises
    ------
    InputError
        Another kind.
    MissingExtra
        Parquet without pyarrow.
    """
    table = as_table(data)
    table = table[[*COLUMNS, *(c for c in table.columns if c not in COLUMNS)]]
    if kind == "csv":
        return safe_csv(table).encode("utf-8-sig")
    if kind != "parquet":
        raise InputError(f"Readings are written as .csv or .parquet, not .{kind}.", text=kind, rule=".csv or .parquet")
    need("pyarrow", "Writing Parquet", "parquet", "write .csv")
    out = io.BytesIO()
    table.to_parquet(out, index=False)
    return out.getvalue()


def write_records(data: Any, path: str | Path) -> Path:
    """The same, to a place whose ending says the kind.

    Raises
    ------
    InputError
        Another ending, or a place that cannot be written to.
    """
    target = Path(path)
    contents = records_bytes(data, target.suffix.lower().lstrip("."))
    try:
        target.write_bytes(contents)
    except OSError as error:
        raise InputError(f"{target}: cannot be written: {error.strerror}", text=str(target)) from None
    return target


def is_written_out(headings: Sequence[str]) -> bool:
    """Whether a table begins with all columns of the record table in their order: then it says what it means, and
    nothing in it is guessed."""
    return tuple(headings[: len(COLUMNS)]) == tuple(COLUMNS)
