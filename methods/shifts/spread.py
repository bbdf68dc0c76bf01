"""The ratio of two scatters: within fillings, with classical and kurtosis-adjusted limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from methods.shifts.arms import Arm


@dataclass(frozen=True)
class Residuals:
    """Residuals of one level about the means of its groups (fillings), and their degrees of freedom."""

    residuals: np.ndarray
    from_medians: np.ndarray
    df: int

    @property
    def sd(self) -> float:
        return math.sqrt(float(np.sum(self.residuals**2)) / self.df) if self.df > 0 else float("nan")


@dataclass(frozen=True)
class SpreadRatio:
    """SD of a level over that of the reference.

    ``low``, ``high``: F limits, exact for normal values; ``robust_low``, ``robust_high``: with degrees of
    freedom adjusted to the kurtosis; ``p_value``: Brown-Forsythe; ``what`` says which scatter it is.
    The robust limits and the p-value are nan with withstands.
    """

    ratio: float
    low: float
    high: float
    robust_low: float
    robust_high: float
    p_value: float
    what: str


_NAN = float("nan")
NO_RATIO = SpreadRatio(_NAN, _NAN, _NAN, _NAN, _NAN, _NAN, what="not estimable")


def pooled_scatter(values: np.ndarray, group: np.ndarray) -> Residuals:
    """Pool the scatter within groups; groups of one value add nothing."""
    groups, inverse, counts = np.unique(group, return_inverse=True, return_counts=True)
    means = np.bincount(inverse, weights=values) / counts
    medians = pd.Series(values).groupby(inverse).median().to_numpy()
    several = counts[inverse] > 1
    return Residuals(
        (values - means[inverse])[several],
        np.abs(values - medians[inverse])[several],
        int(len(values) - len(groups)),
    )


def sd_ratio(first: Residuals, second: Residuals, confidence: float, what: str) -> SpreadRatio:
    """Ratio of the SDs of two levels, first over second.

    Limits from F(df1, df2), exact for normal scatter. The robust ones replace each df by
    2 df / (kurtosis - 1), with the kurtosis pooled over both levels (the adjustment of Shoemaker, The
    American Statistician 57 (2003) 189, in the spirit of Layard 1973), never more than df itself.
    They hold better than the F limits under heavy tails, not perfectly (about 91 % against 80 to 85 % with one
    value in twenty three times wider). The p-value is Brown and Forsythe's (JASA 69 (1974) 364) on distances
    from the group medians.

    Parameters
    ----------
    first : Residuals
        Residuals of the level.
    second : Residuals
        Residuals of the reference.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    what : str
        Which scatter it is, in words.
    """
    if first.df < 1 or second.df < 1 or not (first.sd > 0 and second.sd > 0):
        return NO_RATIO
    ratio = first.sd / second.sd

    def limits(df1: float, df2: float) -> tuple[float, float]:
        tail = (1 - confidence) / 2
        return (
            ratio / math.sqrt(float(scipy.stats.f.isf(tail, df1, df2))),
            ratio / math.sqrt(float(scipy.stats.f.ppf(tail, df1, df2))),
        )

    low, high = limits(first.df, second.df)
    squares = np.concatenate([first.residuals**2 / first.sd**2, second.residuals**2 / second.sd**2])
    size = len(squares) / max(len(squares) - first.df - second.df, 1)
    excess = len(squares) * float(np.sum(squares**2)) / float(np.sum(squares)) ** 2 - 3 * (1 - 1 / len(squares))
    # Taking off the mean of a group of n leaves this share of the excess (cumulants of x - mean).
    excess /= ((size - 1) ** 3 + 1) / (size**2 * (size - 1)) if size > 1 else 1.0
    factor = 2 / (2 + max(excess, 0.0))
    robust_low, robust_high = limits(first.df * factor, second.df * factor)
    groups = (first.from_medians, second.from_medians)
    # Two values lie equally far from their median: where every distance in both groups is the same there is no test.
    if all(len(g) > 1 for g in groups) and any(np.ptp(g) > 0 for g in groups):
        p_value = float(scipy.stats.f_oneway(*groups).pvalue)
    else:
        p_value = float("nan")
    return SpreadRatio(ratio, low, high, robust_low, robust_high, p_value, what)


def censored_sd_ratio(first: Arm, second: Arm, sd_first: float, sd_second: float, confidence: float) -> SpreadRatio:
    """Ratio where a level has withstands: SDs by likelihood, limits by the normal law on log SD.

    ``sd_first`` and ``sd_second`` stand in for a level without withstands. The scatter is then that of
    single breakdowns about the oil's mean, within and between fillings together.

    Parameters
    ----------
    first : Arm
        The level.
    second : Arm
        The reference.
    sd_first : float
        SD of the level where it has no withstands, kV.
    sd_second : float
        SD of the reference where it has none, kV.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    one = first.sigma if math.isfinite(first.sigma) else sd_first
    two = second.sigma if math.isfinite(second.sigma) else sd_second
    if not (one > 0 and two > 0):
        return NO_RATIO
    errors = [
        a.log_sigma_se if math.isfinite(a.log_sigma_se) else math.sqrt(0.5 / a.df) if a.df > 0 else float("nan")
        for a in (first, second)
    ]
    half = float(scipy.special.ndtri(0.5 + confidence / 2)) * math.hypot(*errors)
    nan = float("nan")
    return SpreadRatio(
        one / two, one / two * math.exp(-half), one / two * math.exp(half), nan, nan, nan,
        what="single breakdowns about the oil's mean, by censored likelihood",
    )  # fmt: skip
