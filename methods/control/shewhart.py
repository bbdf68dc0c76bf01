"""Centre lines and limits at three standard deviations, and how often they warn for nothing.

Sources: ISO 7870-2, Shewhart control charts; constants c4, d2, d3 of normal samples as tabled there and in the
NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2. Here they are computed: c4 from the gamma function, d2 = 2/√π
and d3 = √(2 - 4/π) for ranges of two.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import scipy

from methods.control.run_rules import RunRule, broken
from methods.randomness import seed_of

#: Of the range of two normal values: its mean, and its standard deviation.
D2 = 2 / math.sqrt(math.pi)
D3 = math.sqrt(2 - 4 / math.pi)
#: Standard deviations from the centre to a limit.
WIDTH = 3.0


def c4(n: np.ndarray | int) -> np.ndarray:
    """Mean of the sample SD of ``n`` normal values, as a fraction of the true SD."""
    n = np.asarray(n, dtype=float)
    log = scipy.special.gammaln(n / 2) - scipy.special.gammaln((n - 1) / 2)
    return np.asarray(np.sqrt(2 / (n - 1)) * np.exp(log))


def sd_factors(n: np.ndarray | int) -> tuple[np.ndarray, np.ndarray]:
    """B3 and B4: the limits of the SD of ``n`` values as multiples of the mean SD."""
    part = WIDTH * np.sqrt(1 - c4(n) ** 2) / c4(n)
    return np.maximum(1 - part, 0.0), 1 + part


#: D4 of a range of two: its upper limit as a multiple of the mean range.
RANGE_FACTOR = 1 + WIDTH * D3 / D2


def moving_ranges(values: np.ndarray) -> np.ndarray:
    """Distance of each value from the one before, in the same order; the first has none. Works on the last axis."""
    out = np.full(values.shape, np.nan)
    out[..., 1:] = np.abs(np.diff(values, axis=-1))
    return out


def sigma_of(values: np.ndarray) -> np.ndarray:
    """SD of single results from their mean moving range."""
    return np.asarray(np.nanmean(moving_ranges(values), axis=-1) / D2)


def false_alarms(
    baseline: int, rules: Sequence[RunRule], *, further: int = 100, repetitions: int = 2000, rng: object = 1
) -> float:
    """Of so many further results in control, how many are flagged, on average, by limits from ``baseline`` results.

    By simulation of independent normal results; limits from few results flag more than the rules promise.

    Parameters
    ----------
    baseline : int
        Number of results from which the limits come.
    rules : sequence of RunRule
        The run rules that are asked.
    further : int, default 100
        Results after them.
    repetitions : int, default 2000
        How many charts are simulated.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.
    """
    drawn = np.random.default_rng(seed_of(rng)).normal(size=(repetitions, baseline + further))
    base = drawn[:, :baseline]
    z = (drawn - base.mean(axis=1, keepdims=True)) / sigma_of(base)[:, None]
    flagged = np.zeros(z.shape, bool)
    for rule in rules:
        flagged |= broken(z, rule)
    return float(flagged[:, baseline:].mean() * further)
