"""The difference and the ratio of two means, with limits that agree with the test."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy

from methods.shifts.arms import Arm
from methods.shifts.widening import NONE, Widening, widening


@dataclass(frozen=True)
class Difference:
    """Two means and what is known of their errors.

    ``first`` and ``second`` are the means (second = reference), ``v_first``, ``v_second`` their
    variances, ``covariance`` zero unless the oils themselves are the unit; ``df_first``, ``df_second``
    the degrees of freedom behind each variance; ``df_joint`` is given where one t with fixed degrees of
    freedom holds (paired by oil). ``widen`` holds the factors on t that make the limits hold for unequal
    scatters. ``shared`` is what borrowed scatter brings: rows of (part of the variance of the first mean, of the
    second, degrees of freedom) that take the place of ``v_*`` and ``df_*`` where one variance serves both.
    """

    first: float
    second: float
    v_first: float
    v_second: float
    df_first: float
    df_second: float
    covariance: float = 0.0
    df_joint: float | None = None
    widen: Widening = NONE
    shared: tuple[tuple[float, float, float], ...] = ()

    def variance(self, ratio: float = 1.0) -> float:
        """Variance of first - ratio * second."""
        if self.shared:
            return sum(a + ratio**2 * b for a, b, _ in self.shared)
        return max(self.v_first - 2 * ratio * self.covariance + ratio**2 * self.v_second, 0.0)

    def df(self, ratio: float = 1.0) -> float:
        """Degrees of freedom of that variance (Satterthwaite 1946, Welch 1947)."""
        if self.df_joint is not None:
            return self.df_joint
        if self.shared:
            total = self.variance(ratio)
            below = sum((a + ratio**2 * b) ** 2 / df for a, b, df in self.shared)
            return total**2 / below if below > 0 else float("nan")
        a, b = self.v_first, ratio**2 * self.v_second
        if a + b <= 0:
            return float("nan")
        return (a + b) ** 2 / (a**2 / self.df_first + b**2 / self.df_second)

    @property
    def value(self) -> float:
        return self.first - self.second

    @property
    def standard_error(self) -> float:
        return math.sqrt(self.variance())

    def limits(self, confidence: float) -> tuple[float, float]:
        """Two-sided limits of the difference."""
        half = self.widen.critical(confidence, self.df()) * self.standard_error
        return self.value - half, self.value + half

    def p_value(self, null: float = 0.0) -> float:
        """Two-sided p-value of difference = null; nan without scatter."""
        if not self.standard_error > 0:
            return float("nan")
        return self.widen.p_value((self.value - null) / self.standard_error, self.df())

    def one_sided(self, ratio: float = 1.0, null: float = 0.0, *, above: bool = False) -> float:
        """p-value against first - ratio * second being at or below ``null`` (at or ``above`` it).

        Parameters
        ----------
        ratio : float, default 1.0
            What the second mean is multiplied by.
        null : float, default 0.0
            Null value.
        above : bool, default False
            Whether the hypothesis is that it lies above.
        """
        t = (self.first - ratio * self.second - null) / math.sqrt(self.variance(ratio))
        t = -t if above else t
        two = self.widen.p_value(t, self.df(ratio))
        return two / 2 if t > 0 else 1 - two / 2

    def ratio_limits(self, confidence: float) -> tuple[float, float]:
        """Limits of first / second: the ratios that the test does not reject (Fieller 1954).

        T(r) = (first - r second) / sqrt(variance(r)) with Satterthwaite's degrees of freedom at every r,
        so that at r = 1 it is the test of the difference itself. nan on a side without a limit; a lower limit is
        never below 0, because voltages are not.
        """
        if not (self.second > 0 and self.variance() > 0):
            return float("nan"), float("nan")

        def excess(ratio: float) -> float:
            t = self.widen.critical(confidence, self.df(ratio))
            return (self.first - ratio * self.second) ** 2 - t**2 * self.variance(ratio)

        best = self.first / self.second
        step = max(math.sqrt(self.variance(best)) / self.second, 1e-9 * abs(best) + 1e-12)
        low, high = _crossing(excess, best, -step), _crossing(excess, best, step)
        # Where the reference mean is hardly known the ratios come in two parts: what lies beyond a gap counts as well.
        low = 0.0 if low > 0 and excess(0.0) <= 0 else max(low, 0.0)
        return low, (float("nan") if excess(1e6 * (best + 1)) <= 0 else high)


def _crossing(function: Callable[[float], float], start: float, step: float) -> float:
    inner = start
    for _ in range(60):
        outer = start + step
        if function(outer) > 0:
            return float(scipy.optimize.brentq(function, min(inner, outer), max(inner, outer), xtol=1e-12, rtol=1e-12))
        inner, step = outer, 1.5 * step
        if abs(step) > 1e6 * max(abs(start), 1.0):
            break
    return float("nan")


def between_arms(first: Arm, second: Arm) -> Difference:
    """Difference of two levels on these oils: fillings independent, the scatter of every oil and level its own."""
    widen = NONE
    if first.replicated and second.replicated:
        widen = widening(_counts(first), _counts(second))
    return Difference(first.mean, second.mean, first.variance, second.variance, first.df, second.df, widen=widen)


def _counts(a: Arm) -> tuple[int, ...]:
    return tuple(int(n) for n in a.units)


def between_oils(first: Arm, second: Arm, oil: np.ndarray | None = None) -> Difference:
    """Difference of two levels with the oils as the unit: t on the shifts of the oils.

    ``oil`` (blocks,) says to which oil each block belongs; by default each is an oil of its own. The shift of an oil
    is the mean over its blocks, weighed as the arms weigh them. Such limits hold whatever the scatter of the oils and
    the numbers of their fillings (from 92 % confidence on; at 90 % with up to 14 oils): the t-test of normal values of
    one mean and unequal variances never rejects too often (Bakirov and Szekely, Zap. Nauchn. Sem. POMI 328 (2005) 5;
    Ibragimov and Mueller, J. Business and Economic Statistics 28 (2010) 453).

    Parameters
    ----------
    first : Arm
        The level's oils.
    second : Arm
        The reference's oils.
    oil : ndarray, optional
        (blocks,) Codes of the oils.
    """
    one, two = (_oil_means(a, oil) for a in (first, second))
    n = len(one)
    spread = np.cov(np.vstack([one, two]))
    return Difference(
        float(one.mean()), float(two.mean()), spread[0, 0] / n, spread[1, 1] / n, n - 1, n - 1,
        covariance=spread[0, 1] / n, df_joint=float(n - 1),
    )  # fmt: skip


def _oil_means(side: Arm, oil: np.ndarray | None) -> np.ndarray:
    if oil is None:
        return side.means
    code = np.unique(oil, return_inverse=True)[1]
    return np.bincount(code, weights=side.weights * side.means) / np.bincount(code, weights=side.weights)


def over_oils(first: np.ndarray, second: np.ndarray) -> Difference:
    """Difference where each level has oils of its own: Welch's t on the means of the oils, shapes (n,) and (m,)."""
    v = [float(x.var(ddof=1)) / len(x) for x in (first, second)]
    return Difference(
        float(first.mean()), float(second.mean()), v[0], v[1], len(first) - 1.0, len(second) - 1.0,
        widen=widening((len(first),), (len(second),)),
    )  # fmt: skip
