"""Two methods on the same oils: agreement, lines with errors in both, which tells oils apart."""

from __future__ import annotations

from methods.agreement.agreement import Agreement, Band, compare_methods
from methods.agreement.limits import AgreementLimits, limits_of_agreement
from methods.agreement.lines import Line, deming, passing_bablok
from methods.agreement.sensitivity import (
    Discrimination,
    Sensitivity,
    discrimination,
    relative_sensitivity,
    sensitivity_ratio,
)

__all__ = [
    "Agreement",
    "Band",
    "Discrimination",
    "AgreementLimits",
    "Line",
    "Sensitivity",
    "compare_methods",
    "deming",
    "discrimination",
    "limits_of_agreement",
    "passing_bablok",
    "relative_sensitivity",
    "sensitivity_ratio",
]
