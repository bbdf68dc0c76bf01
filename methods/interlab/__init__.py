"""Several laboratories: repeatability, reproducibility, outlying laboratories, scores."""

from __future__ import annotations

from methods.interlab.cells import Exclusion
from methods.interlab.compare import PrecisionRatio, compare_precision
from methods.interlab.critical import (
    cochran_critical,
    grubbs_pair_critical,
    mandel_h_critical,
    mandel_k_critical,
)
from methods.interlab.experiment import Precision, precision, precision_of_cells
from methods.interlab.level import Level
from methods.interlab.patterns import patterns
from methods.interlab.published import published_precision
from methods.interlab.relation import relations
from methods.interlab.robust import RobustMean, algorithm_a, algorithm_s
from methods.interlab.scatter_chart import scatter_against_mean
from methods.interlab.scores import z_scores

__all__ = [
    "Exclusion",
    "Level",
    "Precision",
    "PrecisionRatio",
    "RobustMean",
    "algorithm_a",
    "algorithm_s",
    "compare_precision",
    "patterns",
    "cochran_critical",
    "grubbs_pair_critical",
    "mandel_h_critical",
    "mandel_k_critical",
    "precision",
    "precision_of_cells",
    "published_precision",
    "scatter_against_mean",
    "relations",
    "z_scores",
]
