"""Filling by filling: what each filling of an oil gave under each procedure, ready to be seen at one glance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import NotEstimable
from methods.records.table import as_table, filling_codes, first_rows, group_codes, withstood

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
    spread_kv : ndarray
        SD of the fillings' means behind each row of ``means``, kV.
    """

    columns: tuple[str, ...]
    rows: pd.DataFrame
    groups: pd.DataFrame
    oils: tuple[Any, ...]
    means: pd.DataFrame
    filling_means: pd.DataFrame
    confidence: float
    spread_kv: np.ndarray = field(default_factory=lambda: np.empty(0), repr=False, compare=False)

    def at(self, confidence: float) -> Clusters:
        """The same with the limits of the means at another confidence; no row is gone through again.

        Parameters
        ----------
        confidence : float
            Of the limits, a fraction between 0 and 1.
        """
        import scipy

        k, mean = self.means["fillings"].to_numpy(dtype=float), self.means["mean_kv"]
        with np.errstate(invalid="ignore", divide="ignore"):
            reach = scipy.stats.t.ppf(0.5 + confidence / 2, k - 1) * self.spread_kv / np.sqrt(k)
        return replace(self, means=self.means.assign(low_kv=mean - reach, high_kv=mean + reach), confidence=confidence)


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
    table = as_table(data)
    if not len(table):
        raise NotEstimable("There are no readings to look at.")
    group, ordered = _procedures(table, columns)
    oil, oils = _oils(table, group)
    codes = filling_codes(table, by=["file"] if "file" in table else ())
    kv, gone = table["kv"].to_numpy(dtype=float), withstood(table)
    room = int(codes.max()) + 1
    of, found = pd.factorize((group * len(oils) + oil) * room + codes, sort=True)
    stood = np.bincount(of, gone)
    mean = pd.Series(kv).groupby(of).mean().to_numpy()
    each = pd.DataFrame(
        {"group": found // room // len(oils), "oil": found // room % len(oils), "code": found % room,
         "readings": np.bincount(of), "mean_kv": np.where(stood > 0, np.nan, mean), "withstood": stood.astype(np.int64)}
    )  # fmt: skip
    each["filling"] = each.groupby(["group", "oil"]).cumcount()
    rows = pd.DataFrame(
        {"group": group, "oil": oil, "kv": kv, "withstood": gone, "filling": each["filling"].to_numpy()[of]}
    )
    grouped = each.groupby(["group", "oil"], sort=True)
    means = grouped.agg(
        fillings=("code", "size"), readings=("readings", "sum"), withstood=("withstood", "sum"),
        mean_kv=("mean_kv", "mean"), sd=("mean_kv", "std"),
    ).reset_index()  # fmt: skip
    means.loc[means["withstood"] > 0, ["mean_kv", "sd"]] = np.nan
    gathered = Clusters(
        tuple(columns), rows, ordered, oils, means.drop(columns="sd"),
        each[["group", "oil", "filling", "readings", "mean_kv"]], confidence, means["sd"].to_numpy(dtype=float),
    )  # fmt: skip
    return gathered.at(confidence)


def _procedures(table: pd.DataFrame, columns: Sequence[str]) -> tuple[np.ndarray, pd.DataFrame]:
    """The number of each row's procedure, and the procedures in order."""
    if not columns:
        return np.zeros(len(table), np.int64), pd.DataFrame(index=range(1))
    codes = group_codes(table, columns)
    different = table[list(columns)].iloc[first_rows(codes)].reset_index(drop=True)
    ordered = different.sort_values(list(columns), na_position="last")
    place = np.empty(len(ordered), np.int64)
    place[ordered.index.to_numpy()] = np.arange(len(ordered))
    return place[codes], ordered.reset_index(drop=True)


def _oils(table: pd.DataFrame, group: np.ndarray) -> tuple[np.ndarray, tuple[str, ...]]:
    """The number of each row's oil, and the oils: those under most procedures first."""
    texts = ["not named"]
    codes = np.full(len(table), -1)
    if "sample" in table:
        codes, found = pd.factorize(table["sample"])
        texts = [*(str(f) for f in found.tolist()), *texts]
    same, names = pd.factorize(np.array(texts, dtype=object))
    oil = same[codes]
    pairs = np.unique(oil * (int(group.max()) + 1) + group) // (int(group.max()) + 1)
    count = np.bincount(pairs, minlength=len(names))
    order = sorted(np.flatnonzero(count).tolist(), key=lambda o: (-int(count[o]), str(names[o])))
    place = np.full(len(names), -1)
    place[order] = np.arange(len(order))
    return place[oil], tuple(str(names[o]) for o in order)
