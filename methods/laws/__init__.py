"""What geometry and ramp do to a voltage: laws of gap and rate of rise, stressed area and volume."""

from __future__ import annotations

from methods.laws.gap_law import GapLaw, gap_laws
from methods.laws.geometry import (
    ELECTRODES,
    Electrode,
    Stress,
    effective_area,
    effective_volume,
    enhancement,
    stressed,
)
from methods.laws.rate_law import RateLaw, RateShift, rate_laws, rate_shift
from methods.laws.weakest_link import GeometryShift, compare_geometry, predict_geometry

__all__ = [
    "ELECTRODES",
    "Electrode",
    "GapLaw",
    "GeometryShift",
    "RateLaw",
    "RateShift",
    "Stress",
    "compare_geometry",
    "effective_area",
    "effective_volume",
    "enhancement",
    "gap_laws",
    "predict_geometry",
    "rate_laws",
    "rate_shift",
    "stressed",
]
