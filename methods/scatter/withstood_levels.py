"""Several random levels (laboratory, oil, filling) with withstood ceilings: restricted maximum likelihood, limits by
simulation.

A breakdown counts with its density, a withstand with the chance of lying above its ceiling. Effects of all levels and
the fixed part are integrated out by Laplace's approximation, which is exact where nothing was withstood: then it is the
restricted likelihood of :mod:`methods.scatter.reml`. Limits are those of a parametric bootstrap: studies of the same
design and ceiling are drawn from the fitted model and fitted again, all at once, and the distribution of
``(estimate - truth) / standard error`` among them takes the place of Student's t.

Sources: Tierney & Kadane, J. Amer. Statist. Assoc. 81 (1986) 82 (Laplace); Hughes, Biometrics 55 (1999) 625 (random
effects with censored values); Efron & Tibshirani, An Introduction to the Bootstrap, 1993, chapter 12 (bootstrap t).
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from methods.errors import NotEstimable
from methods.result import Caution
from methods.scatter.censored import hazard
from methods.scatter.mixed import Contrast
from methods.scatter.nested_pivots import matching_df
from methods.threads import single_threaded

Floats = NDArray[Any]
Codes = NDArray[np.int64]

#: Studies drawn for the limits; fewer where the design is large.
DRAWN = 400
FEWEST = 100
_WORK = 600_000
_MOST_PAIRS = 4_000_000
_HALF_LOG_2PI = 0.9189385332046727


@dataclass(frozen=True)
class Levels:
    """A fitted model; kV, or log kV.

    ``beta`` (p,) with ``covariance`` (p, p); ``sds`` of the random factors with ``limits``; ``residual_sd`` with
    ``residual_limits``. ``drawn_beta`` (draws, p) and ``drawn_covariance`` (draws, p, p): of the drawn studies.
    """

    beta: Floats
    covariance: Floats
    sds: dict[str, float]
    limits: dict[str, tuple[float, float]]
    residual_sd: float
    residual_limits: tuple[float, float]
    log_likelihood: float
    rows: int
    withstood: int
    drawn_beta: Floats = field(repr=False)
    drawn_covariance: Floats = field(repr=False)
    cautions: list[Caution] = field(default_factory=list)

    def contrast(self, row: Any, *, confidence: float = 0.95, value: float = 0.0) -> Contrast:
        """``row @ beta`` with limits and p-value by the drawn studies; ``df`` those whose Student's t is as wide.

        Parameters
        ----------
        row : array_like
            (p,) Weights of the fixed effects.
        confidence : float, default 0.95
            Of the limits, a fraction between 0 and 1.
        value : float, default 0.0
            Null value of the p-value.
        """
        c = np.asarray(row, dtype=float)
        estimate, se = float(c @ self.beta), float(np.sqrt(c @ self.covariance @ c))
        spread = np.sqrt(np.einsum("i,bij,j->b", c, self.drawn_covariance, c))
        t = np.sort(np.abs((self.drawn_beta - self.beta) @ c) / spread)
        half = float(np.quantile(t, confidence)) * se
        p = float((1 + (t >= abs(estimate - value) / se).sum()) / (1 + len(t)))
        return Contrast(estimate, se, matching_df(half / se, confidence), estimate - half, estimate + half, p)


@dataclass(frozen=True)
class _Design:
    """Rows summed up to units (rows alike in everything); ``absorbed``: the innermost factor is the unit itself."""

    order: Codes
    starts: Codes
    unit: Codes
    x: Floats
    levels: tuple[Codes, ...]
    absorbed: bool
    size: Floats

    @classmethod
    def of(cls, x: Floats, factors: Mapping[str, Codes]) -> _Design:
        fixed = np.unique(x, axis=0, return_inverse=True)[1].ravel()
        both = np.column_stack([fixed, *factors.values()])
        unit = np.unique(both, axis=0, return_inverse=True)[1].ravel()
        order = np.argsort(unit, kind="stable")
        starts = np.searchsorted(unit[order], np.arange(int(unit.max()) + 1))
        first = order[starts]
        codes = tuple(np.unique(c, return_inverse=True)[1][first] for c in factors.values())
        absorbed = bool(codes) and len(np.unique(codes[-1])) == len(first)
        return cls(order, starts, unit[order], x[first], codes, absorbed, np.bincount(unit).astype(float))

    @property
    def outer(self) -> tuple[Codes, ...]:
        return self.levels[:-1] if self.absorbed else self.levels

    def columns(self) -> tuple[Floats, Codes]:
        """Indicators of fixed part and outer levels (units, q), and the factor that each column is of (-1: fixed)."""
        parts, owner = [self.x], [np.full(self.x.shape[1], -1)]
        for i, code in enumerate(self.outer):
            parts.append((code[:, None] == np.arange(code.max() + 1)).astype(float))
            owner.append(np.full(int(code.max()) + 1, i))
        return np.hstack(parts), np.concatenate(owner)


class _Batch:
    """Minus the restricted log-likelihood of many studies of one design, in (SD of each factor, log residual)."""

    def __init__(self, design: _Design, y: Floats, gone: NDArray[np.bool_]) -> None:
        self.d, y, gone = design, y[:, design.order], gone[:, design.order]
        self._sums_of(y, gone)
        self.base, self.owner = design.columns()
        self.p = design.x.shape[1]
        self.prior = (self.owner >= 0).astype(float)
        units, q = self.base.shape
        self.pairs = None  # products of two columns, unit by unit: one product of matrices then serves all studies
        if units * q * q <= _MOST_PAIRS:
            self.pairs = (self.base[:, :, None] * self.base[:, None, :]).reshape(units, q * q)
        self.effects = np.zeros((len(y), self.base.shape[1]))
        start = np.where(gone, np.nan, y)
        with np.errstate(invalid="ignore"):
            self.effects[:, : self.p] = np.nanmean(start, axis=1)[:, None] / max(self.p, 1) if self.p == 1 else 0.0
        self.inner = np.zeros((len(y), len(design.starts)))

    def _sums_of(self, y: Floats, gone: NDArray[np.bool_]) -> None:
        """Breakdowns of a unit enter by number, mean and squares; only withstands are needed one by one."""

        def over(rows: Floats) -> Floats:
            return np.add.reduceat(rows, self.d.starts, axis=1)

        self.count = over((~gone).astype(float))
        self.mean = over(np.where(gone, 0.0, y)) / np.maximum(self.count, 1.0)
        self.squares = over(np.where(gone, 0.0, y - self.mean[:, self.d.unit]) ** 2)
        self.gone_study, row = np.nonzero(gone)
        self.gone_unit, self.ceiling = self.d.unit[row], y[self.gone_study, row]

    def value(self, theta: Floats, at: Codes | None = None) -> Floats:
        """Of the studies ``at`` (all unless said), theirs at ``theta`` (studies, factors + 1)."""
        rows = np.arange(len(self.count)) if at is None else at
        tau, s = np.abs(theta[:, :-1]), np.exp(theta[:, -1:])
        count, mean = self.count[rows], self.mean[rows]
        place = np.full(len(self.count), -1)
        place[rows] = np.arange(len(rows))
        mine = place[self.gone_study] >= 0
        study, unit, top = place[self.gone_study[mine]], self.gone_unit[mine], self.ceiling[mine]
        sg = s[study, 0]
        flat = study * count.shape[1] + unit

        def added(values: Floats) -> Floats:
            return np.bincount(flat, values, count.size).reshape(count.shape)

        scale = np.where(self.owner >= 0, tau[:, np.maximum(self.owner, 0)] if tau.shape[1] else 1.0, 1.0)
        t = tau[:, -1:] if self.d.absorbed else np.zeros((len(rows), 1))
        v, b = self.effects[rows], self.inner[rows]
        for _ in range(40):
            centre = (v * scale) @ self.base.T + t * b
            z = (top - centre[study, unit]) / sg
            h = hazard(z)
            pull = count * (mean - centre) / s**2 + added(h / sg)
            weight = count / s**2 + added(h * (h - z) / sg**2)
            inside = 1 + t**2 * weight
            down = t * pull - b
            up = ((pull - t * weight * down / inside) @ self.base) * scale - self.prior * v
            schur = self._crossed(weight / inside, scale)
            schur[:, np.arange(len(self.owner)), np.arange(len(self.owner))] += self.prior
            step = np.linalg.solve(schur, up[:, :, None])[:, :, 0]
            moved = (down - t * weight * ((step * scale) @ self.base.T)) / inside
            v, b = v + step, b + moved
            if max(np.abs(step * scale).max(), np.abs(moved * t).max()) < 1e-7:
                break
        self.effects[rows], self.inner[rows] = v, b
        centre = (v * scale) @ self.base.T + t * b
        log = (-0.5 * (self.squares[rows] + count * (mean - centre) ** 2) / s**2).sum(1)
        log -= count.sum(1) * (np.log(s[:, 0]) + _HALF_LOG_2PI)
        log += np.bincount(study, scipy.special.log_ndtr(-(top - centre[study, unit]) / sg), len(rows))
        log -= 0.5 * (self.prior * v * v).sum(1) + 0.5 * (b * b).sum(1) * self.d.absorbed
        log -= 0.5 * np.linalg.slogdet(schur)[1] + 0.5 * np.log(inside).sum(1) - self.p * _HALF_LOG_2PI
        self.schur = schur
        return -np.where(np.isfinite(log), log, -1e12)

    def _crossed(self, weight: Floats, scale: Floats) -> Floats:
        """Columns by columns of each study (studies, q, q), weighted by unit (studies, units), each column scaled."""
        q = scale.shape[1]
        if self.pairs is None:
            found = np.matmul(self.base.T, weight[:, :, None] * self.base)
        else:
            found = (weight @ self.pairs).reshape(-1, q, q)
        return np.asarray(found * scale[:, :, None] * scale[:, None, :])

    @property
    def covariance(self) -> Floats:
        """Of the fixed part (studies, p, p), where the likelihood was last asked for."""
        return np.linalg.inv(self.schur)[:, : self.p, : self.p]


def _maximise(batch: _Batch, start: Floats, steps: int = 25) -> tuple[Floats, Floats]:
    """Newton's method on differences, all studies together; negative curvature is turned, steps are halved."""
    theta, q = start.copy(), start.shape[1]
    value = batch.value(theta)
    active = np.arange(len(theta))
    h = 2e-3
    for _ in range(steps):
        here, now = theta[active], value[active]
        up, down = np.empty((len(active), q)), np.empty((len(active), q))
        hessian = np.empty((len(active), q, q))
        for i in range(q):
            e = np.zeros(q)
            e[i] = h
            up[:, i], down[:, i] = batch.value(here + e, active), batch.value(here - e, active)
        gradient = (up - down) / (2 * h)
        for i in range(q):
            hessian[:, i, i] = (up[:, i] - 2 * now + down[:, i]) / h**2
            for j in range(i):
                e = np.zeros(q)
                e[i] = e[j] = h
                both = batch.value(here + e, active)
                hessian[:, i, j] = hessian[:, j, i] = (both - up[:, i] - up[:, j] + now) / h**2
        values, vectors = np.linalg.eigh(hessian)
        size = np.maximum(np.abs(values), 0.3)
        step = -np.einsum("bij,bj->bi", vectors, np.einsum("bji,bj->bi", vectors, gradient) / size)
        step = np.clip(step, -0.6, 0.6)
        share = np.ones(len(active))
        for _ in range(6):
            trial = here + share[:, None] * step
            found = batch.value(trial, active)
            worse = found > now + 1e-9
            if not worse.any():
                break
            share = np.where(worse, share / 2, share)
        better = found <= now + 1e-9
        trial = np.where(better[:, None], trial, here)
        trial[:, :-1] = np.abs(trial[:, :-1])
        theta[active], value[active] = trial, np.where(better, found, now)
        active = active[better & (np.abs(share[:, None] * step).max(1) > 2e-3)]
        if not len(active):
            break
    return theta, batch.value(theta)


@single_threaded
def fit_levels(
    kv: Any,
    withstood: Any,
    x: Floats,
    factors: Mapping[str, Codes],
    *,
    confidence: float = 0.95,
    log: bool = False,
    rng: Any = 20250101,
) -> Levels:
    """Fit fixed effects and several random factors where some series were withstood.

    Parameters
    ----------
    kv : array (n,)
        Breakdown voltage, or the ceiling where ``withstood`` (n,).
    x : array (n, p)
        Fixed part of full column rank.
    factors : mapping of name to codes (n,)
        Random factors from the outside in; nested or crossed.
    log : bool
        Work on the logarithms.
    rng : seed or generator
        Of the studies drawn for the limits.
    withstood : object
        (n,) Which of the values are withstands.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        All withstood, too few breakdowns, or a fixed level with withstood series only.
    """
    y, gone = np.asarray(kv, dtype=float), np.asarray(withstood, dtype=bool)
    y = np.log(y) if log else y
    if gone.all():
        raise NotEstimable("Every series was withstood: the data say only that the oil holds more than the ceiling.")
    if np.linalg.matrix_rank(x[~gone]) < x.shape[1]:
        raise NotEstimable("One of the levels has withstood series only: its mean lies somewhere above the ceiling.")
    left = y[~gone] - x[~gone] @ np.linalg.lstsq(x[~gone], y[~gone], rcond=None)[0]
    if (~gone).sum() <= x.shape[1] + len(factors) or not float(np.abs(left).max()) > 1e-12 * float(np.abs(y).max()):
        raise NotEstimable("Too few breakdowns differ from each other to tell the scatter.")
    scale, centre = float(left.std()), float(y[~gone].mean())
    shift = x @ np.linalg.lstsq(x, np.ones(len(y)), rcond=None)[0]
    moved = centre if np.abs(shift - 1).max() < 1e-8 else 0.0
    z = (y - moved) / scale
    theta, value, beta, covariance, found, stars, spread = _fitted(x, factors, z, gone, rng)
    tau, s = theta[0, :-1], float(np.exp(theta[0, -1]))
    back = np.linalg.lstsq(x, np.full(len(y), moved), rcond=None)[0] if moved else np.zeros(x.shape[1])
    pairs = _limits(
        factors, np.append(tau, s), np.column_stack([found[:, :-1], np.exp(found[:, -1])]), x.shape[1], confidence
    )
    named = dict(zip(factors, tau, strict=True))
    cautions = [
        Caution(
            "withstood",
            (
                f"{int(gone.sum())} of {len(gone)} tests were withstood. They count as 'at least the ceiling', by "
                "maximum "
                "likelihood under the normal law; nothing above the ceiling was seen, so the upper half rests on that "
                "law."
            ),
        )
    ]
    return Levels(
        beta=beta * scale + back,
        covariance=covariance * scale**2,
        sds={n: float(t) * scale if t > 1e-3 else 0.0 for n, t in named.items()},
        limits={n: (pairs[i][0] * scale, pairs[i][1] * scale) for i, n in enumerate(factors)},
        residual_sd=s * scale,
        residual_limits=(pairs[-1][0] * scale, pairs[-1][1] * scale),
        log_likelihood=float(-value[0] - ((~gone).sum() - x.shape[1]) * np.log(scale)),
        rows=len(y),
        withstood=int(gone.sum()),
        drawn_beta=stars * scale + back,
        drawn_covariance=spread * scale**2,
        cautions=cautions,
    )


#: The last fits by what they were made of: a table, its plan and its report ask for the same at several confidences.
_DONE: OrderedDict[str, tuple[Floats, ...]] = OrderedDict()
_MOST_DONE = 16


def _fitted(
    x: Floats, factors: Mapping[str, Codes], z: Floats, gone: NDArray[np.bool_], rng: Any
) -> tuple[Floats, ...]:
    """The fit and those of the drawn studies: theta, value, beta, covariance; theta, beta and covariance drawn."""
    key = ""
    if isinstance(rng, int):  # a generator gives other studies each time
        parts = [np.ascontiguousarray(a) for a in (x, z, gone, *factors.values())]
        whole = b"".join(str((a.shape, a.dtype.str)).encode() + a.tobytes() for a in parts)
        key = hashlib.sha256(whole + repr((list(factors), rng)).encode()).hexdigest()
        if key in _DONE:
            return _DONE[key]
    design, k = _Design.of(x, factors), len(factors)
    batch = _Batch(design, z[None], gone[None])
    theta, value = _maximise(batch, np.concatenate([np.full(k, 0.5), [np.log(0.7)]])[None], 60)
    beta, covariance = batch.effects[0, : x.shape[1]].copy(), batch.covariance[0].copy()
    drawn = _drawn(design, x, factors, z, gone, beta, theta[0], np.random.default_rng(rng))
    out = (theta, value, beta, covariance, *drawn)
    if key:
        for array in out:
            array.setflags(write=False)
        _DONE[key] = out
        while len(_DONE) > _MOST_DONE:
            _DONE.popitem(last=False)
    return out


def _drawn(
    design: _Design,
    x: Floats,
    factors: Mapping[str, Codes],
    z: Floats,
    gone: NDArray[np.bool_],
    beta: Floats,
    theta: Floats,
    rng: np.random.Generator,
) -> tuple[Floats, Floats, Floats]:
    """Fits of studies drawn from the model: theta (draws, factors + 1), beta (draws, p) and its covariance."""
    q = design.columns()[0].shape[1]
    draws = int(np.clip(_WORK / (len(z) + q * q), FEWEST, DRAWN))
    y = (x @ beta)[None] + np.exp(theta[-1]) * rng.standard_normal((draws, len(z)))
    for tau, code in zip(theta[:-1], factors.values(), strict=True):
        code = np.unique(code, return_inverse=True)[1]
        y += tau * rng.standard_normal((draws, int(code.max()) + 1))[:, code]
    top = np.where(gone, z, z[gone].max()) if gone.any() else np.full(len(z), np.inf)
    stood = y >= top
    enough = np.array([np.linalg.matrix_rank(x[~row]) == x.shape[1] for row in stood]) & (
        (~stood).sum(1) > x.shape[1] + 2
    )
    y, stood = np.minimum(y, top)[enough], stood[enough]
    batch = _Batch(design, y, stood)
    start = np.tile(np.append(np.maximum(theta[:-1], 0.15), theta[-1]), (len(y), 1))
    found, _ = _maximise(batch, start, 12)
    return found, batch.effects[:, : x.shape[1]], batch.covariance


def _limits(
    factors: Mapping[str, Codes], sds: Floats, drawn: Floats, fixed: int, confidence: float
) -> list[tuple[float, float]]:
    """Limits of each SD and the residual one.

    The variance of the mean of a level, with all that is inside it, scatters as the drawn studies tell, and at least as
    chi-square over its degrees of freedom does: they tell too little where a component came out at none.
    """
    codes = [np.unique(c, return_inverse=True)[1] for c in factors.values()]
    levels = [fixed, *(int(c.max()) + 1 for c in codes)]
    ends, out = np.array([(1 - confidence) / 2, (1 + confidence) / 2]), []
    n = len(codes[0]) if codes else 0

    def inner(v: Floats, i: int) -> Floats:
        """What the levels inside, and the breakdowns, add to the variance of the mean of one level."""
        total = v[..., -1] ** 2 / (n / levels[i + 1])
        for j in range(i + 1, len(codes)):
            total = total + v[..., j] ** 2 / max(levels[j + 1] / levels[i + 1], 1.0)
        return np.asarray(total)

    for i in range(len(codes)):
        noise = float(inner(sds, i))
        whole = float(sds[i]) ** 2 + noise
        ratio = np.quantile((drawn[:, i] ** 2 + inner(drawn, i)) / whole, ends)
        df = max(levels[i + 1] - (levels[i] if levels[i] < levels[i + 1] else 1), 1)
        chi = scipy.stats.chi2.ppf(ends, df) / df
        low, high = min(ratio[0], chi[0]), max(ratio[1], chi[1])
        pair = [float(np.sqrt(max(whole / v - noise, 0.0))) for v in (high, low)]
        out.append((min(pair[0], float(sds[i])), max(pair[1], float(sds[i]))))
    low, high = np.quantile(drawn[:, -1] / sds[-1], ends)
    out.append((float(sds[-1] / high), float(sds[-1] / low)))
    return out
