"""Two (or several) plain samples: t, rank and variance tests on arrays. Thin over SciPy where SciPy has it.

These take independent values, one a unit of replication (filling means, say); :func:`methods.shift`
chooses the unit and calls the same formulas.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import scipy

from methods.errors import InputError, NotEstimable


@dataclass(frozen=True)
class TTest:
    """A t-test of a difference of means (first - second)."""

    difference: float
    t: float
    df: float
    p_value: float
    low: float
    high: float


@dataclass(frozen=True)
class RankTest:
    """Mann-Whitney test and Hodges-Lehmann shift (first - second).

    ``w``: number of pairs in which the first is larger, ties half; ``superiority`` = w over all pairs;
    ``level``: the confidence that the limits really have (exact limits come in steps).
    """

    w: float
    p_value: float
    shift: float
    low: float
    high: float
    level: float
    superiority: float
    exact: bool


@dataclass(frozen=True)
class Statistic:
    """A test statistic, its degrees of freedom and p-value."""

    value: float
    p_value: float
    df: float = float("nan")
    df2: float = float("nan")


def _clean(values: Any, name: str, least: int = 2) -> np.ndarray:
    out = np.asarray(values, dtype=float)
    if out.ndim != 1:
        raise InputError(f"{name} must be one row of numbers.")
    if not np.isfinite(out).all():
        raise InputError(f"{name} holds something that is not a number.")
    if len(out) < least:
        raise NotEstimable(f"{name} holds {len(out)} values; at least {least} are needed.")
    return out


def t_from_summary(
    mean1: float, sd1: float, n1: int, mean2: float, sd2: float, n2: int, *,
    equal_sd: bool = False, confidence: float = 0.95,
) -> TTest:  # fmt: skip
    """t-test from means, SDs and numbers: Welch (Biometrika 34 (1947) 28), or pooled with ``equal_sd``.

    Parameters
    ----------
    mean1 : float
        Mean of the first.
    sd1 : float
        Its SD.
    n1 : int
        Its number of values, 2 or more.
    mean2 : float
        Mean of the second.
    sd2 : float
        Its SD.
    n2 : int
        Its number of values, 2 or more.
    equal_sd : bool, default False
        Whether the SDs are pooled.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Examples
    --------
    >>> round(t_from_summary(60, 6, 10, 54, 5, 10).p_value, 3)
    0.026
    """
    if min(n1, n2) < 2:
        raise NotEstimable("A t-test of two means needs two values on each side.")
    a, b = sd1**2 / n1, sd2**2 / n2
    if equal_sd:
        df = float(n1 + n2 - 2)
        pooled = ((n1 - 1) * sd1**2 + (n2 - 1) * sd2**2) / df
        error = math.sqrt(pooled * (1 / n1 + 1 / n2))
    else:
        error = math.sqrt(a + b)
        df = (a + b) ** 2 / (a**2 / (n1 - 1) + b**2 / (n2 - 1)) if error > 0 else float("nan")
    if not error > 0:
        raise NotEstimable("The values do not differ at all within a side: there is no scatter to test against.")
    difference = mean1 - mean2
    half = float(scipy.stats.t.ppf(0.5 + confidence / 2, df)) * error
    p = float(2 * scipy.stats.t.sf(abs(difference) / error, df))
    return TTest(difference, difference / error, df, p, difference - half, difference + half)


def rank_test(first: Any, second: Any, *, confidence: float = 0.95, exact: bool | None = None) -> RankTest:
    """Mann-Whitney test and the Hodges-Lehmann shift with limits.

    Without ties and with fewer than 50 values on each side: exact (Bauer, JASA 67 (1972) 687). Otherwise
    the normal approximation with continuity correction and correction for ties. The estimate is the
    median of all pairwise differences (Hodges and Lehmann 1963).

    Parameters
    ----------
    first : array_like
        (n,) Values.
    second : array_like
        (m,) Values.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    exact : bool, optional
        Whether the exact distribution is used; by default where it holds.

    Examples
    --------
    >>> rank_test([50, 52, 55, 61], [60, 63, 64, 70]).shift
    -9.5
    """
    x, y = _clean(first, "The first sample", 1), _clean(second, "The second sample", 1)
    tied = len(np.unique(np.concatenate([x, y]))) < len(x) + len(y)
    if exact is None:
        exact = not tied and max(len(x), len(y)) < 50
    if exact and tied:
        raise InputError("There are ties, so the exact distribution does not hold; use exact=False.")
    result = scipy.stats.mannwhitneyu(x, y, alternative="two-sided", method="exact" if exact else "asymptotic")
    differences = np.sort(np.subtract.outer(x, y).ravel())
    if exact:
        low, high, level = _exact_limits(differences, len(x), len(y), confidence)
    else:
        low, high, level = *_rank_limits(x, y, confidence), confidence
    w = float(result.statistic)
    return RankTest(
        w, float(result.pvalue), float(np.median(differences)), low, high, level, w / (len(x) * len(y)), exact
    )


def _exact_limits(differences: np.ndarray, m: int, n: int, confidence: float) -> tuple[float, float, float]:
    """Order statistics of the pairwise differences; the confidence is at least that asked, where it can be."""
    counts = _mann_whitney_counts(m, n)
    cdf = np.cumsum(counts) / counts.sum()
    q = max(int(np.searchsorted(cdf, (1 - confidence) / 2)), 1)
    return float(differences[q - 1]), float(differences[m * n - q]), float(1 - 2 * cdf[q - 1])


def _mann_whitney_counts(m: int, n: int) -> np.ndarray:
    """Number of arrangements for each value 0..mn of the statistic: the Gaussian binomial coefficients."""
    poly = np.zeros(m * n + 1)
    poly[0] = 1.0
    for i in range(1, m + 1):  # multiply by (1 - q^(n+i)) and divide by (1 - q^i)
        if n + i <= m * n:
            poly[n + i :] -= poly[: -(n + i)].copy()
        for j in range(i, m * n + 1):
            poly[j] += poly[j - i]
    return poly


def _rank_limits(x: np.ndarray, y: np.ndarray, confidence: float) -> tuple[float, float]:
    """Shifts at which the corrected normal rank test just stops rejecting."""
    m, n = len(x), len(y)
    z = float(scipy.special.ndtri(0.5 + confidence / 2))

    def excess(shift: float, target: float) -> float:
        ranks = scipy.stats.rankdata(np.concatenate([x - shift, y]))
        centred = ranks[:m].sum() - m * (m + 1) / 2 - m * n / 2
        ties = np.unique(ranks, return_counts=True)[1].astype(float)
        variance = m * n / 12 * (m + n + 1 - float(np.sum(ties**3 - ties)) / ((m + n) * (m + n - 1)))
        return float((centred - math.copysign(0.5, target)) / math.sqrt(variance) - target) if variance > 0 else -target

    lowest, highest = float(x.min() - y.max()), float(x.max() - y.min())

    def root(target: float) -> float:
        if excess(lowest, target) <= 0:
            return lowest
        if excess(highest, target) >= 0:
            return highest
        return float(scipy.optimize.brentq(excess, lowest, highest, args=(target,), xtol=1e-6))

    return root(z), root(-z)


def levene(*groups: Any, center: str = "median") -> Statistic:
    """Levene's test of equal scatter; with the median, Brown and Forsythe's (JASA 69 (1974) 364)."""
    values = [_clean(g, "A group") for g in groups]
    if center not in ("median", "mean"):
        raise InputError(f"center is {center!r}; use median or mean.")
    middle: Literal["median", "mean"] = "mean" if center == "mean" else "median"
    result = scipy.stats.levene(*values, center=middle)
    return Statistic(
        float(result.statistic), float(result.pvalue), len(values) - 1, sum(map(len, values)) - len(values)
    )


def kruskal(*groups: Any) -> Statistic:
    """Kruskal and Wallis's rank test of equal location."""
    result = scipy.stats.kruskal(*[_clean(g, "A group") for g in groups])
    return Statistic(float(result.statistic), float(result.pvalue), len(groups) - 1)


def means_test(*groups: Any, equal_sd: bool = True) -> Statistic:
    """One-way analysis of variance, or Welch's (Biometrika 38 (1951) 330) where the SDs may differ."""
    values = [_clean(g, "A group") for g in groups]
    k, total = len(values), sum(map(len, values))
    if equal_sd:
        result = scipy.stats.f_oneway(*values)
        return Statistic(float(result.statistic), float(result.pvalue), k - 1, total - k)
    n = np.array([len(v) for v in values], dtype=float)
    means = np.array([v.mean() for v in values])
    weight = n / np.array([v.var(ddof=1) for v in values])
    grand = float(np.sum(weight * means) / weight.sum())
    spread = float(np.sum((1 - weight / weight.sum()) ** 2 / (n - 1)))
    f = float(np.sum(weight * (means - grand) ** 2)) / (k - 1) / (1 + 2 * (k - 2) / (k**2 - 1) * spread)
    df2 = (k**2 - 1) / (3 * spread)
    return Statistic(f, float(scipy.stats.f.sf(f, k - 1, df2)), k - 1, df2)
