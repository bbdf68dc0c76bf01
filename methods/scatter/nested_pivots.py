"""Draws of what one oil's mean and SDs may be, from the scatter of its fillings and of the breakdowns within them.

Two ways, one outcome (:class:`Draws`), from which every limit of one oil is read:

* **Generalised pivotal quantities** where the oil's own values are all that is known. With ``S_b`` the sum of squares
  of the k filling means about their plain mean and ``SS_w`` that of the values about their fillings, the draws are
  ``sw2 = SS_w / chi2(N - k)``, ``sf2 = max(S_b / chi2(k - 1) - sw2 / h, 0)`` (h: harmonic mean of the numbers of
  breakdowns). Weerahandi, *J. Amer. Statist. Assoc.* 88 (1993) 899; Krishnamoorthy & Mathew, *Technometrics* 46 (2004)
  44; unequal numbers by unweighted means, Thomas & Hultquist, *Ann. Statist.* 6 (1978) 582.
* **Posterior draws** where scatter is known from elsewhere: scaled inverse chi-square priors of the two variances,
  weighted by the likelihood of what this oil shows (Gelman et al., *Bayesian Data Analysis*, 2.6 and 5).

Fillings that agree by luck are not believed: where their means lie nearer each other than the scatter within fillings
lets one expect, the limits of the mean count with a scatter between fillings that chance hides (:func:`mean_error`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import scipy

from methods.scatter.one_factor import one_factor

Array = np.ndarray[Any, Any]

#: Points of the fixed low-discrepancy set; the same rows give the same limits, with no seed to choose.
POINTS = 8192
#: Largest ratio of the SD between fillings to that within that the verdicts' prior knowledge allows.
MOST_RATIO = 2.0


@dataclass(frozen=True)
class Summary:
    """What a nested normal model needs of one oil: complete values, kV.

    ``mean`` is the plain mean of the filling means, ``between_ss`` their sum of squares about it, ``within_ss`` that
    of the values about their filling means, ``harmonic`` the harmonic mean of the numbers of breakdowns. ``excess``:
    excess kurtosis of the values about their filling means (of the values, where each is a filling of its own), 0 where
    it is not above that of normal scatter. ``sizes`` and ``means`` of the fillings, where their numbers differ.
    """

    n: int
    fillings: int
    mean: float
    between_ss: float
    within_ss: float
    harmonic: float
    excess: float = 0.0
    sizes: Array | None = field(default=None, repr=False, compare=False)
    means: Array | None = field(default=None, repr=False, compare=False)

    @property
    def within_df(self) -> int:
        return self.n - self.fillings

    @property
    def within_variance(self) -> float:
        """Mean square within fillings, kV squared; nan with none."""
        return self.within_ss / self.within_df if self.within_df > 0 else math.nan

    @property
    def means_variance(self) -> float:
        """Variance of the filling means, kV squared; nan with one filling."""
        return self.between_ss / (self.fillings - 1) if self.fillings > 1 else math.nan

    @property
    def variances(self) -> tuple[float, float]:
        """Variances within and between fillings by restricted likelihood (:func:`.one_factor.one_factor`)."""
        return one_factor(*self.levels, self.within_ss)

    @property
    def levels(self) -> tuple[Array, Array]:
        """Numbers and means of the fillings; of equal numbers any means with that sum of squares will do."""
        if self.sizes is not None and self.means is not None:
            return self.sizes, self.means
        means = np.zeros(self.fillings)
        means[:2] = math.sqrt(self.between_ss / 2) * np.array([-1.0, 1.0])
        return np.full(self.fillings, self.harmonic), means


def summarise(kv: Array, filling: Array) -> Summary:
    """Sums of squares of complete values (n,) by filling codes (n,)."""
    code = np.unique(filling, return_inverse=True)[1]
    sizes = np.bincount(code)
    centre = float(kv[0])  # keeps the digits when a large constant stands in front
    means = np.bincount(code, kv - centre) / sizes
    left = (kv - centre) - means[code]
    mean = float(means.mean())
    spread = means - mean
    uneven = bool((sizes != sizes[0]).any())
    return Summary(
        len(kv), len(sizes), mean + centre, float(spread @ spread), float(left @ left),
        len(sizes) / float(sum(1 / sizes)), _excess(left if len(kv) > len(sizes) else spread),
        sizes if uneven else None, means if uneven else None,
    )  # fmt: skip


def _excess(left: Array) -> float:
    """Excess kurtosis of values about their means (n,), Fisher's, if above that of the normal law; 0 below four."""
    n, squares = len(left), left**2
    whole = float(squares.sum())
    if n < 4 or not whole > 0:
        return 0.0
    raw = n * float(squares @ squares) / whole**2 - 3
    return max(((n + 1) * raw + 6) * (n - 1) / ((n - 2) * (n - 3)), 0.0)


@dataclass(frozen=True)
class Prior:
    """Scatter known from elsewhere, kV: SDs within and between fillings, each with its degrees of freedom.

    Infinite degrees of freedom: taken as certain. ``within_df`` 0: nothing known within. ``between_quantiles``: the SD
    between fillings at evenly spaced probabilities, in place of ``between_df``. ``relative``: known as fractions of the
    mean, and given here for the mean that was found.
    """

    within_sd: float
    within_df: float
    between_sd: float
    between_df: float
    between_quantiles: tuple[float, ...] | None = None
    relative: bool = False


@dataclass(frozen=True)
class Draws:
    """Equally likely (or weighted) values of the mean (as deviates), and of the variances; arrays (draws,).

    ``relative``: the variances are fractions of the true mean, squared, times the square of ``centre``. An oil that was
    found low then scatters more than its low mean tells: the limits of its mean are those of :func:`shifted`.
    """

    centre: float
    deviate: Array
    mean_variance: Array
    within: Array
    between: Array
    weights: Array | None = None
    relative: bool = False

    @property
    def mean(self) -> Array:
        away = self.deviate * np.sqrt(self.mean_variance)
        if self.relative:
            return np.asarray(self.centre / np.maximum(1 - away / self.centre, 1e-3))
        return np.asarray(self.centre + away)

    @property
    def total_sd(self) -> Array:
        """SD of one result: of a single breakdown of any filling."""
        found = np.sqrt(self.within + self.between)
        return np.asarray(found * self.mean / self.centre if self.relative else found)

    def quantiles(self, values: Array, probabilities: Any) -> Array:
        """Quantiles of draws of any quantity: values (draws,) or (rows, draws) give (q,) or (q, rows)."""
        q = np.atleast_1d(np.asarray(probabilities, dtype=float))
        if self.weights is None:
            return np.quantile(values, q, axis=-1)
        rows = np.atleast_2d(values)
        out = np.empty((len(q), len(rows)))
        for i, row in enumerate(rows):
            order = np.argsort(row)
            w = self.weights[order]
            out[:, i] = np.interp(q, (np.cumsum(w) - w / 2) / w.sum(), row[order])
        return out[:, 0] if np.ndim(values) == 1 else out

    def probability(self, true: Array) -> float:
        """Share of the draws in which a condition (draws,) is true."""
        return float(np.average(true, weights=self.weights))

    def half_width(self, confidence: float) -> float:
        """What ``centre`` is off by with this confidence; of relative draws see :func:`shifted`."""
        sizes = np.abs(self.deviate) * np.sqrt(self.mean_variance)
        return float(self.quantiles(sizes, confidence)[0])


@lru_cache(maxsize=1)
def _uniform() -> Array:
    points = scipy.stats.qmc.Sobol(3, scramble=True, rng=20250101).random(POINTS)
    return np.clip(points.T, 1e-9, 1 - 1e-9)


@lru_cache(maxsize=4)
def _normal(which: int) -> Array:
    return np.asarray(scipy.special.ndtri(_uniform()[which]))


@lru_cache(maxsize=512)
def _chi2(df: float, which: int) -> Array:
    return np.maximum(np.asarray(2 * scipy.special.gammaincinv(df / 2, _uniform()[which])), 1e-12)


def pivots(s: Summary) -> Draws:
    """Generalised pivotal quantities of one oil with two fillings or more, or of one filling (nothing between).

    Independent values: pass each value as a filling of its own, or all as one; then the mean is Student's t.
    """
    z = _normal(0)
    if s.fillings == 1 or s.within_df == 0:
        return _alike(s, s.within_ss if s.fillings == 1 else s.between_ss, s.n - 1, s.n)
    means = s.between_ss / _chi2(s.fillings - 1, 1)
    within = s.within_ss / _chi2(s.within_df, 2)
    return Draws(s.mean, z, means / s.fillings, within, np.maximum(means - within / s.harmonic, 0.0))


def within_alone(s: Summary) -> Draws:
    """Draws as if fillings did not differ at all, from the scatter within them."""
    return _alike(s, s.within_ss, s.within_df, s.harmonic * s.fillings)


def _alike(s: Summary, ss: float, df: int, values: float) -> Draws:
    total = ss / _chi2(df, 2)
    return Draws(s.mean, _normal(0), total / values, total, np.zeros(POINTS))


def mean_error(s: Summary, confidence: float) -> tuple[float, float, bool]:
    """Standard error of the mean of fillings, its degrees of freedom, and whether the fillings agree by luck.

    Student's t on the filling means, which holds (and at worst is too wide) whatever the numbers of breakdowns
    (Bakirov & Szekely, *J. Math. Sci.* 139 (2006) 6497). Where those means agree better than the scatter within
    fillings lets one expect, limits from them alone would be too narrow for just these data: then the ones that
    :func:`flat_ratio` gives stand, if they are wider, but never beyond what t gives for means that agree as expected.
    One filling: of its values. (nan, 0, False) where nothing repeats.
    """
    inside = math.sqrt(s.within_variance / (s.harmonic * s.fillings)) if s.within_df > 0 else math.nan
    if s.fillings < 2:
        return inside, float(s.within_df), False
    error, df = math.sqrt(s.means_variance / s.fillings), float(s.fillings - 1)
    t = student(df, confidence)
    if not (s.within_df > 0 and inside > error):
        return error, df, False
    draws = flat_ratio(s)
    half = max(min(draws.half_width(confidence), t * inside), student(s.within_df, confidence) * inside)
    if half <= t * error:
        return error, df, False
    likely = max(inside, math.sqrt(float(draws.quantiles(draws.mean_variance, 0.5)[0])))
    return likely, matching_df(half / likely, confidence), True


def matching_df(ratio: float, confidence: float) -> float:
    """Degrees of freedom whose Student's t is ``ratio``; infinite where it is the normal one or less."""
    if ratio <= student(math.inf, confidence) * (1 + 1e-4):
        return math.inf
    log = scipy.optimize.brentq(lambda v: student(math.exp(v), confidence) - ratio, math.log(0.5), math.log(1e6))
    return float(math.exp(log)) if math.isfinite(log) else math.inf


@lru_cache(maxsize=4096)
def student(df: float, confidence: float) -> float:
    """Two-sided point of Student's t; the normal one for infinite degrees of freedom."""
    p = 0.5 + confidence / 2
    return float(scipy.special.stdtrit(df, p) if math.isfinite(df) else scipy.special.ndtri(p))


def posterior(s: Summary, prior: Prior) -> Draws:
    """Draws with scatter known from elsewhere; any number of fillings."""
    z = _normal(0)
    within = _scaled(prior.within_sd**2 * prior.within_df if math.isfinite(prior.within_df) else math.nan,
                     s.within_ss, prior.within_df, s.within_df, prior.within_sd, 2)  # fmt: skip
    if prior.between_quantiles is None:
        between = _scaled(
            prior.between_sd**2 * prior.between_df if math.isfinite(prior.between_df) else math.nan, 0.0,
            prior.between_df, 0, prior.between_sd, 1,
        )  # fmt: skip
    else:
        q = np.asarray(prior.between_quantiles)
        between = np.interp(_uniform()[1], (np.arange(len(q)) + 0.5) / len(q), q) ** 2
    means = between + within / s.harmonic
    return Draws(s.mean, z, means / s.fillings, within, between, _likelihood(s, means), prior.relative)


def shifted(centre: float, half: float, relative: bool) -> tuple[float, float]:
    """Limits of a mean found at ``centre`` from what it may be off by, ``half``.

    ``relative``: off by that fraction of the true mean; ``|centre - mean| <= share * mean`` gives
    ``centre / (1 + share)`` and ``centre / (1 - share)``.

    Parameters
    ----------
    centre : float
        The mean that was found, kV.
    half : float
        What it may be off by, kV.
    relative : bool
        Whether that is a fraction of the true mean.

    Examples
    --------
    >>> shifted(60.0, 6.0, False)
    (54.0, 66.0)
    """
    if not relative:
        return centre - half, centre + half
    share = half / centre
    return centre / (1 + share), centre / (1 - share) if share < 1 else math.inf


def _scaled(prior_ss: float, ss: float, prior_df: float, df: int, sd: float, which: int) -> Array:
    """Scaled inverse chi-square draws; certain where the prior degrees of freedom are infinite."""
    if not math.isfinite(prior_df):
        return np.full(POINTS, sd * sd)
    return (prior_ss + ss) / _chi2(prior_df + df, which)


def flat_ratio(s: Summary) -> Draws:
    """Posterior draws for verdicts, where no scatter is known from elsewhere.

    The prior, in words: any mean is as likely as another, any size of the scatter within fillings (on its logarithm)
    too, and the SD between fillings lies anywhere between none and twice that within, each ratio as likely.
    """
    z, ratio = _normal(0), MOST_RATIO * _uniform()[1]
    if s.within_df < 1:  # one value a filling: nothing tells within from between, nor does the mean need it
        return pivots(s)
    within = s.within_ss / _chi2(s.within_df, 2)
    means = within * (ratio**2 + 1 / s.harmonic)
    return Draws(s.mean, z, means / s.fillings, within, within * ratio**2, _likelihood(s, means))


def _likelihood(s: Summary, means: Array) -> Array | None:
    if s.fillings < 2:
        return None
    log = -0.5 * (s.fillings - 1) * np.log(means) - 0.5 * s.between_ss / means
    return np.exp(log - log.max())
