"""Differences of two methods by laboratory and oil: what oils, laboratories and the rest scatter, and their mean.

A difference is ``mean + oil + laboratory + rest``, the last three random. The variances come from sums of squares of
the two-way table, each freed of the other factor (Henderson's third method: Searle, Casella and McCulloch, Variance
Components (1992), ch. 5), which for complete tables are those of analysis of variance; cells may be missing.

Limits are by generalised pivots (Weerahandi, Journal of the American Statistical Association 88 (1993) 899; from
memory): each mean square is divided by a drawn chi-square over its degrees of freedom, and the parts are taken apart
again. Two laboratories show next to nothing of how far laboratories differ, and these limits say so, where those by
Satterthwaite's degrees of freedom hold too rarely (published with the calibration).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

#: Draws behind a limit; always the same ones, so that the same rows give the same limits.
DRAWS = 20_000


@dataclass(frozen=True)
class Crossed:
    """Variances of the differences (their unit squared) and what they make of the mean and of one difference.

    ``mean_variance`` is that of the mean for oils and laboratories like these; ``total`` the variance of the difference
    of one further oil in one further laboratory. ``squares`` holds mean square, degrees of freedom and the number of
    differences that share a level, of oils, laboratories and (1) the rest; ``shares`` what a variance of oils, of
    laboratories and of the rest makes of that of the mean.
    """

    mean: float
    oils: float
    laboratories: float
    rest: float
    mean_variance: float
    total: float
    laboratory_count: int
    squares: tuple[tuple[float, int, float], ...]
    shares: tuple[float, float, float]


def crossed(values: np.ndarray, oil: np.ndarray, laboratory: np.ndarray) -> Crossed:
    """Take the variance of ``values`` (n,) apart by oil and laboratory (codes, (n,)).

    A part that comes out below zero counts as none. With no freedom left for the rest (each oil in one laboratory) it
    is nan.

    Parameters
    ----------
    values : ndarray
        (n,) One value a row, such as the difference of two methods.
    oil : ndarray
        (n,) Codes of the oils, from 0.
    laboratory : ndarray
        (n,) Codes of the laboratories, from 0.
    """
    n = len(values)
    z_oil, z_lab = (_indicators(c) for c in (oil, laboratory))
    full = _projection(np.hstack([z_oil, z_lab]))
    by_oil, by_lab = _projection(z_oil), _projection(z_lab)
    free = n - _rank(full)
    rest = float(values @ (np.eye(n) - full) @ values) / free if free > 0 else float("nan")
    found = []
    for z, other in ((z_oil, by_lab), (z_lab, by_oil)):
        more = full - other
        df = _rank(more)
        square = float(values @ more @ values) / df if df else float("nan")
        found.append((square, df, float(np.trace(z.T @ more @ z)) / df if df else float("nan")))
    oils, laboratories = (max((square - rest) / each, 0.0) for square, _, each in found)
    shares = (*(float((z.sum(axis=0) ** 2).sum()) / n**2 for z in (z_oil, z_lab)), 1 / n)
    mean_variance = shares[0] * oils + shares[1] * laboratories + rest / n
    return Crossed(
        float(values.mean()), oils, laboratories, rest, mean_variance, oils + laboratories + rest, z_lab.shape[1],
        (*found, (rest, free, 1.0)), (shares[0], shares[1], shares[2]),
    )  # fmt: skip


@lru_cache(maxsize=64)
def _drawn(freedoms: tuple[int, ...]) -> tuple[np.ndarray, ...]:
    """Chi-squares over their degrees of freedom, and standard normal values."""
    rng = np.random.default_rng(1)
    return (*(rng.chisquare(df, DRAWS) / df for df in freedoms), rng.standard_normal(DRAWS))


@dataclass(frozen=True)
class CrossedPivots:
    """Draws (:data:`DRAWS`,) of the variances of oils, laboratories and rest, and of a standard normal value."""

    oils: np.ndarray
    laboratories: np.ndarray
    rest: np.ndarray
    normal: np.ndarray


def crossed_pivots(found: Crossed) -> CrossedPivots | None:
    """The generalised pivots of the variances; None where no freedom is left for one of them."""
    if any(df < 1 for _, df, _ in found.squares):
        return None
    (s1, d1, e1), (s2, d2, e2), (s3, d3, _) = found.squares
    x1, x2, x3, normal = _drawn((d1, d2, d3))
    rest = s3 / x3
    return CrossedPivots(np.maximum((s1 / x1 - rest) / e1, 0.0), np.maximum((s2 / x2 - rest) / e2, 0.0), rest, normal)


def mean_half_width(found: Crossed, confidence: float) -> float:
    """Half-width of the limits of the mean difference for oils and laboratories like these; nan: not to be had."""
    drawn = crossed_pivots(found)
    if drawn is None:
        return float("nan")
    return float(np.quantile(np.abs(_of_mean(found, drawn)), confidence))


def agreement_distances(found: Crossed, factor: float, added: float, confidence: float) -> tuple[float, float]:
    """The near and far confidence limit of a limit of agreement, as distances from the mean difference.

    The limit lies ``factor`` standard deviations out; ``added`` is variance that is known besides.

    Parameters
    ----------
    found : Crossed
        The variances, taken apart.
    factor : float
        Standard deviations either side of the mean.
    added : float
        Variance that is known besides, kV squared.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    drawn = crossed_pivots(found)
    if drawn is None:
        return float("nan"), float("nan")
    out = factor * np.sqrt(drawn.oils + drawn.laboratories + drawn.rest + added)
    near, far = np.quantile(_of_mean(found, drawn) + out, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(near), float(far)


def _of_mean(found: Crossed, drawn: CrossedPivots) -> np.ndarray:
    a, b, c = found.shares
    return np.asarray(drawn.normal * np.sqrt(a * drawn.oils + b * drawn.laboratories + c * drawn.rest))


def _indicators(codes: np.ndarray) -> np.ndarray:
    levels, index = np.unique(codes, return_inverse=True)
    return np.asarray(np.eye(len(levels))[index])


def _projection(columns: np.ndarray) -> np.ndarray:
    return np.asarray(columns @ np.linalg.pinv(columns))


def _rank(projection: np.ndarray) -> int:
    return round(float(np.trace(projection)))
