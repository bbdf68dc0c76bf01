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
