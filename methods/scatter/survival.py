"""What the values say without any family: Kaplan-Meier, empirical distribution with a band, log-rank."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.scatter.arguments import check_values

Array = np.ndarray[Any, Any]


def kaplan_meier(kv: Any, withstood: Any = None, *, confidence: float = 0.95, limits: str = "log-log") -> pd.DataFrame:
    """Fraction that survives each voltage, withstands leaving at their ceiling.

    Parameters
    ----------
    kv : array (n,)
        Breakdown voltages, kV; a withstand carries its ceiling.
    withstood : bool array (n,), optional
    confidence : float
        Pointwise, two-sided.
    limits : ``log-log`` or ``plain``
        Greenwood's variance carried to ``ln(-ln S)``, which keeps the limits between 0 and 1, or straight
        ``S -/+ z se`` cut there.

    Returns
    -------
    DataFrame
        One row for each voltage at which something broke down: ``kv, at_risk, breakdowns, withstood`` (those
        that left since the row before, without breaking down), ``survival, probability`` (1 - survival),
        ``standard_error`` (Greenwood), ``low, high`` (limits of ``survival``; nan where the variance is 0).

    Raises
    ------
    InputError
        Bad values or an unknown kind of limits.
    NotEstimable
        All withstood.

    Notes
    -----
    Kaplan & Meier, J. Amer. Statist. Assoc. 53 (1958) 457; Greenwood's formula and the log-log limits as in
    Kalbfleisch & Prentice (1980). At equal voltages breakdowns come before withstands.
    """
    if limits not in ("log-log", "plain"):
        raise InputError(f"Limits {limits!r}: choose log-log or plain.", column="limits")
    x, gone = check_values(kv, withstood, positive=False)
    if gone.all():
        raise NotEstimable(f"All {len(x)} values withstood: no breakdown was seen, so there is no curve.", column="kv")
    at, d, risk, lost = _steps(x, gone)
    survival = np.cumprod(1 - d / risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(np.where(risk > d, d / (risk * (risk - d)), np.inf))
        se = np.where(survival > 0, survival * np.sqrt(greenwood), 0.0)
        low, high = _limits(survival, greenwood, se, float(scipy.special.ndtri(0.5 + confidence / 2)), limits)
    return pd.DataFrame(
        {
            "kv": at, "at_risk": risk, "breakdowns": d, "withstood": lost, "survival": survival,
            "probability": 1 - survival, "standard_error": se, "low": low, "high": high,
        }
    )  # fmt: skip


def _limits(survival: Array, greenwood: Array, se: Array, z: float, kind: str) -> tuple[Array, Array]:
    ends = (survival <= 0) | (survival >= 1)
    if kind == "plain":
        low, high = np.clip(survival - z * se, 0, 1), np.clip(survival + z * se, 0, 1)
    else:
        safe = np.where(ends, 0.5, survival)
        width = z * np.sqrt(np.where(ends, 0.0, greenwood)) / np.abs(np.log(safe))
        low, high = safe ** np.exp(width), safe ** np.exp(-width)
    return np.where(ends, np.nan, low), np.where(ends, np.nan, high)


def _steps(x: Array, gone: Array) -> tuple[Array, Array, Array, Array]:
    """Voltages with breakdowns, breakdowns there, number still at risk, withstands since the step before."""
    at, d = np.unique(x[~gone], return_counts=True)
    ordered = np.sort(x)
    risk = len(x) - np.searchsorted(ordered, at, side="left")
    left = np.sort(x[gone])
    before = np.searchsorted(left, at, side="left")
    return at, d, risk, np.diff(before, prepend=0)


def survival_quantile(table: pd.DataFrame, p: float) -> float:
    """Lowest voltage, kV, of a :func:`kaplan_meier` table by which at least ``p`` has broken down; nan if none."""
    reached = table.loc[table["probability"] >= p - 1e-12, "kv"]
    return float(reached.iloc[0]) if len(reached) else float("nan")


def ecdf(kv: Any, *, confidence: float = 0.95) -> pd.DataFrame:
    """Empirical distribution of complete data with a band that holds for the whole curve at once.

    Parameters
    ----------
    kv : array (n,)
        Breakdown voltages, kV, none of them withstood (for withstands: :func:`kaplan_meier`).
    confidence : float
        Simultaneous: the true curve lies inside everywhere with this probability.

    Returns
    -------
    DataFrame
        ``kv`` (different values, ascending), ``probability`` (fraction at or below), ``low, high``.

    Notes
    -----
    Half-width: the exact point of Kolmogorov's D up to 1,000 values, beyond that
    ``sqrt(ln(2 / alpha) / (2 n))`` (Dvoretzky-Kiefer-Wolfowitz with Massart's constant, 1990), which is never
    too narrow.
    """
    x, _ = check_values(kv, None, positive=False)
    if not len(x):
        raise NotEstimable("There are no values.", column="kv")
    at, count = np.unique(x, return_counts=True)
    f = np.cumsum(count) / len(x)
    half = band_half_width(len(x), confidence)
    return pd.DataFrame({"kv": at, "probability": f, "low": np.maximum(f - half, 0), "high": np.minimum(f + half, 1)})


def band_half_width(n: int, confidence: float = 0.95) -> float:
    """Half-width of the simultaneous band of an empirical distribution of ``n`` values."""
    check_confidence(confidence)
    if n <= 1000:
        return float(scipy.stats.kstwo.ppf(confidence, n))
    return float(np.sqrt(np.log(2 / (1 - confidence)) / (2 * n)))


def thin(values: Any, limit: int = 2000, tail: int = 200) -> Array:
    """Which of ``values`` sorted things to draw: indices, ascending, at most ``limit``.

    The first and last ``tail`` are all kept, because low probabilities are the question; between them the
    indices are evenly spaced.

    Parameters
    ----------
    values : sequence
        (n,) Sorted things; only their number counts.
    limit : int, default 2000
        Most that are drawn.
    tail : int, default 200
        How many at each end are all kept.

    Examples
    --------
    >>> thin([10, 20, 30]).tolist()
    [0, 1, 2]
    """
    n = len(values)
    if n <= limit:
        return np.arange(n)
    if limit <= 2 * tail:
        raise InputError(f"A limit of {limit} leaves nothing between two tails of {tail}.", column="limit")
    middle = np.linspace(tail, n - tail - 1, limit - 2 * tail).round().astype(int)
    return np.unique(np.concatenate([np.arange(tail), middle, np.arange(n - tail, n)]))


def kernel_density(kv: Any, *, points: int = 512, bandwidth_kv: float | None = None) -> pd.DataFrame:
    """Gaussian kernel density of complete data on an even grid, by linear binning and one Fourier transform.

    Parameters
    ----------
    kv : array (n,)
        Breakdown voltages, kV, none withstood.
    points : int
        Size of the grid, which reaches three bandwidths past the extremes.
    bandwidth_kv : float, optional
        Default: ``0.9 min(SD, interquartile range / 1.34) n**-0.2`` (Silverman, Density Estimation, 1986, 3.31).

    Returns
    -------
    DataFrame
        ``kv, density`` (per kV); the attribute ``bandwidth_kv`` is in ``.attrs``.

    Raises
    ------
    NotEstimable
        Fewer than two values or no spread.
    """
    x, _ = check_values(kv, None, positive=False)
    if len(x) < 2 or np.ptp(x) <= 0:
        raise NotEstimable("A density needs at least two different values.", column="kv")
    if bandwidth_kv is None:
        quartiles = np.diff(np.percentile(x, [25, 75]))[0] / 1.34
        sd = float(x.std(ddof=1))
        bandwidth_kv = 0.9 * (min(sd, quartiles) if quartiles > 0 else sd) * len(x) ** -0.2
    low, high = x.min() - 3 * bandwidth_kv, x.max() + 3 * bandwidth_kv
    fine = max(points, 2048)  # finer bins than the grid asked for keep the binning error out of sight
    grid = np.linspace(low, high, fine)
    step = grid[1] - grid[0]
    place = (x - low) / step
    left = np.minimum(place.astype(int), fine - 2)
    share = place - left
    mass = np.bincount(left, 1 - share, fine) + np.bincount(left + 1, share, fine)
    size = 2 * fine  # room enough that the ends do not wrap round
    frequency = 2 * np.pi * np.fft.rfftfreq(size, d=step)
    smooth = np.fft.irfft(np.fft.rfft(mass, size) * np.exp(-0.5 * (bandwidth_kv * frequency) ** 2), size)[:fine]
    shown = np.linspace(low, high, points)
    density = np.interp(shown, grid, np.maximum(smooth, 0) / (len(x) * step))
    table = pd.DataFrame({"kv": shown, "density": density})
    table.attrs["bandwidth_kv"] = float(bandwidth_kv)
    return table
