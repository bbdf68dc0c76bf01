"""Draws of location and scale of a fitted family, for limits that hold with few values, fillings and ceilings.

A family is ``y = mu + sigma * z`` on kV or ln kV. Whatever the true location and scale, ``(mu_hat - mu) / sigma_hat``
and ``sigma_hat / sigma`` of the maximum-likelihood fit have distributions that depend on the design only, and are
simulated (Thoman, Bain & Antle, *Technometrics* 11 (1969) 445; Lawless, *Statistical Models and Methods for Lifetime
Data*, 2003, appendix E). Where breakdowns share fillings, simulated values share normal scores with a correlation; for
each simulated set it is the one that gives the ratio of scatter between to scatter within fillings that was found (a
generalised pivotal quantity, as for the normal family in :mod:`methods.scatter.nested_pivots`). Under a ceiling as many
of the simulated values break down as did, which keeps the pivots exact (Lawless, 4.1.2), or they meet the same ceiling,
placed by the estimates (the parametric bootstrap); the outer limits of the two are given.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy

from methods.families import LEV, LOGISTIC, NORMAL, SEV, Kernel
from methods.scatter.newton import fit_batch

Array = np.ndarray[Any, Any]

#: Values up to which designs are simulated; beyond, errors robust to fillings are as good and cost nothing.
SIMULATED = 400
#: Correlations of the values of one filling at which a design is simulated; between them it is interpolated.
CORRELATIONS = np.array([0.0, 0.03, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.97, 0.999])
#: Fewer where every condition needs a simulation of its own, under a ceiling.
FEW_CORRELATIONS = np.array([0.0, 0.15, 0.4, 0.7, 0.95])
_WORK = 800_000  # values simulated for one design

_KERNELS = {"normal": NORMAL, "sev": SEV, "logistic": LOGISTIC, "lev": LEV}


def _key(kernel: Kernel) -> str:
    return next(name for name, known in _KERNELS.items() if known is kernel)


@dataclass(frozen=True)
class Simulated:
    """Fits of standard values of one design, with their :func:`scatter_ratio`; arrays (draws, correlations)."""

    mu: Array
    log_sigma: Array
    ratio: Array
    median: Array | None = None

    def with_median(self) -> Simulated:
        """The same with the medians in the place of the locations."""
        assert self.median is not None
        return Simulated(self.median, self.log_sigma, self.ratio)

    def at(self, ratio: float) -> tuple[Array, Array]:
        """Location and scale (draws,), each at the correlation where its own ratio is the one that was found."""
        if self.mu.shape[1] == 1 or not np.isfinite(ratio):
            column = 0 if self.mu.shape[1] == 1 else -1
            return self.mu[:, column], np.exp(self.log_sigma[:, column])
        grid = np.maximum.accumulate(self.ratio, axis=1)
        with np.errstate(divide="ignore"):
            grid, level = np.log(grid), float(np.log(ratio))
        above = (grid < level).sum(1)
        right = np.clip(above, 1, grid.shape[1] - 1)
        rows = np.arange(len(grid))
        low, high = grid[rows, right - 1], grid[rows, right]
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.nan_to_num(np.clip((level - low) / (high - low), 0.0, 1.0), nan=0.0)
        share = np.where(above == 0, 0.0, share)

        def between(values: Array) -> Array:
            return values[rows, right - 1] * (1 - share) + values[rows, right] * share

        return between(self.mu), np.exp(between(self.log_sigma))


@dataclass(frozen=True)
class FamilyDraws:
    """Equally likely locations and scales, arrays (draws,); and a second pair where fillings agree by luck, or under a
    ceiling."""

    mu: Array
    sigma: Array
    alone: tuple[Array, Array] | None = None

    def limits(self, quantity: Any, confidence: float) -> tuple[float, float]:
        """Two-sided limits of ``quantity(mu, sigma)``."""
        ends = [(1 - confidence) / 2, (1 + confidence) / 2]
        found = [np.quantile(quantity(self.mu, self.sigma), ends)]
        if self.alone is not None:
            found.append(np.quantile(quantity(*self.alone), ends))
        return float(min(f[0] for f in found)), float(max(f[1] for f in found))


def scatter_ratio(y: Array, sizes: tuple[int, ...]) -> Array:
    """Variance of the filling means over that which the scatter within fillings gives them; y (rows, n) in filling
    order. nan where nothing repeats within a filling."""
    k, n = len(sizes), sum(sizes)
    starts = np.r_[0, np.cumsum(sizes)[:-1]]
    means = np.add.reduceat(y, starts, axis=1) / np.array(sizes)
    inside = ((y - np.repeat(means, sizes, axis=1)) ** 2).sum(1)
    between = means.var(axis=1, ddof=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        return between / (inside / (n - k) * float(np.mean(1 / np.array(sizes))))


def _scores(sizes: tuple[int, ...], correlations: Array, draws: int, rng: np.random.Generator) -> list[Array]:
    """Normal scores (draws, n) at each correlation, from the same random numbers.

    The mean of a filling and what its values deviate from it are drawn apart, so that the ratio grows with the
    correlation.
    """
    n = sum(sizes)
    own = rng.standard_normal((draws, n))
    if len(sizes) < 2 or len(sizes) == n:
        return [own]
    starts = np.r_[0, np.cumsum(sizes)[:-1]]
    counts = np.array(sizes)
    own -= np.repeat(np.add.reduceat(own, starts, axis=1) / counts, counts, axis=1)
    shared = rng.standard_normal((draws, len(sizes)))
    out = []
    for r in correlations:
        level = shared * np.sqrt(r + (1 - r) / counts)
        out.append(np.repeat(level, counts, axis=1) + np.sqrt(1 - r) * own)
    return out


def _standard(kernel: Kernel, score: Array) -> Array:
    if kernel is NORMAL:
        return score
    return np.asarray(kernel.quantile(np.clip(scipy.special.ndtr(score), 1e-300, 1 - 1e-16)))


@lru_cache(maxsize=256)
def _complete(name: str, sizes: tuple[int, ...]) -> Simulated:
    """A design without ceilings; one column where its values are independent."""
    kernel, n = _KERNELS[name], sum(sizes)
    nested = 1 < len(sizes) < n
    draws = int(np.clip(_WORK / n / (len(CORRELATIONS) if nested else 1), 1000, 20_000))
    rng = np.random.default_rng([20250101, *sizes])
    mu, sigma, ratio, middle = [], [], [], []
    for score in _scores(sizes, CORRELATIONS, draws, rng):
        y = _standard(kernel, score)
        if kernel is NORMAL:
            m, s = y.mean(1), y.std(1)
            middle.append(np.partition(y, (n - 1) // 2, axis=1)[:, (n - 1) // 2])
        else:
            true = np.ones(y.shape, bool)
            batch = fit_batch(kernel, y, true, true)
            m, s = batch.mu, batch.sigma
        mu.append(m)
        sigma.append(np.log(s))
        ratio.append(scatter_ratio(y, sizes) if nested else np.full(draws, np.nan))
    medians = np.column_stack(middle) if middle else None
    return Simulated(np.column_stack(mu), np.column_stack(sigma), np.column_stack(ratio), medians)


def simulated(y: Array, filling: Array) -> list[Array]:
    """What a sample median lies above the true one, in maximum-likelihood SDs; and anew where fillings agree by luck.

    For values (n,) on two fillings or more, one of which has several; normal scores, the lower median.
    """
    code = np.unique(filling, return_inverse=True)[1]
    counts = np.bincount(code)
    order = np.lexsort((np.arange(len(y)), code, -counts[code]))
    sizes = tuple(sorted((int(c) for c in counts), reverse=True))
    found = _complete("normal", sizes).with_median()
    ratio = float(scatter_ratio(y[order][None], sizes)[0])
    m, s = found.at(ratio)
    out = [m / s]
    if agree_by_luck(ratio, sizes):
        out.append(found.mu[:, 0] / np.exp(found.log_sigma[:, 0]))
    return out


def draws_of(kernel: Kernel, y: Array, gone: Array, filling: Array | None, mu: float, sigma: float) -> FamilyDraws:
    """Draws of location and scale for values ``y`` (n,) that were fitted with ``mu`` and ``sigma``.

    ``filling`` codes (n,); None: independent. One filling, and fillings of one value each, are independent too.

    Parameters
    ----------
    kernel : Kernel
        Of the family.
    y : ndarray
        (n,) Values, kV, or their logarithms for a family of these.
    gone : ndarray
        (n,) Which of them are withstands.
    filling : ndarray or None
        (n,) Codes of the fillings.
    mu : float
        Location of the fit.
    sigma : float
        Scale of the fit.
    """
    n = len(y)
    code = np.zeros(n, int) if filling is None else np.unique(filling, return_inverse=True)[1]
    counts = np.bincount(code)
    order = np.lexsort((np.arange(n), code, -counts[code]))  # the largest filling first: one simulation a design
    sizes = tuple(sorted((int(c) for c in counts), reverse=True))
    nested = 1 < len(sizes) < n
    sizes = sizes if nested else (n,)
    if gone.any():
        return _under_ceiling(kernel, y[order], gone[order], sizes, mu, sigma)
    found = _complete(_key(kernel), sizes)
    if not nested:
        return _placed(mu, sigma, *found.at(np.nan))
    ratio = float(scatter_ratio(y[order][None], sizes)[0])
    main = _placed(mu, sigma, *found.at(ratio))
    if not agree_by_luck(ratio, sizes):
        return main
    alone = _placed(mu, sigma, found.mu[:, 0], np.exp(found.log_sigma[:, 0]))
    return FamilyDraws(main.mu, main.sigma, (alone.mu, alone.sigma))


def agree_by_luck(ratio: float, sizes: tuple[int, ...]) -> bool:
    """Whether the fillings' means lie so near each other that limits from them would be the narrower ones (at 95 %)."""
    k, n = len(sizes), sum(sizes)
    if n == k or not np.isfinite(ratio):
        return False
    return bool(np.sqrt(ratio) * scipy.special.stdtrit(k - 1, 0.975) < scipy.special.stdtrit(n - k, 0.975))


def _placed(mu: float, sigma: float, m: Array, s: Array) -> FamilyDraws:
    return FamilyDraws(mu - sigma * m / s, sigma / s)


def _under_ceiling(
    kernel: Kernel, y: Array, gone: Array, sizes: tuple[int, ...], mu: float, sigma: float
) -> FamilyDraws:
    """Both ways to repeat a test with withstands: as many breakdowns as were seen, and the same ceiling.

    With the number of breakdowns fixed the pivots are exact; with the ceiling fixed at its place among the estimates
    they are not, and the median's limits hold far too seldom (81 of 100 of six values of which 40 % withstand). Limits
    are the outer ones of the two.
    """
    n, nested = len(y), len(sizes) > 1
    ceiling = np.where(gone, y, y[gone].max())  # of a value that broke down only this is known
    top = np.maximum((ceiling - mu) / sigma, (y[~gone].min() - mu) / sigma)
    seed = [20250101, n, int(gone.sum()), *sizes]
    made = _censored(kernel, sizes, seed, top)
    ratio = np.nan
    if nested:
        mine = _residual_scores(kernel, (y[None] - mu) / sigma, gone[None], np.zeros(1), np.ones(1))
        ratio = float(scatter_ratio(mine, sizes)[0])
    fixed = _placed(mu, sigma, *made.at(ratio))
    seen = int((~gone).sum())
    if seen < 2:
        return fixed
    ranked = _placed(mu, sigma, *_lowest_seen(_key(kernel), sizes, seen).at(ratio))
    if y[gone].min() < y[~gone].max():  # several ceilings: it was not the highest that withstood
        ranked, fixed = fixed, ranked
    return FamilyDraws(ranked.mu, ranked.sigma, (fixed.mu, fixed.sigma))


@lru_cache(maxsize=256)
def _lowest_seen(name: str, sizes: tuple[int, ...], seen: int) -> Simulated:
    """A design of which the ``seen`` lowest values break down and the others withstand the highest of those."""
    return _censored(_KERNELS[name], sizes, [20250101, sum(sizes), seen, *sizes], seen)


def _censored(kernel: Kernel, sizes: tuple[int, ...], seed: list[int], top: Array | int) -> Simulated:
    """Fits of standard values of one design under ceilings (n,), or with so many breakdowns seen."""
    n, nested = sum(sizes), len(sizes) > 1
    correlations = FEW_CORRELATIONS if nested else np.zeros(1)
    draws = int(np.clip(_WORK / 5 / n / len(correlations), 300, 2000))
    found = []
    for score in _scores(sizes, correlations, draws, np.random.default_rng(seed)):
        z = _standard(kernel, score)
        if isinstance(top, int):
            highest = np.partition(z, top - 1, axis=1)[:, top - 1 : top]
            stood = z > highest
        else:
            highest = np.broadcast_to(top, z.shape)
            stood = z >= highest
        z = np.minimum(z, highest)
        usable = (~stood).sum(1) >= 2
        m, s, ratio = (np.full(draws, np.nan) for _ in range(3))
        batch = fit_batch(kernel, z[usable], ~stood[usable], np.ones((int(usable.sum()), n), bool))
        m[usable], s[usable] = batch.mu, batch.sigma
        if nested:
            ratio = scatter_ratio(_residual_scores(kernel, z, stood, m, s), sizes)
        found.append((m, np.log(s), np.nan_to_num(ratio, nan=0.0)))
    m, log_s, ratio = (np.column_stack(v) for v in zip(*found, strict=True))
    keep = np.isfinite(m).all(1) & np.isfinite(log_s).all(1)
    return Simulated(m[keep], log_s[keep], ratio[keep])


def _residual_scores(kernel: Kernel, z: Array, stood: Array, mu: Array, sigma: Array) -> Array:
    """How each value pulls at the location: its residual, and for a withstand the one to be expected."""
    w = (z - mu[:, None]) / sigma[:, None]
    return -np.where(stood, kernel.survival(w)[1], kernel.density(w)[1])
