"""Correlation of neighbouring breakdowns, pooled over fillings and corrected for the shortness of the series."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

Floats = NDArray[Any]

_GRID = np.linspace(-0.995, 0.995, 399)


class Lag1(NamedTuple):
    """Corrected correlation with limits (nan with fewer than three fillings), the raw one, and its standard error."""

    estimate: float
    low: float
    high: float
    standard_error: float
    raw: float
    pairs: int


def pooled_lag1(series: Sequence[Floats], order: Sequence[Floats], confidence: float = 0.95) -> Lag1:
    """Pool the lag-1 correlation over fillings.

    ``series`` holds kV of each filling, ``order`` the breakdown numbers; neighbours are breakdowns whose numbers
    differ by one. Filling means and the pooled linear trend are removed first. What that takes from the correlation
    (about ``-1/n``: -0.2 for series of five) is put back by equating the observed ratio of sums of products to the
    ratio of their exact expectations under a first-order autoregression, solved for its correlation. This is the
    pooled, exact-expectation form of the correction of Kendall, Biometrika 41 (1954) 403, and Marriott & Pope,
    ibid. 390, whose ``-(1 + 3 rho)/n`` is its first-order term for a single series. Uncertainty: leave one filling
    out (jackknife) with t on fillings - 1.

    Parameters
    ----------
    series : sequence of Floats
        Voltages of each filling, kV.
    order : sequence of Floats
        Numbers of the breakdowns of each filling.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    """
    kept = [(np.asarray(y, dtype=float), np.asarray(x, dtype=float)) for y, x in zip(series, order, strict=True)]
    kept = [(y, x) for y, x in kept if len(y) >= 3]
    k = len(kept)
    pairs = int(sum((np.abs(x[:, None] - x) == 1).sum() // 2 for _, x in kept))
    if k == 0 or pairs == 0:
        return Lag1(np.nan, np.nan, np.nan, np.nan, np.nan, pairs)
    observed = np.array([_observed(y, x) for y, x in kept])
    shapes, pattern = _patterns([x for _, x in kept])
    expected = np.array([_expected(x) for x in shapes])
    counts = np.bincount(pattern, minlength=len(shapes)).astype(float)
    raw, whole = _solve(observed.sum(axis=0), counts, expected)
    if k < 3 or not np.isfinite(whole):
        return Lag1(whole, np.nan, np.nan, np.nan, raw, pairs)
    total, one = observed.sum(axis=0), np.eye(len(shapes))
    left_out = np.array([_solve(total - observed[i], counts - one[pattern[i]], expected)[1] for i in range(k)])
    se = float(np.sqrt((k - 1) / k * ((left_out - left_out.mean()) ** 2).sum()))
    width = float(scipy.stats.t.isf((1 - confidence) / 2, k - 1)) * se
    return Lag1(whole, max(whole - width, -1.0), min(whole + width, 1.0), se, raw, pairs)


def _patterns(numbers: Sequence[Floats]) -> tuple[list[Floats], NDArray[np.int64]]:
    """The different sets of breakdown numbers, and which one each filling has."""
    seen: dict[bytes, int] = {}
    shapes: list[Floats] = []
    code = []
    for x in numbers:
        key = (x - x[0]).tobytes()
        if key not in seen:
            seen[key] = len(shapes)
            shapes.append(x)
        code.append(seen[key])
    return shapes, np.array(code)


def _neighbour_form(x: Floats) -> tuple[Floats, Floats]:
    """Matrix B with ``y' B y`` = sum of products of neighbouring deviations from the filling mean, and the centring."""
    n = len(x)
    centre = np.eye(n) - 1 / n
    return centre @ ((np.abs(x[:, None] - x) == 1) / 2) @ centre, centre


def _observed(y: Floats, x: Floats) -> Floats:
    """Sums of one filling from which the ratio follows for any set of fillings."""
    b, _ = _neighbour_form(x)
    e, u = y - y.mean(), x - x.mean()
    return np.array([e @ b @ e, e @ b @ u, u @ b @ u, e @ e, e @ u, u @ u])


def _expected(x: Floats) -> Floats:
    """Expectations of the same sums for unit variance, a column for each correlation of the grid."""
    b, centre = _neighbour_form(x)
    u = x - x.mean()
    gap = np.abs(x[:, None] - x)
    r = np.sign(_GRID)[:, None, None] ** gap * np.abs(_GRID)[:, None, None] ** gap  # 0 to the 0 is 1, as it should be
    ru = r @ u
    one = np.ones(len(_GRID))
    return np.array([
        (b * r).sum(axis=(1, 2)), (centre * r).sum(axis=(1, 2)), ru @ (b @ u), ru @ u, one * (u @ b @ u), one * (u @ u),
    ])  # fmt: skip


def _solve(sums: Floats, counts: Floats, expected: Floats) -> tuple[float, float]:
    """The observed ratio after removal of the pooled trend, and the correlation whose expected ratio it is."""
    yby, ybx, xbx, yy, xy, xx = sums
    slope = xy / xx
    square = yy - slope * xy
    if square <= 1e-12 * yy:
        return np.nan, np.nan
    raw = float((yby - 2 * slope * ybx + slope**2 * xbx) / square)
    top, bottom, across, spread, pull, scale = np.tensordot(counts, expected, axes=1)
    ratio = (top - 2 * across / scale + pull * spread / scale**2) / (bottom - spread / scale)
    return raw, float(np.interp(raw, np.maximum.accumulate(ratio), _GRID))
