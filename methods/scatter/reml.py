"""Restricted (and full) maximum likelihood of variance components, fast for nested and crossed random factors.

The model: ``y = X beta + sum_k Z_k u_k + e`` with independent ``u_k ~ N(0, s_k^2)`` and ``e ~ N(0, s_g^2 / w)``
for residual group g. Rows that share every level and every fixed value are first collapsed to cells (their mean
and the sum of squares around it are sufficient). The factor with the most levels, usually the filling, is then
eliminated in closed form, and only the remaining factors need a Cholesky decomposition.

Source of the profiled criterion: Bates, Maechler, Bolker & Walker, J. Stat. Software 67(1), 2015, section 3;
Searle, Casella & McCulloch, Variance Components, Wiley 1992, chapter 6.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, optimize

from methods.errors import InputError, NotEstimable

Floats = NDArray[Any]
Codes = NDArray[np.int64]
Function = Callable[[NDArray[Any]], float]

_TOP = 1 - 1e-9  # share of variance at which a ratio counts as unbounded
_REFUSED = 1e12  # the criterion where rounding leaves no positive definite matrix


@dataclass(frozen=True)
class Cells:
    """Rows collapsed to cells: ``mean`` (kV, minus ``centre``), ``weight``, ``x``, factor and residual-group codes."""

    mean: Floats
    weight: Floats
    x: Floats
    factors: tuple[Codes, ...]
    group: Codes
    within_ss: Floats
    within_df: Floats
    rows: int
    centre: float
    log_weight: float


def centred(y: Floats, x: Floats) -> tuple[Floats, float]:
    """Take a constant off ``y`` where the fixed part can give it back: keeps digits when the mean is large."""
    ones = np.ones(len(y))
    if np.abs(x @ np.linalg.lstsq(x, ones, rcond=None)[0] - ones).max() > 1e-8:
        return y, 0.0
    start = float(y[0])
    shifted = y - start  # exact for values close to each other
    middle = float(shifted.mean())
    return shifted - middle, start + middle


def collapse(y: Floats, x: Floats, factors: Sequence[Codes], group: Codes, weight: Floats | None = None) -> Cells:
    """Collapse rows to cells of equal fixed values, levels and residual group; -1 in a factor means "no effect"."""
    rows = len(y)
    w = np.ones(rows) if weight is None else np.asarray(weight, dtype=float)
    shifted, centre = centred(y, x)
    keys = [np.unique(x[:, j], return_inverse=True)[1] for j in range(x.shape[1])] + list(factors) + [group]
    code = np.zeros(rows, dtype=np.int64)
    for key in keys:
        code = np.unique(code * (int(key.max()) + 2) + key + 1, return_inverse=True)[1]
    first = np.unique(code, return_index=True)[1]
    total = np.bincount(code, w)
    mean = np.bincount(code, w * shifted) / total
    rest = shifted - mean[code]
    groups = int(group.max()) + 1
    return Cells(
        mean=mean, weight=total, x=x[first], factors=tuple(f[first] for f in factors), group=group[first],
        within_ss=np.bincount(group, w * rest**2, minlength=groups),
        within_df=np.bincount(group, minlength=groups) - np.bincount(group[first], minlength=groups).astype(float),
        rows=rows, centre=centre, log_weight=float(np.log(total).sum() - np.log(w).sum()),
    )  # fmt: skip


class Criterion:
    """Minus twice the (restricted) log-likelihood as a function of variance ratios."""

    def __init__(self, cells: Cells, restricted: bool = True) -> None:
        self.cells, self.restricted = cells, restricted
        self.levels = [int(f.max()) + 1 for f in cells.factors]
        self.inner = int(np.argmax(self.levels)) if self.levels else -1
        self.outer = [k for k in range(len(self.levels)) if k != self.inner]
        self.fixed = cells.x.shape[1]
        self.freedom = cells.rows - (self.fixed if restricted else 0)
        self.groups = len(cells.within_df)
        self.owner = np.repeat(self.outer, [self.levels[k] for k in self.outer]).astype(int)
        self.size = np.array(
            [cells.weight[f >= 0].sum() / n for f, n in zip(cells.factors, self.levels, strict=True)]
        )  # weight in one level, scales the search
        self._products()

    def _products(self) -> None:
        cells = self.cells
        blocks = [_indicator(cells.factors[k], self.levels[k]) for k in self.outer]
        a = np.column_stack([*blocks, cells.x, cells.mean])
        self._c0, self._t, self._s = [], [], []
        for g in range(self.groups):
            w = np.where(cells.group == g, cells.weight, 0.0)
            self._c0.append(a.T @ (a * w[:, None]))
            if self.inner >= 0:
                code = cells.factors[self.inner]
                keep = code >= 0
                z = np.zeros((self.levels[self.inner], a.shape[1]))
                np.add.at(z, code[keep], (a * w[:, None])[keep])
                self._t.append(z)
                self._s.append(np.bincount(code[keep], w[keep], minlength=self.levels[self.inner]))
        self._per_group = np.bincount(cells.group, minlength=self.groups)

    def parts(self, gamma: Floats, rho: Floats) -> tuple[Floats, Floats, float, float]:
        """``X'H^-1X``, ``X'H^-1y``, ``y'H^-1y``, ``log|H|`` of the cells, for s_k^2/s^2 and s_g^2/s^2."""
        cells = self.cells
        c = sum(c0 / r for c0, r in zip(self._c0, rho, strict=True))
        log_det = float(self._per_group @ np.log(rho)) - float(np.log(cells.weight).sum())
        if self.inner >= 0:
            t = sum(t0 / r for t0, r in zip(self._t, rho, strict=True))
            s = sum(s0 / r for s0, r in zip(self._s, rho, strict=True))
            g = gamma[self.inner]
            c = c - (t * (g / (1 + g * s))[:, None]).T @ t
            log_det += float(np.log1p(g * s).sum())
        q = len(self.owner)
        rest = c[q:, q:]
        if q and np.any(gamma[self.outer] > 0):
            root = np.sqrt(gamma[self.owner])
            m = root[:, None] * c[:q, :q] * root
            m[np.diag_indices(q)] += 1
            chol = np.linalg.cholesky(m)
            half = linalg.solve_triangular(chol, root[:, None] * c[:q, q:], lower=True, check_finite=False)
            rest = rest - half.T @ half
            log_det += 2 * float(np.log(np.diag(chol)).sum())
        return rest[:-1, :-1], rest[:-1, -1], float(rest[-1, -1]), log_det

    def evaluate(self, gamma: Floats, rho: Floats, sigma2: float | None = None) -> tuple[float, float, Floats]:
        """Deviance, residual variance (profiled unless given) and fixed effects."""
        try:
            xx, xy, yy, log_det = self.parts(gamma, rho)
            chol = np.linalg.cholesky(xx)
        except np.linalg.LinAlgError:
            return _REFUSED, 0.0, np.full(self.fixed, np.nan)
        half = linalg.solve_triangular(chol, xy, lower=True, check_finite=False)
        quadratic = max(yy - float(half @ half), 0.0) + float(self.cells.within_ss @ (1 / rho))
        beta = linalg.solve_triangular(chol.T, half, lower=False, check_finite=False)
        log_det += float(self.cells.within_df @ np.log(rho)) + self.cells.log_weight
        if self.restricted:
            log_det += 2 * float(np.log(np.diag(chol)).sum())
        s2 = quadratic / self.freedom if sigma2 is None else sigma2
        if s2 <= 0:
            return -np.inf, 0.0, beta
        deviance = self.freedom * (np.log(2 * np.pi) + np.log(s2)) + quadratic / s2 + log_det
        return deviance, s2, beta

    def unpack(self, v: Floats) -> tuple[Floats, Floats]:
        """Search coordinates to ratios: ``v_k = g n/(1 + g n)`` in [0, 1), then logarithms of the residual ratios."""
        k = len(self.levels)
        share = np.clip(v[:k], 0.0, _TOP)
        return share / (1 - share) / self.size, np.exp(np.concatenate([[0.0], v[k:]]))

    def pack(self, gamma: Floats, rho: Floats) -> Floats:
        scaled = gamma * self.size
        return np.concatenate([scaled / (1 + scaled), np.log(rho[1:])])


@dataclass(frozen=True)
class Estimate:
    """Where the criterion is least: variances of the factors, of the residual groups, fixed effects, deviance."""

    variances: Floats
    residual: Floats
    beta: Floats
    deviance: float
    converged: bool


def _indicator(code: Codes, levels: int) -> Floats:
    z = np.zeros((len(code), levels))
    keep = code >= 0
    z[np.flatnonzero(keep), code[keep]] = 1.0
    return z


def _scalar(f: Function, low: float = 0.0, high: float = _TOP) -> tuple[Floats, float]:
    """Least value of a function of one share: a grid, then Brent's method in the best bracket, then the bound."""
    grid = np.concatenate([np.linspace(low, 0.95, 14), 1 - np.geomspace(0.03, 1 - high, 9)])
    values = [f(np.array([g])) for g in grid]
    i = int(np.argmin(values))
    bracket = (grid[max(i - 1, 0)], grid[min(i + 1, len(grid) - 1)])
    found = optimize.minimize_scalar(lambda g: f(np.array([g])), bounds=bracket, method="bounded",
                                     options={"xatol": 1e-10 * (1.001 - bracket[0])})  # fmt: skip
    if values[0] <= found.fun + 1e-9:
        return np.array([low]), values[0]
    return np.array([float(found.x)]), float(found.fun)


def search(
    f: Function, start: list[Floats], bounds: list[tuple[float, float]], *, polish: bool = True
) -> tuple[Floats, float, bool]:
    """Minimise a smooth function in a box: quasi-Newton from the best starts, polished by a simplex."""
    ranked = sorted(start, key=lambda v: f(v))[:2]
    best: tuple[float, Floats] | None = None
    for v in ranked:
        run = optimize.minimize(f, v, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-7})
        if best is None or run.fun < best[0]:
            best = (float(run.fun), run.x)
    assert best is not None
    if not polish:
        return best[1], best[0], True
    run = optimize.minimize(f, best[1], method="Nelder-Mead", bounds=bounds,
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


def minimise(criterion: Criterion) -> Estimate:
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
    if k + g == 1:
        v = np.zeros(0)
    elif k == 1 and g == 1:
        v, _ = _scalar(f)
    elif (scored := _scoring(criterion)) is not None:
        return scored
    else:
        shares = product((0.1, 0.5, 0.9), repeat=k) if k else [()]
        starts = [np.concatenate([np.array(s, dtype=float), np.zeros(g - 1)]) for s in shares]
        bounds = [(0.0, _TOP)] * k + [(-12.0, 12.0)] * (g - 1)
        v, value, converged = search(f, starts, bounds)
        v = _to_bound(f, v, value, k, bounds)
    gamma, rho = criterion.unpack(v)
    deviance, s2, beta = criterion.evaluate(gamma, rho)
    if not np.isfinite(deviance):
        raise NotEstimable("The values fit the fixed part without any scatter, so the scatter cannot be divided up.")
    beta = beta.copy()
    return Estimate(gamma * s2, rho * s2, beta, deviance, converged)


def _scoring(criterion: Criterion, limit: int = 300, steps: int = 60) -> Estimate | None:
    """Fisher scoring on the variances with those at zero held there; None when the table is large or it stalls."""
    cells, k, g = criterion.cells, len(criterion.levels), criterion.groups
    if len(cells.mean) > limit or not criterion.restricted:
        return None
    z = [_indicator(f, n) for f, n in zip(cells.factors, criterion.levels, strict=True)]
    squares = [zk @ zk.T for zk in z] + [np.diag((cells.group == j) / cells.weight) for j in range(g)]

    def deviance(v: Floats) -> float:
        if np.any(v[k:] <= 0) or np.any(v < 0):
            return _REFUSED
        return criterion.evaluate(v[:k] / v[k], v[k:] / v[k], float(v[k]))[0]

    best = None
    for share in product((0.05, 0.5, 0.95), repeat=k):
        gamma, rho = criterion.unpack(np.concatenate([share, np.zeros(g - 1)]))
        value, s2, _ = criterion.evaluate(gamma, rho)
        if s2 > 0 and (best is None or value < best[0]):
            best = (value, np.concatenate([gamma * s2, rho * s2]))
    if best is None:
        return None
    value, v = best
    for _ in range(steps):
        score, information = _score(cells, squares, v, k)
        free = ~((v <= 0) & (score <= 0))
        step = np.zeros(k + g)
        try:
            step[free] = np.linalg.solve(information[np.ix_(free, free)], score[free])
        except np.linalg.LinAlgError:
            return None
        gain = float(step @ score)
        for halving in range(40):
            trial = v + step * 0.5**halving
            trial[:k] = np.maximum(trial[:k], 0.0)
            new = deviance(trial)
            if new <= value + 1e-12 * abs(value):
                break
        else:
            return None
        moved = float(np.abs(trial - v).max() / v.max())
        v, value = trial, new
        if moved < 1e-9 or gain < 1e-13:
            break
    else:
        return None
    _, _, beta = criterion.evaluate(v[:k] / v[k], v[k:] / v[k], float(v[k]))
    return Estimate(v[:k], v[k:], beta, value, True)


def _score(cells: Cells, squares: list[Floats], v: Floats, k: int) -> tuple[Floats, Floats]:
    """First derivatives of the restricted log-likelihood in the variances, and their expected information."""
    inverse = np.linalg.inv(sum(s * m for s, m in zip(v, squares, strict=True)))
    vx = inverse @ cells.x
    p = inverse - vx @ np.linalg.solve(cells.x.T @ vx, vx.T)
    py = p @ cells.mean
    pv = [p @ m for m in squares]
    score = np.array([0.5 * float(py @ m @ py - np.trace(a)) for a, m in zip(pv, squares, strict=True)])
    information = np.array([[0.5 * float(np.sum(a * b.T)) for b in pv] for a in pv])
    residual = v[k:]
    score[k:] += 0.5 * (cells.within_ss / residual**2 - cells.within_df / residual)
    information[np.arange(k, len(v)), np.arange(k, len(v))] += 0.5 * cells.within_df / residual**2
    return score, information


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


def check_codes(name: str, code: object, rows: int) -> Codes:
    """Dense codes of one factor; refuses a wrong length."""
    values = np.asarray(code)
    if values.shape != (rows,):
        raise InputError(f"The factor {name} has {values.shape} entries for {rows} values.", column=name)
    if np.issubdtype(values.dtype, np.integer):
        out = np.full(rows, -1, dtype=np.int64)
        keep = values >= 0
        out[keep] = np.unique(values[keep], return_inverse=True)[1]
        return out
    return np.unique(values.astype(str), return_inverse=True)[1].astype(np.int64)
