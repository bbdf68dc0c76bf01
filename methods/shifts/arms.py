"""One side of a comparison: the mean of a level over its oils, from filling means or by censored likelihood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from methods.errors import NotEstimable
from methods.scatter.censored import hazard


@dataclass(frozen=True)
class Arm:
    """The mean of one level, oil by oil (or block by block, where more than the oil is held equal).

    Attributes
    ----------
    means : array, shape (oils,)
        Mean of each oil under this level, kV (or log kV).
    variances : array, shape (oils,)
        Variance of each of these means, from the scatter between the units of this oil alone; nan with one unit.
    dfs : array, shape (oils,)
        Degrees of freedom of each of these variances; 0 with one unit.
    weights : array, shape (oils,)
        Weights of the oils in :attr:`mean`; they add up to 1.
    units : array, shape (oils,)
        Number of units of each oil.
    scatter, scatter_df : float
        Variance of single units pooled over the oils, and its degrees of freedom (nan and 0 without any).
    sigma : float
        SD of single values by likelihood, where there are withstands; otherwise nan.
    log_sigma_se : float
        Its standard error on the log scale, robust to the grouping in units.
    censored : bool
        Whether there are withstands; ``variances`` then share one SD and their degrees of freedom are ``scatter_df``.
    """

    means: np.ndarray
    variances: np.ndarray
    dfs: np.ndarray
    weights: np.ndarray
    units: np.ndarray
    scatter: float = float("nan")
    scatter_df: float = 0.0
    sigma: float = float("nan")
    log_sigma_se: float = float("nan")
    censored: bool = False

    @property
    def mean(self) -> float:
        """Mean over the oils."""
        return float(self.weights @ self.means)

    @property
    def parts(self) -> np.ndarray:
        """What each oil adds to the variance of :attr:`mean`, shape (oils,)."""
        return self.weights**2 * self.variances

    @property
    def variance(self) -> float:
        """Variance of :attr:`mean`; nan where an oil has one unit."""
        return float(self.parts.sum())

    @property
    def df(self) -> float:
        """Degrees of freedom of that variance (Satterthwaite 1946); 0 where an oil has one unit."""
        if self.censored:
            return self.scatter_df
        if not (self.dfs > 0).all():
            return 0.0
        parts, total = self.parts, self.variance
        return float(total**2 / np.sum(parts**2 / self.dfs)) if total > 0 else float(self.dfs.sum())

    @property
    def replicated(self) -> bool:
        """Whether every oil has two units or more."""
        return bool((self.units > 1).all())

    @property
    def pooled_variance(self) -> float:
        """Variance of :attr:`mean` if the units of all oils scatter alike."""
        return self.scatter * float(np.sum(self.weights**2 / self.units))


def arm(
    values: np.ndarray, censored: np.ndarray, oil: np.ndarray, unit: np.ndarray, oils: int,
    weights: np.ndarray | None = None,
) -> Arm:  # fmt: skip
    """Summarise one level.

    Parameters
    ----------
    values, censored, oil, unit : arrays, shape (n,)
        Values (kV or log kV), whether each is a withstand, the index of its oil, the code of its unit of
        replication (filling; or the row itself where fillings are not told apart).
    oils : int
        Number of oils; each must occur.
    weights : array, shape (oils,), optional
        Weights of the oils; equal by default.

    Without withstands: the mean of unit means, oil by oil, each with the variance of its own unit means. This
    is what makes a comparison of two such arms of one oil Welch's test on filling means.
    """
    share = np.full(oils, 1 / oils) if weights is None else weights
    if censored.any():
        return _censored_arm(values, censored, oil, unit, oils, share)
    units, inverse = np.unique(unit, return_inverse=True)
    counts = np.bincount(inverse)
    start = float(values[0]) if len(values) else 0.0  # keeps digits where all values lie close together
    unit_means = start + np.bincount(inverse, weights=values - start) / counts
    unit_oil = np.zeros(len(units), dtype=np.int64)
    unit_oil[inverse] = oil
    fillings = np.bincount(unit_oil, minlength=oils)
    means = start + np.bincount(unit_oil, weights=unit_means - start, minlength=oils) / fillings
    squares = np.bincount(unit_oil, weights=(unit_means - means[unit_oil]) ** 2, minlength=oils)
    dfs = (fillings - 1).astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        variances = squares / dfs / fillings
    df = float(dfs.sum())
    scatter = float(squares.sum()) / df if df > 0 else float("nan")
    return Arm(means, variances, dfs, share, fillings, scatter, df)


def _censored_arm(
    values: np.ndarray, censored: np.ndarray, oil: np.ndarray, unit: np.ndarray, oils: int, weights: np.ndarray
) -> Arm:
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
    fillings = np.bincount(oil[np.unique(inverse, return_index=True)[1]], minlength=oils)
    nothing = np.full(oils, np.nan)
    if df < 1:
        return Arm(means, nothing, np.zeros(oils), weights, fillings, sigma=sigma, censored=True)
    meat = grouped.T @ grouped * (len(units) / df)
    covariance = change @ bread @ meat @ bread @ change.T
    # The means of the oils share one SD and are therefore correlated: their covariance is spread over the oils so
    # that the variance of the average comes out right.
    whole = float(weights @ covariance[:oils, :oils] @ weights)
    own = np.diag(covariance)[:oils]
    parts = weights**2 * own
    variances = own * (whole / parts.sum()) if parts.sum() > 0 else own
    return Arm(
        means, variances, np.full(oils, float(df)), weights, fillings,
        whole / float(np.sum(weights**2 / fillings)), float(df), sigma, float(np.sqrt(covariance[oils, oils])), True,
    )  # fmt: skip


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
