"""Several conditions: shift, equivalence, confounding, gap law, agreement on the same oils, sensitivity."""

from __future__ import annotations

from methods.contrast.comparisons import games_howell, holm, tukey
from methods.contrast.equivalent import Equivalence, LevelEquivalence, equivalence
from methods.contrast.pairs import AllPairs, PairShift, all_pairs
from methods.contrast.percentile_shifts import LevelPercentiles, PercentilePoint, PercentileShift, percentile_shift
from methods.contrast.shifts import LevelShift, Shift, shift

__all__ = [
    "AllPairs",
    "Equivalence",
    "LevelEquivalence",
    "LevelPercentiles",
    "LevelShift",
    "PairShift",
    "PercentilePoint",
    "PercentileShift",
    "Shift",
    "all_pairs",
    "equivalence",
    "games_howell",
    "holm",
    "percentile_shift",
    "shift",
    "tukey",
]
