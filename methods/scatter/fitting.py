"""Fit one family to the breakdown voltages of one condition, withstands right-censored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import scipy

from methods import families
from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.families import Family, family_of
from methods.result import Caution, Shown
from methods.scatter.arguments import check_values
from methods.scatter.family_pivots import FamilyDraws
from methods.scatter.fit_limits import FitLimits, robust_covariance, simulated_draws, summarised
from methods.scatter.many import Arrays, aicc, fit_arrays
from methods.scatter.nested_pivots import Summary
from methods.scatter.threshold import AT_ZERO, LOCAL

Array = np.ndarray[Any, Any]

INTERVALS = {
    "pivot": "pivotal quantities, exact or simulated for these numbers of values and fillings",
    "robust": "normal approximation with errors robust to fillings, as there are many values",
    "wider": "the wider of the normal approximation and the limits of the family without a threshold by pivots",
    "wald": "normal approximation (observed information), on ln kV for families of positive voltages",
    "profile": "profile likelihood",
}

#: Those that can be asked for.
ASKED = ("pivot", "wald", "profile")

#: Fewest values with which a test can begin to tell families apart (common practice, no source).
SEPARABLE = 30


@dataclass(frozen=True)
class Percentile:
    """The voltage ``kv`` below which the fraction ``p`` breaks down, with its confidence limits in kV."""

    p: float
    kv: float
    low: float
    high: float


@dataclass(frozen=True, repr=False)
class Fit(Shown):
    """One family fitted to one condition.

    Attributes
    ----------
    family : str
    n : int
        All values, withstands included.
    withstood : int
        How many of them reached the ceiling: right-censored there.
    parameters, standard_errors : dict
        By name: ``mean, sd`` · ``log_mean, log_sd`` · ``shape, scale`` · ``shape, scale, threshold`` ·
        ``location, scale``; kV or ln kV. ``sd`` is the maximum-likelihood one (divided by n, not n - 1).
        Standard errors come from the observed information; nan where there is none (a threshold at 0).
    log_likelihood : float
        Of the densities per kV and, for withstands, the probabilities of exceeding the ceiling.
    aicc : float
        Akaike's criterion with the small-sample term; nan when n is too small for it.
    percentiles : list of Percentile
    confidence : float
        Of all limits, two-sided.
    interval : str
        ``pivot``, ``robust``, ``wald``, ``profile`` or ``wider``: how the limits were made.
    parameter_limits : dict of (low, high)
        Confidence limits of each parameter, kV or ln kV or none; scale-like ones on their logarithm.
    covariance : list of list
        Of the parameters, in the order of ``parameters``.
    cautions : list of Caution
    """

    family: str
    n: int
    withstood: int
    parameters: dict[str, float]
    standard_errors: dict[str, float]
    log_likelihood: float
    aicc: float
    percentiles: list[Percentile]
    confidence: float
    interval: str
    parameter_limits: dict[str, tuple[float, float]]
    covariance: list[list[float]]
    cautions: list[Caution] = field(default_factory=list)

    def pdf(self, kv: Any) -> Array:
        """Fitted probability density per kV at ``kv`` (any shape)."""
        return families.pdf(self.family, self.parameters, kv)

    def cdf(self, kv: Any) -> Array:
        """Fitted probability of breaking down at or below ``kv`` (any shape)."""
        return families.cdf(self.family, self.parameters, kv)

    def quantile(self, p: Any) -> Array:
        """Fitted voltage, kV, below which the fraction ``p`` (any shape) breaks down."""
        return families.quantile(self.family, self.parameters, p)

    @property
    def mean_kv(self) -> float:
        """Mean of the fitted distribution, kV (infinite or nan where the family has none)."""
        return self._moments()[0]

    @property
    def sd_kv(self) -> float:
        """Standard deviation of the fitted distribution, kV."""
        return self._moments()[1]

    def _moments(self) -> tuple[float, float]:
        fam = family_of(self.family)
        mu, sigma = fam.locate(self.parameters)
        if not fam.log:
            return mu + sigma * fam.kernel.mean, sigma * fam.kernel.sd
        if fam.name == "lognormal":
            mean = float(np.exp(mu + sigma**2 / 2))
            return mean, mean * float(np.sqrt(np.expm1(sigma**2)))
        if fam.reciprocal:
            mean = float(np.exp(mu + scipy.special.gammaln(1 + sigma)))
            return mean + self.parameters.get("threshold", 0.0), mean * float(families.weibull_cov(1 / sigma))
        return float("nan"), float("nan")


def fit(
    kv: Any,
    withstood: Any = None,
    family: str = "weibull",
    *,
    confidence: float = 0.95,
    percentiles: Sequence[float] = (0.01, 0.1, 0.5),
    interval: str = "pivot",
    fillings: Any = None,
) -> Fit:
    """Fit a family by maximum likelihood, withstands right-censored.

    Parameters
    ----------
    kv : array (n,)
        Breakdown voltages, kV; a withstand carries its ceiling.
    withstood : bool array (n,), optional
        True where the ceiling was reached without a breakdown.
    family : str
        ``normal``, ``lognormal``, ``weibull``, ``weibull3`` or ``gumbel_min``.
    confidence : float
        Of the limits, two-sided, between 0 and 1.
    percentiles : sequence of float
        Fractions between 0 and 1.
    interval : ``pivot``, ``wald`` or ``profile``
        Pivotal quantities, which hold with few values and know of fillings (exact for the normal family, simulated for
        the others, bootstrapped under ceilings; for ``weibull3`` the wider of those of the two-parameter
        family and the normal approximation);
        normal approximation from the observed information (on ln kV for families of positive voltages, on kV
        otherwise), or profile likelihood (not for ``weibull3``): these two take the values as independent.
    fillings : array (n,), optional
        Which filling each value is from; None: independent. Limits by pivotal quantities respect it. For the normal
        and lognormal families the percentiles are then those of :func:`methods.scatter.one_oil`: fillings count
        equally, and the SD is that of one result. The parameters stay those of maximum likelihood.

    Raises
    ------
    InputError
        Values that are missing, infinite or not positive where the family needs it; an unknown family.
    NotEstimable
        Values that are in order but do not determine the family: all withstood, one breakdown, all equal,
        fewer than two values, no threshold.

    Notes
    -----
    Definitions of likelihood, Wald and profile limits: Meeker & Escobar, Statistical Methods for Reliability
    Data (1998), chapters 7 and 8; Lawless (2003), chapters 4 and 5.
    """
    found = estimate(kv, withstood, family, fillings)
    return found.fit(confidence=confidence, percentiles=percentiles, interval=interval)


@dataclass(frozen=True)
class Estimate:
    """The maximum of the likelihood of one family for one condition, from which limits at any confidence follow
    without going through the values again. Made by :func:`estimate`."""

    family: str
    kv: Array = field(repr=False)
    withstood: Array = field(repr=False)
    found: Arrays = field(repr=False)
    fillings: Array | None = field(default=None, repr=False)

    @cached_property
    def draws(self) -> FamilyDraws:
        """Draws of location and scale that every limit by pivots is read from; made once."""
        return simulated_draws(family_of(self.family), self.kv, self.withstood, self.fillings, self.found)

    @cached_property
    def oil(self) -> Summary:
        """Sums of squares within and between fillings, on which the normal families' limits rest; made once."""
        code = np.zeros(len(self.kv), int) if self.fillings is None else self.fillings
        return summarised(family_of(self.family), self.kv, code)

    @cached_property
    def robust(self) -> Array:
        """Covariance that is robust to fillings, for many values; made once."""
        assert self.fillings is not None
        return robust_covariance(family_of(self.family), self.kv, self.withstood, self.fillings, self.found)

    def fit(
        self, *, confidence: float = 0.95, percentiles: Sequence[float] = (0.01, 0.1, 0.5), interval: str = "pivot"
    ) -> Fit:
        """Estimates with their limits; arguments, errors and formulas as for :func:`fit`.

        Parameters
        ----------
        confidence : float, default 0.95
            Of the limits, a fraction between 0 and 1.
        percentiles : sequence of float, default (0.01, 0.1, 0.5)
            Fractions whose voltages are wanted.
        interval : str, default 'pivot'
            ``pivot``, ``wald``, ``profile`` ...; see :func:`fit`.
        """
        check_confidence(confidence)
        if interval not in ASKED:
            raise InputError(
                f"Interval {interval!r}: choose {', '.join(ASKED[:-1])} or {ASKED[-1]}.", column="interval"
            )
        points = _fractions(percentiles)
        fam, x, gone, found = family_of(self.family), self.kv, self.withstood, self.found
        limits = FitLimits(fam, x, gone, found, confidence, interval, self.fillings, lambda: self.draws,
                           lambda: self.oil, lambda: self.robust)  # fmt: skip
        rows = [Percentile(p, *limits.percentile(p)) for p in points]
        return Fit(
            family=fam.name, n=len(x), withstood=int(gone.sum()),
            parameters=dict(zip(fam.parameters, (float(v) for v in found.parameters[0]), strict=True)),
            standard_errors=dict(zip(fam.parameters, (float(v) for v in found.standard_errors[0]), strict=True)),
            log_likelihood=float(found.log_likelihood[0]),
            aicc=float(aicc(found.log_likelihood[0], len(fam.parameters), len(x))),
            percentiles=rows, confidence=confidence, interval=limits.interval, parameter_limits=limits.parameters(),
            covariance=limits.covariance.tolist(), cautions=_cautions(fam, x, gone, found, rows, limits, interval),
        )  # fmt: skip


def estimate(kv: Any, withstood: Any = None, family: str = "weibull", fillings: Any = None) -> Estimate:
    """Maximise the likelihood of a family, withstands right-censored; arguments and errors as for :func:`fit`.

    Parameters
    ----------
    kv : array_like
        (n,) Voltages, kV.
    withstood : array_like, optional
        (n,) Which of them are withstands.
    family : str, default 'weibull'
        Name of the family.
    fillings : array_like, optional
        (n,) Labels of the fillings.
    """
    fam = family_of(family)
    x, gone = check_values(kv, withstood, positive=fam.log)
    found = fit_arrays(fam, x[None, :], np.ones((1, len(x)), dtype=bool), gone[None, :])
    if found.reason[0]:
        raise NotEstimable(
            f"The {fam.title} family cannot be fitted: {found.reason[0]}.", column="kv", rule=str(found.reason[0])
        )
    code = None
    if fillings is not None:
        code = np.unique(np.asarray(fillings), return_inverse=True)[1]
        if code.shape != x.shape:
            raise InputError(
                f"kv holds {len(x)} values and fillings {code.size}; they must be as many.", column="fillings"
            )
    return Estimate(fam.name, x, gone, found, code)


def _fractions(percentiles: Sequence[float]) -> list[float]:
    points = [float(p) for p in np.atleast_1d(np.asarray(percentiles, dtype=float))]
    for p in points:
        if not 0 < p < 1:
            raise InputError(f"Percentile {p!r}: write it as a fraction between 0 and 1.", column="percentiles")
    return points


def _cautions(
    fam: Family, x: Array, gone: Array, found: Arrays, rows: list[Percentile], limits: FitLimits, asked: str
) -> list[Caution]:
    """What a reader of the numbers has to know."""
    out: list[Caution] = []
    n, stood = len(x), int(gone.sum())
    if stood:
        out.append(
            Caution(
                "withstood",
                f"{stood} of {n} withstood the ceiling; they count as breaking down somewhere above it, so everything "
                "above the ceiling rests on the family alone.",
            )
        )
    if n - stood < SEPARABLE:
        out.append(
            Caution(
                "few",
                f"{n - stood} breakdowns cannot tell one family from another; the low percentiles differ between "
                "families by more than their limits show.",
            )
        )
    beyond = [f"{100 * r.p:g} %" for r in rows if r.p * n < 1]
    if beyond:
        listed = f"{beyond[0]} point lies" if len(beyond) == 1 else f"{' and '.join(beyond)} points lie"
        out.append(
            Caution("extrapolated", f"The {listed} below what {n} values can show: an extrapolation by the family.")
        )
    if not fam.positive and any(r.low <= 0 for r in rows):
        out.append(
            Caution(
                "below_zero", "A limit falls to or below 0 kV, where no breakdown can be: the family is wrong there."
            )
        )
    out += _threshold_cautions(found, limits, asked)
    if any(not np.isfinite([r.low, r.high]).all() for r in rows):
        out.append(Caution("no_limit", "The values set no limit on one side of a percentile; it is left empty."))
    return out


def _threshold_cautions(found: Arrays, limits: FitLimits, asked: str) -> list[Caution]:
    out = []
    if found.note[0] == AT_ZERO:
        out.append(
            Caution(
                "threshold_at_zero",
                "The likelihood wants a threshold at or below 0 kV, so it was held at 0: this is the two-parameter "
                "Weibull, and its limits do not know of the third parameter.",
            )
        )
    if found.note[0] == LOCAL:
        out.append(
            Caution(
                "local_maximum",
                "The likelihood grows without bound as the threshold nears the smallest breakdown; the values reported "
                "are its local maximum below that.",
            )
        )
    if asked == "profile" and limits.interval == "wald":
        out.append(
            Caution("limits_wald", "Profile limits are not made for this family; these are by normal approximation.")
        )
    return out
