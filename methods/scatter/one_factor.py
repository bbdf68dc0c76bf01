"""Variances of one random factor by restricted maximum likelihood, from the means of its levels.

Patterson & Thompson, *Biometrika* 58 (1971) 545; written out for one factor in Searle, Casella & McCulloch, *Variance
Components*, Wiley 1992, 3.8. With equal numbers it is the analysis of variance, and the pooled variance where that
would find a negative component.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import scipy

Array = np.ndarray[Any, Any]

#: Where the share of the variance that lies between levels is looked for first.
_SHARES = np.linspace(0.0, 1.0, 66)[:-1]


def one_factor(sizes: Array, means: Array, within_ss: float) -> tuple[float, float]:
    """Variances (within, between) of levels of ``sizes`` (k,) with these ``means`` (k,), in the unit squared.

    ``within_ss``: sum of squares of the values about the means of their levels; above zero, of two levels or more.

    Parameters
    ----------
    sizes : ndarray
        (k,) Values in each level.
    means : ndarray
        (k,) Their means.
    within_ss : float
        Sum of squares of the values about the means of their levels.

    Examples
    --------
    >>> within, between = one_factor(np.array([3, 3, 3]), np.array([50.0, 60.0, 70.0]), 54.0)
    >>> round(float(within), 3), round(float(between), 3)
    (9.0, 97.0)
    """
    n, df = sizes.astype(float), float(sizes.sum() - 1)
    means = means - means.mean()
    if (n == n[0]).all():
        spread = float(n[0] * means @ means)
        within = within_ss / (n.sum() - len(n))
        between = (spread / (len(n) - 1) - within) / n[0]
        return (within, between) if between > 0 else ((within_ss + spread) / df, 0.0)

    def weights(ratio: Any) -> tuple[Array, Array]:
        """Of the level means, (..., k), and the squares about the mean that they give."""
        w = n / (1 + np.asarray(ratio, dtype=float)[..., None] * n)
        away = means - ((w @ means) / w.sum(-1))[..., None]
        return w, away**2

    def slope(ratio: float) -> float:
        """How minus twice the log-likelihood changes with the ratio of the variances."""
        w, squares = weights(ratio)
        return float(w.sum() - (w @ w) / w.sum() - df * (w * w @ squares) / (within_ss + w @ squares))

    ratios = _SHARES / (1 - _SHARES)
    w, squares = weights(ratios)
    deviance = (
        df * np.log(within_ss + (w * squares).sum(-1)) + np.log1p(ratios[:, None] * n).sum(-1) + np.log(w.sum(-1))
    )
    at = int(deviance.argmin())
    low, high = ratios[max(at - 1, 0)], ratios[at + 1] if at + 1 < len(ratios) else math.inf
    if at == 0 and slope(0.0) >= 0:
        ratio = 0.0
    else:
        while not math.isfinite(high) or slope(high) < 0:
            high = 2 * high if math.isfinite(high) else 2 * ratios[-1]
            if high > 1e12:
                break
        start = low if slope(low) < 0 else 0.0
        ratio = float(scipy.optimize.brentq(slope, start, high, rtol=1e-13)) if slope(start) < 0 < slope(high) else high
    w, squares = weights(ratio)
    within = float(within_ss + w @ squares) / df
    return within, ratio * within


def upper_between(sizes: Array, means: Array, within_ss: float, confidence: float) -> float:
    """Upper limit of the variance between levels by the profile of the restricted likelihood, two-sided confidence.

    For data whose level means agree so well that the difference of mean squares has no upper limit.

    Parameters
    ----------
    sizes : ndarray
        (k,) Values in each level.
    means : ndarray
        (k,) Their means.
    within_ss : float
        Sum of squares of the values about the means of their levels.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    n = sizes.astype(float)
    means = means - means.mean()
    df = float(n.sum() - len(n))
    within, between = one_factor(sizes, means, within_ss)

    def deviance(inside: float, outside: float) -> float:
        w = 1 / (outside + inside / n)
        away = means - (w @ means) / w.sum()
        found = df * math.log(inside) + within_ss / inside - np.log(w).sum() + w @ away**2 + math.log(w.sum())
        return float(found)

    def profile(outside: float) -> float:
        span = math.log(within)
        found = scipy.optimize.minimize_scalar(
            lambda v: deviance(math.exp(v), outside), bounds=(span - 4, span + 4), method="bounded",
            options={"xatol": 1e-10},
        )  # fmt: skip
        return float(found.fun)

    top = deviance(within, between) + float(scipy.special.chdtri(1, 1 - confidence))
    low = high = max(between, within / n.max() / 100)
    while profile(high) < top and high < 1e9 * within:
        low, high = high, 2 * high
    return float(scipy.optimize.brentq(lambda v: profile(v) - top, low, high, rtol=1e-10)) if high > low else low
