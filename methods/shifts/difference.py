"""The difference and the ratio of two means, with limits that agree with the test."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy

from methods.shifts.arms import Arm


@dataclass(frozen=True)
class Difference:
    """Two means and what is known of their errors.

    ``first`` and ``second`` are the means (second = reference), ``v_first``, ``v_second`` their
    variances, ``covariance`` zero unless the oils themselves are the unit; ``df_first``, ``df_second``
    the degrees of freedom behind each variance; ``df_joint`` is given where one t with fixed degrees of
    freedom holds (paired by oil).
    """

    first: float
    second: float
    v_first: float
    v_second: float
    df_first: float
    df_second: float
    covariance: float = 0.0
    df_joint: float | None = None

    def variance(self, ratio: float = 1.0) -> float:
        """Variance of first - ratio * second."""
        return max(self.v_first - 2 * ratio * self.covariance + ratio**2 * self.v_second, 0.0)

    def df(self, ratio: float = 1.0) -> float:
        """Degrees of freedom of that variance (Satterthwaite 1946, Welch 1947)."""
        if self.df_joint is not None:
            return self.df_joint
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
        half = float(scipy.special.stdtrit(self.df(), 0.5 + confidence / 2)) * self.standard_error
        return self.value - half, self.value + half

    def p_value(self, null: float = 0.0) -> float:
        """Two-sided p-value of difference = null; nan without scatter."""
        if not self.standard_error > 0:
            return float("nan")
        return float(2 * scipy.special.stdtr(self.df(), -abs(self.value - null) / self.standard_error))

    def ratio_limits(self, confidence: float) -> tuple[float, float]:
        """Limits of first / second: the ratios that the test does not reject (Fieller 1954).

        T(r) = (first - r second) / sqrt(variance(r)) with Satterthwaite's degrees of freedom at every r,
        so that at r = 1 it is Welch's test itself. nan on a side without a limit.
        """
        if not (self.second > 0 and self.variance() > 0):
            return float("nan"), float("nan")

        def excess(ratio: float) -> float:
            t = float(scipy.special.stdtrit(self.df(ratio), 0.5 + confidence / 2))
            return (self.first - ratio * self.second) ** 2 - t**2 * self.variance(ratio)

        best = self.first / self.second
        step = max(math.sqrt(self.variance(best)) / self.second, 1e-9 * abs(best) + 1e-12)
        return _crossing(excess, best, -step), _crossing(excess, best, step)


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
    """Difference of two levels whose fillings are independent; the variances of the levels may differ."""
    return Difference(first.mean, second.mean, first.variance, second.variance, first.df, second.df)


def between_oils(first: Arm, second: Arm) -> Difference:
    """Difference of two levels with the oils as the unit: the paired t-test over the oils' means."""
    n = len(first.means)
    spread = np.cov(np.vstack([first.means, second.means]))
    return Difference(
        first.mean, second.mean, spread[0, 0] / n, spread[1, 1] / n, n - 1, n - 1,
        covariance=spread[0, 1] / n, df_joint=float(n - 1),
    )  # fmt: skip
