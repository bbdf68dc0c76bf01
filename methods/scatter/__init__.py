"""One condition: distributions and their fits, goodness of fit, survival with withstands, scatter."""

from methods.families import FAMILIES, cdf, pdf, quantile, weibull_cov, weibull_shape_for_cov
from methods.scatter.compare import compare_families
from methods.scatter.fitting import Estimate, Fit, Percentile, estimate, fit
from methods.scatter.goodness import Goodness, anderson_darling, cramer_von_mises, kolmogorov, shapiro_wilk
from methods.scatter.groups import GroupEstimate, estimate_groups, fit_groups
from methods.scatter.history import History, scatter_history
from methods.scatter.many import fit_many, quantile_many
from methods.scatter.median import Median, OwnMedian, median, medians, own_medians
from methods.scatter.nested_pivots import Prior
from methods.scatter.one_oil import OilPercentile, OneOil, one_oil
from methods.scatter.probability import (
    curve_of,
    log_voltage,
    plotting_positions,
    probability_position,
    probability_ticks,
)
from methods.scatter.survival import ecdf, kaplan_meier, kernel_density, survival_quantile, thin

from methods.scatter.anova import OneWay, one_way  # isort: skip
from methods.scatter.batched import components_many  # isort: skip
from methods.scatter.censored import Censored, fit_censored  # isort: skip
from methods.scatter.mixed import Contrast, Mixed, fit_mixed  # isort: skip
from methods.scatter.order import OrderEffects, order_effects  # isort: skip
from methods.scatter.outliers import flag_outliers  # isort: skip
from methods.scatter.serial import effective_number, variance_inflation  # isort: skip
from methods.scatter.component_table import Component, Components  # isort: skip
from methods.scatter.variance_components import components  # isort: skip

__all__ = [
    "FAMILIES",
    "Estimate",
    "Fit",
    "Goodness",
    "GroupEstimate",
    "History",
    "Median",
    "OilPercentile",
    "OneOil",
    "OwnMedian",
    "Percentile",
    "Prior",
    "anderson_darling",
    "cdf",
    "compare_families",
    "cramer_von_mises",
    "curve_of",
    "ecdf",
    "estimate",
    "estimate_groups",
    "fit",
    "fit_groups",
    "fit_many",
    "kaplan_meier",
    "kernel_density",
    "kolmogorov",
    "log_voltage",
    "median",
    "medians",
    "one_oil",
    "own_medians",
    "pdf",
    "plotting_positions",
    "probability_position",
    "probability_ticks",
    "quantile",
    "quantile_many",
    "scatter_history",
    "shapiro_wilk",
    "survival_quantile",
    "thin",
    "weibull_cov",
    "weibull_shape_for_cov",
]
__all__ += [
    "Censored",
    "Component",
    "Components",
    "Contrast",
    "Mixed",
    "OneWay",
    "OrderEffects",
    "components",
    "components_many",
    "effective_number",
    "fit_censored",
    "fit_mixed",
    "flag_outliers",
    "one_way",
    "order_effects",
    "variance_inflation",
]
