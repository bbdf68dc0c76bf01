"""Limits of agreement: how far two methods' results on one oil may lie apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from methods.agreement.laboratories import agreement_distances, crossed, mean_half_width
from methods.errors import InputError, NotEstimable


@dataclass(frozen=True)
class AgreementLimits:
    """Bias and limits of agreement of ``second - first`` (kV), or of their ratio where ``scale`` is ``log``.

    On the log scale every figure is a ratio second / first minus one, in per cent. ``sd`` is that of the
    differences (log scale: in log units). ``slope`` is that of difference on mean, with its p-value: a
    difference that grows with the level makes one pair of limits misleading. ``correlation`` and
    ``concordance`` (Lin) describe association, not agreement.
    """

    scale: str
    n: int
    bias: float
    bias_low: float
    bias_high: float
    sd: float
    lower: float
    lower_low: float
    lower_high: float
    upper: float
    upper_low: float
    upper_high: float
    slope: float
    slope_p: float
    correlation: float
    concordance: float
    confidence: float


_VALUES = (
    "bias", "bias_low", "bias_high", "lower", "lower_low", "lower_high", "upper", "upper_low", "upper_high",
)  # fmt: skip


def limits_of_agreement(
    first: object,
    second: object,
    *,
    log: bool = False,
    factor: float = 1.959963984540054,
    added_variance: float = 0.0,
    exact: bool = True,
    oil: np.ndarray | None = None,
    laboratory: np.ndarray | None = None,
    confidence: float = 0.95,
) -> AgreementLimits:
    """Bland and Altman's limits of agreement with their own confidence limits.

    Parameters
    ----------
    first, second : arrays, shape (oils,)
        One value an oil and method (a result, or the mean of its results), in kV.
    log : bool
        Work on the ratio, for scatter in proportion to the level.
    factor : float
        Standard deviations either side of the bias: the limits hold 95 % of differences.
    added_variance : float
        What the difference of two *single* results varies more than that of the means given here;
        (1 - 1/m) s² for each method, m its results an oil (Bland and Altman 1999).
    exact : bool
        Limits of the limits by noncentral t (Carkeet, Optometry and Vision Science 92 (2015) e71), or
        with ``False`` by Bland and Altman's sd √(3/n) (Lancet 1986 i:307).
    oil, laboratory : arrays (n,), optional
        Codes, where a value is one oil's in one laboratory: pairs of one oil, and of one laboratory, are then not
        independent, and bias and limits are for a further oil in a further laboratory
        (:mod:`methods.agreement.laboratories`, which also says how far these limits are known; ``exact`` is not asked).
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        Fewer than three oils.
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if a.shape != b.shape or a.ndim != 1 or not (np.all(np.isfinite(a)) and np.all(np.isfinite(b))):
        raise InputError("Limits of agreement need two complete lists of the same length.")
    n = a.size
    if n < 3:
        raise NotEstimable(f"Limits of agreement need at least three oils tested by both methods; there are {n}.")
    if log:
        if np.any(a <= 0) or np.any(b <= 0):
            raise InputError("Ratios need values above zero.")
        a, b = np.log(a), np.log(b)
    d, m = b - a, (a + b) / 2
    bias, sd_means = float(d.mean()), float(d.std(ddof=1))
    if oil is None or laboratory is None:
        sd = float(np.sqrt(sd_means**2 + added_variance))
        t = float(scipy.stats.t.ppf(0.5 + confidence / 2, n - 1))
        half = t * sd_means / np.sqrt(n)
        near, far = _around(n, n - 1, sd, factor, exact, confidence)
    else:
        c = crossed(d, oil, laboratory)
        sd = float(np.sqrt(c.total + added_variance))
        half = mean_half_width(c, confidence)
        near, far = agreement_distances(c, factor, added_variance, confidence)
        m, d, a, b = (np.bincount(oil, weights=v) / np.bincount(oil) for v in (m, d, a, b))
    low, high = bias - factor * sd, bias + factor * sd
    slope, p, r = _trend(m, d, a, b)
    values = [bias, bias - half, bias + half, low, bias - far, bias - near, high, bias + near, bias + far]
    if log:
        values = [float(100 * np.expm1(v)) for v in values]
    ccc = 2 * np.cov(a, b, ddof=0)[0, 1] / (a.var() + b.var() + (a.mean() - b.mean()) ** 2)
    shown = dict(zip(_VALUES, map(float, values), strict=True))
    return AgreementLimits(
        scale="log" if log else "kv", n=n, sd=sd, slope=slope, slope_p=p, correlation=r, concordance=float(ccc),
        confidence=confidence, **shown,
    )  # fmt: skip


def _around(n: float, df: float, sd: float, factor: float, exact: bool, confidence: float) -> tuple[float, float]:
    """The near and far confidence limit of a limit of agreement, as distances from the bias.

    The bias is known as from ``n`` independent differences, their variance with ``df`` degrees of freedom.
    """
    if exact:
        tail = (1 - confidence) / 2
        middle = factor * np.sqrt(n)
        ends = scipy.stats.nct.ppf([tail, 1 - tail], df, middle) / np.sqrt(n)
        return float(sd * ends[0]), float(sd * ends[1])
    half = scipy.stats.t.ppf(0.5 + confidence / 2, df) * sd * np.sqrt(3 / n)
    return float(factor * sd - half), float(factor * sd + half)


def _trend(m: np.ndarray, d: np.ndarray, a: np.ndarray, b: np.ndarray) -> tuple[float, float, float]:
    if np.ptp(m) == 0 or np.ptp(a) == 0 or np.ptp(b) == 0:
        return float("nan"), float("nan"), float("nan")
    if np.ptp(d) == 0:
        return 0.0, float("nan"), 1.0
    line = scipy.stats.linregress(m, d)
    return float(line.slope), float(line.pvalue), float(np.corrcoef(a, b)[0, 1])


def within_variance(values: object, item: object, *, order: object = None) -> tuple[float, float]:
    """Variance of repeated results on one item, pooled over items, and its degrees of freedom.

    With ``order`` (which repeat it was, complete and equal for all items) a shift common to all first
    results, all second results ... is taken out first, as for repeats made in one session.

    Parameters
    ----------
    values : array_like
        (n,) Results.
    item : array_like
        (n,) Which item (oil) each is of.
    order : array_like, optional
        (n,) Which repeat it was.
    """
    v = np.asarray(values, dtype=float)
    codes = np.unique(np.asarray(item), return_inverse=True)[1]
    counts = np.bincount(codes)
    residual = v - (np.bincount(codes, weights=v) / counts)[codes]
    freedom = float((counts - 1).sum())
    if order is not None:
        turns = np.unique(np.asarray(order), return_inverse=True)[1]
        if len(v) != counts.size * (turns.max() + 1) or np.any(counts != counts[0]):
            raise InputError("Taking out the order needs the same repeats on every item.")
        residual = residual - (np.bincount(turns, weights=residual) / np.bincount(turns))[turns]
        freedom -= float(turns.max())
    if freedom <= 0:
        return float("nan"), 0.0
    return float((residual**2).sum() / freedom), freedom
