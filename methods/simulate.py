"""Invented oils and benches, seeded: for the demo, the classroom and the coverage checks.

One generator makes every series::

    breakdown = mean x filling effect x trend(order) x noise, now and then a low one, cut at the ceiling

The noise has mean one, the stated coefficient of variation and a normal, Weibull or lognormal shape; its
serial correlation is put on with a normal copula, so that the shape of a single breakdown stays exact. All
levels here are illustrations recalled from experience (from memory, no source): nothing in this module is
a measurement, a limit or a claim about an oil.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import scipy

from methods.errors import InputError
from methods.families import DRAWN, weibull_shape_for_cov
from methods.randomness import Rng


@dataclass(frozen=True)
class Bench:
    """An oil on a bench: what would be read there in the long run.

    ``mean_kv`` is the long-run mean of undisturbed breakdowns, before low ones and the ceiling.
    ``between_cov`` and ``within_cov`` are fractions of the mean, ``correlation`` the lag-1 correlation inside
    a filling, ``trend`` the relative change from one breakdown to the next, ``low_share`` the probability of
    a low breakdown (40 to 70 % of what it would have been) and ``ceiling_kv`` the highest voltage of the set.
    """

    mean_kv: float
    between_cov: float = 0.05
    within_cov: float = 0.15
    correlation: float = 0.0
    trend: float = 0.0
    low_share: float = 0.0
    ceiling_kv: float | None = None
    family: str = "weibull"

    def __post_init__(self) -> None:
        rules = [
            ("mean_kv", self.mean_kv > 0, "above 0"),
            ("between_cov", 0 <= self.between_cov < 1, "from 0 to below 1"),
            ("within_cov", 0 <= self.within_cov < 1, "from 0 to below 1"),
            ("correlation", -1 < self.correlation < 1, "between -1 and 1"),
            ("trend", -0.5 < self.trend < 0.5, "between -0.5 and 0.5"),
            ("low_share", 0 <= self.low_share < 1, "from 0 to below 1"),
            ("ceiling_kv", self.ceiling_kv is None or self.ceiling_kv > 0, "above 0, or none"),
            ("family", self.family in DRAWN, "one of " + ", ".join(DRAWN)),
        ]
        for name, fine, rule in rules:
            if not fine:
                value = getattr(self, name)
                raise InputError(f"{name} is {value!r}; it must be {rule}.", column=name, text=str(value), rule=rule)

    @property
    def true_mean_kv(self) -> float:
        """The long-run mean with the low breakdowns in it (they keep 55 % on average) and without the ceiling."""
        return self.mean_kv * (1 - 0.45 * self.low_share)


def _noise(uniform: np.ndarray, cov: float, family: str) -> np.ndarray:
    """Turn uniform numbers into noise of mean one, coefficient of variation ``cov`` and the family's shape."""
    if cov == 0:
        return np.ones_like(uniform)
    if family == "normal":
        return 1 + cov * scipy.special.ndtri(uniform)
    if family == "lognormal":
        log_sd = np.sqrt(np.log1p(cov**2))
        return np.exp(log_sd * scipy.special.ndtri(uniform) - log_sd**2 / 2)
    shape = weibull_shape_for_cov(cov)
    return (-np.log1p(-uniform)) ** (1 / shape) / scipy.special.gamma(1 + 1 / shape)


def draw(
    bench: Bench,
    *,
    fillings: int = 1,
    breakdowns: int = 6,
    repetitions: int = 1,
    rng: Rng | Sequence[int] = 0,
) -> tuple[np.ndarray, np.ndarray]:
    """Draw breakdowns.

    Parameters
    ----------
    bench : Bench
        The oil and the test set.
    fillings : int, default 1
        Fillings of one test.
    breakdowns : int, default 6
        Breakdowns on each filling.
    repetitions : int, default 1
        How many tests are drawn.
    rng : int or Generator or sequence of int, default 0
        A seed or a generator; the same seed gives the same numbers.

    Returns
    -------
    kv : ndarray, shape (repetitions, fillings, breakdowns)
        kV rms; the ceiling where it was reached.
    withstood : ndarray of bool, the same shape
        True where the ceiling was reached without a breakdown.
    """
    for name, count in (("fillings", fillings), ("breakdowns", breakdowns), ("repetitions", repetitions)):
        if int(count) != count or count < 1:
            raise InputError(f"{name} is {count!r}; it must be a whole number from 1.", column=name, text=str(count))
    rng = np.random.default_rng(rng)
    shape = (int(repetitions), int(fillings), int(breakdowns))
    z = rng.standard_normal(shape)
    if bench.correlation:
        fresh = np.sqrt(1 - bench.correlation**2)
        for i in range(1, shape[2]):
            z[..., i] = bench.correlation * z[..., i - 1] + fresh * z[..., i]
    uniform = np.clip(scipy.special.ndtr(z), 1e-15, 1 - 1e-15)
    filling = np.maximum(1 + bench.between_cov * rng.standard_normal((*shape[:2], 1)), 0.05)
    trend = (1 + bench.trend) ** (np.arange(shape[2]) - (shape[2] - 1) / 2)
    kv = bench.mean_kv * filling * trend * _noise(uniform, bench.within_cov, bench.family)
    if bench.low_share:
        low = rng.random(shape) < bench.low_share
        kv = np.where(low, kv * rng.uniform(0.4, 0.7, shape), kv)
    kv = np.maximum(kv, 0.02 * bench.mean_kv)  # a normal tail may not go below zero
    if bench.ceiling_kv is None:
        return kv, np.zeros(shape, dtype=bool)
    reached = kv >= bench.ceiling_kv
    return np.where(reached, bench.ceiling_kv, kv), reached


def series(bench: Bench, *, fillings: int = 1, breakdowns: int = 6, rng: int | Sequence[int] = 0) -> pd.DataFrame:
    """One virtual test as a record table: columns filling, order, kv, outcome.

    Parameters
    ----------
    bench : Bench
        The oil and the test set.
    fillings : int, default 1
        Number of fillings.
    breakdowns : int, default 6
        Breakdowns on each.
    rng : int or sequence of int, default 0
        A seed or a generator; the same seed gives the same numbers.
    """
    kv, reached = draw(bench, fillings=fillings, breakdowns=breakdowns, rng=rng)
    grid = np.indices(kv[0].shape) + 1
    return pd.DataFrame(
        {
            "filling": [str(f) for f in grid[0].ravel()],
            "order": grid[1].ravel().astype(float),
            "kv": kv[0].ravel(),
            "outcome": np.where(reached[0].ravel(), "withstood", "breakdown"),
        }
    )


@dataclass(frozen=True)
class Setting:
    """How one method is run in the invented programme, and what a clean and a wet oil read there."""

    name: str
    method: str
    edition: str
    electrode: str
    gap_mm: float
    stirring: str
    rise_kv_s: float
    fillings: int
    breakdowns: int
    clean: Bench
    wet: Bench

    def bench(self, wetness: float) -> Bench:
        """The bench for an oil between clean (0) and wet (1): levels on a log scale, the rest in proportion."""
        if not 0 <= wetness <= 1:
            raise InputError(f"wetness is {wetness!r}; it must lie from 0 (dry) to 1 (wet).", column="wetness")

        def mix(name: str) -> float:
            dry, wet = getattr(self.clean, name), getattr(self.wet, name)
            return float(dry + (wet - dry) * wetness)

        level = float(np.exp(np.interp(wetness, [0, 1], np.log([self.clean.mean_kv, self.wet.mean_kv]))))
        return replace(
            self.clean, mean_kv=level, between_cov=mix("between_cov"), within_cov=mix("within_cov"),
            correlation=mix("correlation"), trend=mix("trend"), low_share=mix("low_share"),
        )  # fmt: skip


#: mean kV, between and within CoV, lag-1 correlation, trend, share of low breakdowns
_Figures = tuple[float, float, float, float, float, float]


def _setting(
    name: str, method: str, edition: str, electrode: str, gap_mm: float, stirring: str, rise_kv_s: float,
    design: tuple[int, int], ceiling: float, clean: _Figures, wet: _Figures,
) -> Setting:  # fmt: skip
    return Setting(
        name, method, edition, electrode, gap_mm, stirring, rise_kv_s, *design,
        Bench(*clean, ceiling), Bench(*wet, ceiling),
    )  # fmt: skip


#: Settings of the invented programme. The numbers after the ceiling: mean kV, between and within CoV, lag-1
#: correlation, trend per breakdown, share of low breakdowns, for a clean and for a wet oil (from memory, illustrative).
SETTINGS: tuple[Setting, ...] = (
    _setting("D877 A", "ASTM D877 A", "19", "disk", 2.54, "none", 3.0, (2, 5), 60,
             (42, 0.04, 0.08, 0.1, 0.0, 0.01), (24, 0.08, 0.18, 0.2, -0.01, 0.10)),
    _setting("D877 B", "ASTM D877 B", "19", "disk", 2.54, "none", 3.0, (5, 1), 60,
             (42, 0.04, 0.08, 0.1, 0.0, 0.01), (24, 0.08, 0.18, 0.2, 0.0, 0.10)),
    _setting("D1816 1 mm", "ASTM D1816 1 mm", "12(2019)", "mushroom", 1.0, "continuous", 0.5, (3, 5), 60,
             (34, 0.06, 0.12, 0.05, 0.01, 0.02), (14, 0.10, 0.25, 0.1, 0.0, 0.12)),
    _setting("D1816 2 mm", "ASTM D1816 2 mm", "12(2019)", "mushroom", 2.0, "continuous", 0.5, (3, 5), 75,
             (58, 0.05, 0.11, 0.05, 0.01, 0.02), (25, 0.09, 0.22, 0.1, 0.0, 0.12)),
    _setting("60156 spherical still", "IEC 60156", "1995", "spherical", 2.5, "none", 2.0, (3, 6), 100,
             (79, 0.05, 0.12, 0.2, 0.015, 0.03), (34, 0.10, 0.28, 0.3, 0.01, 0.12)),
    _setting("60156 spherical stirred", "IEC 60156", "2018", "spherical", 2.5, "continuous", 2.0, (3, 6), 100,
             (78, 0.05, 0.10, 0.05, 0.01, 0.02), (30, 0.09, 0.22, 0.1, 0.0, 0.10)),
    _setting("60156 mushroom still", "IEC 60156", "1995", "mushroom", 2.5, "none", 2.0, (3, 6), 100,
             (73, 0.05, 0.12, 0.2, 0.015, 0.03), (31, 0.10, 0.28, 0.3, 0.01, 0.12)),
    _setting("60156 mushroom stirred", "IEC 60156", "2018", "mushroom", 2.5, "continuous", 2.0, (3, 6), 100,
             (72, 0.05, 0.10, 0.05, 0.01, 0.02), (27, 0.09, 0.22, 0.1, 0.0, 0.10)),
)  # fmt: skip


def setting(name: str) -> Setting:
    """A setting by its short name; an unknown one raises with the list."""
    for item in SETTINGS:
        if item.name == name:
            return item
    known = ", ".join(s.name for s in SETTINGS)
    raise InputError(f"There is no setting {name!r}; the settings are: {known}.", text=name)
