"""Statistics of one ordered series: correlation of neighbours, runs, ranks, trend, change point; AR(1) mean.

Every function takes the values (n,) in the order in which they were taken. p-values are two-sided and from the
normal approximation unless said; for series of five or six only pooled ones (:mod:`methods.scatter.order`) help.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from methods.errors import InputError, NotEstimable

Floats = NDArray[Any]


class SerialTest(NamedTuple):
    """A statistic, its expectation and variance without any order effect, z and the two-sided p-value."""

    statistic: float
    expected: float
    variance: float
    z: float
    p_value: float


def _series(kv: ArrayLike, least: int = 3) -> Floats:
    y = np.asarray(kv, dtype=float)
    if y.ndim != 1 or not np.isfinite(y).all():
        raise InputError("A series must be one row of finite values in their order.")
    if len(y) < least:
        raise NotEstimable(f"A series of {len(y)} is too short; {least} values are needed.")
    return y


def _test(statistic: float, expected: float, variance: float, correction: float = 0.0) -> SerialTest:
    away = statistic - expected
    z = float(np.sign(away) * max(abs(away) - correction, 0.0) / np.sqrt(variance)) if variance > 0 else 0.0
    return SerialTest(float(statistic), float(expected), float(variance), z, float(2 * scipy.special.ndtr(-abs(z))))


def von_neumann(kv: ArrayLike) -> SerialTest:
    """Squared successive differences over squared deviations, 2 on average; z is positive when neighbours agree.

    von Neumann, Ann. Math. Statist. 12 (1941) 367: variance ``4 (n-2)/(n^2-1)`` for normal values.
    """
    y = _series(kv)
    e = y - y.mean()
    if not e.any():
        raise NotEstimable("All values of the series are equal.")
    ratio = float((np.diff(y) ** 2).sum() / (e @ e))
    n = len(y)
    found = _test(ratio, 2.0, 4 * (n - 2) / (n**2 - 1))
    return found._replace(z=-found.z)


def bartels(kv: ArrayLike) -> SerialTest:
    """von Neumann's ratio of the ranks (Bartels, J. Am. Stat. Assoc. 77 (1982) 40); z below 0 when neighbours agree."""
    r = scipy.stats.rankdata(_series(kv))
    n = len(r)
    e = r - r.mean()
    if not e.any():
        raise NotEstimable("All values of the series are equal.")
    variance = 4 * (n - 2) * (5 * n**2 - 2 * n - 9) / (5 * n * (n + 1) * (n - 1) ** 2)
    return _test(float((np.diff(r) ** 2).sum() / (e @ e)), 2.0, variance)


def runs(kv: ArrayLike) -> tuple[SerialTest, int, int]:
    """Runs above and below the median, values at the median left out; and how many lie above and below.

    Wald and Wolfowitz, Ann. Math. Statist. 11 (1940) 147.
    """
    y = _series(kv)
    side = np.sign(y - np.median(y))
    side = side[side != 0]
    up, down = int((side > 0).sum()), int((side < 0).sum())
    n = up + down
    if n < 2 or not up or not down:
        raise NotEstimable("Too few values lie off the median for a runs test.")
    count = 1 + int((np.diff(side) != 0).sum())
    variance = 2 * up * down * (2 * up * down - n) / (n**2 * (n - 1))
    return _test(count, 1 + 2 * up * down / n, variance), up, down


def mann_kendall(kv: ArrayLike) -> tuple[SerialTest, float]:
    """Mann and Kendall's S with the tie-corrected variance and continuity correction; and Kendall's tau-b.

    Mann, Econometrica 13 (1945) 245; Kendall, Rank Correlation Methods, 4th ed. 1975.
    """
    y = _series(kv)
    n = len(y)
    s = float(np.sign(y[None, :] - y[:, None])[np.triu_indices(n, 1)].sum())
    ties = np.unique(y, return_counts=True)[1].astype(float)
    variance = (n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18
    pairs = n * (n - 1) / 2
    free = pairs - float((ties * (ties - 1) / 2).sum())
    tau = s / float(np.sqrt(pairs * free)) if free > 0 else 0.0
    return _test(s, 0.0, variance, correction=1.0), tau


def sen_slope(
    *series: ArrayLike, numbers: Sequence[ArrayLike] | None = None, confidence: float = 0.95
) -> tuple[float, float, float]:
    """Median slope of all pairs within series, with limits from the variance of S.

    Parameters
    ----------
    *series : array_like, each (n,)
        Values in their order, kV; pairs are taken within each series, never across two.
    numbers : sequence of array_like, optional
        The numbers of the values in each series; 1, 2, 3 ... by default.
    confidence : float

    Returns
    -------
    slope, low, high : float
        kV from one value to the next.

    Raises
    ------
    NotEstimable
        A series has fewer than three values.

    Notes
    -----
    Sen, J. Am. Stat. Assoc. 63 (1968) 1379; for several series Hirsch, Slack and Smith, Water Resour. Res. 18 (1982)
    107, whose S and variance are the sums over the series.

    Examples
    --------
    >>> sen_slope([50.0, 52.0, 51.0, 55.0, 58.0])[0]
    2.0
    """
    slopes, variance = [], 0.0
    for kv, x in zip(series, numbers or [np.arange(len(np.asarray(s))) for s in series], strict=True):
        y = _series(kv)
        at = np.asarray(x, dtype=float)
        i, j = np.triu_indices(len(y), 1)
        slopes.append((y[j] - y[i]) / (at[j] - at[i]))
        variance += mann_kendall(y)[0].variance
    ordered = np.sort(np.concatenate(slopes))
    width = float(-scipy.special.ndtri((1 - confidence) / 2) * np.sqrt(variance))
    m = len(ordered)
    low, high = int(np.round((m - width) / 2)), int(np.round((m + width) / 2 + 1))
    return float(np.median(ordered)), float(ordered[max(low, 1) - 1]), float(ordered[min(high, m) - 1])


def variance_inflation(rho: float, n: int) -> float:
    """By how much the variance of a mean of ``n`` exceeds that of independent values, for AR(1) correlation ``rho``.

    ``1 + 2 sum_k (1 - k/n) rho^k``: 1.18 / 1.40 / 1.65 / 2.34 for n = 6 and rho = 0.1 / 0.2 / 0.3 / 0.5.

    Raises
    ------
    InputError
        ``rho`` not between -1 and 1, ``n`` below 1.
    """
    if not -1 < rho < 1 or n < 1:
        raise InputError("The correlation must lie between -1 and 1 and the number must be at least 1.")
    k = np.arange(1, n)
    return float(1 + 2 * ((1 - k / n) * rho**k).sum())


def effective_number(rho: float, n: int) -> float:
    """How many independent values know the mean as well as ``n`` values with AR(1) correlation ``rho``."""
    return n / variance_inflation(rho, n)
