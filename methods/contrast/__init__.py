"""Several conditions: shift, equivalence, confounding, gap law, agreement on the same oils, sensitivity."""

from __future__ import annotations

from methods.contrast.comparisons import games_howell, holm, tukey
from methods.contrast.equivalent import Equivalence, LevelEquivalence, equivalence
from methods.contrast.shifts import LevelShift, Shift, shift

__all__ = [
    "Equivalence",
    "LevelEquivalence",
    "LevelShift",
    "Shift",
    "equivalence",
    "games_howell",
    "holm",
    "shift",
    "tukey",
]
