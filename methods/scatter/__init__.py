"""One condition: distributions and their fits, goodness of fit, survival with withstands, scatter."""

from methods.scatter.compare import compare_families
from methods.scatter.families import FAMILIES, cdf, pdf, quantile, weibull_cov, weibull_shape_for_cov
from methods.scatter.fitting import Fit, Percentile, fit
from methods.scatter.goodness import Goodness, anderson_darling, cramer_von_mises, kolmogorov, shapiro_wilk
from methods.scatter.groups import fit_groups
from methods.scatter.many import fit_many, quantile_many
from methods.scatter.probability import (
    fitted_curve,
    log_voltage,
    plotting_positions,
    probability_correlation,
    probability_position,
    probability_ticks,
)
from methods.scatter.regression import Regression, location_scale_regression, power_law
from methods.scatter.survival import RankTest, ecdf, kaplan_meier, kernel_density, log_rank, survival_quantile, thin

from methods.scatter.anova import OneWay, one_way  # isort: skip
from methods.scatter.batched import components_many  # isort: skip
from methods.scatter.variance_components import Component, Components, components  # isort: skip

__all__ = [
    "FAMILIES",
    "Fit",
    "Goodness",
    "Percentile",
    "RankTest",
    "Regression",
    "anderson_darling",
    "cdf",
    "compare_families",
    "cramer_von_mises",
    "ecdf",
    "fit",
    "fit_groups",
    "fit_many",
    "fitted_curve",
    "kaplan_meier",
    "kernel_density",
    "kolmogorov",
    "location_scale_regression",
    "log_rank",
    "log_voltage",
    "pdf",
    "plotting_positions",
    "power_law",
    "probability_correlation",
    "probability_position",
    "probability_ticks",
    "quantile",
    "quantile_many",
    "shapiro_wilk",
    "survival_quantile",
    "thin",
    "weibull_cov",
    "weibull_shape_for_cov",
]
__all__ += ["Component", "Components", "OneWay", "components", "components_many", "one_way"]
