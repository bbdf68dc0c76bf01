"""Straight lines with error in both variables: Deming, weighted Deming, York, Passing-Bablok."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from methods.errors import InputError, NotEstimable

NAN = float("nan")


@dataclass(frozen=True)
class Line:
    """y = intercept + slope x with standard errors and limits; ``variance_ratio`` is error variance of y over x.

    ``covariance`` is of (intercept, slope) by the jackknife, nan where the method has none.
    ``residual_sd`` is the scatter of y about the line along y, which holds the errors of both.
    """

    method: str
    n: int
    intercept: float
    intercept_low: float
    intercept_high: float
    slope: float
    slope_low: float
    slope_high: float
    intercept_standard_error: float
    slope_standard_error: float
    variance_ratio: float
    residual_sd: float
    confidence: float
    covariance: np.ndarray


def _pairs(x: object, y: object, least: int) -> tuple[np.ndarray, np.ndarray]:
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.shape != ys.shape or xs.ndim != 1:
        raise InputError("x and y must be two lists of the same length.")
    if not (np.all(np.isfinite(xs)) and np.all(np.isfinite(ys))):
        raise InputError("x and y must be complete: leave out the pairs with a missing value and say so.")
    if xs.size < least:
        raise NotEstimable(f"A line with errors in both variables needs at least {least} pairs; there are {xs.size}.")
    if np.ptp(xs) == 0 or np.ptp(ys) == 0:
        raise NotEstimable("All values of one method are equal, so no line can be drawn through them.")
    return xs, ys


def _slope(u: np.ndarray, q: np.ndarray, p: np.ndarray, ratio: float) -> np.ndarray:
    """Deming slope from sums of squares of x (u), of y (q) and products (p)."""
    gap = q - ratio * u
    return (gap + np.sqrt(gap**2 + 4 * ratio * p**2)) / (2 * p)


def _without_each(x: np.ndarray, y: np.ndarray, ratio: float) -> tuple[np.ndarray, np.ndarray]:
    """Deming intercepts and slopes with each pair left out, in one pass."""
    n = x.size
    mx, my = x.mean(), y.mean()
    dx, dy = x - mx, y - my
    shrink = n / (n - 1)
    u = (dx**2).sum() - shrink * dx**2
    q = (dy**2).sum() - shrink * dy**2
    p = (dx * dy).sum() - shrink * dx * dy
    slopes = _slope(u, q, p, ratio)
    return (my - dy / (n - 1)) - slopes * (mx - dx / (n - 1)), slopes


def deming(x: object, y: object, *, variance_ratio: float = 1.0, confidence: float = 0.95) -> Line:
    """Deming regression; ``variance_ratio`` is the error variance of y over that of x (1: orthogonal).

    Standard errors by the jackknife, limits by t with n - 2 degrees of freedom (Linnet, Statistics in
    Medicine 9 (1990) 1463). Exchanging x and y and inverting the ratio inverts the slope.

    Parameters
    ----------
    x : array_like
        (n,) Readings of the first method, kV.
    y : array_like
        (n,) Readings of the second on the same oils, kV.
    variance_ratio : float, default 1.0
        Error variance of y over that of x.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        Fewer than three pairs or no correlation at all.

    Examples
    --------
    >>> round(deming([40, 50, 60, 70], [42, 51, 63, 72]).slope, 3)
    1.022
    """
    xs, ys = _pairs(x, y, 3)
    if not variance_ratio > 0:
        raise InputError(f"variance_ratio is {variance_ratio!r}; it must be above zero.")
    dx, dy = xs - xs.mean(), ys - ys.mean()
    p = float((dx * dy).sum())
    if p == 0:
        raise NotEstimable("The two methods are not correlated in these data, so there is no line.")
    slope = float(_slope((dx**2).sum(), (dy**2).sum(), np.asarray(p), variance_ratio))
    intercept = float(ys.mean() - slope * xs.mean())
    a, b = _without_each(xs, ys, variance_ratio)
    n = xs.size
    pseudo = np.column_stack([n * intercept - (n - 1) * a, n * slope - (n - 1) * b])
    cov = np.cov(pseudo, rowvar=False) / n
    se = np.sqrt(np.diag(cov))
    t = scipy.stats.t.ppf(0.5 + confidence / 2, n - 2)
    residual = ys - intercept - slope * xs
    sd = float(np.sqrt((residual**2).sum() / (n - 2)))
    return Line(
        "deming", n, intercept, intercept - t * se[0], intercept + t * se[0],
        slope, slope - t * se[1], slope + t * se[1], float(se[0]), float(se[1]), variance_ratio, sd, confidence, cov,
    )  # fmt: skip


def passing_bablok(x: object, y: object, *, confidence: float = 0.95, between: bool = False) -> Line:
    """Passing-Bablok regression: the shifted median of all pair slopes; needs no distribution and few outliers hurt.

    Slopes of exactly -1 and of equal points are set aside; limits from ranks, rounded as published, or with
    ``between`` in analogy to the median: twice the rank is rounded, and where that falls between two slopes their mean
    is taken (the rule of the R package mcr with ``slope.measure = "tangent"``).
    Source: Passing and Bablok, J. Clin. Chem. Clin. Biochem. 21 (1983) 709. Supposes that both methods
    rise together.

    Parameters
    ----------
    x : array_like
        (n,) Readings of the first method, kV.
    y : array_like
        (n,) Readings of the second on the same oils, kV.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    between : bool, default False
        Whether a limit may lie between two slopes.

    Raises
    ------
    NotEstimable
        Fewer than five pairs, or more negative slopes than the method can answer.
    """
    xs, ys = _pairs(x, y, 5)
    n = xs.size
    i, j = np.triu_indices(n, 1)
    dx, dy = xs[i] - xs[j], ys[i] - ys[j]
    keep = ~((dx == 0) & (dy == 0))
    dx, dy = dx[keep], dy[keep]
    upright = np.where(dy > 0, np.inf, -np.inf)
    slopes = np.where(dx == 0, upright, dy / np.where(dx == 0, 1.0, dx))
    slopes = np.sort(slopes[slopes != -1])
    count, shift = slopes.size, int((slopes < -1).sum())

    def at(rank: float) -> float:
        """Slope of a rank among the shifted ones; between two ranks their mean."""
        low, high = int(np.floor(rank)) + shift - 1, int(np.ceil(rank)) + shift - 1
        if low < 0 or high >= count:
            raise NotEstimable("The methods do not rise together closely enough for Passing-Bablok regression.")
        return float(slopes[low] + slopes[high]) / 2

    middle = at((count + 1) / 2)
    z = scipy.special.ndtri(0.5 + confidence / 2)
    first = (count - z * np.sqrt(n * (n - 1) * (2 * n + 5) / 18)) / 2
    low, high = (
        tuple(at((round(2 * rank) + 1) / 2) for rank in (first, count - first))
        if between
        else (at(round(first)), at(count - round(first) + 1))
    )
    if not np.isfinite([low, middle, high]).all():
        raise NotEstimable("The methods do not rise together closely enough for Passing-Bablok regression.")
    intercepts = (np.median(ys - b * xs) for b in (middle, high, low))
    intercept, intercept_low, intercept_high = (float(v) for v in intercepts)
    residual = ys - intercept - middle * xs
    return Line(
        "passing_bablok", n, intercept, intercept_low, intercept_high, middle, low, high, NAN, NAN, NAN,
        float(np.sqrt((residual**2).sum() / (n - 2))), confidence, np.full((2, 2), NAN),
    )  # fmt: skip
