"""Filling by filling: what each filling of an oil gave under each procedure, ready to be seen at one glance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import NotEstimable
from methods.records.table import as_table, filling_codes, withstood

__all__ = ["Clusters", "clusters"]


@dataclass(frozen=True)
class Clusters:
    """Fillings as clusters of readings, and the mean of each oil under each procedure.

    Attributes
    ----------
    columns : tuple of str
        What makes a procedure here.
    rows : DataFrame
        One row a reading of the table, in its order: ``group`` (number of the procedure), ``oil`` (number of the oil),
        ``filling`` (number of the filling, from 0 within its oil and procedure), ``kv``, ``withstood``.
    groups : DataFrame
        The levels of each procedure, ordered; its index is ``group``.
    oils : tuple
        The oils, those under most procedures first; its places are ``oil``.
    means : DataFrame
        One row for each oil under each procedure: ``group``, ``oil``, ``fillings``, ``readings``, ``withstood``,
        ``mean_kv``, ``low_kv``, ``high_kv``. The mean is that of the fillings' means, its limits are Student's *t* on
        them. A withstood ceiling is no value: with one there is no mean (nan). With one filling there are no limits.
    filling_means : DataFrame
        One row a filling: ``group``, ``oil``, ``filling``, ``readings``, ``mean_kv`` (nan where one withstood).
    confidence : float
        Of the limits.
    """

    columns: tuple[str, ...]
    rows: pd.DataFrame
    groups: pd.DataFrame
    oils: tuple[Any, ...]
    means: pd.DataFrame
    filling_means: pd.DataFrame
    confidence: float


def clusters(data: Any, columns: Sequence[str], *, confidence: float = 0.95) -> Clusters:
    """Gather readings by procedure, oil and filling.

    Parameters
    ----------
    data : Records, or table of :mod:`methods.records`
        Readings, kV.
    columns : sequence of str
        What makes a procedure, such as ``electrode, gap_mm, stirring``; one empty cell is a level of its own.
    confidence : float
        Of the limits of a mean over fillings.

    Raises
    ------
    NotEstimable
        There are no readings.
    """
    import scipy

    table = as_table(data)
    if not len(table):
        raise NotEstimable("There are no readings to look at.")
    keys = table[list(columns)] if columns else pd.DataFrame(index=table.index)
    ordered = keys.drop_duplicates().sort_values(list(columns), na_position="last") if columns else keys.iloc[:1]
    place = {_key(k): i for i, k in enumerate(ordered.itertuples(index=False))}
    group = np.array([place[_key(k)] for k in keys.itertuples(index=False)]) if columns else np.zeros(len(table), int)
    sample = pd.Series("not named", index=table.index)
    if "sample" in table:
        sample = table["sample"].astype(object).where(table["sample"].notna(), "not named").map(str)
    count = pd.DataFrame({"oil": sample.to_numpy(), "group": group}).drop_duplicates()["oil"].value_counts(sort=True)
    oils = tuple(sorted(count.index, key=lambda o: (-int(count[o]), str(o))))
    oil = pd.Categorical(sample.to_numpy(), categories=list(oils)).codes
    rows = pd.DataFrame(
        {"group": group, "oil": oil, "code": filling_codes(table, by=["file"] if "file" in table else ()),
         "kv": table["kv"].to_numpy(dtype=float), "withstood": withstood(table)}
    )  # fmt: skip
    each = rows.groupby(["group", "oil", "code"], sort=True).agg(
        readings=("kv", "size"), mean_kv=("kv", "mean"), withstood=("withstood", "sum")
    )
    each.loc[each["withstood"] > 0, "mean_kv"] = np.nan
    each = each.reset_index()
    each["filling"] = each.groupby(["group", "oil"]).cumcount()
    rows = rows.merge(each[["group", "oil", "code", "filling"]], on=["group", "oil", "code"], how="left")
    grouped = each.groupby(["group", "oil"], sort=True)
    means = grouped.agg(
        fillings=("code", "size"), readings=("readings", "sum"), withstood=("withstood", "sum"),
        mean_kv=("mean_kv", "mean"), sd=("mean_kv", "std"),
    ).reset_index()  # fmt: skip
    means.loc[means["withstood"] > 0, ["mean_kv", "sd"]] = np.nan
    k = means["fillings"].to_numpy(dtype=float)
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = scipy.stats.t.ppf(0.5 + confidence / 2, k - 1) * means["sd"].to_numpy() / np.sqrt(k)
    means["low_kv"], means["high_kv"] = means["mean_kv"] - reach, means["mean_kv"] + reach
    return Clusters(
        tuple(columns), rows.drop(columns="code"), ordered.reset_index(drop=True), oils, means.drop(columns="sd"),
        each[["group", "oil", "filling", "readings", "mean_kv"]], confidence,
    )  # fmt: skip


def _key(cells: Any) -> tuple[Any, ...]:
    return tuple(None if pd.isna(v) else v for v in cells)
