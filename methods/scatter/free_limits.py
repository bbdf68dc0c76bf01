"""Limits of a percentile with no family assumed, from the order statistics of independent breakdowns.

Source: W. R. Thompson, *Ann. Math. Statist.* 7 (1936) 122; S. S. Wilks, *Ann. Math. Statist.* 12 (1941) 91; ISO
16269-6.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from methods.confidence import check_confidence
from methods.errors import InputError
from methods.scatter.arguments import check_values


@dataclass(frozen=True)
class FreeLimits:
    """Limits of the ``p`` point, kV; nan where not even the lowest or the highest of ``n`` is one, or it withstood."""

    p: float
    low: float
    high: float
    n: int
    confidence: float


def free_limits(
    kv: Any,
    withstood: Any = None,
    fillings: Any = None,
    *,
    percentiles: Sequence[float] = (0.01, 0.1, 0.5),
    confidence: float = 0.95,
) -> tuple[FreeLimits, ...]:
    """Limits of percentiles, whatever the distribution.

    Parameters
    ----------
    kv, withstood : arrays (n,)
        Breakdown voltages, kV; a withstand carries its ceiling and counts as at least that.
    fillings : array (n,), optional
        Labels. Values of several fillings, several on one, are not independent: then there are no such limits.
    percentiles : sequence of float
        Fractions below the point.
    confidence : float
        At least this, for two-sided limits; ranks come in steps.

    Returns
    -------
    tuple of FreeLimits
        Empty where values are not independent.

    Examples
    --------
    >>> from methods.scatter.free_limits import free_limits
    >>> free_limits([41.0, 44, 45, 47, 52, 55], percentiles=[0.5])[0].low
    41.0
    """
    x, gone = check_values(kv, withstood)
    if fillings is not None and 1 < len(np.unique(np.asarray(fillings))) < len(x):
        return ()
    least, most = np.sort(x), np.sort(np.where(gone, np.inf, x))
    out = []
    for p in percentiles:
        low, high = quantile_ranks(len(x), p, confidence)
        top = most[high - 1] if high is not None else math.inf
        out.append(
            FreeLimits(
                p, float(least[low - 1]) if low is not None else math.nan,
                float(top) if math.isfinite(top) else math.nan, len(x), confidence,
            )
        )  # fmt: skip
    return tuple(out)


def quantile_ranks(n: int, p: float, confidence: float = 0.95) -> tuple[int | None, int | None]:
    """Ranks (from 1) of the breakdowns that bound the ``p`` point, at most half the risk at each end.

    None where even the lowest or the highest of ``n`` is no bound with that confidence.

    Parameters
    ----------
    n : int
        Number of values.
    p : float
        Fraction below the percentile.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Examples
    --------
    >>> quantile_ranks(20, 0.5)
    (6, 15)
    """
    check_confidence(confidence)
    if n < 1 or not 0 < p < 1:
        raise InputError("Ranks need one value or more, and a percentile between 0 and 1.")
    tail = (1 - confidence) / 2
    low = 0
    while low < n and scipy.stats.binom.cdf(low, n, p) <= tail:
        low += 1
    high = n + 1
    while high > 1 and scipy.stats.binom.sf(high - 2, n, p) <= tail:
        high -= 1
    return (low if low >= 1 else None), (high if high <= n else None)
