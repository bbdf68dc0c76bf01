"""Probability scales: where a value belongs on them, where the ticks go, and fitted lines with limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.errors import NotEstimable
from methods.families import NORMAL, Family, family_of
from methods.scatter.arguments import check_values
from methods.scatter.fitting import Estimate

Array = np.ndarray[Any, Any]

#: Probabilities that get a tick on every scale.
TICKS: tuple[float, ...] = (
    0.0001, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.999,
    0.9999,
)  # fmt: skip


def plotting_positions(kv: Any, withstood: Any = None, *, method: str = "median_rank") -> pd.DataFrame:
    """Where each breakdown stands on a probability plot.

    Parameters
    ----------
    kv : array (n,)
        Breakdown voltages, kV; a withstand carries its ceiling and gets no point, but moves the ranks.
    withstood : bool array (n,), optional
    method : ``median_rank`` or ``kaplan_meier``
        Median of the rank's beta distribution, ranks adjusted for withstands by Johnson's method (Johnson, The
        Statistical Treatment of Fatigue Experiments, 1964; as in IEC 62539:2007); or the middle of the
        Kaplan-Meier step (Meeker & Escobar 1998, 6.4).

    Returns
    -------
    DataFrame
        One row a breakdown, ascending: ``kv, rank, probability``.

    Raises
    ------
    NotEstimable
        No breakdown.
    """
    x, gone = check_values(kv, withstood, positive=False)
    n = len(x)
    if gone.all():
        raise NotEstimable("No breakdown was seen, so there is nothing to plot on a probability scale.", column="kv")
    order = np.lexsort((gone, x))  # a breakdown comes before a withstand at the same voltage
    x, gone = x[order], gone[order]
    behind = n - np.arange(n)  # this one and all after it
    # Johnson's adjusted rank: each breakdown moves the rank on by (n + 1 - rank before) / (1 + number from here on),
    # so that n + 1 - rank shrinks by the factor behind / (behind + 1).
    left = np.cumprod(np.where(gone, 1.0, behind / (behind + 1.0)))
    rank = (n + 1) * (1 - left)
    rank = rank[~gone]
    if method == "kaplan_meier":
        survival = np.cumprod(np.where(gone, 1.0, 1 - 1 / behind))[~gone]
        before = np.concatenate([[1.0], survival[:-1]])
        p = 1 - (survival + before) / 2
    else:
        p = _median_ranks(rank, n)
    return pd.DataFrame({"kv": x[~gone], "rank": rank, "probability": p})


def _median_ranks(rank: Array, n: int) -> Array:
    """Medians of the ranks' beta distributions; far inside a large sample ``(rank - 1/3) / (n + 1/3)`` equals them."""
    p = (rank - 1 / 3) / (n + 1 / 3)
    ends = np.ones(len(rank), dtype=bool) if n <= 2000 else np.minimum(rank, n + 1 - rank) <= 200
    p[ends] = scipy.special.betaincinv(rank[ends], n + 1 - rank[ends], 0.5)
    return p


def probability_position(p: Any, family: str) -> Array:
    """Height on the probability scale of a family (its standard quantile), for probabilities of any shape.

    On this scale, against kV (normal, Gumbel) or ln kV (lognormal, Weibull), the family is a straight line.
    """
    with np.errstate(divide="ignore"):
        return family_of(family).kernel.quantile(np.asarray(p, dtype=float))


def probability_ticks(family: str, low: float = 0.001, high: float = 0.999) -> pd.DataFrame:
    """Ticks at true probabilities between ``low`` and ``high``: ``probability, position, label``.

    Parameters
    ----------
    family : str
        Name of the family whose scale it is.
    low : float, default 0.001
        Lowest probability, a fraction.
    high : float, default 0.999
        Highest.
    """
    chosen = np.array([p for p in TICKS if low <= p <= high])
    labels = [f"{100 * p:g} %" for p in chosen]
    return pd.DataFrame({"probability": chosen, "position": probability_position(chosen, family), "label": labels})


def log_voltage(family: str) -> bool:
    """Whether the voltage axis of this family's probability plot is logarithmic."""
    return family_of(family).log


def curve_of(
    found: Estimate, *, probabilities: Sequence[float] | None = None, confidence: float = 0.95, interval: str = "pivot"
) -> pd.DataFrame:
    """The same from an estimate that is there already.

    Limits of a whole curve are made at every fourth point and drawn smoothly between.

    Parameters
    ----------
    found : Estimate
        The estimate.
    probabilities : sequence of float, optional
        Fractions at which the curve is given; 81 by default.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    interval : str, default 'pivot'
        ``pivot``, ``wald``, ``profile`` ...; see :func:`methods.fit`.
    """
    fam: Family = family_of(found.family)
    if probabilities is None:
        ends = fam.kernel.quantile(np.array([0.001, 0.999]))
        z = np.linspace(ends[0], ends[1], 81)
        p = -np.expm1(fam.kernel.survival(z)[0])
    else:
        p = np.asarray(probabilities, dtype=float)
    every = slice(None, None, 4) if len(p) > 40 and len(p) % 4 == 1 and np.all(np.diff(p) > 0) else slice(None)
    fitted = found.fit(confidence=confidence, percentiles=p[every].tolist(), interval=interval)
    position = np.asarray(fam.kernel.quantile(p), dtype=float)
    low, high = (
        _smooth(position[every], [getattr(r, name) for r in fitted.percentiles], position, fam.log)
        for name in ("low", "high")
    )
    if fam.kernel is NORMAL:  # with fillings its percentiles are not those of the parameters
        ends = np.array([fitted.percentiles[i].kv for i in (0, -1)])
        ends = np.log(ends) if fam.log else ends
        at = ends[0] + (position - position[0]) * np.ptp(ends) / np.ptp(position) if len(p) > 1 else ends[:1]
        at = np.exp(at) if fam.log else at
    else:
        at = fitted.quantile(p)
    return pd.DataFrame(
        {"probability": p, "position": position, "kv": at, "low": low, "high": high, "density": fitted.pdf(at)}
    )


def _smooth(x: Array, kv: Sequence[float], at: Array, log: bool) -> Array:
    """``kv`` (given at ``x``) at the places ``at``: a smooth curve through all of them."""
    y = np.asarray(kv, dtype=float)
    if len(x) == len(at):
        return y
    if not np.isfinite(y).all() or log and y.min() <= 0:
        return np.interp(at, x, y)
    found = scipy.interpolate.PchipInterpolator(x, np.log(y) if log else y)(at)
    return np.asarray(np.exp(found) if log else found)
