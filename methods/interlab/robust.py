"""Robust means and spreads of a round: algorithms A and S, which need no laboratory removed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from methods.errors import NotEstimable


@dataclass(frozen=True)
class RobustMean:
    """Robust mean and standard deviation of ``n`` values, the standard uncertainty 1.25 s/√n, and the turns it took."""

    mean: float
    sd: float
    n: int
    standard_uncertainty: float
    iterations: int


def algorithm_a(values: np.ndarray, *, tolerance: float = 1e-10, most: int = 500) -> RobustMean:
    """Algorithm A of ISO 13528 (annex C) and ISO 5725-5: values beyond 1.5 s are drawn in, again and again.

    Parameters
    ----------
    values : array, shape (n,)
        One value a laboratory (its cell mean), in the unit of the data.
    tolerance : float, default 1e-10
        Relative change at which it stops.
    most : int, default 500
        Most steps.

    Raises
    ------
    NotEstimable
        Fewer than three values.
    """
    x = np.asarray(values, dtype=float)
    x = x[np.isfinite(x)]
    if x.size < 3:
        raise NotEstimable(f"A robust mean needs at least three laboratories; there are {x.size}.")
    mean = float(np.median(x))
    sd = 1.483 * float(np.median(np.abs(x - mean)))
    if sd == 0:  # more than half the values are equal: start from the plain spread, as ISO 13528 advises
        sd = float(x.std(ddof=1))
    turns = 0
    while turns < most and sd > 0:
        turns += 1
        drawn = np.clip(x, mean - 1.5 * sd, mean + 1.5 * sd)
        new_mean, new_sd = float(drawn.mean()), 1.134 * float(drawn.std(ddof=1))
        done = abs(new_mean - mean) <= tolerance * sd and abs(new_sd - sd) <= tolerance * sd
        mean, sd = new_mean, new_sd
        if done:
            break
    return RobustMean(mean, sd, int(x.size), 1.25 * sd / float(np.sqrt(x.size)), turns)


def algorithm_s(sds: np.ndarray, counts: np.ndarray, *, tolerance: float = 1e-10, most: int = 500) -> float:
    """Algorithm S of ISO 5725-5: a pooled standard deviation in which large cell spreads are drawn in.

    ``sds`` are the cells' standard deviations, ``counts`` their numbers of values (cells of one value are
    left aside). The limit factor η and the adjustment factor ξ are computed from chi-square at 10 %, which
    gives the standard's table; with unequal counts each cell has its own factors and its degrees of freedom
    as weight.

    Parameters
    ----------
    sds : ndarray
        (cells,) Standard deviations of the cells.
    counts : ndarray
        (cells,) Values in each.
    tolerance : float, default 1e-10
        Relative change at which it stops.
    most : int, default 500
        Most steps.

    Raises
    ------
    NotEstimable
        No cell with two values.

    Examples
    --------
    >>> round(algorithm_s(np.array([1.0, 1.1, 0.9, 4.0]), np.array([3, 3, 3, 3])), 2)
    1.53
    """
    s, freedom = np.asarray(sds, dtype=float), np.asarray(counts, dtype=float) - 1
    use = (freedom > 0) & np.isfinite(s)
    s, freedom = s[use], freedom[use]
    if not s.size:
        raise NotEstimable("A robust repeatability needs at least one cell with two values.")
    cut = scipy.stats.chi2.ppf(0.90, freedom)
    eta = np.sqrt(cut / freedom)
    kept = scipy.stats.chi2.cdf(cut, freedom + 2) + 0.10 * cut / freedom  # = 1 / ξ²
    w = float(np.median(s)) or float(np.sqrt((freedom * s**2).sum() / freedom.sum()))
    for _ in range(most):
        drawn = np.minimum(s, eta * w)
        new = float(np.sqrt((freedom * drawn**2).sum() / (freedom * kept).sum()))
        if abs(new - w) <= tolerance * max(w, 1e-300):
            return new
        w = new
    return w
