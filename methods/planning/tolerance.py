"""Normal tolerance factor: how many SDs below the mean a stated share of all breakdowns begins, with confidence."""

from __future__ import annotations

import math

import scipy

from methods.planning.inputs import count, probability


def tolerance_one_sided(n: int, share: float, confidence: float = 0.95) -> float:
    """Factor k so that ``mean - k * sd`` of ``n`` breakdowns lies below a ``share`` of all, with ``confidence``.

    Exact, by the noncentral t. Source: ISO 16269-6; NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3.
    """
    size, p, level = count(n, "n", least=2), probability(share, "share"), probability(confidence, "confidence")
    return float(scipy.stats.nct.ppf(level, size - 1, scipy.special.ndtri(p) * math.sqrt(size)) / math.sqrt(size))
