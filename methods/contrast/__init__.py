"""Several conditions: shift, equivalence, confounding, gap law, agreement on the same oils, sensitivity."""

from __future__ import annotations

from methods.contrast.agreement import Agreement, Band, compare_methods
from methods.contrast.comparisons import games_howell, holm, tukey
from methods.contrast.confounders import Confounding, Effect, confounding
from methods.contrast.equivalent import Equivalence, LevelEquivalence, equivalence
from methods.contrast.gap_law import GapLaw, gap_laws
from methods.contrast.geometry import ELECTRODES, Electrode, Stress, effective_area, enhancement, stressed
from methods.contrast.limits import Limits, limits_of_agreement
from methods.contrast.lines import Line, deming, passing_bablok, weighted_deming, york
from methods.contrast.pairs import AllPairs, PairShift, all_pairs
from methods.contrast.percentile_shifts import LevelPercentiles, PercentilePoint, PercentileShift, percentile_shift
from methods.contrast.power_fit import power_law
from methods.contrast.rate_law import RateLaw, RateShift, rate_laws, rate_shift
from methods.contrast.sensitivity import (
    Discrimination,
    Sensitivity,
    discrimination,
    relative_sensitivity,
    sensitivity_ratio,
)
from methods.contrast.shift_results import LevelShift, Shift
from methods.contrast.shifts import shift
from methods.contrast.weakest_link import GeometryShift, area_test, compare_geometry, predict_geometry, scaled_weibull

__all__ = [
    "Agreement",
    "AllPairs",
    "Band",
    "Confounding",
    "Discrimination",
    "ELECTRODES",
    "Effect",
    "Electrode",
    "Equivalence",
    "GapLaw",
    "GeometryShift",
    "LevelEquivalence",
    "LevelPercentiles",
    "LevelShift",
    "Limits",
    "Line",
    "PairShift",
    "PercentilePoint",
    "PercentileShift",
    "RateLaw",
    "RateShift",
    "Sensitivity",
    "Shift",
    "Stress",
    "all_pairs",
    "area_test",
    "compare_geometry",
    "compare_methods",
    "confounding",
    "deming",
    "discrimination",
    "effective_area",
    "enhancement",
    "equivalence",
    "games_howell",
    "gap_laws",
    "holm",
    "limits_of_agreement",
    "passing_bablok",
    "percentile_shift",
    "power_law",
    "predict_geometry",
    "rate_laws",
    "rate_shift",
    "relative_sensitivity",
    "scaled_weibull",
    "sensitivity_ratio",
    "shift",
    "stressed",
    "tukey",
    "weighted_deming",
    "york",
]
