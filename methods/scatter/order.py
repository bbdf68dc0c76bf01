"""Does it matter which breakdown of the filling it was: trend, first breakdown, neighbours, pooled over fillings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from math import factorial
from typing import Any

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from methods.columns import LABELS
from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.records.table import as_table, condition_codes, filling_codes, withstood
from methods.result import Caution, Shown
from methods.scatter.autocorrelation import pooled_lag1
from methods.scatter.serial import SerialTest, bartels, mann_kendall, runs, sen_slope, variance_inflation, von_neumann

Floats = NDArray[Any]

#: Series that are all sorted would come about by chance less often than this: the order counts as lost.
SORTED_BY_CHANCE = 0.01


@dataclass(frozen=True)
class OrderEffect:
    """An effect in kV and in per cent of the mean, with t-limits and two-sided p-value."""

    kv: float
    low_kv: float
    high_kv: float
    percent: float
    low_percent: float
    high_percent: float
    standard_error_kv: float
    df: float
    p_value: float
    fillings: int


@dataclass(frozen=True)
class Neighbours:
    """Lag-1 correlation within fillings: corrected for short series, its limits and standard error; and uncorrected."""

    correlation: float
    low: float
    high: float
    standard_error: float
    uncorrected: float
    pairs: int


@dataclass(frozen=True)
class Inflation:
    """Factor on the variance of a filling mean that this correlation makes, and the independent breakdowns left."""

    breakdowns: int
    factor: float
    low: float
    high: float
    effective_breakdowns: float


@dataclass(frozen=True)
class MedianSlope:
    """Median of the slopes between any two breakdowns of one filling, its limits, and Kendall's tau over all pairs.

    One wild value hardly moves it. The limits suppose that the breakdowns of a filling are independent.
    """

    kv: float
    low_kv: float
    high_kv: float
    tau: float
    p_value: float
    fillings: int


@dataclass(frozen=True)
class PooledTest:
    """A test of order, summed over fillings (each on its own values)."""

    name: str
    statistic: float
    expected: float
    z: float
    p_value: float
    fillings: int


@dataclass(frozen=True, repr=False)
class OrderEffects(Shown):
    """Order effects within fillings.

    ``trend`` is the change from one breakdown to the next, ``first`` the first breakdown minus the mean of the rest,
    ``median_slope`` Sen's slope with Kendall's tau, which one wild value hardly moves.
    ``positions`` has a row for each breakdown number (mean deviation from the filling mean, for a plot), ``series``
    a row for each filling. What cannot be told is None; ``cautions`` say why.
    """

    fillings: int
    breakdowns: int
    mean_kv: float
    confidence: float
    trend: OrderEffect | None
    first: OrderEffect | None
    median_slope: MedianSlope | None
    neighbours: Neighbours | None
    variance_inflation: Inflation | None
    tests: list[PooledTest]
    positions: pd.DataFrame
    series: pd.DataFrame
    cautions: list[Caution] = field(default_factory=list)
    group: dict[str, Any] | None = None
    groups: list[Any] | None = None

    def to_dict(self) -> dict[str, Any]:
        """Field names and values; ``group`` and ``groups`` only where there are any."""
        out = {f.name: getattr(self, f.name) for f in fields(self)}
        return {k: v for k, v in out.items() if not (k in ("group", "groups") and v is None)}


@dataclass(frozen=True)
class _Series:
    label: dict[str, Any]
    kv: Floats
    number: Floats
    withstood: bool


def order_effects(data: Any, *, by: Sequence[str] = (), confidence: float = 0.95) -> OrderEffects:
    """Examine what the place in the series does to a breakdown, with the filling as the unit.

    Parameters
    ----------
    data : Records or DataFrame
        The record table with ``order`` and ``filling``.
    by : columns
        Adds ``groups``: the same for each combination of these columns.
    confidence : float

    Returns
    -------
    OrderEffects

    Raises
    ------
    InputError
        An unknown column.

    Notes
    -----
    Trend: common slope with fillings as blocks, standard error from the spread of the fillings' own slopes
    (cluster-robust, CR2; Bell & McCaffrey, Survey Methodology 28, 2002), t with (1/sum of squared weights) - 1
    degrees of freedom, which is fillings - 1 when all are alike. First breakdown: paired t by filling. Pooled
    Mann-Kendall: sums of S and of its variance over fillings (Hirsch & Slack, Water Resour. Res. 20 (1984) 727).
    Fillings with withstood series take part in the tests by rank only.
    """
    table = as_table(data)
    for name in by:
        if name not in table.columns:
            raise InputError(f"There is no column {name!r}.", column=name)
    check_confidence(confidence)
    whole = _one(table, confidence)
    if not by:
        return whole
    groups = []
    for key, part in table.groupby(list(by), sort=True, dropna=False):
        label = {n: None if pd.isna(v) else v for n, v in zip(by, list(key), strict=True)}  # type: ignore[call-overload]
        groups.append(replace(_one(part.reset_index(drop=True), confidence), group=label))
    return replace(whole, groups=groups)


def _one(table: pd.DataFrame, confidence: float) -> OrderEffects:
    cautions: list[Caution] = []
    series = _collect(table, cautions)
    if _lost(series, table, cautions):
        return _empty(table, confidence, cautions)
    measured = [s for s in series if not s.withstood and len(s.kv) >= 2]
    if len(measured) < len(series):
        _say_left_out(series, cautions)
    if int(condition_codes(table).max(initial=0)) > 0:
        cautions.append(Caution("conditions", (
            "Several conditions are pooled here; if one of them trends up and another down, the pooled figures hide "
            "both. Look at them one by one (by electrode, by stirring ...)."
        )))  # fmt: skip
    mean = float(np.concatenate([s.kv for s in measured]).mean()) if measured else np.nan
    trend = _trend(measured, mean, confidence, cautions)
    neighbours = _neighbours(measured, confidence, cautions)
    return OrderEffects(
        fillings=len(series), breakdowns=len(table), mean_kv=mean, confidence=confidence, trend=trend,
        first=_first(measured, mean, confidence), median_slope=_median_slope(measured, confidence),
        neighbours=neighbours,
        variance_inflation=_inflation(measured, neighbours), tests=_tests(series),
        positions=_positions(measured), series=_table(series), cautions=cautions,
    )  # fmt: skip


def _collect(table: pd.DataFrame, cautions: list[Caution]) -> list[_Series]:
    """One series a filling, in the order of its breakdown numbers; fillings whose numbers recur are left out."""
    out, muddled = [], 0
    codes, gone = filling_codes(table), withstood(table)
    number = table["order"].to_numpy(dtype=float)
    kv = table["kv"].to_numpy(dtype=float)
    names = [c for c in LABELS if c in table]
    names = [c for c in names if table[c].notna().any()]
    for rows in pd.Series(np.arange(len(table))).groupby(codes).groups.values():
        at = np.asarray(rows)
        if np.isnan(number[at]).any():
            continue
        if len(np.unique(number[at])) < len(at):
            muddled += 1
            continue
        at = at[np.argsort(number[at])]
        label = {n: None if pd.isna(table[n].iloc[at[0]]) else table[n].iloc[at[0]] for n in names}
        out.append(_Series(label, kv[at], number[at], bool(gone[at].any())))
    if muddled:
        cautions.append(Caution("order_repeated", (
            f"In {muddled} filling{'s' if muddled != 1 else ''} a breakdown number occurs twice, so their order is not "
            "known; they are left out. Name the filling of each row, or number the breakdowns right through."
        )))  # fmt: skip
    return out


def _lost(series: list[_Series], table: pd.DataFrame, cautions: list[Caution]) -> bool:
    """Whether the order in which the breakdowns were taken is gone: no numbers, or everything sorted."""
    if not any(len(s.kv) >= 2 for s in series):
        text = "The file does not say in which order the breakdowns of a filling were taken"
        if table["order"].notna().any():
            text = "No filling has two breakdowns with a known order"
        cautions.append(Caution("order_lost", (
            f"{text}. Trend, first-breakdown effect and correlation cannot be examined; figures that rest on "
            "independent breakdowns stay unchecked."
        )))  # fmt: skip
        return True
    long = [s.kv for s in series if len(s.kv) >= 3]
    for word, sign in (("rising", 1), ("falling", -1)):
        chance = float(np.prod([1 / factorial(min(len(y), 20)) for y in long]))
        if long and chance < SORTED_BY_CHANCE and all((sign * np.diff(y) >= 0).all() for y in long):
            cautions.append(Caution("order_lost", (
                f"The breakdowns of every filling stand in {word} order, which chance would hardly do: they seem to "
                "have been sorted. Trend, first-breakdown effect and correlation are therefore not examined."
            )))  # fmt: skip
            return True
    return False


def _empty(table: pd.DataFrame, confidence: float, cautions: list[Caution]) -> OrderEffects:
    gone = withstood(table)
    mean = float(table["kv"].mean()) if len(table) and not gone.any() else np.nan
    return OrderEffects(
        fillings=len(np.unique(filling_codes(table))), breakdowns=len(table), mean_kv=mean, confidence=confidence,
        trend=None, first=None, median_slope=None, neighbours=None, variance_inflation=None, tests=[],
        positions=pd.DataFrame(columns=["order", "deviation_kv", "standard_error_kv", "fillings"]),
        series=pd.DataFrame(columns=["breakdowns", "withstood", "slope_kv", "mann_kendall_s", "p_value"]),
        cautions=cautions,
    )  # fmt: skip


def _say_left_out(series: list[_Series], cautions: list[Caution]) -> None:
    gone = sum(s.withstood for s in series)
    if gone:
        cautions.append(Caution("withstood", (
            f"{gone} filling{'s hold' if gone != 1 else ' holds'} withstood ceilings. A ceiling is no breakdown value, "
            "so these fillings count in "
            "the tests by rank only, not in trend, first-breakdown effect and correlation."
        )))  # fmt: skip


def _effect(kv: float, se: float, df: float, mean: float, confidence: float, fillings: int) -> OrderEffect:
    width = float(scipy.stats.t.isf((1 - confidence) / 2, df)) * se
    percent = 100 / mean
    p = float(2 * scipy.stats.t.sf(abs(kv) / se, df)) if se > 0 else np.nan
    return OrderEffect(
        kv, kv - width, kv + width, kv * percent, (kv - width) * percent, (kv + width) * percent, se, df, p, fillings
    )


def _trend(series: list[_Series], mean: float, confidence: float, cautions: list[Caution]) -> OrderEffect | None:
    if not series:
        return None
    x = [s.number - s.number.mean() for s in series]
    size = np.array([float(u @ u) for u in x])
    slopes = np.array([float(u @ s.kv) for u, s in zip(x, series, strict=True)]) / size
    w = size / size.sum()
    slope = float(w @ slopes)
    if len(series) > 1:
        se = float(np.sqrt((w**2 * (slopes - slope) ** 2 / (1 - w)).sum()))
        return _effect(slope, se, max(1 / float(w @ w) - 1, 1.0), mean, confidence, len(series))
    cautions.append(Caution("one_filling", (
        "Only one filling has a known order. Its trend is judged as if its breakdowns were independent; whether "
        "another filling would show the same cannot be seen."
    )))  # fmt: skip
    y = series[0].kv
    if len(y) < 3:
        return None
    left = y - y.mean() - slope * x[0]
    se = float(np.sqrt(left @ left / (len(y) - 2) / size[0]))
    return _effect(slope, se, len(y) - 2, mean, confidence, 1)


def _first(series: list[_Series], mean: float, confidence: float) -> OrderEffect | None:
    """First breakdown minus the mean of the rest, paired by filling; needs two fillings that begin at number 1."""
    whole = [s.kv for s in series if s.number[0] == 1 and len(s.kv) >= 2]
    if len(whole) < 2:
        return None
    d = np.array([y[0] - y[1:].mean() for y in whole])
    return _effect(float(d.mean()), float(d.std(ddof=1) / np.sqrt(len(d))), len(d) - 1, mean, confidence, len(d))


def _median_slope(series: list[_Series], confidence: float) -> MedianSlope | None:
    """Sen's slope and Kendall's tau over the pairs within fillings; needs a filling of three breakdowns."""
    long = [s for s in series if len(s.kv) >= 3]
    if not long:
        return None
    kv, low, high = sen_slope(*(s.kv for s in long), numbers=[s.number for s in long], confidence=confidence)
    test = next((t for t in _tests(long) if t.name == "Mann-Kendall"), None)
    if test is None:  # all breakdowns of every filling are equal
        return None
    pairs = sum(len(s.kv) * (len(s.kv) - 1) / 2 for s in long)
    return MedianSlope(kv, low, high, test.statistic / pairs, test.p_value, len(long))


def _neighbours(series: list[_Series], confidence: float, cautions: list[Caution]) -> Neighbours | None:
    found = pooled_lag1([s.kv for s in series], [s.number for s in series], confidence)
    if not np.isfinite(found.estimate):
        return None
    if not np.isfinite(found.standard_error):
        cautions.append(Caution("few", (
            "With fewer than three fillings the uncertainty of the correlation between neighbours cannot be given; "
            "one series of five or six says next to nothing about it."
        )))  # fmt: skip
    elif found.standard_error > 0.2:
        cautions.append(Caution("few", (
            f"The correlation between neighbours is known to about ± {found.standard_error:.1f} only (one standard "
            "error): these fillings can neither show nor rule out the usual 0.1 to 0.4."
        )))  # fmt: skip
    return Neighbours(found.estimate, found.low, found.high, found.standard_error, found.raw, found.pairs)


def _inflation(series: list[_Series], neighbours: Neighbours | None) -> Inflation | None:
    if neighbours is None:
        return None
    n = int(np.median([len(s.kv) for s in series]))

    def factor(rho: float) -> float:
        return variance_inflation(float(np.clip(rho, -0.999, 0.999)), n) if np.isfinite(rho) else np.nan

    middle = factor(neighbours.correlation)
    return Inflation(n, middle, factor(neighbours.low), factor(neighbours.high), n / middle)


def _tests(series: list[_Series]) -> list[PooledTest]:
    """Each test on each filling, statistics and variances summed."""
    ranked = [s.kv for s in series if len(s.kv) >= 3]
    measured = [s.kv for s in series if len(s.kv) >= 3 and not s.withstood]
    lines = [
        ("Mann-Kendall", [mann_kendall(y)[0] for y in ranked], 1.0, 1),
        ("runs", _each(lambda y: runs(y)[0], ranked), 0.0, 1),
        ("von Neumann", _each(von_neumann, measured), 0.0, -1),
        ("Bartels", _each(bartels, ranked), 0.0, 1),
    ]
    out = []
    for name, found, correction, sign in lines:
        variance = sum(t.variance for t in found)
        if not found or variance <= 0:
            continue
        statistic, expected = sum(t.statistic for t in found), sum(t.expected for t in found)
        away = statistic - expected
        z = float(sign * np.sign(away) * max(abs(away) - correction, 0) / np.sqrt(variance))
        if name in ("von Neumann", "Bartels"):  # a ratio reads better as a mean than as a sum
            statistic, expected = statistic / len(found), expected / len(found)
        out.append(PooledTest(name, statistic, expected, z, float(2 * scipy.special.ndtr(-abs(z))), len(found)))
    return out


def _each(test: Any, series: list[Floats]) -> list[SerialTest]:
    out = []
    for y in series:
        try:
            out.append(test(y))
        except NotEstimable:  # all equal, or nothing off the median: this filling has nothing to say
            continue
    return out


def _positions(series: list[_Series]) -> pd.DataFrame:
    rows = pd.DataFrame(
        {
            "order": np.concatenate([s.number for s in series]) if series else [],
            "deviation_kv": np.concatenate([s.kv - s.kv.mean() for s in series]) if series else [],
        }
    )
    out = rows.groupby("order")["deviation_kv"].agg(["mean", "std", "count"]).reset_index()
    out["se"] = out["std"] / np.sqrt(out["count"])
    return out.rename(columns={"mean": "deviation_kv", "se": "standard_error_kv", "count": "fillings"})[
        ["order", "deviation_kv", "standard_error_kv", "fillings"]
    ]


def _table(series: list[_Series]) -> pd.DataFrame:
    rows = []
    for s in series:
        tau = scipy.stats.kendalltau(s.number, s.kv) if len(s.kv) >= 3 and np.ptp(s.kv) > 0 else None
        x = s.number - s.number.mean()
        rows.append({
            **s.label, "breakdowns": len(s.kv), "withstood": s.withstood,
            "slope_kv": np.nan if s.withstood or len(s.kv) < 2 else float(x @ s.kv / (x @ x)),
            "mann_kendall_s": mann_kendall(s.kv)[0].statistic if len(s.kv) >= 3 else np.nan,
            "p_value": np.nan if tau is None else float(tau.pvalue),
        })  # fmt: skip
    return pd.DataFrame(rows)
