"""The breakdown distributions under which rules are examined: scaled to a mean of one, with a stated scatter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from methods.errors import InputError
from methods.families import DRAWN, weibull_shape_for_cov

FAMILIES: tuple[str, ...] = (*DRAWN, "contaminated")

#: Contaminated series: with this probability a breakdown is low, at 0.4 to 0.7 of what it would have been
#: (from memory of the trade's levels, not a claim).
LOW_PROBABILITY, LOW_FROM, LOW_TO = 0.1, 0.4, 0.7


@dataclass(frozen=True)
class AssumedScatter:
    """Breakdowns of mean one: family and coefficient of variation ``cov`` (a fraction) within a filling.

    For ``contaminated``, ``cov`` is that of the undisturbed normal breakdowns, whose mean is one; the low ones
    come on top, so the true mean is below one (``mean``) and the whole scatter is ``total_cov``.
    """

    family: str
    cov: float

    def __post_init__(self) -> None:
        if self.family not in FAMILIES:
            rule = f"one of {', '.join(FAMILIES)}"
            raise InputError(
                f"The family is {self.family!r}; it must be {rule}.", column="family", text=str(self.family), rule=rule
            )
        if not 0.005 <= self.cov <= 0.6:
            rule = "between 0.5 % and 60 %"
            raise InputError(
                f"The coefficient of variation is {self.cov}; it must be {rule}, as a fraction.",
                column="cov",
                rule=rule,
            )

    @property
    def _parts(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Scales and weights of the mixture that stands for the uniform factor of the low breakdowns."""
        if self.family != "contaminated":
            return np.ones(1), np.ones(1)
        nodes, weights = np.polynomial.legendre.leggauss(48)
        scale = LOW_FROM + (LOW_TO - LOW_FROM) * (nodes + 1) / 2
        return np.append(1.0, scale), np.append(1 - LOW_PROBABILITY, LOW_PROBABILITY * weights / 2)

    @property
    def mean(self) -> float:
        """The true mean, relative to the undisturbed one."""
        scale, weight = self._parts
        return float(weight @ scale)

    @property
    def total_cov(self) -> float:
        """Standard deviation over mean of the whole distribution (a fraction)."""
        scale, weight = self._parts
        second = float(weight @ scale**2) * (1 + self.cov**2)
        return float(np.sqrt(second - self.mean**2) / self.mean)

    def cdf(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Distribution function."""
        if self.family == "lognormal":
            sigma = np.sqrt(np.log1p(self.cov**2))
            return np.asarray(scipy.stats.lognorm.cdf(x, sigma, scale=np.exp(-(sigma**2) / 2)))
        if self.family == "weibull":
            shape = weibull_shape_for_cov(self.cov)
            positive = np.maximum(x, 0) * scipy.special.gamma(1 + 1 / shape)
            return np.asarray(-np.expm1(-(positive**shape)))
        scale, weight = self._parts
        return np.asarray(
            sum(w * scipy.special.ndtr((x - s) / (s * self.cov)) for s, w in zip(scale, weight, strict=True))
        )

    def pdf(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Density."""
        if self.family == "lognormal":
            sigma = np.sqrt(np.log1p(self.cov**2))
            return np.asarray(scipy.stats.lognorm.pdf(x, sigma, scale=np.exp(-(sigma**2) / 2)))
        if self.family == "weibull":
            shape = weibull_shape_for_cov(self.cov)
            return np.asarray(scipy.stats.weibull_min.pdf(x, shape, scale=1 / scipy.special.gamma(1 + 1 / shape)))
        scale, weight = self._parts
        pairs = zip(scale, weight, strict=True)
        return np.asarray(sum(w * scipy.stats.norm.pdf(x, s, s * self.cov) for s, w in pairs))

    def range_of_support(self, tail: float = 1e-13) -> tuple[float, float]:
        """Where all but ``tail`` at each end lies."""
        if self.family == "lognormal":
            sigma = np.sqrt(np.log1p(self.cov**2))
            low, high = scipy.stats.lognorm.ppf(np.array([tail, 1 - tail]), sigma, scale=np.exp(-(sigma**2) / 2))
        elif self.family == "weibull":
            shape = weibull_shape_for_cov(self.cov)
            low, high = scipy.stats.weibull_min.ppf(
                np.array([tail, 1 - tail]), shape, scale=1 / scipy.special.gamma(1 + 1 / shape)
            )
        else:
            z = float(-scipy.special.ndtri(tail))
            scale, _ = self._parts
            low, high = float(np.min(scale * (1 - z * self.cov))), 1 + z * self.cov
        return float(low), float(high)

    def draw(self, rng: np.random.Generator, shape: tuple[int, ...]) -> NDArray[np.float64]:
        """Random breakdowns, relative to the undisturbed mean."""
        if self.family == "lognormal":
            sigma = np.sqrt(np.log1p(self.cov**2))
            return np.exp(sigma * rng.standard_normal(shape) - sigma**2 / 2)
        if self.family == "weibull":
            k = weibull_shape_for_cov(self.cov)
            return rng.weibull(k, shape) / scipy.special.gamma(1 + 1 / k)
        x = 1 + self.cov * rng.standard_normal(shape)
        if self.family == "contaminated":
            low = rng.random(shape) < LOW_PROBABILITY
            x = np.where(low, x * rng.uniform(LOW_FROM, LOW_TO, shape), x)
        return x
