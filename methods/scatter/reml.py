"""Restricted (and full) maximum likelihood of variance components, fast for nested and crossed random factors.

The model: ``y = X beta + sum_k Z_k u_k + e`` with independent ``u_k ~ N(0, s_k^2)`` and ``e ~ N(0, s_g^2 / w)``
for residual group g. Rows that share every level and every fixed value are first collapsed to cells (their mean
and the sum of squares around it are sufficient). The factor with the most levels, usually the filling, is then
eliminated in closed form, and only the remaining factors need a Cholesky decomposition.

Source of the profiled criterion: Bates, Maechler, Bolker & Walker, J. Stat. Software 67(1), 2015, section 3;
Searle, Casella & McCulloch, Variance Components, Wiley 1992, chapter 6.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from methods.errors import InputError
from methods.records.table import first_rows

Floats = NDArray[Any]
Codes = NDArray[np.int64]

TOP = 1 - 1e-9  # share of variance at which a ratio counts as unbounded
REFUSED = 1e12  # the criterion where rounding leaves no positive definite matrix


@dataclass(frozen=True)
class Collapsed:
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
    """Take a constant off ``y`` where the fixed part can give it back: keeps digits when the mean is large.

    ``x`` may be the different rows of the fixed part alone.
    """
    ones = np.ones(len(x))
    if np.abs(x @ np.linalg.lstsq(x, ones, rcond=None)[0] - ones).max() > 1e-8:
        return y, 0.0
    start = float(y[0])
    shifted = y - start  # exact for values close to each other
    middle = float(shifted.mean())
    return shifted - middle, start + middle


def collapse(y: Floats, x: Floats, factors: Sequence[Codes], group: Codes, weight: Floats | None = None) -> Collapsed:
    """Collapse rows to cells of equal fixed values, levels and residual group; -1 in a factor means "no effect".

    Parameters
    ----------
    y : ndarray
        (n,) Values, kV.
    x : ndarray
        (n, p) The fixed part.
    factors : sequence of Codes
        Level codes (n,) of each random factor.
    group : Codes
        (n,) Codes of the residual groups.
    weight : ndarray, optional
        (n,) Weights of the rows; 1 by default.
    """
    rows = len(y)
    code, first = together([x[:, j] for j in range(x.shape[1])], [*factors, group])
    cell_x = x[first]
    shifted, centre = centred(y, np.unique(cell_x, axis=0) if len(first) > 1000 else cell_x)
    w = np.ones(rows) if weight is None else np.asarray(weight, dtype=float)
    total = np.bincount(code, w)
    mean = np.bincount(code, shifted if weight is None else w * shifted) / total
    rest = shifted - mean[code]
    groups = int(group.max()) + 1
    return Collapsed(
        mean=mean, weight=total, x=cell_x, factors=tuple(f[first] for f in factors), group=group[first],
        within_ss=np.bincount(group, w * rest**2, minlength=groups),
        within_df=np.bincount(group, minlength=groups) - np.bincount(group[first], minlength=groups).astype(float),
        rows=rows, centre=centre, log_weight=float(np.log(total).sum() - np.log(w).sum()),
    )  # fmt: skip


def together(values: Sequence[Floats], codes: Sequence[Codes]) -> tuple[Codes, Codes]:
    """Codes of the combinations of columns of numbers and of codes (-1 or more), and the first row of each."""
    rows = len(codes[0])
    parts = [pd.factorize(v)[0].astype(np.int64) for v in values if rows and not (v == v[0]).all()]
    parts += [c + 1 for c in codes if rows and not (c == c[0]).all()]
    code, room = np.zeros(rows, dtype=np.int64), 1
    for part in parts:
        levels = int(part.max()) + 1
        if room * levels > 2**62:  # keep the product from overflowing
            code = pd.factorize(code)[0].astype(np.int64)
            room = int(code.max()) + 1
        code = code * levels + part
        room *= levels
    code = pd.factorize(code)[0].astype(np.int64)
    return code, first_rows(code)


class Criterion:
    """Minus twice the (restricted) log-likelihood as a function of variance ratios."""

    def __init__(self, cells: Collapsed, restricted: bool = True) -> None:
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
        self._per_group = np.bincount(self.cells.group, minlength=self.groups)
        self._log_weight = float(np.log(self.cells.weight).sum())
        self._alike = self._products_of_equal_cells()
        if self._alike:
            return
        cells = self.cells
        blocks = [indicator(cells.factors[k], self.levels[k]) for k in self.outer]
        a = np.column_stack([*blocks, cells.x, cells.mean])
        self._c0, self._t, self._s = [], [], []
        for g in range(self.groups):
            w = np.where(cells.group == g, cells.weight, 0.0)
            self._c0.append(a.T @ (a * w[:, None]))
            if self.inner >= 0:
                code = cells.factors[self.inner]
                keep = code >= 0
                places = (code[keep], np.flatnonzero(keep))
                sums = scipy.sparse.csr_array((w[keep], places), shape=(self.levels[self.inner], len(code)))
                self._t.append(np.asarray(sums @ a))
                self._s.append(np.bincount(code[keep], w[keep], minlength=self.levels[self.inner]))
        self._alike = self._products_of_alike(a.shape[1])

    def _products_of_equal_cells(self) -> list[tuple[float, int, Floats]]:
        """The products where each level of the inner factor is one cell: of sums over cells equal in all but the mean.

        Empty where that is not so, or where hardly any cells are equal.
        """
        cells = self.cells
        if self.inner < 0 or self.groups > 1 or len(cells.mean) != self.levels[self.inner]:
            return []
        if (cells.factors[self.inner] < 0).any():
            return []
        columns = [cells.weight, *(cells.x[:, j] for j in range(self.fixed))]
        code, first = together(columns, [*(cells.factors[k] for k in self.outer), cells.group])
        if len(first) * 4 > len(code):
            return []
        count, weight = np.bincount(code).astype(float), cells.weight[first]
        mean = np.bincount(code, cells.mean) / count
        squares = np.bincount(code, (cells.mean - mean[code]) ** 2)
        blocks = [indicator(cells.factors[k][first], self.levels[k]) for k in self.outer]
        a = np.column_stack([*blocks, cells.x[first], mean])
        whole, out = np.zeros((a.shape[1], a.shape[1])), []
        for w in np.unique(weight):
            mine = weight == w
            product = a[mine].T @ (a[mine] * count[mine, None])
            product[-1, -1] += float(squares[mine].sum())
            whole += w * product
            out.append((float(w), int(count[mine].sum()), w * w * product))
        self._c0 = [whole]
        return out

    def _products_of_alike(self, columns: int) -> list[tuple[float, int, Floats]]:
        """Levels of the inner factor with equal weight act alike: their weight, number and products, summed once.

        Empty where weights differ too much for that to be less work.
        """
        if self.inner < 0 or self.groups > 1:
            return []
        weights, which, number = np.unique(self._s[0], return_inverse=True, return_counts=True)
        if len(weights) * 4 > len(which) or len(weights) * columns**2 > 4_000_000:
            return []
        rows = np.split(self._t[0][np.argsort(which, kind="stable")], np.cumsum(number)[:-1])
        return [(float(w), int(n), t.T @ t) for w, n, t in zip(weights, number, rows, strict=True)]

    def parts(self, gamma: Floats, rho: Floats) -> tuple[Floats, Floats, float, float]:
        """``X'H^-1X``, ``X'H^-1y``, ``y'H^-1y``, ``log|H|`` of the cells, for s_k^2/s^2 and s_g^2/s^2."""
        c = sum(c0 / r for c0, r in zip(self._c0, rho, strict=True))
        log_det = float(self._per_group @ np.log(rho)) - self._log_weight
        if self._alike:
            g, r = gamma[self.inner], rho[0]
            for weight, number, product in self._alike:
                c = c - product * (g / (1 + g * weight / r) / r**2)
                log_det += number * float(np.log1p(g * weight / r))
        elif self.inner >= 0:
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
            half = _forward(chol, root[:, None] * c[:q, q:])
            rest = rest - half.T @ half
            log_det += 2 * float(np.log(np.diag(chol)).sum())
        return rest[:-1, :-1], rest[:-1, -1], float(rest[-1, -1]), log_det

    def evaluate(self, gamma: Floats, rho: Floats, sigma2: float | None = None) -> tuple[float, float, Floats]:
        """Deviance, residual variance (profiled unless given) and fixed effects.

        Parameters
        ----------
        gamma : ndarray
            (factors,) Variances over that of the first residual group.
        rho : ndarray
            (groups,) Residual variances over that of the first.
        sigma2 : float, optional
            Residual variance, if it is held.
        """
        try:
            xx, xy, yy, log_det = self.parts(gamma, rho)
            chol = np.linalg.cholesky(xx)
        except np.linalg.LinAlgError:
            return REFUSED, 0.0, np.full(self.fixed, np.nan)
        half = _forward(chol, xy)
        quadratic = max(yy - float(half @ half), 0.0) + float(self.cells.within_ss @ (1 / rho))
        beta = scipy.linalg.lapack.dtrtrs(chol, half, lower=1, trans=1)[0]
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
        share = np.clip(v[:k], 0.0, TOP)
        return share / (1 - share) / self.size, np.exp(np.concatenate([[0.0], v[k:]]))

    def pack(self, gamma: Floats, rho: Floats) -> Floats:
        scaled = gamma * self.size
        return np.concatenate([scaled / (1 + scaled), np.log(rho[1:])])


def _forward(chol: Floats, right: Floats) -> Floats:
    """``chol^-1 right`` of a lower triangle; without the checks, which take longer than matrices of this size."""
    return np.asarray(scipy.linalg.lapack.dtrtrs(chol, right, lower=1)[0])


@dataclass(frozen=True)
class VarianceEstimate:
    """Where the criterion is least: variances of the factors, of the residual groups, fixed effects, deviance."""

    variances: Floats
    residual: Floats
    beta: Floats
    deviance: float
    converged: bool


def indicator(code: Codes, levels: int) -> Floats:
    z = np.zeros((len(code), levels))
    keep = code >= 0
    z[np.flatnonzero(keep), code[keep]] = 1.0
    return z


def check_codes(name: str, code: object, rows: int) -> Codes:
    """Dense codes of one factor; refuses a wrong length.

    Parameters
    ----------
    name : str
        The factor's name, for the message.
    code : array_like
        (rows,) Its levels; a whole number below zero is no level.
    rows : int
        Number of rows.
    """
    values = np.asarray(code)
    if values.shape != (rows,):
        raise InputError(f"The factor {name} has {values.shape} entries for {rows} values.", column=name)
    if np.issubdtype(values.dtype, np.integer):
        out = np.full(rows, -1, dtype=np.int64)
        keep = values >= 0
        out[keep] = np.unique(values[keep], return_inverse=True)[1]
        return out
    return np.unique(values.astype(str), return_inverse=True)[1].astype(np.int64)
