"""Profile-likelihood limits for quantiles and scatter of location-scale families."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import scipy

from methods.families import Kernel

Array = np.ndarray[Any, Any]


class ProfileLikelihood:
    """The censored likelihood of one group, maximised with one thing held.

    Parameters
    ----------
    kernel : Kernel
    y : array (n,)
        Values (kV or ln kV).
    event : bool array (n,)
        False where right-censored.
    mu, sigma, log_likelihood : float
        The maximum, on the scale of ``y``.
    """

    def __init__(self, kernel: Kernel, y: Array, event: Array, mu: float, sigma: float, log_likelihood: float) -> None:
        self.kernel, self.mu, self.sigma, self.peak = kernel, mu, sigma, log_likelihood
        self.failed, self.censored, self.r = y[event], y[~event], int(event.sum())

    def quantile_limits(self, z_p: float, standard_error: float, confidence: float) -> tuple[float, float]:
        """Limits of ``mu + sigma z_p``: where twice the drop of the profile is the chi-squared point.

        ``z_p = 0`` gives the limits of ``mu``. ``standard_error`` only sets the first step. A side on which it
        never falls that far gives nan: the data set no limit there.

        Parameters
        ----------
        z_p : float
            Standard quantile of the family.
        standard_error : float
            Of the quantile.
        confidence : float
            Of the limits, a fraction between 0 and 1.
        """
        centre = self.mu + self.sigma * z_p
        return self._limits(lambda v, last: self._at_quantile(v, z_p, last), centre, standard_error, confidence)

    def sigma_limits(self, se_log: float, confidence: float) -> tuple[float, float]:
        """Limits of ``sigma``; ``se_log`` is the standard error of ``ln sigma``."""
        low, high = self._limits(
            lambda s, last: self._at_sigma(float(np.exp(s)), last), float(np.log(self.sigma)), se_log, confidence
        )
        return float(np.exp(low)), float(np.exp(high))

    def _limits(
        self,
        profile: Callable[[float, float | None], tuple[float, float]],
        centre: float,
        standard_error: float,
        confidence: float,
    ) -> tuple[float, float]:
        drop = float(scipy.stats.chi2.ppf(confidence, 1)) / 2
        return tuple(  # type: ignore[return-value]
            self._side(profile, centre, sign * standard_error * float(np.sqrt(2 * drop)), drop) for sign in (-1, 1)
        )

    def _side(
        self,
        profile: Callable[[float, float | None], tuple[float, float]],
        centre: float,
        step: float,
        drop: float,
    ) -> float:
        """Step out from the estimate until the likelihood has dropped far enough, then close in on the place."""
        last: float | None = None  # where the other parameter was best: the next search begins there

        def gap(v: float) -> float:
            nonlocal last
            value, last = profile(v, last)
            return value - self.peak + drop

        inner = centre
        for i in range(40):
            outer = centre + step * 1.25 * 1.6**i
            if gap(outer) < 0:
                return float(scipy.optimize.brentq(gap, inner, outer, xtol=1e-7 * abs(step) + 1e-300, rtol=1e-12))
            inner = outer
        return float("nan")

    def _sums(self, z_of: Callable[[Array], Array], weight_of: Callable[[Array], Array]) -> tuple[float, float, float]:
        """Log-likelihood (without ``ln tau``), its first and second derivative along ``dz = weight dt``."""
        value = first = second = 0.0
        for y, part in ((self.failed, self.kernel.density), (self.censored, self.kernel.survival)):
            if len(y):
                ll, d1, d2 = part(z_of(y))
                w = weight_of(y)
                value, first, second = value + ll.sum(), first + (d1 * w).sum(), second + (d2 * w * w).sum()
        return float(value), float(first), float(second)

    def _at_quantile(self, v: float, z_p: float, start: float | None) -> tuple[float, float]:
        """Maximum over ``tau = 1 / sigma`` with the quantile held at ``v``; concave in tau."""

        def terms(tau: float) -> tuple[float, float, float]:
            value, first, second = self._sums(lambda y: tau * (y - v) + z_p, lambda y: y - v)
            return value + self.r * np.log(tau), first + self.r / tau, second - self.r / tau**2

        return _climb(terms, start or 1 / self.sigma, positive=True)

    def _at_sigma(self, sigma: float, start: float | None) -> tuple[float, float]:
        """Maximum over the location with sigma held; concave in it.

        The location counts in sigmas from the estimate: counted from zero, the best place at one sigma would be
        hundreds of steps away from that at the next when the scatter is small against the level.
        """

        def terms(shift: float) -> tuple[float, float, float]:
            value, first, second = self._sums(lambda y: (y - self.mu) / sigma - shift, lambda y: np.full_like(y, -1.0))
            return value - self.r * np.log(sigma), first, second

        return _climb(terms, start or 0.0, positive=False)


def _climb(terms: Callable[[float], tuple[float, float, float]], x: float, *, positive: bool) -> tuple[float, float]:
    """Damped Newton for the maximum of a concave function of one number; the value there, and where."""
    value, first, second = terms(x)
    for _ in range(200):
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            step = -first / second if second < 0 else 0.0
        step = max(-0.75 * x, min(step, 3 * x)) if positive else max(-3.0, min(step, 3.0))
        if not np.isfinite(step) or abs(step) <= 1e-9 * (abs(x) if positive else 1 + abs(x)):
            break
        new = terms(x + step)
        for _ in range(50):
            if new[0] >= value - 1e-10 * (1 + abs(value)):
                break
            step /= 2
            new = terms(x + step)
        x, (value, first, second) = x + step, new
    return value, x
