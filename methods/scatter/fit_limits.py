"""Confidence limits of the percentiles and parameters of one fitted family: normal approximation or profile."""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy

from methods.families import Family
from methods.scatter.many import Arrays
from methods.scatter.profile import ProfileLikelihood
from methods.scatter.threshold import AT_ZERO

Array = np.ndarray[Any, Any]


class FitLimits:
    """Estimates and limits of percentiles and parameters of one fitted group."""

    def __init__(self, fam: Family, x: Array, gone: Array, found: Arrays, confidence: float, interval: str) -> None:
        self.fam, self.confidence = fam, confidence
        self.mu, self.sigma = float(found.mu[0]), float(found.sigma[0])
        self.three = len(fam.parameters) == 3
        self.threshold = float(found.parameters[0, 2]) if self.three else 0.0
        self.work = found.covariance[0]  # of (mu, ln sigma[, threshold])
        self.at_zero = found.note[0] == AT_ZERO
        self.z = float(scipy.special.ndtri(0.5 + confidence / 2))
        self.interval = "wald" if self.three else interval
        self.covariance = self._public()
        if self.interval == "profile":
            y = np.log(x) if fam.log else x
            jump = y[~gone].sum() if fam.log else 0.0
            peak = float(found.log_likelihood[0]) + float(jump)
            self.profile = ProfileLikelihood(fam.kernel, y, ~gone, self.mu, self.sigma, peak)

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
        z_p = float(self.fam.kernel.quantile(np.array(p)))
        centre = self.mu + self.sigma * z_p
        grad = np.array([1.0, self.sigma * z_p])
        se = float(np.sqrt(grad @ self.work[:2, :2] @ grad))
        if self.interval == "profile":
            low, high = self.profile.quantile_limits(z_p, se, self.confidence)
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
        if self.interval == "profile":
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
