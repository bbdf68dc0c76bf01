"""Resamples of whole fillings as weights, and percentiles of all weighted samples in one pass."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import ArrayLike

#: Resamples worked on at once: keeps the arrays in the cache and the progress moving.
CHUNK = 128

#: Differences of F that count as none: rounding on a line of length 2 x CHUNK stays below.
ROUNDING = 1e-11


def filling_weights(filling: np.ndarray, repetitions: int, rng: np.random.Generator) -> np.ndarray:
    """How often each row occurs in each bootstrap resample of whole fillings.

    Parameters
    ----------
    filling : int array, shape (n,)
        Code of each row's filling, 0 .. k-1.
    repetitions : int
        Number of resamples, R.
    rng : np.random.Generator
        Draws the fillings.

    Returns
    -------
    array, shape (R, n)
    """
    k = int(filling.max()) + 1
    counts = rng.multinomial(k, np.full(k, 1 / k), size=repetitions).astype(np.float64)
    return np.take(counts, filling, axis=1)


def weighted_percentiles(values: np.ndarray, withstood: np.ndarray, weights: np.ndarray, p: ArrayLike) -> np.ndarray:
    """Percentiles of weighted samples with right-censored values, all samples at once.

    The distribution is Kaplan and Meier's (JASA 53 (1958) 457); the percentile interpolates linearly between
    breakdowns placed at the middle of their steps (without withstands: Hazen's plotting positions).

    Parameters
    ----------
    values, withstood : arrays, shape (n,)
        Sorted ascending, breakdowns before withstands of the same value.
    weights : array, shape (R, n)
        Weight of each value in each sample.
    p : array, shape (P,)
        Ascending, between 0 and 1.

    Returns
    -------
    array, shape (R, P)
        nan where p lies below the first step or above the last.
    """
    p = np.atleast_1d(np.asarray(p, dtype=float))
    line = np.cumsum(weights, axis=1, dtype=np.float64)
    samples, n = line.shape
    total = line[:, -1:].copy()
    if withstood.any():
        # Kaplan-Meier: at risk just before a value are all weights from it on.
        np.subtract(total, line, out=line)
        line += weights
        np.divide(weights * ~withstood, np.maximum(line, 1e-300, out=line), out=line)
        np.subtract(1, line, out=line)
        np.cumprod(line, axis=1, out=line)
        np.subtract(1, line, out=line)
    else:
        line /= total
    # ``line`` is now F just after each value. All samples go on one ascending line, each shifted by 2 for its number,
    # so that one search serves all; values of weight zero repeat their forerunner and are never the first of equals.
    shift = 2.0 * np.arange(samples)[:, None]
    line += shift
    flat = line.ravel()
    starts = n * np.arange(samples)[:, None]
    wanted = p[None, :] + shift
    at = np.searchsorted(flat, wanted - ROUNDING)
    reached = at < starts + n  # else above the last step
    at = np.where(reached, at, starts)
    after, before = flat[at], np.where(at > starts, flat[at - 1], shift)
    middle = 0.5 * (after + before)
    up = middle < wanted - ROUNDING
    # The neighbour on the other side of p: the next value above, or the first of those that end where this step begins.
    other = np.where(up, np.searchsorted(flat, after, side="right"), np.searchsorted(flat, before))
    first_step = ~up & (before <= shift)
    last_step = up & (other >= starts + n)
    other = np.where(first_step | last_step, at, other)
    other_before = np.where(other > starts, flat[other - 1], shift)
    other_middle = 0.5 * (flat[other] + other_before)
    gap = other_middle - middle
    share = np.divide(wanted - middle, gap, out=np.zeros_like(gap), where=np.abs(gap) > ROUNDING)
    here, there = values[at - starts], values[other - starts]
    out = here + share * (there - here)
    exact = np.abs(middle - wanted) < 4 * ROUNDING  # p meets the middle of the first or last step
    return np.where(reached & ((~first_step & ~last_step) | exact), out, np.nan)


def bootstrap_percentiles(
    values: np.ndarray, withstood: np.ndarray, filling: np.ndarray, p: ArrayLike, repetitions: int,
    rng: np.random.Generator,
) -> Iterator[np.ndarray]:  # fmt: skip
    """Percentiles of bootstrap resamples of fillings, in chunks of shape (up to :data:`CHUNK`, P).

    Parameters
    ----------
    values : ndarray
        (n,) Voltages, kV.
    withstood : ndarray
        (n,) Which of them are withstands.
    filling : ndarray
        (n,) Codes of the fillings.
    p : array_like
        (q,) Fractions.
    repetitions : int
        Resamples.
    rng : np.random.Generator
        A seed or a generator; the same seed gives the same numbers.
    """
    order = np.lexsort([withstood, values])
    values, withstood = values[order], withstood[order]
    codes = np.unique(filling[order], return_inverse=True)[1]
    for start in range(0, repetitions, CHUNK):
        size = min(CHUNK, repetitions - start)
        yield weighted_percentiles(values, withstood, filling_weights(codes, size, rng), p)


def leave_one_out(
    values: np.ndarray, unit: np.ndarray, most: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Boolean array (groups, n): which rows stay when each unit is left out; and each unit's group.

    With more than ``most`` units, random groups of units are left out together (delete-a-group jackknife).

    Parameters
    ----------
    values : ndarray
        (n,) Values; only their number counts.
    unit : ndarray
        (n,) Codes of the units.
    most : int
        Most groups.
    rng : np.random.Generator
        A seed or a generator; the same seed gives the same numbers.
    """
    units, inverse = np.unique(unit, return_inverse=True)
    group = np.arange(len(units)) if len(units) <= most else rng.permutation(len(units)) % most
    mine = group[inverse]
    return mine[None, :] != np.arange(int(group.max()) + 1)[:, None], mine


Progress = Callable[[float], object]
Cancel = Callable[[], bool]
