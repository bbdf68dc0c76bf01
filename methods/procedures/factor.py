"""A factor from whatever was asked for: a column, the procedure, or the combinations of several columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import JOIN, UNITS, factor_name, with_unit
from methods.errors import InputError
from methods.procedures.naming import name_procedures
from methods.records.headings import resolve_column
from methods.records.table import as_table, first_rows, group_codes

#: The factor whose levels are whole procedures.
PROCEDURE = "procedure"


def parts_of(by: str) -> tuple[str, ...]:
    """The columns of which a factor is made: one, or those of a combination such as ``electrode × gap_mm``."""
    return tuple(p.strip() for p in by.split(JOIN.strip()) if p.strip())


def with_factor(data: Any, by: str | Sequence[str]) -> tuple[pd.DataFrame, str]:
    """The table, with a column for ``by`` where it had none, and the name of that column.

    Parameters
    ----------
    data : Records or DataFrame
    by : str or sequence of str
        A column; ``procedure``; or several columns, whose combinations are the levels: ``["electrode",
        "gap_mm"]`` or ``"electrode × gap_mm"``. A column of the file that is called ``procedure`` is taken
        as it stands.

    Raises
    ------
    InputError
        No such column, or none named.
    """
    table = as_table(data)
    if isinstance(by, str) and by in table.columns:
        return table, by
    names: Sequence[str] = parts_of(by) if isinstance(by, str) else [str(b) for b in by]
    if not names:
        raise InputError("Name the factor: a column such as electrode, or procedure.")
    columns = []
    for name in names:
        if name.strip().lower() == PROCEDURE and PROCEDURE not in table.columns:
            table = table.assign(**{PROCEDURE: name_procedures(table).labels().to_numpy()})
            table[PROCEDURE] = table[PROCEDURE].astype("str")
            columns.append(PROCEDURE)
        else:
            columns.append(resolve_column(table, name))
    columns = list(dict.fromkeys(columns))
    if len(columns) == 1:
        return table, columns[0]
    joined = JOIN.join(columns)
    if joined not in table.columns:
        table = table.assign(**{joined: combinations(table, columns)})
    return table, joined


def combinations(table: pd.DataFrame, columns: Sequence[str]) -> pd.Series:
    """The combination of the columns of each row in words, ``mushroom, 1 mm``; missing where any cell is empty."""
    for name in columns:
        if name in ("kv", "order", "outcome", "filling"):
            raise InputError(f"The column {name!r} is not a factor that can be compared.", column=name)
    codes = group_codes(table, columns)
    words: list[Any] = []
    for row in first_rows(codes):
        cells = [table[c].iloc[row] for c in columns]
        words.append(
            pd.NA
            if any(pd.isna(v) for v in cells)
            else ", ".join(
                with_unit(c, v) if isinstance(v, str) or c in UNITS else f"{factor_name(c)} {with_unit(c, v)}"
                for c, v in zip(columns, cells, strict=True)
            )
        )
    return pd.Series(pd.array(words, dtype="str").take(np.asarray(codes)), index=table.index, dtype="str")
