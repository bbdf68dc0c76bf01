"""Confidence limits of the percentiles and parameters of one fitted family.

By pivotal quantities (the default: they hold with few values and know of fillings), by normal approximation, or from
the profile likelihood.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import scipy

from methods.families import Family, family_of
from methods.scatter.family_pivots import SIMULATED, FamilyDraws, draws_of
from methods.scatter.many import Arrays, fit_arrays
from methods.scatter.nested_pivots import Summary, mean_error, pivots, student, summarise
from methods.scatter.one_oil import normal_percentiles, sd_limits_of
from methods.scatter.profile import ProfileLikelihood
from methods.scatter.threshold import AT_ZERO

Array = np.ndarray[Any, Any]


def summarised(fam: Family, x: Array, code: Array) -> Summary:
    """Sums of squares of complete values, on the scale on which the family is one of location and scale.

    Parameters
    ----------
    fam : Family
        The family.
    x : ndarray
        (n,) Voltages, kV.
    code : ndarray
        (n,) Fillings, numbered from 0.
    """
    return summarise(np.log(x) if fam.log else x, code)


def simulated_draws(fam: Family, x: Array, gone: Array, filling: Array | None, found: Arrays) -> FamilyDraws:
    """Draws of location and scale that go with a fit.

    Parameters
    ----------
    fam : Family
        The family.
    x : ndarray
        (n,) Voltages, kV.
    gone : ndarray
        (n,) Which of them are withstands.
    filling : ndarray or None
        (n,) Codes of the fillings; None: not known.
    found : Arrays
        The fit of the values.
    """
    y = np.log(x) if fam.log else x
    return draws_of(fam.kernel, y, gone, filling, float(found.mu[0]), float(found.sigma[0]))


def robust_covariance(fam: Family, x: Array, gone: Array, code: Array, found: Arrays) -> Array:
    """Covariance of (mu, ln sigma) from the scores of whole fillings (Huber; White; Liang & Zeger 1986).

    Parameters
    ----------
    fam : Family
        The family.
    x : ndarray
        (n,) Voltages, kV.
    gone : ndarray
        (n,) Which of them are withstands.
    code : ndarray
        (n,) Fillings, numbered from 0.
    found : Arrays
        The fit.
    """
    mu, sigma, kernel = float(found.mu[0]), float(found.sigma[0]), fam.kernel
    z = ((np.log(x) if fam.log else x) - mu) / sigma
    slope = np.where(gone, kernel.survival(z)[1], kernel.density(z)[1])
    score = np.column_stack([-slope / sigma, -slope * z - np.where(gone, 0.0, 1.0)])
    sums = np.column_stack([np.bincount(code, column) for column in score.T])
    k = len(sums)
    bread = found.covariance[0][:2, :2]
    return np.asarray(bread @ (sums.T @ sums) @ bread * k / (k - 1))


class FitLimits:
    """Estimates and limits of percentiles and parameters of one fitted group.

    ``interval`` is how the limits were made in the end: ``pivot``, ``robust`` (normal approximation with errors robust
    to fillings, for many values), ``wald``, ``profile``, or ``wider`` (three parameters: the wider of the limits by
    normal approximation and those by pivots of the family without a threshold).
    """

    def __init__(
        self, fam: Family, x: Array, gone: Array, found: Arrays, confidence: float, interval: str,
        filling: Array | None = None, draws: Callable[[], FamilyDraws] | None = None,
        oil: Callable[[], Summary] | None = None, robust: Callable[[], Array] | None = None,
    ) -> None:  # fmt: skip
        self.fam, self.confidence = fam, confidence
        self.mu, self.sigma = float(found.mu[0]), float(found.sigma[0])
        self.n = len(x)
        self.three = len(fam.parameters) == 3
        self.threshold = float(found.parameters[0, 2]) if self.three else 0.0
        self.work = found.covariance[0]  # of (mu, ln sigma[, threshold])
        self.at_zero = found.note[0] == AT_ZERO
        self.z = float(scipy.special.ndtri(0.5 + confidence / 2))
        self.interval = interval
        self.two: FitLimits | None = None
        self.fillings = 0 if filling is None else int(filling.max()) + 1
        self.nested = 1 < self.fillings < len(x)
        self.oil: Summary | None = None
        self.draws: FamilyDraws | None = None
        if self.three:
            self.interval = "wald"
            if interval == "pivot" and len(x) <= SIMULATED:
                self._two_parameters(x, gone, filling)
        elif interval == "pivot":
            code = np.zeros(len(x), int) if filling is None else filling
            self._pivot(
                len(x), bool(gone.any()), oil or partial(summarised, fam, x, code),
                draws or partial(simulated_draws, fam, x, gone, filling, found),
                robust or partial(robust_covariance, fam, x, gone, code, found),
            )  # fmt: skip
        self.covariance = self._public()
        if self.interval == "profile":
            y = np.log(x) if fam.log else x
            jump = y[~gone].sum() if fam.log else 0.0
            peak = float(found.log_likelihood[0]) + float(jump)
            self.profile = ProfileLikelihood(fam.kernel, y, ~gone, self.mu, self.sigma, peak)

    def _pivot(
        self, n: int, stood: bool, oil: Callable[[], Summary], draws: Callable[[], FamilyDraws],
        robust: Callable[[], Array],
    ) -> None:  # fmt: skip
        """Draws; the normal law's are closed, the others' simulated up to a size, and beyond it errors are robust."""
        if self.fam.kernel.mean == 0.0 and self.fam.name in ("normal", "lognormal") and not stood:
            self.oil = oil()
            self.oil_draws, self.lucky = pivots(self.oil), mean_error(self.oil, self.confidence)[2]
        elif n <= SIMULATED:
            self.draws = draws()
        else:
            self.interval = "robust"
            if self.nested:
                self.work = robust()
                self.z = student(float(self.fillings - 1), self.confidence)

    def _two_parameters(self, x: Array, gone: Array, filling: Array | None) -> None:
        """The same values by the family without a threshold, whose limits are made by pivots."""
        two = family_of("weibull")
        found = fit_arrays(two, x[None], np.ones((1, len(x)), bool), gone[None])
        if not found.reason[0]:
            self.two = FitLimits(two, x, gone, found, self.confidence, "pivot", filling)
            self.interval = "wider"

    def _public(self) -> Array:
        k = len(self.fam.parameters)
        jac = np.eye(k)
        jac[:2, :2] = self.fam.jacobian(np.array(self.mu), np.array(self.sigma))
        out = jac @ np.nan_to_num(self.work) @ jac.T
        out[np.isnan(jac @ self.work @ jac.T) & (np.isnan(self.work).any())] = np.nan
        if self.at_zero:  # the bound is not estimated; the other two are
            out[:2, :2] = jac[:2, :2] @ self.work[:2, :2] @ jac[:2, :2].T
        return out

    def percentile(self, p: float) -> tuple[float, float, float]:
        """Estimate and limits, kV."""
        centre, low, high = self._own_percentile(p)
        if self.two is None:
            return centre, low, high
        _, other_low, other_high = self.two.percentile(p)
        return centre, float(np.fmin(low, min(other_low, centre))), float(np.fmax(high, max(other_high, centre)))

    def _own_percentile(self, p: float) -> tuple[float, float, float]:
        if self.oil is not None:
            row = normal_percentiles(self.oil, [p], self.confidence, self.oil_draws, self.lucky)[0]
            with np.errstate(over="ignore"):
                return tuple(float(v) for v in (np.exp(row) if self.fam.log else row))  # type: ignore[return-value]
        z_p = float(self.fam.kernel.quantile(np.array(p)))
        centre = self.mu + self.sigma * z_p
        grad = np.array([1.0, self.sigma * z_p])
        se = float(np.sqrt(grad @ self.work[:2, :2] @ grad))
        if self.interval == "profile":
            low, high = self.profile.quantile_limits(z_p, se, self.confidence)
        elif self.draws is not None:
            low, high = self.draws.limits(lambda m, s: m + z_p * s, self.confidence)
        elif self.three and not self.at_zero:
            return self._shifted(centre, grad)
        else:
            low, high = centre - self.z * se, centre + self.z * se
        if not self.fam.log:
            return centre, low, high
        with np.errstate(over="ignore"):
            return tuple(float(np.exp(v)) for v in (centre, low, high))  # type: ignore[return-value]

    def _shifted(self, centre: float, grad: Array) -> tuple[float, float, float]:
        """With a threshold: limits on the logarithm of the percentile itself."""
        above = float(np.exp(centre))
        kv = self.threshold + above
        slope = np.append(above * grad, 1.0)
        se = float(np.sqrt(slope @ self.work @ slope)) / kv
        return kv, kv * float(np.exp(-self.z * se)), kv * float(np.exp(self.z * se))

    def parameters(self) -> dict[str, tuple[float, float]]:
        """Limits by parameter name; location-like plain, scale-like on the logarithm."""
        se = np.sqrt(np.diag(self.work))
        if self.oil is not None:
            error, df, _ = mean_error(self.oil, self.confidence)
            half = student(df, self.confidence) * error
            mu = (self.oil.mean - half, self.oil.mean + half)
            sigma = sd_limits_of(self.oil, None, self.oil_draws, self.confidence)[2]
        elif self.draws is not None:
            mu = self.draws.limits(lambda m, s: m, self.confidence)
            sigma = self.draws.limits(lambda m, s: s, self.confidence)
        elif self.interval == "profile":
            mu = self.profile.quantile_limits(0.0, float(se[0]), self.confidence)
            sigma = self.profile.sigma_limits(float(se[1]), self.confidence)
        else:
            mu = (self.mu - self.z * se[0], self.mu + self.z * se[0])
            sigma = (self.sigma * np.exp(-self.z * se[1]), self.sigma * np.exp(self.z * se[1]))
        pairs = [mu, sigma]
        if self.fam.reciprocal:
            with np.errstate(over="ignore"):
                pairs = [(1 / sigma[1], 1 / sigma[0]), (np.exp(mu[0]), np.exp(mu[1]))]
        if self.three:
            pairs.append((self.threshold - self.z * se[2], self.threshold + self.z * se[2]))
        return {name: (float(a), float(b)) for name, (a, b) in zip(self.fam.parameters, pairs, strict=True)}
