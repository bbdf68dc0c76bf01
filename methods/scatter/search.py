"""Finding the variances that make the (restricted) likelihood greatest: scoring, with a general search behind it."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from methods.errors import NotEstimable
from methods.scatter.reml import REFUSED, TOP, Criterion, VarianceEstimate, indicator

Floats = NDArray[Any]
Function = Callable[[NDArray[Any]], float]

#: Up to this number of cells the variances are found by scoring with dense matrices.
SCORED_CELLS = 300


class Scoring:
    """Fisher scoring on the variances (factors, then residual groups); those at zero with no pull stay there."""

    def __init__(self, criterion: Criterion) -> None:
        cells = criterion.cells
        self.criterion, self.k = criterion, len(criterion.levels)
        z = [indicator(f, n) for f, n in zip(cells.factors, criterion.levels, strict=True)]
        self.squares = [zk @ zk.T for zk in z]
        self.squares += [np.diag((cells.group == j) / cells.weight) for j in range(criterion.groups)]

    def deviance(self, v: Floats) -> float:
        k = self.k
        if np.any(v[k:] <= 0) or np.any(v < 0):
            return REFUSED
        return self.criterion.evaluate(v[:k] / v[k], v[k:] / v[k], float(v[k]))[0]

    def from_scratch(self) -> VarianceEstimate | None:
        """Start from the best of a few divisions of the variance; None when the steps stall."""
        best, criterion = None, self.criterion
        for share in product((0.05, 0.5, 0.95), repeat=self.k):
            gamma, rho = criterion.unpack(np.concatenate([share, np.zeros(criterion.groups - 1)]))
            value, s2, _ = criterion.evaluate(gamma, rho)
            if s2 > 0 and (best is None or value < best[0]):
                best = (value, np.concatenate([gamma * s2, rho * s2]))
        found = None if best is None else self.run(best[1])
        if found is None:
            return None
        v, value = found
        beta = criterion.evaluate(v[: self.k] / v[self.k], v[self.k :] / v[self.k], float(v[self.k]))[2]
        return VarianceEstimate(v[: self.k], v[self.k :], beta, value, True)

    def run(self, v: Floats, held: int | None = None, steps: int = 60) -> tuple[Floats, float] | None:
        """Scoring steps from ``v``, with one variance held if asked; the variances and the deviance, or None.

        Parameters
        ----------
        v : ndarray
            (parameters,) Variances at the start.
        held : int, optional
            Index of a variance that is held.
        steps : int, default 60
            Most steps.
        """
        value = self.deviance(v)
        for _ in range(steps):
            score, information = self._score(v)
            free = ~((v <= 0) & (score <= 0))
            if held is not None:
                free[held] = False
            step = np.zeros(len(v))
            try:
                step[free] = np.linalg.solve(information[np.ix_(free, free)], score[free])
            except np.linalg.LinAlgError:
                return None
            taken = self._shorten(v, step, value)
            if taken is None:
                return None
            trial, new = taken
            moved = float(np.abs(trial - v).max() / v.max())
            gain = float(step @ score)
            v, value = trial, new
            if moved < 1e-9 or gain < 1e-13:
                return v, value
        return None

    def _shorten(self, v: Floats, step: Floats, value: float) -> tuple[Floats, float] | None:
        """Halve the step until the deviance does not rise."""
        for halving in range(40):
            trial = v + step * 0.5**halving
            trial[: self.k] = np.maximum(trial[: self.k], 0.0)
            new = self.deviance(trial)
            if new <= value + 1e-12 * abs(value):
                return trial, new
        return None

    def _score(self, v: Floats) -> tuple[Floats, Floats]:
        """First derivatives of the log-likelihood in the variances, and their expected information."""
        cells, k = self.criterion.cells, self.k
        inverse = np.linalg.inv(sum(s * m for s, m in zip(v, self.squares, strict=True)))
        vx = inverse @ cells.x
        p = inverse - vx @ np.linalg.solve(cells.x.T @ vx, vx.T)
        py = p @ cells.mean
        pv = [(p if self.criterion.restricted else inverse) @ m for m in self.squares]
        score = np.array([0.5 * float(py @ m @ py - np.trace(a)) for a, m in zip(pv, self.squares, strict=True)])
        information = np.array([[0.5 * float(np.sum(a * b.T)) for b in pv] for a in pv])
        residual, at = v[k:], np.arange(k, len(v))
        score[k:] += 0.5 * (cells.within_ss / residual**2 - cells.within_df / residual)
        information[at, at] += 0.5 * cells.within_df / residual**2
        return score, information


def minimise(criterion: Criterion) -> VarianceEstimate:
    """Find the (restricted) maximum-likelihood variances.

    Raises
    ------
    NotEstimable
        No degrees of freedom are left for the residual, or nothing varies at all.
    """
    k, g = len(criterion.levels), criterion.groups
    cells = criterion.cells
    if criterion.cells.rows <= criterion.fixed:
        raise NotEstimable("There are no more breakdowns than fixed effects: nothing is left to tell the scatter from.")
    if float(cells.within_ss.sum()) == 0 and np.ptp(cells.mean) == 0:
        raise NotEstimable("All values are equal: there is no scatter to divide up.")

    def f(v: Floats) -> float:
        return criterion.evaluate(*criterion.unpack(v))[0]

    converged = True
    scored = Scoring(criterion).from_scratch() if k + g > 1 and len(cells.mean) <= SCORED_CELLS else None
    if scored is not None:
        return scored
    if k + g == 1:
        v = np.zeros(0)
    elif k == 1 and g == 1:
        v, _ = _scalar(f)
    else:
        shares = product((0.1, 0.5, 0.9), repeat=k) if k else [()]
        starts = [np.concatenate([np.array(s, dtype=float), np.zeros(g - 1)]) for s in shares]
        bounds = [(0.0, TOP)] * k + [(-12.0, 12.0)] * (g - 1)
        v, value, converged = search(f, starts, bounds)
        v = _to_bound(f, v, value, k, bounds)
    gamma, rho = criterion.unpack(v)
    deviance, s2, beta = criterion.evaluate(gamma, rho)
    if not np.isfinite(deviance):
        raise NotEstimable("The values fit the fixed part without any scatter, so the scatter cannot be divided up.")
    beta = beta.copy()
    return VarianceEstimate(gamma * s2, rho * s2, beta, deviance, converged)


def _to_bound(f: Function, v: Floats, value: float, k: int, bounds: list[tuple[float, float]]) -> Floats:
    """Put shares that are as good as zero exactly to zero, and settle the others anew."""
    for i in range(k):
        if 0 < v[i] < 0.05:
            trial = v.copy()
            trial[i] = 0.0
            fixed = [b if j != i else (0.0, 0.0) for j, b in enumerate(bounds)]
            free = [j for j in range(len(v)) if fixed[j][0] < fixed[j][1]]
            if free:

                def g(w: Floats, free: list[int] = free, trial: Floats = trial) -> float:
                    full = trial.copy()
                    full[free] = w
                    return f(full)

                w, least, _ = search(g, [trial[free]], [bounds[j] for j in free])
                trial[free] = w
            else:
                least = f(trial)
            if least <= value + 1e-8:
                v, value = trial, least
    return v


def _scalar(f: Function, low: float = 0.0, high: float = TOP) -> tuple[Floats, float]:
    """Least value of a function of one share: a grid, then Brent's method in the best bracket, then the bound."""
    grid = np.concatenate([np.linspace(low, 0.95, 14), 1 - np.geomspace(0.03, 1 - high, 9)])
    values = [f(np.array([g])) for g in grid]
    i = int(np.argmin(values))
    bracket = (grid[max(i - 1, 0)], grid[min(i + 1, len(grid) - 1)])
    found = scipy.optimize.minimize_scalar(lambda g: f(np.array([g])), bounds=bracket, method="bounded",
                                     options={"xatol": 1e-10 * (1.001 - bracket[0])})  # fmt: skip
    if values[0] <= found.fun + 1e-9:
        return np.array([low]), values[0]
    return np.array([float(found.x)]), float(found.fun)


def search(
    f: Function, start: list[Floats], bounds: list[tuple[float, float]], *, polish: bool = True
) -> tuple[Floats, float, bool]:
    """Minimise a smooth function in a box: quasi-Newton from the best starts, polished by a simplex.

    Parameters
    ----------
    f : Function
        What is minimised.
    start : list of Floats
        Where the search may begin.
    bounds : list of tuple[float, float]
        Lowest and highest value of each variable.
    polish : bool, default True
        Whether a simplex looks for a still lower place.
    """
    ranked = sorted(start, key=lambda v: f(v))[:2]
    best: tuple[float, Floats] | None = None
    for v in ranked:
        run = scipy.optimize.minimize(f, v, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-7})
        if best is None or run.fun < best[0]:
            best = (float(run.fun), run.x)
    assert best is not None
    if not polish:
        return best[1], best[0], True
    run = scipy.optimize.minimize(f, best[1], method="Nelder-Mead", bounds=bounds,
                            options={"initial_simplex": _simplex(best[1], bounds), "xatol": 1e-8, "fatol": 1e-10,
                                     "maxfev": 400 * len(bounds)})  # fmt: skip
    if run.fun > best[0]:
        return best[1], best[0], True
    return run.x, float(run.fun), bool(run.success)


def _simplex(v: Floats, bounds: list[tuple[float, float]]) -> Floats:
    corners = [v]
    for i, (low, high) in enumerate(bounds):
        w = v.copy()
        step = 0.01 if high > 1 else 0.02 * max(1 - v[i], 1e-6)
        w[i] = v[i] + step if v[i] + step < high else v[i] - step
        corners.append(np.clip(w, low, high))
    return np.array(corners)
