"""Normal tolerance factor: how many SDs below the mean a stated share of all breakdowns begins, with confidence."""

from __future__ import annotations

import math

import scipy

from methods.planning.inputs import probability, whole_number


def tolerance_one_sided(n: int, share: float, confidence: float = 0.95) -> float:
    """Factor k so that ``mean - k * sd`` of ``n`` breakdowns lies below a ``share`` of all, with ``confidence``.

    Exact, by the noncentral t. Source: ISO 16269-6; NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3.

    Parameters
    ----------
    n : int
        Number of breakdowns, 2 or more.
    share : float
        Share of all that shall lie above, a fraction.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Examples
    --------
    >>> round(tolerance_one_sided(10, 0.9), 3)
    2.355
    """
    size, p, level = whole_number(n, "n", least=2), probability(share, "share"), probability(confidence, "confidence")
    return float(scipy.stats.nct.ppf(level, size - 1, scipy.special.ndtri(p) * math.sqrt(size)) / math.sqrt(size))
