"""How the invented benches of the calibration studies are drawn.

Fillings add to the mean, breakdowns scatter about their filling; both follow the named law, standardised, so that the
true SDs are exact under every law. ``contaminated`` is a normal of which 5 % are three times as wide.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import optimize, stats
from scipy.special import gamma

from tests.calibration.shift_coverage import noise

LAWS = ("normal", "weibull", "contaminated")
MEAN, BETWEEN, WITHIN = 50.0, 2.5, 7.5
CONTAMINATED_SD = float(np.sqrt(0.95 + 0.05 * 9))


def nested(
    rng: np.random.Generator, repetitions: int, fillings: int, breakdowns: int, law: str = "normal", *,
    mean: float = MEAN, between: float = BETWEEN, within: float = WITHIN, correlation: float = 0.0, trend: float = 0.0,
) -> np.ndarray:  # fmt: skip
    """Breakdowns in kV, shape (repetitions, fillings, breakdowns).

    ``correlation`` is that of neighbours (first-order autoregressive; normal scatter only), ``trend`` kV a breakdown.
    """
    size = (repetitions, fillings, breakdowns)
    scatter = noise(rng, law, size)
    if correlation:
        assert law == "normal"
        for i in range(1, breakdowns):
            scatter[..., i] = correlation * scatter[..., i - 1] + np.sqrt(1 - correlation**2) * scatter[..., i]
    level = mean + between * noise(rng, law, (repetitions, fillings, 1))
    kv = level + within * scatter + trend * (np.arange(breakdowns) - (breakdowns - 1) / 2)
    return np.maximum(kv, 0.5)


def frame(kv: np.ndarray, **columns: object) -> pd.DataFrame:
    """A record table from breakdowns (fillings, breakdowns); nan cells are left out (fillings of unequal size)."""
    fillings, order = np.indices(kv.shape) + 1
    table = pd.DataFrame(
        {"filling": fillings.ravel().astype(str), "order": order.ravel().astype(float), "kv": kv.ravel()}
    )
    table["outcome"] = "breakdown"
    for name, value in columns.items():
        table[name] = value
    return table[table["kv"].notna()].reset_index(drop=True)


def quantile(law: str, p: float, mean: float = MEAN, sd: float = WITHIN) -> float:
    """The true percentile of one law (no filling effect), kV."""
    if law == "normal":
        z = stats.norm.ppf(p)
    elif law == "weibull":
        first = gamma(1 + 1 / 8)
        z = ((-np.log1p(-p)) ** (1 / 8) - first) / np.sqrt(gamma(1 + 2 / 8) - first**2)
    else:

        def below(x: float) -> float:
            return float(0.95 * stats.norm.cdf(x) + 0.05 * stats.norm.cdf(x / 3) - p)

        z = optimize.brentq(below, -30, 30) / CONTAMINATED_SD
    return float(mean + sd * z)


def describe(law: str, *, fillings: bool = True) -> str:
    """A law in the words of the table."""
    text = {"normal": "normal", "weibull": "Weibull, shape 8", "contaminated": "normal, 5 % three times as wide"}[law]
    return text + (", filling effects" if fillings else "")
