"""How much wider than Welch's the limits must be so that they hold when the scatters differ."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Scatters of filling means may differ this many times between levels, and one oil (or cell) this many times from the
#: others: inside this range the limits hold.
RANGE = 3.0

#: Shortfall of the coverage, at the worst ratio of scatters, that is left alone: half a point.
LEFT = 0.005

#: Confidences at which the factor is found; it is interpolated between them.
GRID = (0.5, 0.8, 0.9, 0.95, 0.99, 0.999)

#: From this many fillings in every cell on, Welch's limits need no factor.
ENOUGH = 12

#: Cells beyond these are not simulated; so many have nearly the normal law.
MOST_CELLS = 16

_POINTS = 2048


@dataclass(frozen=True)
class Widening:
    """Factors on Student's t, one at each confidence of ``GRID``; never falling with the confidence."""

    factors: tuple[float, ...]

    def at(self, confidence: float) -> float:
        """The factor at a confidence, interpolated on the scale of the normal quantile."""
        return float(np.interp(_depth(confidence), [_depth(g) for g in GRID], self.factors))

    def critical(self, confidence: float, df: float) -> float:
        """Quantile of the two-sided limits."""
        return self.at(confidence) * float(scipy.special.stdtrit(df, 0.5 + confidence / 2))

    def p_value(self, t: float, df: float) -> float:
        """The two-sided p-value: one minus the confidence of the limits that just reach."""
        size = abs(t)
        plain = float(2 * scipy.special.stdtr(df, -size))
        if max(self.factors) == 1.0 or plain >= 1.0 or size == 0.0:
            return plain
        low, high = plain, min(1.0, float(2 * scipy.special.stdtr(df, -size / max(self.factors))))
        for _ in range(60):
            middle = np.sqrt(low * high) if low > 0 else high / 2
            if self.critical(1 - middle, df) > size:
                low = middle
            else:
                high = middle
            if high - low <= 1e-12 * high:
                break
        return float(high)


NONE = Widening((1.0,) * len(GRID))


def _depth(confidence: float) -> float:
    return float(scipy.special.ndtri(0.5 + min(confidence, 1 - 1e-15) / 2))


def widening(first: tuple[int, ...], second: tuple[int, ...]) -> Widening:
    """The smallest factors that make the limits of a difference hold for unequal scatters.

    The half-width is factor x t x standard error, with the variance of each cell's mean from its own fillings and
    Welch and Satterthwaite's degrees of freedom. Without the factor such limits fall short where a cell with few
    fillings scatters most (two fillings against five: 89.5 %). The factor is the smallest with which the coverage is
    what it claims, to half a point at the worst, for normal scatter with SDs that differ up to three times between the
    levels, and with one oil, or one cell, up to three times (or a third) of the others. It is computed, not simulated
    with chance: the coverage given the scatters is a normal probability, averaged over a fixed quasi-random sequence.

    Parameters
    ----------
    first, second : tuple of int
        Numbers of fillings of each oil under the level and under the reference, all at least 2.
    """
    one, two = sorted([tuple(first), tuple(second)])
    if len(one) == len(two) and len(one) > 1:  # the order of the oils does not matter
        pairs = sorted(zip(one, two, strict=True))
        one, two = tuple(a for a, _ in pairs), tuple(b for _, b in pairs)
    if len(one) == len(two) == 1 and one == two:  # equal numbers on one oil: no factor is above 1
        return NONE
    if min(one + two) >= ENOUGH or len(one) + len(two) > MOST_CELLS:
        return NONE
    return _widening(one, two)


@lru_cache(maxsize=4096)
def _widening(one: tuple[int, ...], two: tuple[int, ...]) -> Widening:
    number = np.array(one + two, dtype=float)
    level = np.repeat([0, 1], [len(one), len(two)])
    oil = np.concatenate([np.arange(len(one)), np.arange(len(two))])
    weight = np.where(level == 0, 1 / len(one), 1 / len(two))
    uniform = scipy.stats.qmc.Sobol(len(number), scramble=True, rng=1).random(_POINTS)
    chi = scipy.special.chdtri(number - 1, 1 - uniform) / (number - 1)
    cases = []
    for sd in _patterns(level, oil):
        truth = weight**2 * sd**2 / number
        found = chi * truth
        total = found.sum(axis=1)
        df = total**2 / (found**2 / (number - 1)).sum(axis=1)
        cases.append((df, np.sqrt(total / truth.sum())))
    factors = np.array([_factor(confidence, cases) for confidence in GRID])
    return Widening(tuple(np.maximum.accumulate(factors).tolist()))


def _factor(confidence: float, cases: list[tuple[Floats, Floats]]) -> float:
    worst = 1.0
    for df, ratio in cases:
        half = scipy.special.stdtrit(df, 0.5 + confidence / 2) * ratio / np.sqrt(2)

        def short(factor: float, half: Floats = half) -> float:
            return float(scipy.special.erf(factor * half).mean()) - (confidence - LEFT)

        if short(worst) < 0:
            high = worst
            while short(high) < 0:
                high *= 1.5
            worst = float(scipy.optimize.brentq(short, worst, high, xtol=1e-4)) + 1e-4
    return worst


def _patterns(level: NDArray[np.int64], oil: NDArray[np.int64]) -> list[Floats]:
    """SDs of filling means, cell by cell, among which the worst is looked for."""
    oils = [np.ones(len(level))]
    if len(oil) > 2:
        oils += [np.where(oil == i, f, 1.0) for i in np.unique(oil) for f in (RANGE, 1 / RANGE)]
    across = np.exp(np.linspace(-np.log(RANGE), np.log(RANGE), 7 if len(oil) == 2 else 3))
    out = [o * np.where(level == 0, 1.0, a) for o in oils for a in across]
    if len(oil) > 2:
        out += [np.where(np.arange(len(oil)) == i, RANGE, 1.0) for i in range(len(oil))]
    return out
