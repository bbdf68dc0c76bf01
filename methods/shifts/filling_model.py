"""Fixed effects with random fillings by restricted likelihood, on sums of fillings, every level its own scatter.

The mean of a filling of n breakdowns has variance ``between + within / n``, both those of its level; where an oil has
a shift of its own, all fillings of an oil under a level share one more effect. The within part is also known from the
scatter inside fillings. Variances are let to come out negative, as in the analysis of variance, as long as every
filling mean keeps a variance above zero: there is no boundary at which the answer changes its form, and in balanced
designs the limits are those of the t-tests on filling means (or on the oils' shifts). Where fillings of a level hold
unequal numbers, the likelihood of such variances has no end, and the mean of the largest filling keeps at least half
the variance that the scatter inside fillings gives it; where oils hold unequal numbers of fillings, the variance of
their own shifts is not below zero.

Sources: restricted likelihood, Patterson and Thompson, Biometrika 58 (1971) 545; standard errors and degrees of
freedom of few fillings, Kenward and Roger, Biometrics 53 (1997) 983.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from methods.errors import NotEstimable
from methods.scatter.mixed import Contrast
from methods.shifts.widening import NONE, Widening
from methods.threads import single_threaded

Floats = NDArray[Any]
Codes = NDArray[Any]

#: What part of the variance from inside fillings the scatter between them may take away where numbers are unequal.
HALF = 0.5

#: Beyond so many fillings no effects that join them are modelled (their matrix would be as wide as there are fillings).
MOST_JOINED = 600


@dataclass(frozen=True)
class Sums:
    """Fillings as sums: mean, number of breakdowns, and squares about the mean; arrays (fillings,).

    ``first`` is the index of a row of each filling. Fillings that are alike in everything (fixed part, level, number of
    breakdowns) are summed up once more by :meth:`join`: then ``count`` is how many, ``mean`` the mean of their means,
    ``spread`` the squares of their means about it, and ``squares`` those inside all of them.
    """

    mean: Floats
    number: Floats
    squares: Floats
    first: Codes
    count: Floats
    spread: Floats

    def join(self, code: Codes) -> Sums:
        """Sum up fillings of equal ``code`` (fillings,) and equal number of breakdowns."""
        both = code.astype(np.int64) * (int(self.number.max()) + 1) + self.number.astype(np.int64)
        _, first, index = np.unique(both, return_index=True, return_inverse=True)
        count = np.bincount(index, self.count)
        start = float(self.mean[0])
        mean = start + np.bincount(index, (self.mean - start) * self.count) / count
        spread = np.bincount(index, self.spread + self.count * (self.mean - mean[index]) ** 2)
        return Sums(
            mean, self.number[first], np.bincount(index, self.squares), self.first[first], count, spread
        )  # fmt: skip

    @classmethod
    def of(cls, values: Floats, filling: Codes) -> Sums:
        """Sum rows up; ``filling`` are codes of any kind."""
        low = int(filling.min())
        if int(filling.max()) - low < 4 * len(filling) + 1024:  # dense codes: no sorting
            seen = np.zeros(int(filling.max()) - low + 1, dtype=np.int64)
            seen[filling[::-1] - low] = np.arange(len(filling))[::-1]
            used = np.bincount(filling - low, minlength=len(seen)) > 0
            first, code = seen[used], (np.cumsum(used) - 1)[filling - low]
        else:
            _, first, code = np.unique(filling, return_index=True, return_inverse=True)
        start = float(values[0])
        number = np.bincount(code).astype(float)
        mean = start + np.bincount(code, values - start) / number
        squares = np.bincount(code, (values - mean[code]) ** 2)
        return cls(mean, number, squares, first, np.ones(len(mean)), np.zeros(len(mean)))


@dataclass(frozen=True)
class FillingModel:
    """A fitted model; :meth:`contrast` gives estimates with limits.

    ``beta`` and ``covariance`` (p,), (p, p): fixed effects, with Kenward and Roger's correction; ``plain`` without
    it; ``slopes`` (q, p, p): how ``plain`` changes with each variance; ``known`` (q, q): covariance of the variances.
    ``variances`` are ``between`` and ``within`` of each level (or one for all) and the oils' own shifts, named.
    """

    beta: Floats
    covariance: Floats
    plain: Floats
    slopes: Floats
    known: Floats
    freedom: int
    variances: dict[str, float]

    def contrast(
        self, row: Any, *, confidence: float = 0.95, value: float = 0.0, widen: Widening = NONE
    ) -> Contrast:  # fmt: skip
        """``row @ beta`` with its standard error, degrees of freedom, limits and p-value against ``value``.

        Parameters
        ----------
        row : array_like
            (p,) Weights of the fixed effects.
        confidence : float, default 0.95
            Of the limits, a fraction between 0 and 1.
        value : float, default 0.0
            Null value of the p-value.
        widen : Widening, default NONE
            What makes the limits wider than Student's t.
        """
        c = np.asarray(row, dtype=float)
        estimate, plain = float(c @ self.beta), float(c @ self.plain @ c)
        se = float(np.sqrt(max(c @ self.covariance @ c, plain, 0.0))) if self.freedom else 0.0
        if self.freedom < 1 or not se > 0:
            nan = float("nan")
            return Contrast(estimate, nan, nan, nan, nan, nan)
        gradient = np.einsum("i,qij,j->q", c, self.slopes, c)
        spread = float(gradient @ self.known @ gradient)
        df = 2 * plain**2 / spread if spread > 0 else float(self.freedom)
        df = float(np.clip(df, 1.0, self.freedom))
        half = widen.critical(confidence, df) * se
        return Contrast(
            estimate, se, df, estimate - half, estimate + half, widen.p_value((estimate - value) / se, df)
        )  # fmt: skip


class _Parts:
    """Variance of the filling means as a sum of known matrices times variances: diagonals, or blocks of equal codes."""

    def __init__(self, sums: Sums, level: Codes, joined: Mapping[str, Codes]) -> None:
        self.sums = sums
        self.names: list[str] = []
        self.diagonals: list[Floats] = []
        self.within: list[tuple[int, float, float]] = []  # parameter, squares, degrees of freedom
        self.floors: list[tuple[int, int, float]] = []  # between, within, share of it that between may take away
        inside = float(sums.count @ (sums.number - 1))
        for i in np.unique(level):
            mine = (level == i).astype(float)
            self.names.append(f"between {i}")
            self.diagonals.append(mine)
            df = float(sums.count[level == i] @ (sums.number[level == i] - 1))
            if inside > 0 and df > 0:
                self.names.append(f"within {i}")
                self.within.append((len(self.diagonals), float(sums.squares[level == i].sum()), df))
                self.diagonals.append(mine / sums.number)
                counts = sums.number[level == i]
                if counts.min() < counts.max():
                    k = len(self.diagonals) - 2
                    self.floors.append((k, k + 1, HALF / float(counts.max())))
        self.blocks = [(code[:, None] == code[None, :]).astype(float) for code in joined.values()]
        each = [np.bincount(code, sums.count) for code in joined.values()]
        self.uneven = [len(np.unique(n[n > 0])) > 1 for n in each]
        self.names += list(joined)

    def __len__(self) -> int:
        return len(self.names)

    def turn(self) -> tuple[Floats, Floats]:
        """Variances as a linear map of search coordinates, and which of these must not fall below zero."""
        matrix, bounded = np.eye(len(self)), np.zeros(len(self), dtype=bool)
        for between, within, share in self.floors:
            matrix[between, within] = -share
            bounded[between] = True
        for k, uneven in enumerate(self.uneven, len(self.diagonals)):
            bounded[k] = uneven
        return matrix, bounded


@single_threaded
def fit_fillings(
    sums: Sums, x: Floats, level: Codes, joined: Mapping[str, Codes] | None = None, steps: int = 60
) -> FillingModel:
    """Fit by restricted likelihood (Fisher's scoring).

    Parameters
    ----------
    sums : Sums
    x : array (fillings, p)
        Fixed part, of full column rank.
    level : codes (fillings,)
        Fillings of one code share their variances.
    joined : mapping of name to codes (fillings,), optional
        Random effects that fillings of one code share, such as an oil's own shift under a level; only with up to
        ``MOST_JOINED`` rows of ``sums``.
    steps : int, default 60
        Most steps.

    Raises
    ------
    NotEstimable
        The filling means do not differ at all within what the fixed part explains.
    """
    p = x.shape[1]
    fillings = int(sums.count.sum())
    freedom = fillings - p
    heavy = x * sums.count[:, None]
    parts = _Parts(sums, level, joined or {})
    inverse = np.linalg.inv(heavy.T @ x)
    centre = float(sums.mean[0])
    y = sums.mean - centre
    rest = y - x @ (inverse @ (heavy.T @ y))
    if freedom < 1:
        blank = np.full((p, p), np.nan)
        beta = inverse @ (heavy.T @ sums.mean)
        return FillingModel(beta, blank, blank, np.zeros((0, p, p)), np.zeros((0, 0)), 0, {})
    start = float(sums.count @ rest**2 + sums.spread.sum()) / freedom
    if not start > 1e-24 * max(float(np.mean(sums.mean**2)), 1e-300):
        raise NotEstimable("The filling means do not differ at all within a level: there is no scatter to judge by.")
    theta = np.zeros(len(parts))
    for k, name in enumerate(parts.names):
        theta[k] = start if name.startswith("between") else 0.0
    for k, squares, df in parts.within:
        theta[k] = max(squares / df, 1e-9 * start)
    state = _evaluate(parts, theta, x, y)
    assert state is not None
    matrix, bounded = parts.turn()
    place = np.linalg.solve(matrix, theta)
    for _ in range(steps):
        score, information = _derivatives(parts, theta, x, state)
        score, information = matrix.T @ score, matrix.T @ information @ matrix
        free = ~(bounded & (place <= 0) & (score <= 0))
        step = np.zeros(len(theta))
        step[free] = np.linalg.lstsq(information[np.ix_(free, free)], score[free], rcond=1e-12)[0]
        size, moved = 1.0, None
        while size > 1e-6:
            there = np.where(bounded, np.maximum(place + size * step, 0.0), place + size * step)
            trial = matrix @ there
            moved = _evaluate(parts, trial, x, y)
            if moved is not None and moved.log_likelihood >= state.log_likelihood - 1e-10 * abs(state.log_likelihood):
                break
            size, moved = size / 2, None
        if moved is None:
            break
        gain, place, theta, state = moved.log_likelihood - state.log_likelihood, there, trial, moved
        if abs(gain) < 1e-11 * max(abs(state.log_likelihood), 1.0) and size == 1.0:
            break
    _, information = _derivatives(parts, theta, x, state)
    known = np.linalg.pinv(information, rcond=1e-12, hermitian=True)
    covariance = state.phi
    if np.ptp(sums.number) > 0 or not parts.blocks or any(parts.uneven):  # in balanced designs there is no correction
        bend = (state.p @ state.phi)[:, None] @ state.p[None]
        more = np.tensordot(known, state.q - bend)
        covariance = state.phi + 2 * state.phi @ more @ state.phi
    slopes = state.phi @ state.p @ state.phi
    beta = state.beta + centre * (inverse @ heavy.sum(axis=0))
    return FillingModel(
        beta, covariance, state.phi, slopes, known, freedom, dict(zip(parts.names, theta.tolist(), strict=True))
    )  # fmt: skip


@dataclass(frozen=True)
class _State:
    """What the likelihood needs at one set of variances; ``p`` (q, p, p), ``q`` (q, q, p, p) as Kenward and Roger."""

    log_likelihood: float
    beta: Floats
    phi: Floats
    p: Floats
    q: Floats
    traces: Floats  # tr(V^-1 V_i)
    products: Floats  # tr(V^-1 V_i V^-1 V_j)
    quadratics: Floats  # r' V^-1 V_i V^-1 r
    each: Floats  # variance of the mean of one filling


def _evaluate(parts: _Parts, theta: Floats, x: Floats, y: Floats) -> _State | None:
    """The likelihood and its pieces; None where a filling mean would have no variance above zero."""
    count = len(parts.diagonals)
    diagonal = sum((t * d for t, d in zip(theta[:count], parts.diagonals, strict=True)), np.zeros(len(y)))
    likelihood = 0.0
    for k, squares, df in parts.within:
        if not theta[k] > 0:
            return None
        likelihood -= 0.5 * (df * np.log(theta[k]) + squares / theta[k])
    if not (diagonal > 1e-12 * float(np.abs(theta[:count]).max())).all():
        return None
    sums = parts.sums
    likelihood -= 0.5 * float((sums.count - 1) @ np.log(diagonal) + (sums.spread / diagonal).sum())
    shares = [d / sums.count for d in parts.diagonals]  # variance of the mean of alike fillings
    each, diagonal = diagonal, diagonal / sums.count
    if not parts.blocks:
        w = 1 / diagonal
        wx = x * w[:, None]
        log_det = float(np.log(diagonal).sum())
        changed = [wx * d[:, None] for d in shares]  # V_i V^-1 X
        solved = [c * w[:, None] for c in changed]  # V^-1 V_i V^-1 X
        traces = np.array([float(w @ d) for d in shares])
        products = np.array([[float((w * a) @ (w * b)) for b in shares] for a in shares])
        weighted = w * y
    else:
        v = np.diag(diagonal) + sum(t * m for t, m in zip(theta[count:], parts.blocks, strict=True))
        try:
            chol = scipy.linalg.cho_factor(v, lower=True)
        except np.linalg.LinAlgError:
            return None
        if not np.diag(chol[0]).min() > 1e-7 * np.sqrt(np.abs(np.diag(v)).max()):
            return None
        inverse = scipy.linalg.cho_solve(chol, np.eye(len(y)))
        log_det = 2 * float(np.log(np.diag(chol[0])).sum())
        wx = inverse @ x
        changed = [d[:, None] * wx for d in shares] + [m @ wx for m in parts.blocks]
        solved = [inverse @ c for c in changed]
        times = [inverse * d for d in shares] + [inverse @ m for m in parts.blocks]
        traces = np.array([float(np.trace(t)) for t in times])
        products = np.array([[float(np.sum(a * b.T)) for b in times] for a in times])
        weighted = inverse @ y
    try:
        phi = np.linalg.inv(x.T @ wx)
    except np.linalg.LinAlgError:
        return None
    beta = phi @ (wx.T @ y)
    pull = weighted - wx @ beta  # V^-1 r
    likelihood -= 0.5 * (log_det + np.linalg.slogdet(x.T @ wx)[1] + float(pull @ (y - x @ beta)))
    p = np.array([wx.T @ c for c in changed])
    q = np.array(changed).transpose(0, 2, 1)[:, None] @ np.array(solved)[None]
    quadratics = [float((pull * d) @ pull) for d in shares]
    quadratics += [float(pull @ m @ pull) for m in parts.blocks]
    return _State(float(likelihood), beta, phi, p, q, traces, products, np.array(quadratics), each)


def _derivatives(parts: _Parts, theta: Floats, x: Floats, s: _State) -> tuple[Floats, Floats]:
    """Score and expected information of the variances."""
    turned = s.phi @ s.p
    score = -0.5 * (s.traces - np.einsum("iaa->i", turned) - s.quadratics)
    information = 0.5 * (
        s.products - 2 * np.einsum("ab,ijba->ij", s.phi, s.q) + np.einsum("iab,jba->ij", turned, turned)
    )
    for i, a in enumerate(parts.diagonals):  # alike fillings about their mean
        score[i] -= 0.5 * float(((parts.sums.count - 1) - parts.sums.spread / s.each) @ (a / s.each))
        for j, b in enumerate(parts.diagonals):
            information[i, j] += 0.5 * float((parts.sums.count - 1) @ (a * b / s.each**2))
    for k, squares, df in parts.within:
        score[k] -= 0.5 * (df / theta[k] - squares / theta[k] ** 2)
        information[k, k] += 0.5 * df / theta[k] ** 2
    return score, information
