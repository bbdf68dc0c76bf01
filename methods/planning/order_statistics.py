"""What the lowest breakdowns say about a low percentile with no family assumed.

Source: S. S. Wilks, *Annals of Mathematical Statistics* 12 (1941) 91-96; ISO 16269-6.
"""

from __future__ import annotations

import scipy

from methods.planning.inputs import MOST_BREAKDOWNS, count, probability, smallest


def _refusal(share: float, confidence: float) -> str:
    return f"More than {MOST_BREAKDOWNS} breakdowns for {100 * share:g} % at {100 * confidence:g} % confidence."


def size_one_sided(share: float, confidence: float = 0.95, rank: int = 1) -> int:
    """Breakdowns needed so that the ``rank``-th lowest lies below a ``share`` of all, with ``confidence``.

    0.99 and 0.95: 299 breakdowns until the lowest is a lower limit for the 1 % point.
    """
    p, level = probability(share, "share"), probability(confidence, "confidence")
    r = count(rank, "rank")
    return smallest(lambda n: scipy.stats.binom.sf(r - 1, n, 1 - p) >= level, r, MOST_BREAKDOWNS, _refusal(p, level))


def size_two_sided(share: float, confidence: float = 0.95) -> int:
    """Breakdowns needed so that lowest and highest hold a ``share`` of all between them, with ``confidence``."""
    p, level = probability(share, "share"), probability(confidence, "confidence")
    return smallest(lambda n: scipy.stats.binom.sf(1, n, 1 - p) >= level, 2, MOST_BREAKDOWNS, _refusal(p, level))


def quantile_ranks(n: int, p: float, confidence: float = 0.95) -> tuple[int | None, int | None]:
    """Ranks (from 1) of the breakdowns that bound the ``p`` point, at most half the risk at each end.

    None where even the lowest or the highest of ``n`` is no bound with that confidence.
    """
    size, level = count(n, "n"), probability(confidence, "confidence")
    tail, point = (1 - level) / 2, probability(p, "p")
    low = 0
    while low < size and scipy.stats.binom.cdf(low, size, point) <= tail:
        low += 1
    high = size + 1
    while high > 1 and scipy.stats.binom.sf(high - 2, size, point) <= tail:
        high -= 1
    return (low if low >= 1 else None), (high if high <= size else None)
