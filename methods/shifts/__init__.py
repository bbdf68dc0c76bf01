"""How results move between conditions: shift, equivalence, all pairs, percentiles, and what is confounded."""

from __future__ import annotations

from methods.shifts.comparisons import games_howell, holm, tukey
from methods.shifts.confounders import Confounding, Effect, confounding
from methods.shifts.equivalent import Equivalence, LevelEquivalence, equivalence
from methods.shifts.other_tests import OtherTests, other_tests
from methods.shifts.pairs import AllPairs, PairShift, all_pairs
from methods.shifts.percentile_shifts import LevelPercentiles, PercentilePoint, PercentileShift, percentile_shift
from methods.shifts.proving import prove_shift
from methods.shifts.shift_results import LevelShift, Shift
from methods.shifts.shifts import shift

__all__ = [
    "AllPairs",
    "Confounding",
    "Effect",
    "Equivalence",
    "LevelEquivalence",
    "LevelPercentiles",
    "LevelShift",
    "OtherTests",
    "PairShift",
    "PercentilePoint",
    "PercentileShift",
    "Shift",
    "all_pairs",
    "confounding",
    "equivalence",
    "games_howell",
    "holm",
    "other_tests",
    "percentile_shift",
    "prove_shift",
    "shift",
    "tukey",
]
