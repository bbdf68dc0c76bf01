"""How wide the interval of a percentile is, by the exact distribution of the pivotal quantity.

Widths are in units of the mean for lognormal and Weibull, in units of the SD for normal and smallest extreme value;
:class:`PlannedPercentile` turns them into the unit of the scatter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import scipy

from methods.errors import InputError
from methods.families import weibull_shape_for_cov
from methods.planning.inputs import Scatter
from methods.planning.obtained import percentile_obtained
from methods.planning.pivots import DRAWS, weibull_pivots
from methods.scatter.nested_pivots import Summary
from methods.scatter.one_oil import normal_percentiles

#: Weibull and smallest-extreme-value plans are simulated; beyond this many breakdowns they are not.
MOST_SIMULATED = 2000
_EULER = 0.5772156649015329


@dataclass(frozen=True)
class PlannedPercentile:
    """The ``p`` point of one family with the scatter of a plan; ``level`` is the two-sided confidence."""

    family: str
    p: float
    level: float
    scatter: Scatter
    seed: int

    @property
    def cov(self) -> float:
        """Coefficient of variation within fillings; for the families that need one."""
        s = self.scatter
        if s.unit == "fraction":
            return s.within
        if s.mean_kv is None:
            raise InputError(f"A {self.family} plan in kV needs the mean as well.", column="mean")
        return s.within / s.mean_kv

    @property
    def _mean(self) -> float:
        """The mean in the unit of the scatter; 1 for fractions."""
        return 1.0 if self.scatter.unit == "fraction" else (self.scatter.mean_kv or math.nan)

    def point(self) -> float | None:
        """The percentile itself in the unit of the scatter; None in kV without a mean."""
        s, z = self.scatter, float(scipy.special.ndtri(self.p))
        total = math.hypot(s.within, s.between or 0.0)
        if self.family == "normal":
            found = self._mean + z * total
        elif self.family == "lognormal":
            spread = math.sqrt(math.log1p(self.cov**2))
            found = self._mean * math.exp(z * spread - spread**2 / 2)
        elif self.family == "weibull":
            shape = weibull_shape_for_cov(self.cov)
            found = self._mean * (-math.log1p(-self.p)) ** (1 / shape) / scipy.special.gamma(1 + 1 / shape)
        else:
            scale = s.within * math.sqrt(6) / math.pi
            found = self._mean + scale * (_EULER + math.log(-math.log1p(-self.p)))
        return None if math.isnan(found) else float(found)

    def half_width(self, n: int) -> float:
        """Half-width that ``n`` independent breakdowns give when the estimates fall on the planned values."""
        tail = (1 - self.level) / 2
        if self.family in ("normal", "lognormal"):
            low, high = self._normal_limits(n)
            if self.family == "normal":
                return (high - low) * self.scatter.within / 2
            spread = math.sqrt(math.log1p(self.cov**2))
            return self._mean * math.exp(-(spread**2) / 2) * (math.exp(high * spread) - math.exp(low * spread)) / 2
        pivots = weibull_pivots(n, repetitions=self._draws(n), rng=self.seed)
        v_low, v_high = pivots.quantiles("percentile", [tail, 1 - tail], self.p)
        if self.family == "gumbel_min":
            return float((v_high - v_low) / 2 * self.scatter.within * math.sqrt(6) / math.pi)
        shape = weibull_shape_for_cov(self.cov)
        scale = self._mean / scipy.special.gamma(1 + 1 / shape)
        return float(scale * (math.exp(-v_low / shape) - math.exp(-v_high / shape)) / 2)

    def _normal_limits(self, n: int) -> tuple[float, float]:
        """Limits of the standard normal's ``p`` point from mean 0 and SD 1 of ``n`` values (noncentral t)."""
        tail, noncentrality = (1 - self.level) / 2, -float(scipy.special.ndtri(self.p)) * math.sqrt(n)
        root = math.sqrt(n)
        low = -float(scipy.stats.nct.ppf(1 - tail, n - 1, noncentrality)) / root
        high = -float(scipy.stats.nct.ppf(tail, n - 1, noncentrality)) / root
        return low, high

    @staticmethod
    def _draws(n: int) -> int:
        return max(4000, min(DRAWS, 2_000_000 // n))

    def half_width_known(self, n: int) -> float:
        """Half-width when the scatter (SD, shape) is known from history and only the level is measured."""
        tail = (1 - self.level) / 2
        z = float(scipy.special.ndtri(1 - tail)) / math.sqrt(n)
        if self.family == "normal":
            return z * self.scatter.within
        if self.family == "lognormal":
            return float(self._point() * math.sinh(z * math.sqrt(math.log1p(self.cov**2))))
        low, high = scipy.stats.gamma.ppf(tail, n) / n, scipy.stats.gamma.ppf(1 - tail, n) / n
        if self.family == "gumbel_min":  # the sum of exponentials of the values is gamma
            return float(self.scatter.within * math.sqrt(6) / math.pi * math.log(high / low) / 2)
        shape = weibull_shape_for_cov(self.cov)
        return float(self._point() * (low ** (-1 / shape) - high ** (-1 / shape)) / 2)

    def _point(self) -> float:
        found = self.point()
        return math.nan if found is None else found

    def assurance(self, n: int, target: float) -> float:
        """Probability that the half-width obtained is no wider than ``target``."""
        if self.family == "normal":
            ratio = target / self.half_width(n)
            return float(scipy.stats.chi2.cdf((n - 1) * ratio**2, n - 1))
        rng = np.random.default_rng([self.seed, n, 7])
        if self.family == "lognormal":
            low, high = self._normal_limits(n)
            spread = math.sqrt(math.log1p(self.cov**2))
            sd = spread * np.sqrt(rng.chisquare(n - 1, DRAWS) / (n - 1))
            centre = self._mean * np.exp(-(spread**2) / 2 + spread / math.sqrt(n) * rng.standard_normal(DRAWS))
            return float(np.mean(centre * (np.exp(high * sd) - np.exp(low * sd)) / 2 <= target))
        tail = (1 - self.level) / 2
        pivots = weibull_pivots(n, repetitions=self._draws(n), rng=self.seed)
        v_low, v_high = pivots.quantiles("percentile", [tail, 1 - tail], self.p)
        if self.family == "gumbel_min":
            return float(np.mean(self.half_width(n) / pivots.shape_ratio <= target))
        shape = weibull_shape_for_cov(self.cov)
        found = shape * pivots.shape_ratio
        scale = self._mean / scipy.special.gamma(1 + 1 / shape) * np.exp(pivots.log_scale / found)
        return float(np.mean(scale * (np.exp(-v_low / found) - np.exp(-v_high / found)) / 2 <= target))


def nested_half_width(point: PlannedPercentile, k: int, n: int) -> float:
    """Half-width of a normal percentile over fillings, as the analysis of such breakdowns gives it; nan for k = 1.

    The percentile is that of all breakdowns on all fillings: its SD is ``sqrt(s_f**2 + s_w**2)``. Between and within
    sums of squares are taken at their expected values, and given to :func:`methods.scatter.one_oil.normal_percentiles`,
    which is what fit, Overlay and the verdict ask: generalised pivotal quantities.

    Parameters
    ----------
    point : PlannedPercentile
        The percentile with the planned scatter.
    k : int
        Fillings.
    n : int
        Breakdowns on each.
    """
    if k < 2:
        return math.nan
    s = point.scatter
    within, between = s.within**2, (s.between or 0.0) ** 2
    expected = Summary(k * n, k, 0.0, (k - 1) * (between + within / n), k * (n - 1) * within, float(n))
    low, high = normal_percentiles(expected, [point.p], point.level, lucky=False)[0, 1:]
    return float((high - low) / 2)


def nested_assurance(point: PlannedPercentile, k: int, n: int, target: float) -> float:
    """Probability that the half-width over fillings comes out no wider than ``target``; nan for k = 1.

    Parameters
    ----------
    point : PlannedPercentile
        The percentile with the planned scatter.
    k : int
        Fillings.
    n : int
        Breakdowns on each.
    target : float
        Half-width that is wanted, in the unit of the scatter.
    """
    if k < 2:
        return math.nan
    s = point.scatter
    means = (s.between or 0.0) ** 2 + s.within**2 / n
    if n > 1:
        return percentile_obtained(k, n, point.p, point.level).narrow(target, means, s.within**2)
    alone = PlannedPercentile(point.family, point.p, point.level, replace(s, within=math.sqrt(means)), point.seed)
    return alone.assurance(k, target)


def nested_half_width_known(point: PlannedPercentile, k: int, n: int) -> float:
    """Half-width over fillings when both components are known: that of the mean.

    Parameters
    ----------
    point : PlannedPercentile
        The percentile with the known scatter.
    k : int
        Fillings.
    n : int
        Breakdowns on each.
    """
    s = point.scatter
    variance = (s.between or 0.0) ** 2 / k + s.within**2 / (k * n)
    return float(scipy.special.ndtri(0.5 + point.level / 2) * math.sqrt(variance))
