"""Confidence limits of each standard deviation of a variance-component model."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from methods.scatter.anova import MeanSquare, difference_limits, sd_limits, sequential
from methods.scatter.degrees import FixedEffects
from methods.scatter.reml import Criterion, VarianceEstimate
from methods.scatter.search import SCORED_CELLS, Scoring, search
from methods.scatter.variance_profile import NewtonProfile, rough_errors

Floats = NDArray[Any]
Pair = tuple[float, float]

#: Up to this number of cells the balance of a design is examined and mean squares are formed.
EXAMINED_CELLS = 400
#: Up to this number of levels in the factors beside the largest one, limits come from the profile likelihood.
PROFILED_LEVELS = 150
#: With more components than this the profile would take minutes.
PROFILED_COMPONENTS = 5


def component_limits(
    criterion: Criterion, estimate: VarianceEstimate, precision: FixedEffects, confidence: float, how: str = "auto"
) -> tuple[list[Pair], str]:
    """Limits (sd) of each factor and of each residual group, and the name of the method that gave them.

    Balanced designs: modified large-sample limits from mean squares (Ting et al. 1990; Burdick & Graybill 1992).
    One factor, unequal numbers: the same on the unweighted means (Thomas & Hultquist 1978). Otherwise the profile
    of the restricted likelihood, and for very large tables the logarithmic normal approximation. The residual's
    limits are chi-square limits.

    Parameters
    ----------
    criterion : Criterion
        The restricted likelihood of the table.
    estimate : VarianceEstimate
        Where it is largest.
    precision : FixedEffects
        Covariances at the estimate.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    how : str, default 'auto'
        ``auto``, ``mls``, ``profile`` or ``wald``.
    """
    squares = _squares(criterion) if how in ("auto", "mls") else []
    factors, name = _from_squares(criterion, squares, confidence), "modified large sample"
    if factors is None and how in ("auto", "mls"):
        factors, name = _unweighted(criterion, confidence), "modified large sample, unweighted means"
    few = len(criterion.owner) <= PROFILED_LEVELS and len(estimate.variances) + criterion.groups <= PROFILED_COMPONENTS
    if factors is None and how != "wald" and few:
        factors, name = profile_limits(criterion, estimate, confidence, residual=False), "profile likelihood"
    if factors is None:
        factors, name = wald_limits(estimate, precision, confidence), "normal approximation of the logarithm"
    if how == "profile":
        return profile_limits(criterion, estimate, confidence), "profile likelihood"
    residual = _residual(criterion, estimate, precision, squares, confidence)
    sds = np.sqrt(np.concatenate([estimate.variances, estimate.residual]))
    pairs = [_around(pair, sd) for pair, sd in zip([*factors, *residual], sds, strict=True)]
    return pairs, name if criterion.levels else "chi-square"


def _around(pair: Pair, sd: float) -> Pair:
    """Limits never exclude the estimate that stands beside them (which can differ a little from mean squares)."""
    low, high = pair
    return (min(max(low, 0.0), sd), max(high, sd))


def _root(pair: Pair) -> Pair:
    return float(np.sqrt(max(pair[0], 0.0))), float(np.sqrt(max(pair[1], 0.0)))


def _squares(criterion: Criterion) -> list[MeanSquare]:
    cells = criterion.cells
    simple = criterion.groups == 1 and all((f >= 0).all() for f in cells.factors)
    if not criterion.levels or len(cells.mean) > EXAMINED_CELLS or not simple:
        return []
    named = {str(k): f for k, f in enumerate(cells.factors)}
    within = (float(cells.within_ss[0]), float(cells.within_df[0]))
    return sequential(cells.mean, cells.weight, cells.x, named, within)


def _from_squares(criterion: Criterion, squares: list[MeanSquare], confidence: float) -> list[Pair] | None:
    """Limits where each component is the difference of two independent chi-square mean squares; else None."""
    if not squares or not all(s.pure and s.df > 0 for s in squares):
        return None
    pairs = []
    for k in range(len(criterion.levels)):
        upper = squares[k]
        c = upper.expected[k]
        rest = upper.expected.copy()
        rest[k] = 0.0
        partner = [s for s in squares if s is not upper and np.allclose(s.expected, rest, atol=1e-7)]
        if not partner or c <= 0:
            return None
        pair = difference_limits(upper.square, upper.df, partner[0].square, partner[0].df, c, confidence)
        if pair[1] <= 0:  # far below what chance allows: the mean squares give no upper limit
            return None
        pairs.append(_root(pair))
    return pairs


def _unweighted(criterion: Criterion, confidence: float) -> list[Pair] | None:
    """One factor with unequal numbers, one cell a level: the variance of the level means, harmonic mean number."""
    cells = criterion.cells
    if len(criterion.levels) != 1 or criterion.groups != 1 or len(cells.mean) != criterion.levels[0]:
        return None
    left = cells.mean - cells.x @ np.linalg.lstsq(cells.x, cells.mean, rcond=None)[0]
    df, df_w = len(left) - cells.x.shape[1], float(cells.within_df[0])
    if df < 1 or df_w < 1:
        return None
    n = 1 / float(np.mean(1 / cells.weight))
    within = float(cells.within_ss[0]) / df_w
    pair = difference_limits(n * float(left @ left) / df, df, within, df_w, n, confidence)
    return [_root(pair)] if pair[1] > 0 else None


def _residual(
    criterion: Criterion,
    estimate: VarianceEstimate,
    precision: FixedEffects,
    squares: list[MeanSquare],
    confidence: float,
) -> list[Pair]:
    if squares and squares[-1].df > 0:
        return [sd_limits(squares[-1].square ** 0.5, squares[-1].df, confidence)]
    k = len(estimate.variances)
    out = []
    for g, variance in enumerate(estimate.residual):
        spread = precision.variance_covariance[k + g, k + g]
        df = 2 * variance**2 / spread if spread > 0 else 1.0
        out.append(sd_limits(float(variance**0.5), max(df, 0.5), confidence))
    return out


def wald_limits(estimate: VarianceEstimate, precision: FixedEffects, confidence: float) -> list[Pair]:
    """Normal limits for the logarithm of each factor's variance; at zero, zero and the one-sided normal limit.

    Parameters
    ----------
    estimate : VarianceEstimate
        Where the likelihood is largest.
    precision : FixedEffects
        Covariances at the estimate.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    z = float(-scipy.special.ndtri((1 - confidence) / 2))
    out = []
    for k, variance in enumerate(estimate.variances):
        se = float(np.sqrt(max(precision.variance_covariance[k, k], 0.0)))
        if variance <= 0:
            out.append((0.0, float(np.sqrt(z * se))))
        else:
            width = z * se / variance
            out.append((float(np.sqrt(variance * np.exp(-width))), float(np.sqrt(variance * np.exp(width)))))
    return out


def profile_limits(
    criterion: Criterion, estimate: VarianceEstimate, confidence: float, *, residual: bool = True
) -> list[Pair]:
    """Where the deviance, minimised over everything else, has risen by the chi-square point (1 degree of freedom).

    Parameters
    ----------
    criterion : Criterion
        The restricted likelihood of the table.
    estimate : VarianceEstimate
        Where it is largest.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    residual : bool, default True
        Whether the residual groups get limits too.
    """
    rise = float(scipy.stats.chi2.ppf(confidence, 1))
    k = len(estimate.variances)
    scale = float(np.sqrt(estimate.residual.mean()))
    expected = np.exp(np.clip(0.55 * np.sqrt(rise) * rough_errors(criterion), 0.01, 0.25))
    out = []
    for i in range(k + (criterion.groups if residual else 0)):
        profile = _profile(criterion, estimate, i)
        value = estimate.variances[i] if i < k else estimate.residual[i - k]
        at, factor = float(np.sqrt(value)), float(expected[i])

        def risen(sd: float, profile: Callable[[float], float] = profile) -> float:
            """The root of how far it has risen, all but a straight line in the logarithm, less that of the limit."""
            return float(np.sqrt(max(profile(sd) - estimate.deviance, 0.0)) - np.sqrt(rise))

        low = 0.0
        if at > 0 and (i >= k or risen(0.0) > 0):
            low = _cross(risen, at, 1 / factor)
        start = at if at > 0 else scale / float(np.sqrt(criterion.size[i])) / 10
        high = _cross(risen, start, factor if at > 0 else 1.3) if at > 0 or risen(start) < 0 else start
        out.append((low, high))
    return out


def _cross(risen: Callable[[float], float], start: float, factor: float) -> float:
    """Walk from the estimate by a factor, longer with each step, until the limit is passed; then find the crossing."""
    inside = outside = start
    for _ in range(80):
        outside = inside * factor
        if risen(outside) > 0:
            low, high = sorted((float(np.log(inside)), float(np.log(outside))))
            found = scipy.optimize.brentq(lambda at: risen(float(np.exp(at))), low, high, xtol=1e-7, rtol=1e-12)
            return float(np.exp(found))
        inside, factor = outside, min(max(factor**1.5, 1 / 1.3), 1.3)
    return float(outside) if factor > 1 else 0.0


def _profile(criterion: Criterion, estimate: VarianceEstimate, i: int) -> Callable[[float], float]:
    """Deviance as a function of one standard deviation, the others (and the fixed effects) at their best."""
    searched = _searched(criterion, estimate, i)
    if len(criterion.cells.mean) > SCORED_CELLS:
        others = np.delete(np.concatenate([estimate.variances, estimate.residual]), i)
        return NewtonProfile(criterion, estimate, i, searched) if len(others) and (others > 0).all() else searched
    scoring = Scoring(criterion)
    nearest = np.concatenate([estimate.variances, estimate.residual])

    def deviance(sd: float) -> float:
        nonlocal nearest
        start = nearest.copy()
        start[i] = sd * sd
        found = scoring.run(start, held=i)
        if found is None:
            return searched(sd)
        nearest = found[0]
        return found[1]

    return deviance


def _searched(criterion: Criterion, estimate: VarianceEstimate, i: int) -> Callable[[float], float]:
    """The same by the general search."""
    k, g = len(estimate.variances), criterion.groups
    s2 = float(estimate.residual[0])
    best, log_s2 = criterion.pack(estimate.variances / s2, estimate.residual / s2), float(np.log(s2))
    box = [(0.0, 1 - 1e-9)] * k + [(-12.0, 12.0)] * (g - 1)
    held = i if i < k else i - 1  # its coordinate in the search; the first residual has none, it is the scale itself
    free = [j for j in range(k + g - 1) if i == k or j != held]
    bounds = [box[j] for j in free] + ([] if i == k else [(log_s2 - 6, log_s2 + 6)])
    start = np.concatenate([best[free], [] if i == k else [log_s2]])

    def deviance(sd: float) -> float:
        nonlocal start
        variance = sd * sd

        def f(w: Floats) -> float:
            v = best.copy()
            v[free] = w[: len(free)]
            sigma2 = variance if i == k else float(np.exp(w[-1]))
            if i > k:
                v[held] = np.log(variance / sigma2)
            gamma, rho = criterion.unpack(v)
            if i < k:
                gamma[i] = variance / sigma2
            return criterion.evaluate(gamma, rho, sigma2)[0]

        if not bounds:
            return f(np.zeros(0))
        if len(bounds) == 1:
            run = scipy.optimize.minimize_scalar(
                lambda w: f(np.array([w])), bounds=bounds[0], method="bounded", options={"xatol": 1e-9}
            )
            return float(run.fun)
        found = search(f, [start], bounds, polish=False)
        start = found[0]  # the next is near
        return found[1]

    return deviance
