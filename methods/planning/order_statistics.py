"""What the lowest breakdowns say about a low percentile with no family assumed.

Source: S. S. Wilks, *Annals of Mathematical Statistics* 12 (1941) 91-96; ISO 16269-6.
"""

from __future__ import annotations

import scipy

from methods.planning.inputs import MOST_BREAKDOWNS, probability, smallest, whole_number


def _refusal(share: float, confidence: float) -> str:
    return f"More than {MOST_BREAKDOWNS} breakdowns for {100 * share:g} % at {100 * confidence:g} % confidence."


def size_one_sided(share: float, confidence: float = 0.95, rank: int = 1) -> int:
    """Breakdowns needed so that the ``rank``-th lowest lies below a ``share`` of all, with ``confidence``.

    0.99 and 0.95: 299 breakdowns until the lowest is a lower limit for the 1 % point.

    Parameters
    ----------
    share : float
        Share of all breakdowns, a fraction.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    rank : int, default 1
        Which breakdown from the lowest, from 1.

    Examples
    --------
    >>> size_one_sided(0.99)
    299
    """
    p, level = probability(share, "share"), probability(confidence, "confidence")
    r = whole_number(rank, "rank")
    return smallest(lambda n: scipy.stats.binom.sf(r - 1, n, 1 - p) >= level, r, MOST_BREAKDOWNS, _refusal(p, level))
