"""Several conditions: shift, equivalence, confounding, gap law, agreement on the same oils, sensitivity."""

from __future__ import annotations

from methods.contrast.shifts import LevelShift, Shift, shift

__all__ = [
    "LevelShift",
    "Shift",
    "shift",
]
