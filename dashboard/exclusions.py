"""What is left out on purpose: the cells that name a reading or a filling, with the reason, and the rows they name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dashboard.levels import texts
from methods.columns import CONDITION
from methods.errors import InputError


@dataclass(frozen=True)
class Exclusion:
    """Rows left out on purpose: the cells that name them, as text, and the reason."""

    where: Mapping[str, str]
    reason: str

    def __post_init__(self) -> None:
        if not self.reason.strip():
            raise InputError("Give the reason: a breakdown left out without a reason cannot be defended later.")


def filling_key(row: Mapping[str, Any]) -> dict[str, str]:
    """The cells that name the filling of this row of the table, as text; what is not given is left out."""
    names = ("file", "sample", *CONDITION, "tested_on", "filling")
    cells = {n: texts(pd.Series([row[n]])).iloc[0] for n in names if n in row}
    return {n: t for n, t in cells.items() if not pd.isna(row[n])}


def named_by(table: pd.DataFrame, exclusions: Sequence[Exclusion]) -> pd.Series:
    """Which rows an exclusion names: looked up together for all that name the same columns, however many there are."""
    out = np.zeros(len(table), bool)
    wanted: dict[tuple[str, ...], set[tuple[str, ...]]] = {}
    for exclusion in exclusions:
        columns = tuple(sorted(exclusion.where))
        if columns and all(c in table.columns for c in columns):
            wanted.setdefault(columns, set()).add(tuple(exclusion.where[c] for c in columns))
    written = {c: texts(table[c]) for c in {c for columns in wanted for c in columns}}
    for columns, cells in wanted.items():
        if len(columns) == 1:
            out |= written[columns[0]].isin([c[0] for c in cells]).to_numpy(dtype=bool)
        else:
            out |= pd.MultiIndex.from_arrays([written[c] for c in columns]).isin(list(cells))
    return pd.Series(out, index=table.index)
