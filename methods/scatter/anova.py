"""Analysis of variance with random levels: mean squares, and exact or nearly exact limits for variance components.

Sources: Burdick & Graybill, Confidence Intervals on Variance Components, Dekker 1992 (chapters 2 and 3: modified
large-sample limits; Graybill & Wang 1980 for sums, Ting et al. 1990 for differences); Thomas & Hultquist,
Ann. Statist. 6 (1978) 582 for unequal numbers; Satterthwaite, Biometrics Bull. 2 (1946) 110.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from methods.errors import InputError, NotEstimable

Floats = NDArray[Any]


@dataclass(frozen=True)
class OneWay:
    """One-way analysis of variance with random levels; limits are pairs (low, high), variances in kV squared.

    Attributes
    ----------
    SS_between, SS_within, df_between, df_within, MS_between, MS_within : float
        Sums of squares, degrees of freedom and mean squares of the levels and within them.
    F, p_value : float
        Of the test that the levels do not differ.
    n0 : float
        The number in a level that stands for unequal ones.
    R_squared : float
        Share of the levels in the sum of squares.
    var_between_raw, var_between : float
        Variance between levels as found, which may be negative, and not below zero.
    sd_between, sd_within, sd_total : float
        Standard deviations, kV.
    sd_within_limits : (float, float)
        By chi-square.
    icc, icc_limits : float, (float, float)
        Intraclass correlation: share of the levels in the total variance; limits by F.
    total_variance_limits, total_variance_limits_satterthwaite : (float, float)
        Of the variance of one value: modified large-sample limits, and Satterthwaite's.
    total_variance_df : float
        Satterthwaite's degrees of freedom of it.
    """

    SS_between: float
    SS_within: float
    df_between: int
    df_within: int
    MS_between: float
    MS_within: float
    F: float
    p_value: float
    n0: float
    R_squared: float
    var_between_raw: float
    var_between: float
    sd_between: float
    sd_within: float
    sd_total: float
    sd_within_limits: tuple[float, float]
    icc: float
    icc_limits: tuple[float, float]
    total_variance_limits: tuple[float, float]
    total_variance_df: float
    total_variance_limits_satterthwaite: tuple[float, float]


def one_way(kv: ArrayLike, levels: ArrayLike, *, confidence: float = 0.95) -> OneWay:
    """Analyse values (n,) by levels (n,), for instance breakdowns by filling.

    ``var_between_raw`` may be negative and is kept as found; ``var_between`` and the total stop at zero between, while
    degrees of freedom and limits of the total are those of the sum as found. The limits of the
    intraclass correlation (F) and of the total variance are exact or made for equal numbers; with unequal
    numbers ``n0`` stands for the number in a level.

    Parameters
    ----------
    kv : array_like
        (n,) Values, kV.
    levels : array_like
        (n,) The level of each, such as its filling.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        Fewer than two levels, or no level with two values.
    """
    y, code = np.asarray(kv, dtype=float), np.unique(np.asarray(levels), return_inverse=True)[1]
    if y.ndim != 1 or code.shape != y.shape or not np.isfinite(y).all():
        raise InputError("An analysis of variance needs one finite value and one level in each row.")
    n, k = np.bincount(code), int(code.max()) + 1
    if k < 2 or len(y) <= k:
        raise NotEstimable("An analysis of variance needs two levels, and one of them with two values.")
    z = y - y[0]  # keeps the digits when a large constant stands in front
    z -= z.mean()
    mean = np.bincount(code, z) / n
    rest = z - mean[code]
    ss_b, ss_w = float(n @ (mean - z.mean()) ** 2), float(rest @ rest)
    df_b, df_w = k - 1, len(y) - k
    ms_b, ms_w = ss_b / df_b, ss_w / df_w
    f = ms_b / ms_w if ms_w > 0 else np.inf
    n0 = float((len(y) - (n**2).sum() / len(y)) / df_b)
    raw = (ms_b - ms_w) / n0
    between = max(raw, 0.0)
    total = between + ms_w
    a = (1 - confidence) / 2
    cut = (f / scipy.stats.f.isf(a, df_b, df_w), f / scipy.stats.f.ppf(a, df_b, df_w))
    whole = raw + ms_w  # the sum of mean squares whose degrees of freedom these are; a negative part stays in it
    df_total = whole**2 / ((ms_b / n0) ** 2 / df_b + ((1 - 1 / n0) * ms_w) ** 2 / df_w)
    return OneWay(
        SS_between=ss_b, SS_within=ss_w, df_between=df_b, df_within=df_w, MS_between=ms_b, MS_within=ms_w, F=f,
        p_value=float(scipy.stats.f.sf(f, df_b, df_w)), n0=n0, R_squared=ss_b / (ss_b + ss_w), var_between_raw=raw,
        var_between=between, sd_between=between**0.5, sd_within=ms_w**0.5, sd_total=total**0.5,
        sd_within_limits=sd_limits(ms_w**0.5, df_w, confidence), icc=between / total,
        icc_limits=((cut[0] - 1) / (cut[0] + n0 - 1), (cut[1] - 1) / (cut[1] + n0 - 1)),
        total_variance_limits=sum_limits([1 / n0, 1 - 1 / n0], [ms_b, ms_w], [df_b, df_w], confidence),
        total_variance_df=df_total,
        total_variance_limits_satterthwaite=(
            df_total * whole / float(scipy.stats.chi2.isf(a, df_total)),
            df_total * whole / float(scipy.stats.chi2.ppf(a, df_total)),
        ),
    )  # fmt: skip


def sd_limits(sd: float, df: float, confidence: float = 0.95) -> tuple[float, float]:
    """Chi-square limits of a standard deviation that rests on ``df`` degrees of freedom.

    Parameters
    ----------
    sd : float
        The estimate.
    df : float
        Its degrees of freedom.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Examples
    --------
    >>> [round(v, 2) for v in sd_limits(1.0, 9)]
    [0.69, 1.83]
    """
    a = (1 - confidence) / 2
    return sd * float(np.sqrt(df / scipy.stats.chi2.isf(a, df))), sd * float(np.sqrt(df / scipy.stats.chi2.ppf(a, df)))


def sum_limits(weights: Any, squares: Any, df: Any, confidence: float = 0.95) -> tuple[float, float]:
    """Limits of a sum of mean squares with positive weights (Graybill & Wang).

    Parameters
    ----------
    weights : array_like
        (m,) Weights, above zero.
    squares : array_like
        (m,) Mean squares.
    df : array_like
        (m,) Their degrees of freedom.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    """
    c, s, n = (np.asarray(v, dtype=float) for v in (weights, squares, df))
    a = (1 - confidence) / 2
    g, h = 1 - n / scipy.stats.chi2.isf(a, n), n / scipy.stats.chi2.ppf(a, n) - 1
    theta = float(c @ s)
    return theta - float(np.sqrt(((g * c * s) ** 2).sum())), theta + float(np.sqrt(((h * c * s) ** 2).sum()))


def difference_limits(
    upper: float, df_upper: float, lower: float, df_lower: float, c: float, confidence: float = 0.95
) -> tuple[float, float]:
    """Limits of ``(upper - lower)/c``, a variance component as the difference of two mean squares (Ting et al.).

    May be negative; the low one is negative exactly when the F ratio does not reach its upper point.

    Parameters
    ----------
    upper : float
        Mean square of the component's level.
    df_upper : float
        Its degrees of freedom.
    lower : float
        Mean square of the level below.
    df_lower : float
        Its degrees of freedom.
    c : float
        What the component is multiplied by in ``upper``.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    """
    a = (1 - confidence) / 2
    g1, h1 = 1 - df_upper / scipy.stats.chi2.isf(a, df_upper), df_upper / scipy.stats.chi2.ppf(a, df_upper) - 1
    g2, h2 = 1 - df_lower / scipy.stats.chi2.isf(a, df_lower), df_lower / scipy.stats.chi2.ppf(a, df_lower) - 1
    high_f, low_f = scipy.stats.f.isf(a, df_upper, df_lower), scipy.stats.f.ppf(a, df_upper, df_lower)
    g12 = ((high_f - 1) ** 2 - g1**2 * high_f**2 - h2**2) / high_f
    h12 = ((1 - low_f) ** 2 - h1**2 * low_f**2 - g2**2) / low_f
    low = max(g1**2 * upper**2 + h2**2 * lower**2 + g12 * upper * lower, 0.0)
    high = max(h1**2 * upper**2 + g2**2 * lower**2 + h12 * upper * lower, 0.0)
    theta = upper - lower
    return float((theta - low**0.5) / c), float((theta + high**0.5) / c)


@dataclass(frozen=True)
class MeanSquare:
    """One line of a sequential analysis: its expectation is ``expected @ variances + residual variance``."""

    name: str
    df: int
    square: float
    expected: Floats
    pure: bool


def sequential(
    mean: Floats, weight: Floats, x: Floats, factors: dict[str, NDArray[np.int64]], within: tuple[float, float]
) -> list[MeanSquare]:
    """Sequential mean squares of random factors after the fixed part, from the outside in, with expectations.

    Parameters are cell means (m,), their weights (numbers of breakdowns), the fixed part (m, p), level codes (m,)
    and the sum of squares and degrees of freedom within cells. ``pure`` says that the sum of squares is a
    multiple of chi-square, which balanced designs give (checked on the design itself, not assumed).

    Parameters
    ----------
    mean : ndarray
        (m,) Cell means.
    weight : ndarray
        (m,) Breakdowns in each cell.
    x : ndarray
        (m, p) The fixed part.
    factors : dict of str to ndarray of int64
        Factor to its level codes (m,), from the outside in.
    within : tuple[float, float]
        Sum of squares and degrees of freedom within cells.
    """
    root = np.sqrt(weight)
    zs = {k: root[:, None] * (c[:, None] == np.arange(c.max() + 1)) for k, c in factors.items()}
    basis = _basis(root[:, None] * x)
    y = root * mean
    out = []
    for name, z in zs.items():
        new = _basis(z - basis @ (basis.T @ z))
        out.append(_line(name, new, y, list(zs.values())))
        basis = np.column_stack([basis, new])
    left = y - basis @ (basis.T @ y)
    df = len(y) - basis.shape[1] + within[1]
    square = (float(left @ left) + within[0]) / df if df > 0 else np.nan
    out.append(MeanSquare("breakdown", int(round(df)), square, np.zeros(len(zs)), True))
    return out


def _basis(a: Floats) -> Floats:
    u, s, _ = np.linalg.svd(a, full_matrices=False)
    return u[:, s > 1e-8 * max(s.max(initial=0.0), 1e-300)] if s.max(initial=0.0) > 1e-10 else u[:, :0]


def _line(name: str, basis: Floats, y: Floats, zs: list[Floats]) -> MeanSquare:
    df = basis.shape[1]
    if df == 0:
        return MeanSquare(name, 0, np.nan, np.zeros(len(zs)), False)
    expected, pure = np.zeros(len(zs)), True
    for j, z in enumerate(zs):
        b = basis.T @ z
        product = b @ b.T
        expected[j] = np.trace(product) / df
        pure = pure and np.abs(product - expected[j] * np.eye(df)).max() < 1e-7 * max(expected[j], 1.0)
    expected[np.abs(expected) < 1e-9] = 0.0
    return MeanSquare(name, df, float((basis.T @ y) @ (basis.T @ y)) / df, expected, pure)
