"""One level of a precision experiment: s_r, s_L, s_R with their limits, Mandel's h and k, outlier flags."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
import scipy

from methods.interlab import critical
from methods.interlab.cells import natural
from methods.scatter.outliers import grubbs_critical, grubbs_p

#: ISO 5725-6 and ASTM E177 round 1.96 √2 = 2.77 to 2.8; r and R here use 2.8, as the printed examples do.
LIMIT_FACTOR = 2.8

#: Levels at which h and k are judged: 5 % and 1 % as in ISO 5725-2, 0.5 % as in ASTM E691.
ALPHAS: tuple[float, ...] = (0.05, 0.01, 0.005)

NAN = float("nan")


@dataclass(frozen=True)
class Level:
    """The precision at one level; every voltage in the unit of the data (kV), every ``_percent`` of the mean.

    ``mean`` is weighted by the cells' counts (ISO 5725-2, 7.4.4); ``s_L`` is the spread between
    laboratories, zero where the estimate of its square came out negative (``s_L_squared`` shows it), so
    that ``s_R`` is never below ``s_r``. ``r`` and ``R`` are 2.8 times s_r and s_R. ``h`` and ``k`` have an
    entry a laboratory, their critical values one for each of 5 %, 1 % and 0.5 %. ``error`` says why a level
    has no figures. Limits are at the confidence of the whole result.
    """

    level: str
    laboratories: int
    n: int
    n_bar: float = NAN
    mean: float = NAN
    s_r: float = NAN
    s_L: float = NAN
    s_R: float = NAN
    r: float = NAN
    R: float = NAN
    r_percent: float = NAN
    R_percent: float = NAN
    s_r_low: float = NAN
    s_r_high: float = NAN
    s_L_low: float = NAN
    s_L_high: float = NAN
    s_R_low: float = NAN
    s_R_high: float = NAN
    s_L_squared: float = NAN
    df_r: float = NAN
    df_R: float = NAN
    s_means: float = NAN
    h: dict[str, float] = field(default_factory=dict)
    k: dict[str, float] = field(default_factory=dict)
    h_critical: dict[str, float] = field(default_factory=dict)
    k_critical: dict[str, float] = field(default_factory=dict)
    cochran: dict[str, object] = field(default_factory=dict)
    grubbs: list[dict[str, object]] = field(default_factory=list)
    withstood: int = 0
    error: str | None = None


def cell_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Count, mean, standard deviation and number withstood of each cell."""
    grouped = rows.groupby("laboratory", sort=False)
    table = grouped.agg(
        n=("value", "count"), mean=("value", "mean"), sd=("value", "std"), withstood=("withstood", "sum")
    )
    return table.reset_index()


def _critical_values(counts: np.ndarray) -> tuple[dict[str, float], dict[str, float]]:
    """Critical h, and critical k for the count that most cells have (as ISO 5725-2, 7.3.3 advises)."""
    p = counts.size
    usual = int(pd.Series(counts).mode().max())
    h = {f"{a:g}": critical.mandel_h_critical(p, 1 - a) for a in ALPHAS} if p >= 3 else {}
    with_spread = int((counts > 1).sum())
    ok = with_spread >= 2 and usual > 1
    k = {f"{a:g}": critical.mandel_k_critical(with_spread, usual, 1 - a) for a in ALPHAS} if ok else {}
    return h, k


def _verdict(p_value: float) -> str:
    """ISO 5725-2's words: a straggler between 5 % and 1 %, a statistical outlier below 1 %."""
    return "outlier" if p_value < 0.01 else "straggler" if p_value < 0.05 else "none"


def _cochran(cells: pd.DataFrame) -> dict[str, object]:
    use = cells[cells["n"] > 1]
    variances, counts = use["sd"].to_numpy() ** 2, use["n"].to_numpy(dtype=float)
    if variances.size < 2 or variances.sum() == 0:
        return {}
    worst = int(np.argmax(variances))
    usual = int(pd.Series(counts).mode().max())
    p_value = critical.cochran_p(variances, counts)
    return {
        "laboratory": str(use["laboratory"].iloc[worst]),
        "C": float(variances[worst] / variances.sum()),
        "critical_5": critical.cochran_critical(variances.size, usual, 0.95),
        "critical_1": critical.cochran_critical(variances.size, usual, 0.99),
        "p_value": p_value,
        "verdict": _verdict(p_value),
    }


def _grubbs(cells: pd.DataFrame) -> list[dict[str, object]]:
    means, labs = cells["mean"].to_numpy(dtype=float), cells["laboratory"].astype(str).to_numpy()
    p = means.size
    if p < 3 or means.std() == 0:
        return []
    order, out = np.argsort(means, kind="stable"), []
    centre, sd = means.mean(), means.std(ddof=1)
    for test, at in (("high", order[-1]), ("low", order[0])):
        g = float((means[at] - centre) / sd)
        p_value = grubbs_p(abs(g), p)
        out.append(
            {
                "test": test, "laboratories": [labs[at]], "statistic": g,
                "critical_5": grubbs_critical(p, 0.95), "critical_1": grubbs_critical(p, 0.99),
                "p_value": p_value, "verdict": _verdict(p_value),
            }
        )  # fmt: skip
    if p < 5:  # with four means the two that stay decide alone: the statistic is all but certain to mislead
        return out
    for test, pair in (("two_high", order[-2:]), ("two_low", order[:2])):
        rest = np.delete(means, pair)
        g = float(((rest - rest.mean()) ** 2).sum() / ((means - centre) ** 2).sum())
        p_value = critical.grubbs_pair_p(g, p)
        out.append(
            {
                "test": test, "laboratories": [str(x) for x in labs[pair]], "statistic": g,
                "critical_5": critical.grubbs_pair_critical(p, 0.95),
                "critical_1": critical.grubbs_pair_critical(p, 0.99),
                "p_value": p_value, "verdict": _verdict(p_value),
            }
        )  # fmt: skip
    return out


def _root(value: float) -> float:
    return float(np.sqrt(max(value, 0.0)))


def reproducibility_limits(
    between: float, within: float, n_bar: float, df_between: float, df_within: float, confidence: float
) -> tuple[float, float, float]:
    """Limits and equivalent degrees of freedom of s_R from the two mean squares.

    Modified large-sample limits for a sum of mean squares with positive weights (Graybill and Wang, JASA 75
    (1980) 869): s_R² = MS_between / n̄ + (1 - 1/n̄) MS_within. The degrees of freedom are Satterthwaite's.

    Parameters
    ----------
    between : float
        Mean square between laboratories.
    within : float
        Mean square within.
    n_bar : float
        Average number of values in a cell.
    df_between : float
        Degrees of freedom between.
    df_within : float
        Degrees of freedom within.
    confidence : float
        Of the limits, a fraction between 0 and 1.

    Returns
    -------
    (low, high, degrees of freedom), low and high as standard deviations.
    """
    parts = np.array([between / n_bar, (1 - 1 / n_bar) * within])
    freedom = np.array([df_between, df_within])
    tail = (1 - confidence) / 2
    shrink = 1 - freedom / scipy.stats.chi2.ppf(1 - tail, freedom)
    grow = freedom / scipy.stats.chi2.ppf(tail, freedom) - 1
    total = parts.sum()
    low = total - np.sqrt(((shrink * parts) ** 2).sum())
    high = total + np.sqrt(((grow * parts) ** 2).sum())
    squares = (parts**2 / freedom).sum()
    return _root(low), _root(high), float(total**2 / squares) if squares > 0 else NAN


def between_limits(
    between: float, within: float, n_bar: float, df_between: float, df_within: float, confidence: float
) -> tuple[float, float]:
    """Limits of s_L by Williams' method (Biometrika 49 (1962) 278); a low limit below zero is zero.

    Where the means agree better than their scatter allows, the high limit is the one for means that agree
    just as well as it allows: a lucky sample does not prove that laboratories are alike.

    Parameters
    ----------
    between : float
        Mean square between laboratories.
    within : float
        Mean square within.
    n_bar : float
        Average number of values in a cell.
    df_between : float
        Degrees of freedom between.
    df_within : float
        Degrees of freedom within.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    tail = (1 - confidence) / 2
    f_high = scipy.stats.f.ppf(1 - tail, df_between, df_within)
    f_low = scipy.stats.f.ppf(tail, df_between, df_within)
    low = df_between * (between - within * f_high) / (n_bar * scipy.stats.chi2.ppf(1 - tail, df_between))
    high = df_between * (max(between, within) - within * f_low) / (n_bar * scipy.stats.chi2.ppf(tail, df_between))
    return _root(low), _root(high)


def _why_not(cells: pd.DataFrame) -> str | None:
    stood = int(cells["withstood"].sum())
    if stood:
        return (
            f"{stood} of {int(cells['n'].sum())} results at this level were withstood: the ceiling is not a value, "
            "so no mean or spread is given. Test with a higher ceiling or a smaller gap, or leave the cell out, "
            "with a reason."
        )
    if not (cells["n"] > 1).any():
        return (
            "Every laboratory has one result at this level, so repeatability cannot be told from "
            "reproducibility; s_r needs at least one laboratory with two."
        )
    return None


def level_precision(name: str, rows: pd.DataFrame, confidence: float) -> tuple[Level, pd.DataFrame]:
    """The precision of one level from its rows (``laboratory, value, withstood``); see :func:`estimate_cells`.

    Parameters
    ----------
    name : str
        What the level is called.
    rows : DataFrame
        ``laboratory, value, withstood``, a row a value.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    return estimate_cells(name, cell_table(rows), confidence)


def estimate_cells(name: str, cells: pd.DataFrame, confidence: float) -> tuple[Level, pd.DataFrame]:
    """The precision of one level, and its cells (``laboratory, n, mean, sd, withstood``) with h and k.

    Formulas of ISO 5725-2 (7.4): s_r² pooled over cells by degrees of freedom; s_L² = (MS_between - s_r²) / n̄
    with n̄ = (N - Σn²/N) / (p - 1); h about the plain mean of the cell means; k = s √p / √Σs².

    Parameters
    ----------
    name : str
        What the level is called.
    cells : DataFrame
        ``laboratory, n, mean, sd, withstood``, a row a laboratory.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    order = sorted(range(len(cells)), key=lambda i: natural(str(cells["laboratory"].iloc[i])))
    cells = cells.iloc[order].reset_index(drop=True)
    counts, means = cells["n"].to_numpy(dtype=float), cells["mean"].to_numpy(dtype=float)
    sds = cells["sd"].to_numpy(dtype=float)
    cells.insert(0, "level", name)
    p, total = len(cells), float(counts.sum())
    why, stood = _why_not(cells), int(cells["withstood"].sum())
    if why:
        blank = cells.assign(h=NAN, k=NAN)
        if stood:
            blank[["mean", "sd"]] = NAN
        return Level(name, p, int(total), withstood=stood, error=why), blank
    several = counts > 1
    df_r = float((counts[several] - 1).sum())
    within = float(((counts - 1) * np.nan_to_num(sds) ** 2).sum() / df_r)
    mean = float((counts * means).sum() / total)
    s_r = _root(within)
    tail = (1 - confidence) / 2
    figures: dict[str, float] = {
        "mean": mean, "s_r": s_r, "df_r": df_r, "r": LIMIT_FACTOR * s_r, "r_percent": 100 * LIMIT_FACTOR * s_r / mean,
        "s_r_low": _root(within * df_r / scipy.stats.chi2.ppf(1 - tail, df_r)),
        "s_r_high": _root(within * df_r / scipy.stats.chi2.ppf(tail, df_r)),
    }  # fmt: skip
    if p > 1:
        figures |= _between(counts, means, mean, within, df_r, confidence)
    spread = np.sqrt(np.nanmean(sds[several] ** 2))
    k = np.where(several, sds / spread if spread > 0 else NAN, NAN)
    sd_means = float(means.std(ddof=1)) if p > 1 else NAN
    h = (means - means.mean()) / sd_means if p > 1 and sd_means > 0 else np.full(p, NAN)
    cells = cells.assign(h=h, k=k)
    labs = cells["laboratory"].astype(str)
    h_critical, k_critical = _critical_values(counts)
    level = Level(
        name, p, int(total), s_means=sd_means,
        h=dict(zip(labs, map(float, h), strict=True)), k=dict(zip(labs, map(float, k), strict=True)),
        h_critical=h_critical, k_critical=k_critical, cochran=_cochran(cells), grubbs=_grubbs(cells),
    )  # fmt: skip
    return replace(level, **figures), cells  # type: ignore[arg-type]


def _between(
    counts: np.ndarray, means: np.ndarray, mean: float, within: float, df_r: float, confidence: float
) -> dict[str, float]:
    """s_L, s_R, R and their limits from the cell means."""
    p, total = counts.size, float(counts.sum())
    n_bar = float((total - (counts**2).sum() / total) / (p - 1))
    between = float((counts * (means - mean) ** 2).sum() / (p - 1))
    s_l2 = (between - within) / n_bar
    s_r_big = _root(max(s_l2, 0.0) + within)
    low, high, df_big = reproducibility_limits(between, within, n_bar, p - 1, df_r, confidence)
    l_low, l_high = between_limits(between, within, n_bar, p - 1, df_r, confidence)
    return {
        "n_bar": n_bar, "s_L": _root(s_l2), "s_L_squared": s_l2, "s_R": s_r_big, "R": LIMIT_FACTOR * s_r_big,
        "R_percent": 100 * LIMIT_FACTOR * s_r_big / mean, "df_R": df_big,
        "s_R_low": min(low, s_r_big), "s_R_high": max(high, s_r_big), "s_L_low": l_low, "s_L_high": l_high,
    }  # fmt: skip
