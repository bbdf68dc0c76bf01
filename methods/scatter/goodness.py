"""Goodness of fit with the parameters estimated from the same values.

Tables for known parameters do not hold here, and the table for the smallest-extreme-value case (Stephens 1977)
is asymptotic: at 10 to 50 values the true 5 % point of the modified statistic is about 0.771, not 0.757. The
p-values for that case are therefore simulated at the sample's own size; the statistic does not depend on the
true location and scale, so one simulation per family and size is exact up to its own noise.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import scipy

from methods.errors import InputError, NotEstimable
from methods.families import NORMAL, SEV, Family, Kernel, family_of
from methods.randomness import Rng, seed_of
from methods.result import Caution
from methods.scatter.arguments import check_values
from methods.scatter.edf_points import (
    LEVELS,
    TABLE_EXTREME,
    TABLE_NORMAL,
    cramer_p_value,
    lilliefors_p_value,
    normal_p_value,
)
from methods.scatter.newton import fit_batch, why_not_estimable

Array = np.ndarray[Any, Any]

#: Larger samples are judged by samples of this size: the distributions of A2, W2 and sqrt(n) D hardly move from
#: here on (5 % point of A2 by simulation: 0.750 at 200, 0.760 at 500, 0.755 at 1000, noise 0.005), and simulating
#: larger ones only costs time.
LARGEST_SIMULATED = 200

FEW = "With 5 or 6 values no test can tell these families apart: not rejecting one says nothing in its favour."


@dataclass(frozen=True)
class Goodness:
    """One test of one family.

    Attributes
    ----------
    family, test : str
    n : int
    statistic : float
        As defined, before any factor for the sample size.
    modified : float
        Times the factor of the table (Anderson-Darling: normal ``1 + 0.75/n + 2.25/n^2``, Weibull and Gumbel
        ``1 + 0.2/sqrt(n)``); nan where the test has none.
    p_value : float
        Probability of a statistic as large when the family holds.
    p_method : str
        Where the p-value comes from.
    critical : dict
        Tabled points of ``modified`` by level, for comparison; empty where there is no table.
    cautions : list of Caution
    """

    family: str
    test: str
    n: int
    statistic: float
    modified: float
    p_value: float
    p_method: str
    critical: dict[str, float] = field(default_factory=dict)
    cautions: list[Caution] = field(default_factory=list)


def edf_statistics(u: Array) -> tuple[Array, Array, Array]:
    """Anderson-Darling A2, Cramer-von Mises W2 and Kolmogorov D of sorted probabilities.

    Parameters
    ----------
    u : array (..., n)
        Fitted cumulative probabilities, ascending along the last axis, strictly between 0 and 1.

    Returns
    -------
    A2, W2, D : arrays (...)
        ``A2 = -n - (1/n) sum (2i-1) [ln u_i + ln(1 - u_(n+1-i))]`` and so on (D'Agostino & Stephens 1986, 4.2).
    """
    n = u.shape[-1]
    i = np.arange(1, n + 1)
    safe = np.clip(u, 1e-300, 1 - 1e-16)
    a2 = -n - ((2 * i - 1) * (np.log(safe) + np.log1p(-safe[..., ::-1]))).sum(-1) / n
    w2 = ((u - (2 * i - 1) / (2 * n)) ** 2).sum(-1) + 1 / (12 * n)
    d = np.maximum((i / n - u).max(-1), (u - (i - 1) / n).max(-1))
    return a2, w2, d


def anderson_darling(
    kv: Any,
    withstood: Any = None,
    family: str = "normal",
    *,
    repetitions: int = 4000,
    rng: Rng = 1,
) -> Goodness:
    """Anderson-Darling test of a family with estimated parameters.

    Parameters
    ----------
    kv : array (n,)
        Breakdown voltages, kV.
    withstood : bool array (n,), optional
        Must be all False: with a ceiling the statistic is not defined on the values above it.
    family : str
        Any family but ``weibull3``, whose shape cannot be standardised away.
    repetitions : int
    rng : int or numpy.random.Generator
        For the simulated p-values (Weibull, Gumbel, logistic; normal and lognormal below 8 values).

    Raises
    ------
    InputError
        Unknown family, bad values, ``weibull3``.
    NotEstimable
        Withstands, fewer than 3 values, all equal.
    """
    seed = seed_of(rng)
    fam, y = _prepare(kv, withstood, family)
    n = len(y)
    a2 = float(edf_statistics(_fitted(fam.kernel, y[None, :]))[0][0])
    factor, table = _factor(fam.kernel, n)
    if fam.kernel is NORMAL and n >= 8:
        p, how = normal_p_value(a2 * factor), "Stephens' formula for estimated mean and SD"
    else:
        p, how = _simulated_p(fam.kernel, n, a2, 0, repetitions, seed)
    critical = (
        {f"{100 * level:g}%": v for level, v in zip(LEVELS, table, strict=True) if np.isfinite(v)} if table else {}
    )
    return Goodness(fam.name, "anderson_darling", n, a2, a2 * factor, p, how, critical, _cautions(n))


def cramer_von_mises(
    kv: Any, withstood: Any = None, family: str = "normal", *, repetitions: int = 4000, rng: Rng = 1
) -> Goodness:  # fmt: skip
    """Cramer-von Mises test with estimated parameters; p by Stephens' formula (normal) or by simulation.

    Parameters
    ----------
    kv : array_like
        (n,) Voltages, kV.
    withstood : array_like, optional
        (n,) Which of them are withstands: the test knows none and refuses them.
    family : str, default 'normal'
        Name of the family.
    repetitions : int, default 4000
        Simulated samples where there is no formula.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.
    """
    seed = seed_of(rng)
    fam, y = _prepare(kv, withstood, family)
    n = len(y)
    w2 = float(edf_statistics(_fitted(fam.kernel, y[None, :]))[1][0])
    if fam.kernel is NORMAL and n >= 8:
        modified = w2 * (1 + 0.5 / n)
        p, how = cramer_p_value(modified), "Stephens' formula for estimated mean and SD"
    else:
        modified = w2 * (1 + 0.2 / np.sqrt(n)) if fam.kernel is SEV else float("nan")
        p, how = _simulated_p(fam.kernel, n, w2, 1, repetitions, seed)
    return Goodness(fam.name, "cramer_von_mises", n, w2, float(modified), p, how, {}, _cautions(n))


def kolmogorov(
    kv: Any, withstood: Any = None, family: str = "normal", *, repetitions: int = 4000, rng: Rng = 1
) -> Goodness:  # fmt: skip
    """Kolmogorov's D with estimated parameters: Lilliefors' test for the normal, simulation for the others.

    Parameters
    ----------
    kv : array_like
        (n,) Voltages, kV.
    withstood : array_like, optional
        (n,) Which of them are withstands: the test knows none and refuses them.
    family : str, default 'normal'
        Name of the family.
    repetitions : int, default 4000
        Simulated samples where there is no formula.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.
    """
    seed = seed_of(rng)
    fam, y = _prepare(kv, withstood, family)
    n = len(y)
    d = float(edf_statistics(_fitted(fam.kernel, y[None, :]))[2][0])
    if fam.kernel is NORMAL and n >= 5:
        return Goodness(
            fam.name, "kolmogorov", n, d, float("nan"), lilliefors_p_value(d, n),
            "Dallal & Wilkinson (1986) up to 10 %, Stephens (1974) above", {}, _cautions(n),
        )  # fmt: skip
    p, how = _simulated_p(fam.kernel, n, d, 2, repetitions, seed)
    modified = float(np.sqrt(n) * d) if fam.kernel is SEV else float("nan")
    return Goodness(fam.name, "kolmogorov", n, d, modified, p, how, {}, _cautions(n))


def shapiro_wilk(kv: Any, withstood: Any = None, family: str = "normal") -> Goodness:
    """Shapiro-Wilk test of the normal, or of the lognormal on ln kV (``scipy.stats.shapiro``; Royston 1995).

    Parameters
    ----------
    kv : array_like
        (n,) Voltages, kV.
    withstood : array_like, optional
        (n,) Which of them are withstands: the test knows none and refuses them.
    family : str, default 'normal'
        ``normal`` or ``lognormal``.
    """
    fam, y = _prepare(kv, withstood, family)
    if fam.kernel is not NORMAL:
        raise InputError("The Shapiro-Wilk test is for the normal and the lognormal only.", column="family")
    w, p = scipy.stats.shapiro(y)
    return Goodness(
        fam.name, "shapiro_wilk", len(y), float(w), float("nan"), float(p), "Royston (1995)", {}, _cautions(len(y))
    )


def _prepare(kv: Any, withstood: Any, family: str) -> tuple[Family, Array]:
    fam = family_of(family)
    if len(fam.parameters) == 3:
        raise InputError(
            "There is no test of the three-parameter Weibull here: what a large statistic is depends on the unknown "
            "shape. Compare it with the others by AICc.",
            column="family",
        )
    x, gone = check_values(kv, withstood, positive=fam.log)
    if gone.any():
        raise NotEstimable(
            f"{int(gone.sum())} values withstood the ceiling: a test of fit needs every breakdown, because it "
            "judges the whole curve. Judge by eye on the probability plot, or raise the ceiling.",
            column="withstood",
        )
    if len(x) < 3:
        raise NotEstimable("A test of fit needs at least three values.", column="kv")
    y = np.sort(np.log(x) if fam.log else x)
    reason = why_not_estimable(y[None, :], np.ones((1, len(y)), bool), np.ones((1, len(y)), bool))[0]
    if reason:
        raise NotEstimable(f"A test of fit is not possible: {reason}.", column="kv")
    return fam, y


def _fitted(kernel: Kernel, y: Array) -> Array:
    """Fitted probabilities of sorted rows: mean and SD (n - 1) for the normal, maximum likelihood otherwise."""
    if kernel is NORMAL:
        mu, sigma = y.mean(1), y.std(1, ddof=1)
    else:
        everything = np.ones(y.shape, dtype=bool)
        batch = fit_batch(kernel, y, everything, everything)
        mu, sigma = batch.mu, batch.sigma
    z = (y - mu[:, None]) / sigma[:, None]
    with np.errstate(under="ignore"):
        return -np.expm1(kernel.survival(z)[0])


def _factor(kernel: Kernel, n: int) -> tuple[float, tuple[float, ...] | None]:
    if kernel is NORMAL:
        return 1 + 0.75 / n + 2.25 / n**2, TABLE_NORMAL
    if kernel is SEV:
        return 1 + 0.2 / float(np.sqrt(n)), TABLE_EXTREME
    return float("nan"), None


def simulated_statistics(kernel: Kernel, n: int, repetitions: int, rng: Rng) -> tuple[Array, Array, Array]:
    """A2, W2 and D of ``repetitions`` samples of ``n`` from the family, each fitted anew; three arrays.

    Parameters
    ----------
    kernel : Kernel
        Of the family.
    n : int
        Size of a sample.
    repetitions : int
        Number of samples.
    rng : int or Generator
        A seed or a generator; the same seed gives the same numbers.
    """
    seed = seed_of(rng)
    rng = np.random.default_rng(seed)
    parts = []
    step = max(1, 2_000_000 // n)
    for at in range(0, repetitions, step):
        p = rng.random((min(step, repetitions - at), n))
        y = np.sort(kernel.quantile(np.clip(p, 1e-300, 1 - 1e-16)), axis=1)
        parts.append(edf_statistics(_fitted(kernel, y)))
    a2, w2, d = (np.concatenate(column) for column in zip(*parts, strict=True))
    return a2, w2, d


@lru_cache(maxsize=64)
def _null(kernel: Kernel, n: int, repetitions: int, seed: int) -> tuple[Array, Array, Array]:
    return simulated_statistics(kernel, n, repetitions, seed)


def _simulated_p(kernel: Kernel, n: int, value: float, which: int, repetitions: int, seed: int) -> tuple[float, str]:
    """p of A2, W2 or D (``which`` 0, 1, 2), counting the sample itself among the simulated ones."""
    size = min(n, LARGEST_SIMULATED)
    null = _null(kernel, size, repetitions, seed)[which]
    if which == 2:
        value, null = value * float(np.sqrt(n)), null * np.sqrt(size)
    return (1 + float((null >= value - 1e-12).sum())) / (repetitions + 1), f"{repetitions} simulated samples of {size}"


def _cautions(n: int) -> list[Caution]:
    if n < 8:
        return [Caution("few", FEW)]
    if n < 30:
        return [Caution("few", f"With {n} values a test of fit finds only gross departures; 30 to 60 begin to tell.")]
    return []
