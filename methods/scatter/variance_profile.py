"""The likelihood with one variance held and the others at their best, by Newton's steps on their logarithms.

For tables whose dense matrices would be too large. On the logarithms the deviance is all but a parabola, so that one
step, with differences for its slopes, is mostly enough; what is left to gain is taken off by the parabola itself.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from methods.scatter.reml import Criterion, VarianceEstimate

Floats = NDArray[Any]

#: What may be left to gain (in deviance) for the parabola to be believed.
_NEAR = 1e-5
#: Steps before the general search takes over.
_STEPS = 8
#: Differences are taken over this part of a variance's standard error.
_PART = 0.05


def rough_errors(criterion: Criterion) -> Floats:
    """About the standard errors of the logarithms of the variances (factors, then residual groups), from counts alone:
    as if each were known from its own levels."""
    df = np.concatenate([np.asarray(criterion.levels, dtype=float), criterion.cells.within_df])
    return np.sqrt(2 / np.maximum(df, 1.0))


class NewtonProfile:
    """The least deviance as a function of one standard deviation.

    Parameters
    ----------
    criterion, estimate
        Where all is at its best; no other variance may be zero there.
    held : int
        The variance that is held (factors, then residual groups).
    otherwise : callable
        What answers where the steps do not settle.
    """

    def __init__(
        self, criterion: Criterion, estimate: VarianceEstimate, held: int, otherwise: Callable[[float], float]
    ) -> None:
        self.criterion, self.held, self.otherwise = criterion, held, otherwise
        self.k = len(estimate.variances)
        best = np.concatenate([estimate.variances, estimate.residual])
        self.free = [j for j in range(len(best)) if j != held]
        self.width = _PART * rough_errors(criterion)[self.free]
        self.seen: list[tuple[float, Floats]] = [(float(np.log(max(best[held], 1e-300))) / 2, np.log(best[self.free]))]

    def _deviance(self, variance: float, logs: Floats) -> float:
        v = np.empty(len(self.free) + 1)
        v[self.held], v[self.free] = variance, np.exp(logs)
        base = v[self.k]
        return self.criterion.evaluate(v[: self.k] / base, v[self.k :] / base, float(base))[0]

    def _start(self, at: float) -> Floats:
        """Along the line through the two nearest places that were solved."""
        near = sorted(self.seen, key=lambda s: abs(s[0] - at))[:2]
        (a, first), (b, second) = near[0], near[-1]
        if a == b or abs(at - a) > 2 * abs(b - a):
            return first
        return first + (second - first) * ((at - a) / (b - a))

    def __call__(self, sd: float) -> float:
        variance = sd * sd
        if not variance > 0:
            return self.otherwise(sd)
        at = float(np.log(sd))
        logs = self._start(at)
        for _ in range(_STEPS):
            value, slope, bend = self._parabola(variance, logs)
            try:
                step = np.linalg.solve(bend, -slope)
                np.linalg.cholesky(bend)
            except np.linalg.LinAlgError:
                return self.otherwise(sd)
            gain = -0.5 * float(slope @ step)
            if not np.isfinite(gain) or np.abs(step).max() > 2:
                return self.otherwise(sd)
            logs = logs + step
            if gain < _NEAR:
                self.seen.append((at, logs))
                return value - gain
        return self.otherwise(sd)

    def _parabola(self, variance: float, logs: Floats) -> tuple[float, Floats, Floats]:
        """Value, slope and bend by central differences."""
        m = len(logs)
        steps = np.diag(self.width)
        value = self._deviance(variance, logs)
        up = np.array([self._deviance(variance, logs + s) for s in steps])
        down = np.array([self._deviance(variance, logs - s) for s in steps])
        bend = np.diag((up - 2 * value + down) / self.width**2)
        for i in range(m):
            for j in range(i):
                both = self._deviance(variance, logs + steps[i] + steps[j])
                both += self._deviance(variance, logs - steps[i] - steps[j])
                mixed = (both - up[i] - up[j] - down[i] - down[j] + 2 * value) / (2 * self.width[i] * self.width[j])
                bend[i, j] = bend[j, i] = mixed
        return value, (up - down) / (2 * self.width), bend
