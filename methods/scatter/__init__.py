"""One condition: distributions and their fits, goodness of fit, survival with withstands, scatter."""

from methods.scatter.families import FAMILIES, cdf, pdf, quantile, weibull_cov, weibull_shape_for_cov
from methods.scatter.fitting import Fit, Percentile, fit
from methods.scatter.many import fit_many, quantile_many

from methods.scatter.anova import OneWay, one_way  # isort: skip
from methods.scatter.batched import components_many  # isort: skip
from methods.scatter.variance_components import Component, Components, components  # isort: skip

__all__ = [
    "FAMILIES",
    "Fit",
    "Percentile",
    "cdf",
    "fit",
    "fit_many",
    "pdf",
    "quantile",
    "quantile_many",
    "weibull_cov",
    "weibull_shape_for_cov",
]
__all__ += ["Component", "Components", "OneWay", "components", "components_many", "one_way"]
