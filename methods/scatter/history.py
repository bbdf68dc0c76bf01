"""Scatter borrowed from other oils: of the same study, or of the laboratory's earlier tests.

One to three fillings hardly show how fillings differ. Oils that were tested by the same procedure before do, and the
coefficient of variation (CoV) within and between fillings carries over where it is much alike from oil to oil. How much
it differs is estimated too and limits what is borrowed.

Within fillings: the variances of the oils follow a scaled inverse chi-square law whose scale and degrees of freedom
come from the moments of their logarithms (G. K. Smyth, *Stat. Appl. Genet. Mol. Biol.* 3 (2004) article 3, 6.2).
Between fillings: the likelihood of the filling means of all oils with one CoV for all, over a grid; beforehand any
ratio of the SD between to that within from none to fourfold is as likely. Oils may differ between fillings by as much
as they do within.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.columns import CONDITION, PROCEDURE
from methods.errors import NotEstimable
from methods.records.table import as_table, filling_codes, group_codes, withstood
from methods.result import Caution
from methods.scatter.nested_pivots import Prior, Summary, summarise
from methods.scatter.one_oil import OneOil

Array = np.ndarray[Any, Any]

#: In place of a file: the other oils of the same table.
STUDY = "study"
#: Fewest oils of the same procedure; with fewer all oils of the history count.
FEWEST = 3
#: Largest ratio of the SD between fillings to that within that a history is searched for.
MOST_RATIO = 4.0
_LEVELS = (np.arange(200) + 0.5) / 200


@dataclass(frozen=True)
class History:
    """Scatter known from other oils, as fractions of the mean.

    ``within_cov`` with ``within_df`` degrees of freedom; ``between_cov`` (median) with its 95 % limits; ``oils`` (oils
    under one condition) and ``fillings`` behind it; ``same_procedure``: whether all were tested by the procedure asked
    for. ``between_quantiles``: the between CoV at 200 evenly spaced probabilities.
    """

    within_cov: float
    within_df: float
    between_cov: float
    between_low: float
    between_high: float
    oils: int
    fillings: int
    same_procedure: bool
    between_quantiles: tuple[float, ...]

    def prior(self, mean_kv: float) -> Prior:
        """The same in kV, for an oil of about this mean."""
        q = tuple(mean_kv * v for v in self.between_quantiles)
        return Prior(mean_kv * self.within_cov, self.within_df, mean_kv * self.between_cov, math.nan, q, relative=True)

    @property
    def sentence(self) -> str:
        where = "by the same procedure" if self.same_procedure else "whatever their procedure"
        return (
            f"Scatter borrowed from {self.oils} oils on {self.fillings} fillings, {where}: CoV within fillings "
            f"{100 * self.within_cov:.1f} % ({self.within_df:.0f} degrees of freedom), between fillings "
            f"{100 * self.between_cov:.1f} % ({100 * self.between_low:.1f} to {100 * self.between_high:.1f} %)."
        )


def scatter_history(data: Any, like: Any = None, *, without: Any = None) -> History:
    """What a record table of other oils tells of scatter.

    Parameters
    ----------
    data : Records or DataFrame
        Breakdowns with their fillings; series with withstands are left out.
    like : Records or DataFrame, optional
        Borrow from oils tested by this table's procedure, if there are three; otherwise from all.
    without : hashable, optional
        A ``(sample, condition ...)`` key of :func:`oil_keys` that is left out: the oil that borrows.

    Raises
    ------
    NotEstimable
        No oil with two fillings and repeated breakdowns.
    """
    table = as_table(data)
    same = False
    if like is not None:
        near = _alike(table, as_table(like))
        if len(np.unique(oil_keys(near))) >= FEWEST:
            table, same = near, True
    keys = oil_keys(table)
    if without is not None:
        table, keys = table[keys != without], keys[keys != without]
    return pool(_summaries(table, keys), same_procedure=same)


def history_of(history: Any, like: Any = None) -> History | None:
    """A history as it may be given: a :class:`History`, a record table, the path of its file, or None.

    Raises
    ------
    InputError
        A file that cannot be read.
    NotEstimable
        Nothing to borrow.
    """
    if history is None or isinstance(history, History):
        return history
    return scatter_history(table_of(history), like)


def table_of(history: Any) -> Any:
    """The records of a history that is given as a path; anything else as it is."""
    if isinstance(history, (str, Path)) and history != STUDY:
        from methods.records import read

        return read(history)
    return history


def what_it_did(history: History, alone: OneOil, oil: OneOil) -> Caution:
    """The borrowed scatter in words, with the limits of the mean before and after.

    Parameters
    ----------
    history : History
        What is borrowed.
    alone : OneOil
        The oil without it.
    oil : OneOil
        The oil with it.
    """
    reach = f"With it the mean lies between {oil.mean_low_kv:.1f} and {oil.mean_high_kv:.1f} kV for this oil"
    if math.isfinite(alone.mean_low_kv):
        reach += f"; without it between {alone.mean_low_kv:.1f} and {alone.mean_high_kv:.1f} kV for {alone.holds_for}"
    return Caution("history", f"{history.sentence} {reach}.")


def oil_keys(table: pd.DataFrame) -> Array:
    """A text, one a row, that tells oils and conditions apart."""
    table = as_table(table)
    out = np.full(len(table), "", dtype=object)
    for column in ("sample", *CONDITION):
        if column in table.columns:
            out = out + "\x1f" + table[column].astype(object).where(table[column].notna(), "").map(str).to_numpy()
    return out


def _alike(table: pd.DataFrame, like: pd.DataFrame) -> pd.DataFrame:
    keep = np.ones(len(table), bool)
    for column in PROCEDURE:
        wanted = like[column].dropna().unique()
        if len(wanted):
            keep &= table[column].isin(wanted).to_numpy()
    return table[keep].reset_index(drop=True)


def _summaries(table: pd.DataFrame, keys: Array) -> list[Summary]:
    """One summary an oil, divided by its mean: sums of squares are then of fractions."""
    if not len(table):
        return []
    gone, filling = withstood(table), filling_codes(table)
    kv = table["kv"].to_numpy(dtype=float)
    codes = group_codes(pd.DataFrame({"key": keys}), ["key"])
    out = []
    for code in range(int(codes.max()) + 1):
        rows = codes == code
        if gone[rows].any() or rows.sum() < 2:
            continue
        s = summarise(kv[rows], filling[rows])
        m2 = s.mean**2
        out.append(Summary(s.n, s.fillings, 1.0, s.between_ss / m2, s.within_ss / m2, s.harmonic))
    return out


def pool(oils: list[Summary], *, same_procedure: bool = False) -> History:
    """The same from summaries of oils, each divided by its mean.

    Raises
    ------
    NotEstimable
        Nothing repeats within fillings, or no oil has two fillings.
    """
    inside = [s for s in oils if s.within_df > 0 and s.within_ss > 0]
    nested = [s for s in oils if s.fillings > 1]
    if not inside or not nested:
        raise NotEstimable(
            "The history has no oil with two fillings and repeated breakdowns on them, so it tells nothing of how "
            "fillings differ. Name the fillings in its file, or leave it out."
        )
    variance, own_df = _moments(np.array([s.within_variance for s in inside]), np.array([s.within_df for s in inside]))
    whole = float(sum(s.within_df for s in inside))
    df = 1 / (1 / whole + (1 / own_df if math.isfinite(own_df) else 0.0))
    between = _between(nested, variance, whole, own_df)
    return History(
        math.sqrt(variance), df, float(np.median(between)), float(np.quantile(between, 0.025)),
        float(np.quantile(between, 0.975)), len(oils), sum(s.fillings for s in oils), same_procedure,
        tuple(float(v) for v in np.quantile(between, _LEVELS)),
    )  # fmt: skip


def _moments(variances: Array, df: Array) -> tuple[float, float]:
    """Scale and degrees of freedom of the law of the oils' variances (Smyth 2004); infinite: all alike."""
    pooled = float(df @ variances / df.sum())
    if len(variances) < 3:
        return pooled, math.inf
    e = np.log(variances) - scipy.special.digamma(df / 2) + np.log(df / 2)
    spread = float(e.var(ddof=1) - np.mean(scipy.special.polygamma(1, df / 2)))
    if spread <= 1e-4:
        return pooled, math.inf
    own = 2 * _trigamma_inverse(spread)
    scale = float(np.exp(e.mean() + scipy.special.digamma(own / 2) - np.log(own / 2)))
    return scale, max(own, 1.0)


def _trigamma_inverse(value: float) -> float:
    return float(scipy.optimize.brentq(lambda x: float(scipy.special.polygamma(1, x)) - value, 1e-3, 1e5))


def _between(oils: list[Summary], variance: float, within_df: float, own_df: float) -> Array:
    """Draws of an oil's CoV between fillings."""
    rng = np.random.default_rng(20250101)
    ratio = np.linspace(0, MOST_RATIO, 401)
    within = variance * within_df / scipy.stats.chi2.ppf((np.arange(25) + 0.5) / 25, within_df)
    log = np.zeros((len(within), len(ratio)))
    for s in oils:
        means = within[:, None] * (ratio[None, :] ** 2 + 1 / s.harmonic)
        log += -0.5 * (s.fillings - 1) * np.log(means) - 0.5 * s.between_ss / means
    weight = np.exp(log - log.max()).ravel()
    values = (ratio[None, :] * np.sqrt(within)[:, None]).ravel()
    chosen = values[np.searchsorted(np.cumsum(weight) / weight.sum(), (np.arange(8000) + 0.5) / 8000)]
    if math.isfinite(own_df):
        chosen = chosen * np.sqrt(own_df / rng.chisquare(own_df, len(chosen)))
    return np.asarray(chosen)
