"""Power of t tests and of the one-way analysis of variance, by the noncentral distributions; sample sizes from them.

Source: J. Cohen, *Statistical Power Analysis for the Behavioral Sciences* (1988); the noncentral t and F of SciPy.
Effects are in units of the SD. A two-sided power counts both tails.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from methods.errors import InputError


def power_t(noncentrality: float, df: float, confidence: float = 0.95, sides: int = 2) -> float:
    """Power of a t test with ``df`` degrees of freedom when the statistic's noncentrality is as given.

    Parameters
    ----------
    noncentrality : float
        True effect over its standard error.
    df : float
        Degrees of freedom.
    confidence : float, default 0.95
        Of the test, a fraction.
    sides : int, default 2
        1 or 2.

    Examples
    --------
    >>> round(power_t(2.5, 18), 2)
    0.66
    """
    alpha = 1 - confidence
    if sides == 2:
        critical = float(scipy.stats.t.ppf(1 - alpha / 2, df))
        upper, lower = _upper(critical, df, noncentrality), _lower(-critical, df, noncentrality)
        return min(upper + lower, 1.0)
    if sides == 1:
        return _upper(float(scipy.stats.t.ppf(1 - alpha, df)), df, noncentrality)
    raise InputError(f"sides is {sides!r}; a test has 1 or 2.", column="sides", text=str(sides))


def _upper(x: float, df: float, noncentrality: float) -> float:
    if noncentrality - x > 40:  # SciPy's series gives nan far out, where the answer is 1 to all digits
        return 1.0
    return float(scipy.stats.nct.sf(x, df, noncentrality))


def _lower(x: float, df: float, noncentrality: float) -> float:
    if noncentrality > 20:
        return 0.0
    value = float(scipy.stats.nct.cdf(x, df, noncentrality))
    return value if np.isfinite(value) else 0.0


def power_two_sample(
    effect: float, n1: float, n2: float | None = None, confidence: float = 0.95, sides: int = 2
) -> float:
    """Power of the two-sample t test with ``n1`` and ``n2`` values (equal SDs) to see a shift of ``effect`` SDs.

    Parameters
    ----------
    effect : float
        True shift, in SDs.
    n1 : float
        Values on one side.
    n2 : float, optional
        Values on the other; as many by default.
    confidence : float, default 0.95
        Of the test, a fraction.
    sides : int, default 2
        1 or 2.

    Examples
    --------
    >>> round(power_two_sample(0.5, 64), 2)
    0.8
    """
    second = n1 if n2 is None else n2
    return power_t(effect / np.sqrt(1 / n1 + 1 / second), n1 + second - 2, confidence, sides)


@lru_cache(maxsize=512)
def welch_nodes(n: int, confidence: float, sides: int, points: int = 80) -> tuple[NDArray[Any], NDArray[Any]]:
    """Critical values of Welch's test with ``n`` values on each side over the shares of the two variances; weights.

    The share of the first sample's variance in the sum of both follows a beta law, whatever their sum is.

    Parameters
    ----------
    n : int
        Values on each side.
    confidence : float
        Of the test, a fraction.
    sides : int
        1 or 2.
    points : int, default 80
        Number of nodes.
    """
    alpha = 1 - confidence
    x, w = np.polynomial.legendre.leggauss(points)
    u = (1 - np.cos(np.pi * (x + 1) / 2)) / 2  # nodes crowd at both ends, where the law of two values lies
    weight = w * np.pi / 4 * np.sin(np.pi * (x + 1) / 2) * scipy.stats.beta.pdf(u, (n - 1) / 2, (n - 1) / 2)
    df = (n - 1) / (u**2 + (1 - u) ** 2)
    return scipy.special.stdtrit(df, 1 - alpha / sides), weight / weight.sum()


def power_welch(effect: float, n: int, confidence: float = 0.95, sides: int = 2) -> float:
    """Power of Welch's test, as a shift is tested, with ``n`` values on each side and equal SDs.

    With equal numbers Welch's statistic is the pooled one; only its degrees of freedom vary with the share of the two
    variances in their sum, which is independent of that sum: the noncentral t's power is averaged over the shares.

    Parameters
    ----------
    effect : float
        True shift, in SDs.
    n : int
        Values on each side.
    confidence : float, default 0.95
        Of the test, a fraction.
    sides : int, default 2
        1 or 2.
    """
    if sides not in (1, 2):
        raise InputError(f"sides is {sides!r}; a test has 1 or 2.", column="sides", text=str(sides))
    critical, weight = welch_nodes(int(n), float(confidence), sides)
    noncentrality, df = effect * np.sqrt(n / 2), 2 * (n - 1)
    if noncentrality - critical.max() > 40:
        return 1.0
    seen = scipy.stats.nct.sf(critical, df, noncentrality)
    seen = np.where(noncentrality - critical > 40, 1.0, seen)
    if sides == 2 and noncentrality <= 20:
        seen = seen + np.nan_to_num(scipy.stats.nct.cdf(-critical, df, noncentrality))
    return float(min(weight @ seen, 1.0))


def power_one_sample(effect: float, n: float, confidence: float = 0.95, sides: int = 2) -> float:
    """Power of the one-sample (or paired) t test with ``n`` values to see a mean of ``effect`` SDs.

    Parameters
    ----------
    effect : float
        True mean, in SDs.
    n : float
        Number of values or pairs.
    confidence : float, default 0.95
        Of the test, a fraction.
    sides : int, default 2
        1 or 2.
    """
    return power_t(effect * np.sqrt(n), n - 1, confidence, sides)
