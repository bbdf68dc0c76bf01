"""One oil under one procedure: its mean, its scatter and its percentiles, each with limits that hold.

Every surface that names the mean, the SD or a percentile of the same rows takes it from here: the fit of the normal
family, the verdict, the uncertainty budget, the components and the report.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import scipy

from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.families import NORMAL
from methods.result import Caution
from methods.scatter.anova import difference_limits, sd_limits
from methods.scatter.arguments import check_values
from methods.scatter.family_pivots import draws_of
from methods.scatter.nested_pivots import (
    Draws,
    Prior,
    Summary,
    matching_df,
    mean_error,
    pivots,
    posterior,
    shifted,
    student,
    summarise,
    within_alone,
)
from methods.scatter.newton import fit_batch
from methods.scatter.one_factor import upper_between

Array = np.ndarray[Any, Any]
Pair = tuple[float, float]
NONE: Pair = (math.nan, math.nan)


@dataclass(frozen=True)
class OilPercentile:
    """The voltage ``kv`` below which the fraction ``p`` breaks down, its limits, and the one-sided lower limit
    ``surely_above_kv``: with the confidence, at least ``1 - p`` of all breakdowns lie above it (a tolerance limit)."""

    p: float
    kv: float
    low: float
    high: float
    surely_above_kv: float


@dataclass(frozen=True)
class OneOil:
    """What the breakdowns of one oil under one procedure tell; kV, limits two-sided at ``confidence``.

    Attributes
    ----------
    mean_kv, mean_low_kv, mean_high_kv : float
        Fillings count equally, whatever their numbers of breakdowns.
    standard_error_kv, df : float
        Of the mean, with the degrees of freedom that go with its limits.
    within_sd_kv, between_sd_kv : float
        SD of breakdowns within a filling and between fillings (nan where they cannot be told apart).
    sd_kv : float
        SD of one result: of a single breakdown of any filling.
    cov_percent : float
        ``sd_kv`` in per cent of the mean.
    percentiles : tuple of OilPercentile
        Of the normal law with this mean and ``sd_kv``.
    holds_for : str
        ``this oil``; ``this filling``, where all is from one filling and nothing is known of others; ``these values``,
        where fillings are not known and the values were taken as independent.
    basis : str
        What the limits of the mean rest on.
    """

    mean_kv: float
    mean_low_kv: float
    mean_high_kv: float
    standard_error_kv: float
    df: float
    within_sd_kv: float
    within_sd_limits_kv: Pair
    between_sd_kv: float
    between_sd_limits_kv: Pair
    sd_kv: float
    sd_limits_kv: Pair
    cov_percent: float
    cov_limits_percent: Pair
    percentiles: tuple[OilPercentile, ...]
    n: int
    withstood: int
    fillings: int | None
    holds_for: str
    basis: str
    confidence: float
    cautions: tuple[Caution, ...] = field(default=())


def one_oil(
    kv: Any,
    withstood: Any = None,
    fillings: Any = None,
    *,
    confidence: float = 0.95,
    percentiles: Sequence[float] = (0.01, 0.1, 0.5),
    known: Prior | None = None,
) -> OneOil:
    """Estimate one oil under one procedure.

    Parameters
    ----------
    kv, withstood : arrays (n,)
        Breakdown voltages, kV; a withstand carries its ceiling.
    fillings : array (n,), optional
        Labels. None: not known, the values are taken as independent.
    known : Prior, optional
        Scatter known from elsewhere, kV; the limits then hold for the oil even with one filling.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    percentiles : sequence of float, default (0.01, 0.1, 0.5)
        Fractions whose voltages are wanted.

    Raises
    ------
    NotEstimable
        Nothing broke down, or the values do not scatter at all.

    Notes
    -----
    Mean: Student's t on filling means; wider where they agree by luck (:func:`.nested_pivots.mean_error`). SDs by
    restricted likelihood, as :func:`methods.scatter.components` gives them; limits of SDs and percentiles: generalised
    pivotal quantities (:mod:`methods.scatter.nested_pivots`); independent values: chi-square
    and noncentral t, which is what those reduce to. Withstands: maximum likelihood of the normal law, each value
    counting equally, with limits by simulation (:mod:`methods.scatter.family_pivots`).
    """
    check_confidence(confidence)
    x, gone = check_values(kv, withstood)
    if not len(x):
        raise NotEstimable("There are no values.", column="kv")
    code = np.zeros(len(x), int) if fillings is None else np.unique(np.asarray(fillings), return_inverse=True)[1]
    if code.shape != x.shape:
        raise InputError(f"kv holds {len(x)} values and fillings {code.size}; they must be as many.", column="fillings")
    count = None if fillings is None else int(code.max()) + 1
    points = [float(p) for p in percentiles]
    if gone.any():
        return _under_ceiling(x, gone, code if count else None, count, confidence, points, known)
    s = summarise(x, code)
    return of_summary(s, count, confidence=confidence, percentiles=points, known=known)


def of_summary(
    s: Summary, fillings: int | None, *, confidence: float, percentiles: Sequence[float], known: Prior | None = None
) -> OneOil:
    """The same from the sums of squares; ``fillings`` None: not known.

    Parameters
    ----------
    s : Summary
        Sums of squares of the oil.
    fillings : int or None
        Number of fillings.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    percentiles : sequence of float
        Fractions whose voltages are wanted.
    known : Prior, optional
        Scatter that is known from elsewhere.
    """
    error, df, lucky = mean_error(s, confidence)
    draws: Draws | None = None
    if known is not None:
        draws, lucky = posterior(s, known), False
        error, df = known_error(s, known, draws, confidence)
        half = student(df, confidence) * error
    elif df > 0:
        half = student(df, confidence) * error
        draws = pivots(s)
    else:
        half = math.nan
    within, between, total = _sds(s, known, draws)
    a = (1 - confidence) / 2
    limits = sd_limits_of(s, known, draws, confidence)
    points = normal_percentiles(s, percentiles, confidence, draws, lucky)
    upper = normal_percentiles(s, percentiles, 2 * confidence - 1, draws, lucky) if confidence > 0.5 else points
    rows = tuple(
        OilPercentile(p, float(point[0]), float(point[1]), float(point[2]), float(one[1]))
        for p, point, one in zip(percentiles, points, upper, strict=True)
    )
    cov: Pair = NONE
    if draws is not None:
        ratio = draws.total_sd / np.maximum(draws.mean, 1e-9)  # a mean at or below 0 kV: no upper limit
        cov = tuple(float(100 * v) if v < 1e3 else math.inf for v in draws.quantiles(ratio, [a, 1 - a]))  # type: ignore[assignment]
    low, high = shifted(s.mean, half, known is not None and known.relative)
    return OneOil(
        mean_kv=s.mean, mean_low_kv=low, mean_high_kv=high, standard_error_kv=error, df=df,
        within_sd_kv=within, within_sd_limits_kv=limits[0], between_sd_kv=between, between_sd_limits_kv=limits[1],
        sd_kv=total, sd_limits_kv=limits[2], cov_percent=100 * total / s.mean, cov_limits_percent=cov,
        percentiles=rows, n=s.n, withstood=0, fillings=fillings, holds_for=_holds_for(fillings, known),
        basis=_basis(s, fillings, known, lucky), confidence=confidence,
        cautions=tuple(_cautions(s, fillings, known, lucky, confidence)),
    )  # fmt: skip


def normal_percentiles(
    s: Summary, points: Sequence[float], confidence: float, draws: Draws | None = None, lucky: bool | None = None
) -> Array:
    """Percentiles of the normal law of one oil: rows of estimate, low, high (kV, or the unit of the summary).

    Independent values: the maximum-likelihood estimate with exact limits by the noncentral t. Fillings: the mean of
    fillings and the SD of one result, with limits from the draws.

    Parameters
    ----------
    s : Summary
        Sums of squares of the oil.
    points : sequence of float
        (q,) Fractions.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    draws : Draws, optional
        Draws of mean and scatter; made here by default.
    lucky : bool, optional
        Whether the fillings agree by luck; asked here by default.
    """
    p = np.asarray(points, dtype=float)
    if not len(p):
        return np.empty((0, 3))
    z = scipy.special.ndtri(p)
    nested = s.within_df > 0 and s.fillings > 1
    if not nested and (draws is None or draws.weights is None and not draws.between.any()):
        ss, df = (s.within_ss, s.within_df) if s.fillings == 1 else (s.between_ss, s.fillings - 1)
        if df < 1:
            return np.column_stack(
                [np.full(len(p), s.mean if s.n == 1 else math.nan), *[np.full(len(p), math.nan)] * 2]
            )
        low, high = (np.array([noncentral(s.n, float(v), q) for v in z]) for q in
                     ((1 - confidence) / 2, (1 + confidence) / 2))  # fmt: skip
        sd = math.sqrt(ss / df)
        return np.column_stack([s.mean + z * math.sqrt(ss / s.n), s.mean + low * sd, s.mean + high * sd])
    draws = pivots(s) if draws is None else draws
    total = _sds(s, None if draws.weights is None and not _borrowed(s, draws) else Prior(0, 0, 0, 0), draws)[2]
    if lucky is None:
        lucky = mean_error(s, confidence)[2]
    ends = _ends(draws, z, confidence)
    if lucky:
        inner = _ends(within_alone(s), z, confidence)
        ends = np.array([np.minimum(ends[0], inner[0]), np.maximum(ends[1], inner[1])])
    if draws.weights is None and not _borrowed(s, draws):  # the middle is the mean, whose limits are known exactly
        error, df_mean, _ = mean_error(s, confidence)
        half = student(df_mean, confidence) * error
        middle = np.abs(z) < 1e-12
        ends[0, middle], ends[1, middle] = s.mean - half, s.mean + half
    return np.column_stack([s.mean + z * total, ends[0], ends[1]])


def _borrowed(s: Summary, draws: Draws) -> bool:
    return s.fillings == 1 and bool(draws.between.any())


def _ends(draws: Draws, z: Array, confidence: float) -> Array:
    mean, total = draws.mean, draws.total_sd
    q = [(1 - confidence) / 2, (1 + confidence) / 2]
    return np.column_stack([draws.quantiles(mean + v * total, q) for v in z])


@lru_cache(maxsize=4096)
def noncentral(n: int, z: float, q: float) -> float:
    """Quantile ``q`` of what to add to the mean, in SDs (by n - 1), for the percentile at ``z``; n independent values.

    ``(x_p - mean) / sd`` is ``-T / sqrt(n)`` with T noncentral t, n - 1 degrees of freedom, noncentrality
    ``-z sqrt(n)``; beyond a thousand values by the draws, where the noncentral t loses digits.

    Parameters
    ----------
    n : int
        Number of independent values.
    z : float
        Normal quantile of the percentile.
    q : float
        Fraction of the limit.
    """
    if abs(z) < 1e-12:
        return float(scipy.special.stdtrit(n - 1, q) / math.sqrt(n))
    if n > 1000:
        draws = pivots(Summary(n, 1, 0.0, 0.0, float(n - 1), float(n)))
        return float(draws.quantiles(draws.mean + z * draws.total_sd, q)[0])
    return float(scipy.special.nctdtrit(n - 1, z * math.sqrt(n), q) / math.sqrt(n))


def known_error(s: Summary, known: Prior, draws: Draws, confidence: float) -> tuple[float, float]:
    """Standard error of the mean and its degrees of freedom where scatter is known from elsewhere.

    One filling, or a certain SD between fillings: the two variances added, degrees of freedom after Welch and
    Satterthwaite. Otherwise what the fillings show changes what is known of their scatter, and the draws tell.

    Parameters
    ----------
    s : Summary
        Sums of squares of the oil.
    known : Prior
        Scatter that is known from elsewhere.
    draws : Draws
        Draws of mean and scatter.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    parts = []
    df_w = known.within_df + s.within_df
    if df_w > 0:
        ss = s.within_ss + (known.within_sd**2 * known.within_df if math.isfinite(known.within_df) else 0.0)
        variance = known.within_sd**2 if not math.isfinite(known.within_df) else ss / df_w
        parts.append((variance / (s.harmonic * s.fillings), df_w))
    if known.between_quantiles is None and (s.fillings == 1 or not math.isfinite(known.between_df)):
        parts.append((known.between_sd**2 / s.fillings, known.between_df))
        total = sum(v for v, _ in parts)
        rest = sum(v * v / d for v, d in parts if math.isfinite(d))
        return math.sqrt(total), total * total / rest if rest > 0 else math.inf
    error = math.sqrt(float(draws.quantiles(draws.mean_variance, 0.5)[0]))
    return error, matching_df(draws.half_width(confidence) / error, confidence)


def _sds(s: Summary, known: Prior | None, draws: Draws | None) -> tuple[float, float, float]:
    """Within, between, total."""
    if known is not None and draws is not None:
        within, between = (float(np.sqrt(draws.quantiles(v, 0.5)[0])) for v in (draws.within, draws.between))
        return within, between, math.hypot(within, between)
    if s.fillings == 1:
        sd = math.sqrt(s.within_variance) if s.within_df > 0 else math.nan
        return sd, math.nan, sd
    if s.within_df == 0:
        return math.nan, math.nan, math.sqrt(s.means_variance)
    if not s.within_ss > 0:
        return 0.0, math.sqrt(s.means_variance), math.sqrt(s.means_variance)
    inside, outside = s.variances
    return math.sqrt(inside), math.sqrt(outside), math.sqrt(inside + outside)


def sd_limits_of(s: Summary, known: Prior | None, draws: Draws | None, confidence: float) -> tuple[Pair, Pair, Pair]:
    """Limits of the SD within fillings, between them, and of one result.

    Where the values have wider tails than the normal law the lower limits within and of one result lie lower: the
    logarithm of a variance scatters by ``(2 + excess) / n`` in place of ``2 / n`` (D. G. Bonett, *Comput. Statist. Data
    Anal.* 50 (2006) 775).

    Parameters
    ----------
    s : Summary
        Sums of squares of the oil.
    known : Prior or None
        Scatter that is known from elsewhere.
    draws : Draws or None
        Draws of mean and scatter; without them there are no limits.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    a = (1 - confidence) / 2
    if draws is None:
        return NONE, NONE, NONE

    def ends(values: Array) -> Pair:
        low, high = draws.quantiles(values, [a, 1 - a])
        return float(low), float(high)

    if known is not None:
        return ends(np.sqrt(draws.within)), ends(np.sqrt(draws.between)), ends(draws.total_sd)
    if s.fillings == 1 or s.within_df == 0:
        df = s.n - 1
        sd = math.sqrt((s.within_ss if s.fillings == 1 else s.between_ss) / df)
        both = _wide_tails(sd, sd_limits(sd, df, confidence), s.excess)
        return (both if s.fillings == 1 else NONE), NONE, both
    inside = math.sqrt(s.within_variance)
    within = _wide_tails(inside, sd_limits(inside, s.within_df, confidence), s.excess)
    pair = difference_limits(
        s.harmonic * s.means_variance, s.fillings - 1, s.within_variance, s.within_df, s.harmonic, confidence
    )
    _, found, total = _sds(s, None, None)
    top = pair[1] if pair[1] > 0 else upper_between(*s.levels, s.within_ss, confidence)
    between = (min(math.sqrt(max(pair[0], 0.0)), found), max(math.sqrt(top), found))
    low, high = ends(draws.total_sd)
    # Where fillings hardly differ the draws, which cannot fall below none between, lie high: the low limit is never
    # above that of values that are all alike.
    ss = s.within_ss + s.harmonic * s.between_ss
    alike = sd_limits(math.sqrt(ss / (s.n - 1)), s.n - 1, confidence)[0]
    return within, between, _wide_tails(total, (min(low, alike), high), s.excess)


def _wide_tails(sd: float, pair: Pair, excess: float) -> Pair:
    """The lower limit of an SD as much farther away, on the logarithm, as the excess kurtosis asks for."""
    if not (excess > 0 and sd > pair[0] > 0):
        return pair
    return sd * (pair[0] / sd) ** math.sqrt(1 + excess / 2), pair[1]


def _holds_for(fillings: int | None, known: Prior | None) -> str:
    if fillings is None:
        return "these values"
    return "this filling" if fillings == 1 and known is None else "this oil"


def _basis(s: Summary, fillings: int | None, known: Prior | None, lucky: bool) -> str:
    if known is not None:
        return "breakdowns, and scatter between fillings from history"
    if fillings is None:
        return "breakdowns taken as independent"
    if fillings == 1:
        return "breakdowns of one filling" if s.within_df > 0 else "one value"
    return "scatter within fillings" if lucky else "filling means"


def _cautions(s: Summary, fillings: int | None, known: Prior | None, lucky: bool, confidence: float) -> list[Caution]:
    out = []
    if fillings == 1 and known is None and s.within_df > 0:
        sd = math.sqrt(s.within_variance)
        wide = student(s.within_df, confidence) * sd * math.sqrt(1 + 1 / s.n)
        out.append(Caution("one_filling", (
            "All breakdowns are from one filling, so the limits hold for this filling: how much another filling of the "
            f"same oil would differ is not in them. Were fillings to differ by as much as breakdowns do, the mean of "
            f"the oil would be known to ± {wide:.1f} kV. A second filling, or scatter known from history, mends it."
        )))  # fmt: skip
    if lucky:
        out.append(Caution("lucky_fillings", (
            f"The {s.fillings} filling means agree better than the scatter within fillings lets one expect; so the "
            "limits rest on that scatter, and leave room for a difference between fillings that hides behind the "
            "chance (none to twice the scatter within)."
        )))  # fmt: skip
    return out


def _under_ceiling(
    x: Array, gone: Array, code: Array | None, count: int | None, confidence: float, points: Sequence[float],
    known: Prior | None,
) -> OneOil:  # fmt: skip
    stood = int(gone.sum())
    if stood == len(x):
        raise NotEstimable(f"All {len(x)} values withstood: nothing says how far above the ceiling they lie.")
    seen = x[~gone]
    if len(seen) < 2 or (np.ptp(seen) <= 0 and x[gone].max() <= seen.max()):
        raise NotEstimable("Fewer than two different breakdowns: with withstands alone there is no mean.")
    batch = fit_batch(NORMAL, x[None], ~gone[None], np.ones((1, len(x)), bool))
    mu, sigma = float(batch.mu[0]), float(batch.sigma[0])
    draws = draws_of(NORMAL, x, gone, code, mu, sigma)
    low, high = draws.limits(lambda m, s: m, confidence)
    if known is not None and math.isfinite(known.between_sd):
        sizes = np.bincount(code) / len(x) if code is not None else np.ones(1)
        more = student(known.between_df, confidence) * known.between_sd * float(np.sqrt(np.sum(sizes**2)))
        low, high = mu - math.hypot(mu - low, more), mu + math.hypot(high - mu, more)
    error = (high - low) / 2 / student(math.inf, confidence)
    df = float(max((~gone).sum(), 2) - 1 if count in (None, 1) else count - 1)
    error = (high - low) / 2 / student(df, confidence)
    rows = []
    for p in points:
        z = float(scipy.special.ndtri(p))
        ends = draws.limits(lambda m, s, z=z: m + z * s, confidence)
        one = draws.limits(lambda m, s, z=z: m + z * s, max(2 * confidence - 1, 1e-9))
        rows.append(OilPercentile(p, mu + z * sigma, *ends, one[0]))
    sd = draws.limits(lambda m, s: s, confidence)
    cov = draws.limits(lambda m, s: 100 * s / np.where(m > 0, m, np.nan), confidence)
    found = [Caution("withstood", (
        f"{stood} of {len(x)} reached the ceiling without a breakdown; the mean is the maximum-likelihood one of the "
        "normal family, in which a ceiling counts as 'higher than that'."
    ))]  # fmt: skip
    if count == 1 and known is None:
        found.append(Caution("one_filling", (
            "All values are from one filling, so the limits hold for this filling: how much another filling of the "
            "same oil would differ is not in them."
        )))  # fmt: skip
    return OneOil(
        mean_kv=mu, mean_low_kv=low, mean_high_kv=high, standard_error_kv=error, df=df, within_sd_kv=math.nan,
        within_sd_limits_kv=NONE, between_sd_kv=math.nan, between_sd_limits_kv=NONE, sd_kv=sigma, sd_limits_kv=sd,
        cov_percent=100 * sigma / mu, cov_limits_percent=cov, percentiles=tuple(rows), n=len(x), withstood=stood,
        fillings=count, holds_for=_holds_for(count, known), basis="censored maximum likelihood",
        confidence=confidence, cautions=tuple(found),
    )  # fmt: skip
