"""What is compared between methods: the results that each gave of an oil, and how far these repeat."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from methods.agreement.limits import within_variance
from methods.columns import PROCEDURE, factor_name
from methods.errors import InputError, NotEstimable
from methods.procedures import PROCEDURE as WHOLE
from methods.procedures import parts_of, result_rows, with_factor
from methods.result import Caution
from methods.wording import list_words

#: ``"result"`` (what the method reports), ``"filling"``, ``"breakdown"``, or the fillings of a result where no method
#: says it.
Result = str | int


def results_of(table: pd.DataFrame, by: str, result: Result) -> tuple[pd.DataFrame, list[Caution]]:
    """One row a result: ``sample, laboratory, level, kv, n, within, stood``; see :func:`result_rows`.

    ``laboratory`` is empty where none is named: a result is always of one laboratory.

    Parameters
    ----------
    table : DataFrame
        Rows of the record table.
    by : str
        Column of the factor that tells the methods apart.
    result : Result
        What one result is: ``result``, ``filling``, ``breakdown``, or so many fillings.
    """
    table = table.assign(
        sample=table["sample"].astype(str), laboratory=table["laboratory"].fillna("").astype(str),
        level=level_words(table[by]),
    )  # fmt: skip
    rows, notes = result_rows(table, ("sample", "laboratory", "level"), by=("laboratory",), result=result)
    return rows, notes


def known_rows(data: Any, by: str | Sequence[str]) -> tuple[pd.DataFrame, str, list[Caution]]:
    """The rows that name their oil and their level of ``by``, its column, and a caution for the others.

    Raises
    ------
    InputError
        No column ``by``; no oil named.
    """
    table, by = with_factor(data, by)
    if by not in table.columns or not table[by].notna().any():
        raise InputError(f"There is no column {by!r} that separates the methods.", column=by)
    if not table["sample"].notna().any():
        raise InputError("No row names its oil (column sample), so results cannot be paired.", column="sample")
    known = table["sample"].notna() & table[by].notna()
    notes = []
    if not known.all():
        notes.append(
            Caution(
                "incomplete",
                f"{int((~known).sum())} rows name no oil or no {factor_name(by)} and were left out of every figure.",
            )
        )
    table = table[known]
    return table, by, notes


def refuse_mixture(table: pd.DataFrame, by: str, levels: Sequence[str] | None = None) -> None:
    """Refuse levels that pool several procedures: what lies between these would count as scatter.

    Parameters
    ----------
    table : DataFrame
        Rows of the record table.
    by : str
        Column of the factor that tells the methods apart.
    levels : sequence of str, optional
        The levels that are looked at; all by default.

    Raises
    ------
    NotEstimable
        Saying in what the tests of a level differ, and what to compare instead.
    """
    if by == WHOLE:
        return
    if levels is not None:
        table = table[level_words(table[by]).isin(levels)]
    free = [c for c in PROCEDURE if c not in parts_of(by) and table[c].notna().any()]
    mixed = [factor_name(c) for c in free if table.groupby(by)[c].nunique(dropna=False).max() > 1]
    if mixed:
        raise NotEstimable(
            f"Within a level of {factor_name(by)} the tests differ in {list_words(mixed)}; that difference would count "
            "as scatter. Compare by procedure, or filter to one of them."
        )


def level_words(column: pd.Series) -> pd.Series:
    """The levels of a column as they are named: whole numbers without their ``.0``."""
    return column.map(lambda v: f"{v:g}" if isinstance(v, float) else str(v))


def repeat_variance(rows: pd.DataFrame, *, breakdowns: bool = False) -> tuple[float, float]:
    """Variance of one result about its oil, kV², and degrees of freedom.

    Where no oil has two results it comes from the fillings of which each is the mean; with ``breakdowns`` also from
    those of its one filling, which know nothing of what another filling would read.
    """
    variance, df = within_variance(rows["kv"].to_numpy(), rows["sample"].to_numpy())
    if df > 0:
        return variance, df
    if not breakdowns:
        rows = rows[rows["fillings"] > 1]
    freedom = rows["n"].to_numpy(dtype=float) - 1
    total = freedom.sum()
    if total <= 0:
        return float("nan"), 0.0
    pooled = float((freedom * rows["within"].fillna(0).to_numpy(dtype=float)).sum() / total)
    return pooled * float((1 / rows["n"]).mean()), float(total)


def between_laboratories(rows: pd.DataFrame) -> list[Caution]:
    """A caution where results of one oil come from several laboratories: what lies between these is in the limits."""
    known = rows[rows["laboratory"].fillna("") != ""]
    several = known.groupby("sample")["laboratory"].nunique()
    if not (several > 1).any():
        return []
    return [
        Caution(
            "between_laboratories",
            f"Results come from {known['laboratory'].nunique()} laboratories: limits, ± and repeat SDs hold the "
            "scatter between laboratories too. For what one laboratory's bench does, filter to one.",
        )
    ]
