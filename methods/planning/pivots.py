"""Pivotal quantities of the Weibull maximum-likelihood estimates, by seeded simulation.

Whatever the true shape and scale, ``shape_hat / shape``, ``shape_hat * ln(scale_hat / scale)`` and, for the p point,
``V = shape_hat * ln(scale_hat / x_p)`` have distributions that depend on the numbers of values only, complete or
with a fixed number of lowest values seen (type II). The same quantities serve the smallest-extreme-value family.

Source: D. R. Thoman, L. J. Bain, C. E. Antle, *Technometrics* 11 (1969) 445-460; J. F. Lawless, *Statistical Models
and Methods for Lifetime Data*.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from methods.errors import InputError
from methods.planning.inputs import probability, whole_number
from methods.randomness import Rng, seed_of
from methods.scatter import fit_many

#: The standard number of simulated samples; the quantiles of 0.025 and 0.975 then wander by about 1 %.
DRAWS = 20_000


@dataclass(frozen=True)
class Pivots:
    """Simulated pivotal quantities of ``n`` values of which the ``seen`` lowest broke down; arrays (draws,)."""

    n: int
    seen: int
    shape_ratio: np.ndarray
    log_scale: np.ndarray

    def percentile(self, p: float) -> np.ndarray:
        """``V_p = shape_hat * ln(scale_hat / x_p)``; ``ln x_p = ln scale_hat - V_p / shape_hat``."""
        return self.log_scale - self.shape_ratio * np.log(-np.log1p(-p))

    def quantiles(self, which: str, probabilities: ArrayLike, p: float | None = None) -> np.ndarray:
        """Quantiles of ``shape_ratio``, ``log_scale`` or, with ``p``, of the ``percentile`` pivot.

        Parameters
        ----------
        which : str
            ``shape_ratio``, ``log_scale`` or ``percentile``.
        probabilities : array_like
            Fractions (any shape).
        p : float, optional
            Fraction below the percentile, for ``percentile``.
        """
        values = self.percentile(probability(p, "p")) if which == "percentile" else getattr(self, which)
        return np.quantile(values, np.asarray(probabilities, dtype=float))

    @property
    def unbiasing(self) -> float:
        """Factor that takes the bias out of the shape: 1 / mean(shape_hat / shape)."""
        return float(1 / self.shape_ratio.mean())


def weibull_pivots(n: int, seen: int | None = None, *, repetitions: int = DRAWS, rng: Rng = 20250101) -> Pivots:
    """Simulate the pivotal quantities for ``n`` values of which the ``seen`` lowest are breakdowns (all unless said).

    Parameters
    ----------
    n : int
        Number of values.
    seen : int, optional
        How many of them, the lowest, are breakdowns.
    repetitions : int, default DRAWS
        Simulated samples.
    rng : int or Generator, default 20250101
        A seed or a generator; the same seed gives the same numbers.

    Raises
    ------
    InputError
        Fewer than two breakdowns, or more breakdowns than values.
    """
    return _pivots(n, seen, whole_number(repetitions, "repetitions", most=10_000_000), seed_of(rng))


@lru_cache(maxsize=64)
def _pivots(n: int, seen: int | None, repetitions: int, seed: int) -> Pivots:
    size = whole_number(n, "n", least=2)
    events = size if seen is None else whole_number(seen, "seen", least=2)
    if events > size:
        raise InputError(f"{events} breakdowns of {size} values is impossible.", column="seen", text=str(seen))
    rng = np.random.default_rng([seed, size, events])
    values = np.sort(rng.weibull(1.0, (repetitions, size)), axis=1)
    gone = None
    if events < size:
        values[:, events:] = values[:, events - 1 : events]
        gone = np.zeros(values.shape, dtype=bool)
        gone[:, events:] = True
    found = fit_many(values, gone, family="weibull")
    shape, scale = found["shape"].to_numpy(dtype=float), found["scale"].to_numpy(dtype=float)
    keep = np.isfinite(shape) & np.isfinite(scale)
    return Pivots(size, events, shape[keep], (shape * np.log(scale))[keep])
