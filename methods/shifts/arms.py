"""One side of a comparison: the mean of a level over its oils, from filling means or by censored likelihood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from methods.errors import NotEstimable
from methods.scatter.censored import hazard


@dataclass(frozen=True)
class Arm:
    """The mean of one level, oil by oil.

    Attributes
    ----------
    means : array, shape (oils,)
        Mean of each oil under this level, kV (or log kV).
    variances : array, shape (oils,)
        Variance of each of these means, from the scatter between units pooled over the oils; nan where
        no oil has two units.
    df : float
        Degrees of freedom of that scatter; 0 where there are none.
    sigma : float
        SD of single values by likelihood, where there are withstands; otherwise nan.
    log_sigma_se : float
        Its standard error on the log scale, robust to the grouping in units.
    units : array, shape (oils,), optional
        Number of units of each oil; not given with withstands.
    """

    means: np.ndarray
    variances: np.ndarray
    df: float
    sigma: float = float("nan")
    log_sigma_se: float = float("nan")
    units: np.ndarray | None = None

    @property
    def mean(self) -> float:
        """Mean over the oils, each with equal weight."""
        return float(np.mean(self.means))

    @property
    def variance(self) -> float:
        """Variance of :attr:`mean`."""
        return float(np.sum(self.variances)) / len(self.means) ** 2


def arm(values: np.ndarray, censored: np.ndarray, oil: np.ndarray, unit: np.ndarray, oils: int) -> Arm:
    """Summarise one level.

    Parameters
    ----------
    values, censored, oil, unit : arrays, shape (n,)
        Values (kV or log kV), whether each is a withstand, the index of its oil, the code of its unit of
        replication (filling; or the row itself where there is one filling).
    oils : int
        Number of oils; each must occur.

    Without withstands: the mean of unit means, oil by oil, and the pooled variance of unit means. This
    is what makes a comparison of two such arms Welch's test on filling means.
    """
    if censored.any():
        return _censored_arm(values, censored, oil, unit, oils)
    units, inverse = np.unique(unit, return_inverse=True)
    counts = np.bincount(inverse)
    unit_means = np.bincount(inverse, weights=values) / counts
    unit_oil = np.zeros(len(units), dtype=np.int64)
    unit_oil[inverse] = oil
    fillings = np.bincount(unit_oil, minlength=oils)
    means = np.bincount(unit_oil, weights=unit_means, minlength=oils) / fillings
    df = int(len(units) - oils)
    if df < 1:
        return Arm(means, np.full(oils, np.nan), 0.0, units=fillings)
    scatter = float(np.sum((unit_means - means[unit_oil]) ** 2)) / df
    return Arm(means, scatter / fillings, float(df), units=fillings)


def _censored_arm(values: np.ndarray, censored: np.ndarray, oil: np.ndarray, unit: np.ndarray, oils: int) -> Arm:
    """Means by maximum likelihood of a normal law with withstands right-censored, one SD for all oils.

    The standard errors come from the sandwich over units (Huber 1967; White 1982; clusters as in Liang
    and Zeger 1986) with the factor K/(K - oils). Without withstands and with equal numbers in each
    filling they are exactly those of filling means.
    """
    if len(np.unique(values[~censored])) < 2:
        raise NotEstimable("Fewer than two different breakdowns: with withstands alone there is no mean.")
    reached = np.bincount(oil[~censored], minlength=oils)
    if (reached == 0).any():
        raise NotEstimable("An oil has nothing but withstands under this level: its mean has no upper limit.")
    delta, gamma = _fit_normal(values, censored, oil, oils)
    units, inverse = np.unique(unit, return_inverse=True)
    scores, hessian = _scores(values, censored, oil, oils, delta, gamma)
    grouped = np.zeros((len(units), oils + 1))
    np.add.at(grouped, inverse, scores)
    df = len(units) - oils
    bread = np.linalg.inv(hessian)
    sigma, means = 1.0 / gamma, delta / gamma
    # From (delta, gamma) to (mean, log sigma): mean = delta/gamma, log sigma = -log gamma.
    change = np.zeros((oils + 1, oils + 1))
    change[np.arange(oils), np.arange(oils)] = 1.0 / gamma
    change[:oils, oils] = -delta / gamma**2
    change[oils, oils] = -1.0 / gamma
    if df < 1:
        return Arm(means, np.full(oils, np.nan), 0.0, sigma)
    meat = grouped.T @ grouped * (len(units) / df)
    covariance = change @ bread @ meat @ bread @ change.T
    # The means of the oils share one SD and are therefore correlated: their covariance is spread over the oils so
    # that the variance of the average comes out right.
    whole = float(covariance[:oils, :oils].sum())
    own = np.diag(covariance)[:oils]
    variances = own * (whole / own.sum()) if own.sum() > 0 else own
    return Arm(means, variances, float(df), sigma, float(np.sqrt(covariance[oils, oils])))


def _fit_normal(
    values: np.ndarray, censored: np.ndarray, oil: np.ndarray, oils: int, steps: int = 100
) -> tuple[np.ndarray, float]:
    """Newton's method in Olsen's parameters (Econometrica 46 (1978) 1211), in which the likelihood is concave."""
    centre, spread = float(values.mean()), float(values.std()) or 1.0
    scaled = (values - centre) / spread
    gamma = 1.0
    delta = np.bincount(oil, weights=scaled, minlength=oils) / np.bincount(oil, minlength=oils)
    here = _log_likelihood(scaled, censored, oil, delta, gamma)
    for _ in range(steps):
        scores, hessian = _scores(scaled, censored, oil, oils, delta, gamma)
        step = np.linalg.solve(hessian, scores.sum(axis=0))
        size = 1.0
        while size > 1e-8:
            trial_delta, trial_gamma = delta + size * step[:oils], gamma + size * step[oils]
            if trial_gamma > 0:
                there = _log_likelihood(scaled, censored, oil, trial_delta, trial_gamma)
                if there >= here - 1e-12 * abs(here):
                    break
            size /= 2
        else:
            break
        delta, gamma, here = trial_delta, trial_gamma, there
        if np.max(np.abs(step)) < 1e-10:
            break
    # back to the units of the values: y = centre + spread * scaled
    return delta + centre * gamma / spread, gamma / spread


def _log_likelihood(
    values: np.ndarray, censored: np.ndarray, oil: np.ndarray, delta: np.ndarray, gamma: float
) -> float:
    z = gamma * values - delta[oil]
    return float(np.sum(np.log(gamma) - 0.5 * z[~censored] ** 2) + np.sum(scipy.special.log_ndtr(-z[censored])))


def _scores(
    values: np.ndarray, censored: np.ndarray, oil: np.ndarray, oils: int, delta: np.ndarray, gamma: float
) -> tuple[np.ndarray, np.ndarray]:
    """Scores, shape (n, oils + 1), and minus the Hessian, shape (oils + 1, oils + 1), in (delta, gamma)."""
    z = gamma * values - delta[oil]
    rate = hazard(z)
    slope = np.where(censored, -rate, -z)  # derivative of the log-likelihood of a row in z
    bend = np.where(censored, rate * (rate - z), 1.0)  # minus the second derivative
    n = len(values)
    direction = np.zeros((n, oils + 1))  # dz / d(delta, gamma)
    direction[np.arange(n), oil] = -1.0
    direction[:, oils] = values
    scores = slope[:, None] * direction
    scores[:, oils] += np.where(censored, 0.0, 1.0 / gamma)
    hessian = (direction * bend[:, None]).T @ direction
    hessian[oils, oils] += float((~censored).sum()) / gamma**2
    return scores, hessian
