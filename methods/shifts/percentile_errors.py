"""Percentiles of two levels and their errors: by the data (cluster bootstrap) and by a family (jackknife)."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy

from methods.errors import NotEstimable
from methods.scatter import fit_many, quantile_many
from methods.shifts.compare import ENOUGH_OILS, Comparison
from methods.shifts.resampling import (
    CHUNK,
    Cancel,
    Progress,
    bootstrap_percentiles,
    leave_one_out,
    weighted_percentiles,
)
from methods.shifts.widening import NONE, Widening
from methods.workers import carry_out, pieces

#: Most groups that the jackknife leaves out one by one; beyond, fillings are left out in groups.
MOST_GROUPS = 60

#: Pieces that are handed out before it is asked again whether to go on, as times four.
MOST_WORKERS = 16

#: Share of resamples that must reach a percentile for it to count as estimable.
REACHED = 0.95


@dataclass(frozen=True)
class Spread:
    """Percentiles of both levels (averaged over the oils) and their errors; arrays over the percentiles.

    ``error``: of first - second, kV; ``log_error``: of log(first / second); ``df``: degrees of freedom;
    ``draws`` and ``log_draws``: deviations of the bootstrap, shape (R, P), for the simultaneous band; ``widen``:
    the factors on t of the comparison of means.
    """

    first: np.ndarray
    second: np.ndarray
    error: np.ndarray
    log_error: np.ndarray
    df: np.ndarray
    draws: np.ndarray | None = None
    log_draws: np.ndarray | None = None
    aicc: float = float("nan")
    widen: Widening = NONE

    def critical(self, confidence: float) -> np.ndarray:
        """Quantiles of the two-sided limits, shape (P,)."""
        return np.asarray(self.widen.at(confidence) * scipy.stats.t.ppf(0.5 + confidence / 2, self.df))

    def band(self, confidence: float, *, log: bool) -> np.ndarray:
        """Half-width of the simultaneous band at each percentile, kV or log ratio.

        The largest deviation of the resamples over the percentiles, divided as a multivariate t is by a scatter with
        the degrees of freedom of the fillings, that all percentiles share; nowhere narrower than the limits of one.
        """
        draws, error = (self.log_draws, self.log_error) if log else (self.draws, self.error)
        if draws is None:
            return np.full(len(self.first), np.nan)
        good = np.isfinite(error) & (error > 0) & np.isfinite(self.first - self.second)
        if not good.any():
            return np.full(len(self.first), np.nan)
        largest = np.nanmax(np.abs(draws[:, good]) / error[good], axis=1)
        df = float(np.median(self.df[good]))
        factor = float(np.quantile(np.outer(largest, _scatter_found(df)), confidence)) * self.widen.at(confidence)
        return np.where(good, np.maximum(factor, self.critical(confidence)) * error, np.nan)


#: Points of the chi-square distribution that stand for it.
_CHI_SQUARE_POINTS = 64


def _scatter_found(df: float) -> np.ndarray:
    """True SD over the one found, at evenly spaced probabilities."""
    q = (np.arange(_CHI_SQUARE_POINTS) + 0.5) / _CHI_SQUARE_POINTS
    return np.sqrt(df / scipy.stats.chi2.ppf(q, df)) if np.isfinite(df) else np.ones(1)


@dataclass(frozen=True)
class OilLevel:
    """One oil under one level: values, withstands, and the unit that is resampled."""

    values: np.ndarray
    withstood: np.ndarray
    unit: np.ndarray

    @property
    def units(self) -> int:
        return len(np.unique(self.unit))


def cells(c: Comparison, rows: np.ndarray) -> list[OilLevel]:
    """The cells of one level, oil by oil; the breakdowns are the unit where the comparison says so."""
    lay = c.lay
    index = np.flatnonzero(rows)
    oil = lay.block[index] if c.pair.shared else np.zeros(len(index), dtype=np.int64)
    order = np.argsort(oil, kind="stable")
    index = index[order]
    parts = np.split(index, np.flatnonzero(np.diff(oil[order])) + 1)
    unit = np.arange(len(lay.level)) if c.unit in ("breakdown", "none") or c.lent is not None else lay.filling
    return [OilLevel(lay.kv[i], lay.withstood[i], unit[i]) for i in parts]


def data_spread(
    c: Comparison, p: np.ndarray, repetitions: int, rng: np.random.Generator,
    progress: Progress | None = None, cancel: Cancel | None = None, executor: Executor | None = None,
) -> tuple[Spread, int]:  # fmt: skip
    """Kaplan-Meier percentiles of both levels with bootstrap errors; and the number of resamples done.

    Parameters
    ----------
    c : Comparison
        The comparison.
    p : ndarray
        (q,) Fractions.
    repetitions : int
        Resamples.
    rng : np.random.Generator
        A seed or a generator; the same seed gives the same numbers.
    progress : callable, optional
        Called with the share that is done, from 0 to 1.
    cancel : callable, optional
        Asked now and then; True stops the work.
    executor : Executor, optional
        Computes the pieces elsewhere; without it they are computed here.
    """
    sides = [cells(c, rows) for rows in (c.pair.rows, c.pair.reference_rows)]
    estimates = [np.vstack([_percentiles(cell, p) for cell in side]) for side in sides]
    if c.unit == "sample":
        return _between_oils(_by_oil(c, estimates[0]), _by_oil(c, estimates[1]), repetitions, rng), repetitions
    factors = [_widening(side) for side in sides]
    parts = pieces(repetitions, rng, CHUNK)
    at_once = 1 if executor is None else 4 * MOST_WORKERS
    found: list[tuple[np.ndarray, np.ndarray]] = []
    for start in range(0, len(parts), at_once):
        if cancel is not None and cancel():
            break
        found += carry_out(
            _resampled, (sides, factors, estimates, p), parts[start : start + at_once], executor=executor
        )
        if progress is not None:
            progress(len(found) / len(parts))
    done = sum(size for size, _ in parts[: len(found)])
    if done < 100:
        raise NotEstimable("Stopped before 100 resamples: there are no limits to show.")
    first, second = (np.vstack(d) for d in zip(*found, strict=True))
    spread = _combine(estimates[0].mean(axis=0), estimates[1].mean(axis=0), first, second, [_df(s) for s in sides])
    return replace(spread, widen=_widen(c)), done


def _resampled(
    sides: list[list[OilLevel]],
    factors: list[np.ndarray],
    estimates: list[np.ndarray],
    p: np.ndarray,
    size: int,
    seed: Any,
) -> tuple[np.ndarray, np.ndarray]:
    """Percentiles of so many resamples, less their estimates, averaged over the cells of each level (size, P)."""
    rng, out = np.random.default_rng(seed), []
    for side, widened, centres in zip(sides, factors, estimates, strict=True):
        total = np.zeros((size, len(p)))
        for cell, factor, centre in zip(side, widened, centres, strict=True):
            if cell.units > 1:
                drawn = next(bootstrap_percentiles(cell.values, cell.withstood, cell.unit, p, size, rng))
                total += factor * (drawn - centre)
        out.append(total / len(side))
    return out[0], out[1]


def _widen(c: Comparison) -> Widening:
    return c.difference.widen if c.difference is not None else NONE


def _by_oil(c: Comparison, estimates: np.ndarray) -> np.ndarray:
    """Percentiles (blocks, P) averaged over the blocks of each oil; of each block where there are fewer than three."""
    if c.oil_count < ENOUGH_OILS:
        return estimates
    code = np.unique(c.oil_of_block, return_inverse=True)[1]
    total = np.zeros((int(code.max()) + 1, estimates.shape[1]))
    np.add.at(total, code, estimates)
    return total / np.bincount(code)[:, None]


def _percentiles(cell: OilLevel, p: np.ndarray) -> np.ndarray:
    order = np.lexsort([cell.withstood, cell.values])
    ones = np.ones((1, len(order)))
    return weighted_percentiles(cell.values[order], cell.withstood[order], ones, p)[0]


def _df(side: list[OilLevel]) -> int:
    return sum(cell.units - 1 for cell in side)


def _widening(side: list[OilLevel]) -> np.ndarray:
    """sqrt(k / (k - 1)) for each oil, and more where some oils have one unit and show no scatter."""
    several = sum(cell.units > 1 for cell in side)
    more = np.sqrt(len(side) / several) if several else 0.0
    return np.array([more * np.sqrt(u / (u - 1)) if (u := cell.units) > 1 else 0.0 for cell in side])


def _combine(first: np.ndarray, second: np.ndarray, d1: np.ndarray, d2: np.ndarray, df: list[int]) -> Spread:
    with np.errstate(invalid="ignore", divide="ignore"):
        draws, log_draws = d1 - d2, d1 / first - d2 / second
        reached = np.isfinite(draws).mean(axis=0) >= REACHED
        # Centred at the mean of the draws: the step of a percentile makes resamples lean to one side.
        parts = [np.where(np.isfinite(d).any(axis=0), _variance(d), np.nan) for d in (d1, d2)]
        total = parts[0] + parts[1]
        freedom = total**2 / (parts[0] ** 2 / df[0] + parts[1] ** 2 / df[1])
        logs = _variance(log_draws)
    blank = np.where(reached, 0.0, np.nan)
    return Spread(
        first + blank, second + blank, np.sqrt(total) + blank, np.sqrt(logs) + blank, freedom,
        draws - _mean(draws), log_draws - _mean(log_draws),
    )  # fmt: skip


def _mean(d: np.ndarray) -> np.ndarray:
    good = np.isfinite(d)
    count = good.sum(axis=0)
    return np.where(count > 0, np.where(good, d, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)


def _variance(d: np.ndarray) -> np.ndarray:
    good = np.isfinite(d)
    count = good.sum(axis=0)
    square = np.where(good, d - _mean(d), 0.0) ** 2
    return np.where(count > 1, square.sum(axis=0) / np.maximum(count - 1, 1), np.nan)


def _between_oils(one: np.ndarray, two: np.ndarray, repetitions: int, rng: np.random.Generator) -> Spread:
    """The oils as unit: the scatter of the oil-by-oil shifts."""
    n = len(one)
    first, second = one.mean(axis=0), two.mean(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        shifts, logs = one - two, one / first - two / second
        error = shifts.std(axis=0, ddof=1) / np.sqrt(n)
        log_error = logs.std(axis=0, ddof=1) / np.sqrt(n)
        counts = rng.multinomial(n, np.full(n, 1 / n), size=repetitions) / n
        widen = np.sqrt(n / (n - 1))
        draws = widen * (counts @ (shifts - shifts.mean(axis=0)))
        log_draws = widen * (counts @ (logs - logs.mean(axis=0)))
    return Spread(first, second, error, log_error, np.full(len(first), float(n - 1)), draws, log_draws)


def family_spread(c: Comparison, family: str, p: np.ndarray, rng: np.random.Generator) -> Spread | None:
    """Percentiles of a fitted family with jackknife errors; None where a cell cannot be fitted.

    Parameters
    ----------
    c : Comparison
        The comparison.
    family : str
        Name of the family.
    p : ndarray
        (q,) Fractions.
    rng : np.random.Generator
        A seed or a generator; the same seed gives the same numbers.
    """
    sides = [cells(c, rows) for rows in (c.pair.rows, c.pair.reference_rows)]
    results = [_family_side(side, family, p, rng, jackknife=c.unit != "sample") for side in sides]
    if any(r is None for r in results):
        return None
    (q1, v1, a1), (q2, v2, a2) = (r for r in results if r is not None)
    if c.unit == "sample":
        spread = _between_oils(_by_oil(c, q1), _by_oil(c, q2), 1, rng)
        return Spread(spread.first, spread.second, spread.error, spread.log_error, spread.df, aicc=a1 + a2)
    first, second = q1.mean(axis=0), q2.mean(axis=0)
    df = [_df(side) for side in sides]
    with np.errstate(invalid="ignore", divide="ignore"):
        freedom = (v1 + v2) ** 2 / (v1**2 / df[0] + v2**2 / df[1])
        log_error = np.sqrt(v1 / first**2 + v2 / second**2)
    return Spread(first, second, np.sqrt(v1 + v2), log_error, freedom, aicc=a1 + a2, widen=_widen(c))


def _family_side(
    side: list[OilLevel], family: str, p: np.ndarray, rng: np.random.Generator, *, jackknife: bool
) -> tuple[np.ndarray, np.ndarray, float] | None:
    """Percentiles oil by oil (oils, P), the variance of their mean (P,), and AICc, of one level."""
    widest = max(len(cell.values) for cell in side)
    blocks, masks, groups = [], [], []
    for cell in side:
        stay = np.ones((1, len(cell.values)), dtype=bool)
        if jackknife and cell.units > 1:
            stay = np.vstack([stay, leave_one_out(cell.values, cell.unit, MOST_GROUPS, rng)[0]])
        kv = np.full((len(stay), widest), np.nan)
        gone = np.zeros(kv.shape, dtype=bool)
        kv[:, : len(cell.values)] = np.where(stay, cell.values, np.nan)
        gone[:, : len(cell.values)] = stay & cell.withstood
        blocks.append(kv)
        masks.append(gone)
        groups.append(len(stay) - 1)
    table = fit_many(np.vstack(blocks), np.vstack(masks), family)
    quantiles = quantile_many(table, family, p)
    starts = np.concatenate([[0], np.cumsum([g + 1 for g in groups])[:-1]])
    whole = quantiles[starts]
    if not np.isfinite(whole).all():
        return None
    factors = _widening(side)
    variance = np.zeros(len(p))
    for start, g, cell, factor in zip(starts, groups, side, factors, strict=True):
        if g:
            left = quantiles[start + 1 : start + 1 + g]
            more = factor**2 * (cell.units - 1) / cell.units  # only what stands in for oils of one unit
            variance = variance + more * (g - 1) / g * np.sum((left - left.mean(axis=0)) ** 2, axis=0)
    return whole, variance / len(side) ** 2, float(table["aicc"].to_numpy()[starts].sum())
