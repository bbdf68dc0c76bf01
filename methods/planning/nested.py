"""Fillings and breakdowns: how wide the interval of a mean is for k fillings of n breakdowns.

The variance of a mean over ``k`` fillings of ``n`` breakdowns is ``s_f**2 / k + s_w**2 / (k * n)``
(one-way random effects, balanced; e.g. Cochran, *Sampling Techniques*, two-stage sampling). Widths come in
the unit of the scatter that is passed (fractions of the mean, or kV). Everything is vectorised over ``k``, ``n``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import scipy
from numpy.typing import ArrayLike

from methods.planning.inputs import Scatter, probability, whole_number
from methods.planning.obtained import mean_obtained
from methods.scatter.nested_pivots import student
from methods.scatter.serial import variance_inflation


def filling_variance(within: float, between: float, n: ArrayLike, serial_correlation: float = 0.0) -> np.ndarray:
    """Variance of one filling's mean of ``n`` breakdowns about the true mean over all fillings.

    Parameters
    ----------
    within : float
        SD within a filling.
    between : float
        SD between fillings, in the same unit.
    n : array_like
        Breakdowns on a filling (any shape).
    serial_correlation : float, default 0.0
        Lag-1 correlation of breakdowns on one filling.

    Examples
    --------
    >>> float(filling_variance(3.0, 2.0, 9))
    5.0
    """
    sizes = np.asarray(n, dtype=float)
    inflation = np.ones_like(sizes)
    if serial_correlation:
        distinct, place = np.unique(sizes, return_inverse=True)
        inflation = np.array([variance_inflation(serial_correlation, int(m)) for m in distinct])[place].reshape(
            sizes.shape
        )
    return np.asarray(between**2 + within**2 * inflation / sizes)


def within_square(within: float, n: int, serial_correlation: float = 0.0) -> float:
    """Expected mean square of ``n`` breakdowns about their filling's own mean; correlation makes it smaller.

    Parameters
    ----------
    within : float
        SD within a filling.
    n : int
        Breakdowns on a filling, 2 or more.
    serial_correlation : float, default 0.0
        Lag-1 correlation of breakdowns on one filling.
    """
    inflation = variance_inflation(serial_correlation, n) if serial_correlation else 1.0
    return within**2 * (n - inflation) / (n - 1)


def half_width_bench(
    k: ArrayLike,
    n: ArrayLike,
    within: float,
    between: float,
    confidence: float = 0.95,
    serial_correlation: float = 0.0,
) -> np.ndarray:
    """Half-width the bench computes from its own ``k`` filling means, at the planned scatter; nan for k = 1.

    Student's t with ``k - 1`` degrees of freedom: with one filling the part between fillings cannot be seen.

    Parameters
    ----------
    k : array_like
        Fillings (any shape).
    n : array_like
        Breakdowns on each.
    within : float
        SD within a filling.
    between : float
        SD between fillings, in the same unit.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    serial_correlation : float, default 0.0
        Lag-1 correlation of breakdowns on one filling.

    Examples
    --------
    >>> float(half_width_bench(5, 3, 0.15, 0.05).round(3))
    0.124
    """
    fillings = np.asarray(k, dtype=float)
    with np.errstate(invalid="ignore"):
        quantile = scipy.special.stdtrit(np.where(fillings > 1, fillings - 1, np.nan), 0.5 + confidence / 2)
    return np.asarray(quantile * np.sqrt(filling_variance(within, between, n, serial_correlation) / fillings))


def half_width_known(
    k: ArrayLike,
    n: ArrayLike,
    within: float,
    between: float,
    confidence: float = 0.95,
    serial_correlation: float = 0.0,
) -> np.ndarray:
    """Half-width when both components are known from history: the normal quantile.

    Parameters
    ----------
    k : array_like
        Fillings (any shape).
    n : array_like
        Breakdowns on each.
    within : float
        SD within a filling.
    between : float
        SD between fillings, in the same unit.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    serial_correlation : float, default 0.0
        Lag-1 correlation of breakdowns on one filling.
    """
    fillings = np.asarray(k, dtype=float)
    quantile = scipy.special.ndtri(0.5 + confidence / 2)
    return np.asarray(quantile * np.sqrt(filling_variance(within, between, n, serial_correlation) / fillings))


def half_width_independent(
    n: ArrayLike, within: float, confidence: float = 0.95, serial_correlation: float = 0.0
) -> np.ndarray:
    """Half-width ``t * c / sqrt(n)`` of the mean of ``n`` independent breakdowns; nan for n = 1.

    Parameters
    ----------
    n : array_like
        Breakdowns (any shape).
    within : float
        Their SD.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    serial_correlation : float, default 0.0
        Lag-1 correlation of neighbours.
    """
    sizes = np.asarray(n, dtype=float)
    with np.errstate(invalid="ignore"):
        quantile = scipy.special.stdtrit(np.where(sizes > 1, sizes - 1, np.nan), 0.5 + confidence / 2)
    return np.asarray(quantile * np.sqrt(filling_variance(within, 0.0, sizes, serial_correlation)))


def assurance(k: int, n: int, target: float, scatter: Scatter, confidence: float = 0.95) -> float:
    """Probability that the interval which the bench obtains is as narrow as ``target``.

    Independent breakdowns (``scatter.between`` is None): the half-width is ``t * s / sqrt(m)`` with ``m - 1`` degrees
    of freedom, and ``s`` scatters about the planned SD as chi does. Fillings: the same of their means, and wider where
    they agree by luck, as the analysis makes it (:mod:`methods.planning.obtained`). nan where the bench cannot give an
    interval at all (one filling, one breakdown).

    Source: L. L. Kupper and K. B. Hafner, *The American Statistician* 43 (1989) 101-105.

    Parameters
    ----------
    k : int
        Fillings.
    n : int
        Breakdowns on each.
    target : float
        Half-width that is wanted, in the unit of the scatter.
    scatter : Scatter
        The planned scatter.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    """
    plain = most_assurance(k, n, target, scatter, confidence)
    if scatter.between is None or n < 2 or not plain > 0:
        return plain
    square = within_square(scatter.within, n, scatter.serial_correlation)
    # Only where scatter within fillings alone gives an interval wider than the target can luck be what narrows it.
    wide = k * (n - 1) * k * n * (target / student(k - 1.0, confidence)) ** 2 / square
    if scipy.special.chdtrc(k * (n - 1), wide) < 1e-4:
        return plain
    variance = float(filling_variance(scatter.within, scatter.between, n, scatter.serial_correlation))
    return mean_obtained(k, n, confidence).narrow(target, variance, square)


def most_assurance(k: int, n: int, target: float, scatter: Scatter, confidence: float = 0.95) -> float:
    """The same were fillings that agree by luck believed: quick, and never less than :func:`assurance`.

    Parameters
    ----------
    k : int
        Fillings.
    n : int
        Breakdowns on each.
    target : float
        Half-width that is wanted, in the unit of the scatter.
    scatter : Scatter
        The planned scatter.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    """
    independent = scatter.between is None
    units = k * n if independent else k
    if units < 2:
        return float("nan")
    rho = scatter.serial_correlation
    if independent:
        variance = float(filling_variance(scatter.within, 0.0, k * n, rho)) * units
    else:
        variance = float(filling_variance(scatter.within, scatter.between or 0.0, n, rho))
    quantile = student(float(units - 1), confidence)
    return float(scipy.special.chdtr(units - 1, (units - 1) * units * (target / quantile) ** 2 / variance))


@dataclass(frozen=True)
class Design:
    """One way to take the breakdowns, and what it buys.

    ``half_width*`` as in :class:`methods.planning.MeanPlan`; ``assurance`` is the probability that the bench's own
    interval comes out no wider than the target (None without a target); ``reaches_target`` says whether the
    half-width that the plan goes by is within the target.
    """

    fillings: int
    breakdowns_per_filling: int | None
    breakdowns: int | None
    half_width: float | None
    half_width_percent: float | None
    half_width_known: float | None
    half_width_known_percent: float | None
    assurance: float | None
    bench_minutes: float | None
    oil_ml: float | None
    reaches_target: bool | None


def curve(
    cov: float | None = None,
    between_cov: float | None = None,
    *,
    sd: float | None = None,
    between_sd: float | None = None,
    mean: float | None = None,
    confidence: float = 0.95,
    fillings: tuple[int, ...] = (1, 2, 3, 5),
    most: int = 30,
    serial_correlation: float = 0.0,
) -> pd.DataFrame:
    """Half-width against the number of breakdowns, a line for each number of fillings; for the plot.

    Columns: ``fillings``, ``breakdowns_per_filling``, ``breakdowns``, ``half_width`` and ``half_width_known`` (kV,
    nan without a mean), ``half_width_percent`` and ``half_width_known_percent`` (per cent of the mean, nan when the
    scatter is in kV and no mean was given). ``half_width`` is nan for one filling. Without a between part the
    breakdowns of one filling count as independent, and several fillings as alike: the analysis goes by their means.

    Parameters
    ----------
    cov : float, optional
        Scatter within a filling, a fraction of the mean.
    between_cov : float, optional
        Scatter between fillings, a fraction of the mean.
    sd : float, optional
        Scatter within a filling in kV, in its place.
    between_sd : float, optional
        Scatter between fillings in kV, in its place.
    mean : float, optional
        The mean, kV: turns one unit into the other.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    fillings : tuple of int, default (1, 2, 3, 5)
        Numbers of fillings, a line each.
    most : int, default 30
        Most breakdowns in all.
    serial_correlation : float, default 0.0
        Lag-1 correlation of breakdowns on one filling.
    """
    from methods.planning.inputs import scatter as take

    level = probability(confidence, "confidence")
    s = take(cov, sd, between_cov=between_cov, between_sd=between_sd, mean=mean, serial_correlation=serial_correlation)
    parts: list[dict[str, Any]] = []
    for k in fillings:
        per = np.arange(1, max(whole_number(most, "most") // whole_number(k, "fillings"), 1) + 1)
        if s.between is None and k == 1:
            bench = half_width_independent(k * per, s.within, level, s.serial_correlation)
            known = half_width_known(1, k * per, s.within, 0.0, level, s.serial_correlation)
        else:
            bench = half_width_bench(
                np.full(per.shape, k), per, s.within, s.between or 0.0, level, s.serial_correlation
            )
            known = half_width_known(k, per, s.within, s.between or 0.0, level, s.serial_correlation)
        to_kv, to_percent = s.kv(1.0), s.percent(1.0)
        for name, width in (("half_width", bench), ("half_width_known", known)):
            if name == "half_width":
                part = {"fillings": k, "breakdowns_per_filling": per, "breakdowns": k * per}
            part[name] = width * (np.nan if to_kv is None else to_kv)
            part[f"{name}_percent"] = width * (np.nan if to_percent is None else to_percent)
        parts.append(part)
    return pd.concat([pd.DataFrame(p) for p in parts], ignore_index=True)
