"""Which method tells oils apart better: Mandel's sensitivity ratio, and discrimination per hour of bench time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.agreement.lines import deming
from methods.agreement.results import (
    Result,
    known_rows,
    level_words,
    refuse_mixture,
    repeat_variance,
    results_of,
)
from methods.errors import InputError, NotEstimable
from methods.procedures import PROCEDURE
from methods.result import Caution, Shown


def relative_sensitivity(slope: float, s_first: float, s_second: float) -> float:
    """Mandel's ratio of second to first: |slope of second on first| s_first / s_second.

    Above 1 the second tells oils apart better; the ratio the other way is its inverse, and a change of
    scale of either method leaves it as it is. Mandel, The Statistical Analysis of Experimental Data
    (Wiley 1964), ch. 14.

    Parameters
    ----------
    slope : float
        Of the second method on the first.
    s_first : float
        SD of repeated results of the first, kV.
    s_second : float
        SD of repeated results of the second, kV.

    Examples
    --------
    >>> relative_sensitivity(2.0, 3.0, 4.0)
    1.5
    """
    if not (s_first > 0 and s_second > 0 and slope != 0):
        raise InputError("A sensitivity ratio needs repeat SDs above zero and a slope.")
    return float(abs(slope) * s_first / s_second)


def equivalent_results(ratio: float) -> float:
    """How many results of the first method discriminate as well as one of the second: the ratio squared."""
    return float(ratio**2)


@dataclass(frozen=True)
class Sensitivity:
    """Sensitivity of ``second`` relative to ``first``; ``equivalent_results`` of first are worth one of second."""

    first: str
    second: str
    oils: int
    slope: float
    intercept: float
    variance_ratio: float
    s_first: float
    s_second: float
    ratio: float
    ratio_low: float
    ratio_high: float
    equivalent_results: float
    confidence: float
    cautions: tuple[Caution, ...]


def _cells(rows: pd.DataFrame) -> pd.DataFrame:
    """The results by oil and laboratory: what lies between laboratories is no scatter of a method's results.

    Methods that were tried in more laboratories would otherwise seem to scatter more.
    """
    if rows["laboratory"].nunique() < 2:
        return rows
    return rows.assign(sample=rows["sample"].astype(str) + "\n" + rows["laboratory"].astype(str))


def _within_laboratories(rows: pd.DataFrame) -> list[Caution]:
    """A caution where results of one oil come from several laboratories: whose scatter the noise is."""
    known = rows[rows["laboratory"] != ""]
    if not (known.groupby("sample")["laboratory"].nunique() > 1).any():
        return []
    text = (
        f"Results come from {known['laboratory'].nunique()} laboratories: the noise is that of results within one, and "
        "what lies between them is no part of it. Oils that are sent to different ones are told apart less well."
    )
    return [Caution("within_laboratories", text)]


def _mandel(first: pd.DataFrame, second: pd.DataFrame) -> tuple[float, float, float, float, float]:
    """Ratio, slope, intercept, s_first, s_second of two tables with ``sample`` and ``kv``."""
    (v1, df1), (v2, df2) = repeat_variance(_cells(first)), repeat_variance(_cells(second))
    if df1 <= 0 or df2 <= 0 or v1 <= 0 or v2 <= 0:
        raise NotEstimable(
            "A sensitivity ratio needs repeated results (two fillings of an oil) by both methods; "
            "with one filling each take breakdowns as results."
        )
    x = first.groupby("sample")["kv"].mean()
    y = second.groupby("sample")["kv"].mean().reindex(x.index)
    line = deming(x.to_numpy(), y.to_numpy(), variance_ratio=v2 / v1)
    s1, s2 = float(np.sqrt(v1)), float(np.sqrt(v2))
    return relative_sensitivity(line.slope, s1, s2), line.slope, line.intercept, s1, s2


def sensitivity_ratio(
    data: Any,
    *,
    by: str | Sequence[str] = PROCEDURE,
    first: str,
    second: str,
    result: Result = "result",
    confidence: float = 0.95,
) -> Sensitivity:
    """Mandel's sensitivity ratio of two methods from results on the same oils.

    Slope by Deming regression of the oils' means with the ratio of the repeat variances; limits by the
    jackknife over oils on the log of the ratio, with t on n - 1 degrees of freedom.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    by : str or sequence of str, default PROCEDURE
        Column of the factor that tells the methods apart.
    first : str
        The level that is compared with.
    second : str
        The level that is compared.
    result : Result, default 'result'
        What one result is: ``result``, ``filling``, ``breakdown``, or so many fillings.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    InputError
        No such level. NotEstimable with fewer than four shared oils or nothing repeated.
    """
    table, by, notes = known_rows(data, by)
    refuse_mixture(table, by, (first, second))
    have = list(dict.fromkeys(level_words(table[by])))
    for name in (first, second):
        if name not in have:
            raise InputError(f"{by} has no level {name!r}; it has {'; '.join(have)}.", column=by, text=name)
    rows, said = results_of(table[level_words(table[by]).isin([first, second])], by, result)
    notes += said
    rows, more = _shared(rows, [first, second], by)
    one, two = rows[rows["level"] == first], rows[rows["level"] == second]
    ratio, slope, intercept, s1, s2 = _mandel(one, two)
    reach, n = _reach(one, two, confidence)
    notes += more
    if n < 10:
        notes.append(Caution("few_oils", f"With {n} oils the ratio's limits are rough."))
    return Sensitivity(
        first, second, n, slope, intercept, (s2 / s1) ** 2, s1, s2, ratio, float(ratio * np.exp(-reach)),
        float(ratio * np.exp(reach)), equivalent_results(ratio), confidence, tuple(notes),
    )  # fmt: skip


def _reach(one: pd.DataFrame, two: pd.DataFrame, confidence: float) -> tuple[float, int]:
    """Half-width of the limits of the log ratio by the jackknife over oils, and the number of oils."""
    oils = list(dict.fromkeys(one["sample"]))
    n = len(oils)
    if n < 4:
        raise NotEstimable(f"{n} oils were tested by both; a sensitivity ratio needs at least four.")
    left_out = np.array([np.log(_mandel(one[one["sample"] != o], two[two["sample"] != o])[0]) for o in oils])
    se = np.sqrt((n - 1) / n * ((left_out - left_out.mean()) ** 2).sum())
    return float(scipy.stats.t.ppf(0.5 + confidence / 2, n - 1) * se), n


def _order(rows: pd.DataFrame, found: pd.DataFrame, key: str, confidence: float) -> list[Caution]:
    """Whether the order of the first two may be chance: by the limits of their own ratio where that can be had.

    The limits of each by itself overlap often although the ratio, taken on the same oils, is well known.
    """
    first, second = found.iloc[0], found.iloc[1]
    if not np.isfinite([first[key], second[key]]).all():
        return []
    per = "per hour of bench time" if key == "per_hour" else "per result"
    one, two = (rows[rows["level"] == r["method"]] for r in (first, second))
    try:
        reach, n = _reach(two, one, confidence)
        ratio = _mandel(two, one)[0]
    except InputError:
        if first[f"{key}_low"] >= second[f"{key}_high"]:
            return []
        text = "The limits of the first two overlap, and their ratio cannot be had: their order may be chance."
        return [Caution("ranking", text)]
    ratio *= float(np.sqrt(second["minutes"] / first["minutes"])) if key == "per_hour" else 1.0
    low, high = ratio * np.exp(-reach), ratio * np.exp(reach)
    if low > 1:
        return []
    return [
        Caution(
            "ranking",
            f"{first['method']} tells oils apart {ratio:.2f} times as well as {second['method']} {per} ({low:.2f} to "
            f"{high:.2f}, {n} oils): their order may be chance.",
        )
    ]


def _shared(rows: pd.DataFrame, levels: list[str], by: str) -> tuple[pd.DataFrame, list[Caution]]:
    """Only the oils with complete results by every level; what was left out is named."""
    notes = []
    stood = sorted(set(rows.loc[rows["stood"], "sample"]))
    if stood:
        notes.append(
            Caution(
                "withstood", f"Left out because a test was withstood, so their mean is unknown: {', '.join(stood)}."
            )
        )
        rows = rows[~rows["sample"].isin(stood)]
    count = rows.groupby("sample")["level"].nunique()
    lone = list(count.index[count < len(levels)])
    if lone:
        notes.append(Caution("unpaired", f"Not tested by all of {', '.join(levels)} and left out: {', '.join(lone)}."))
        rows = rows[~rows["sample"].isin(lone)]
    return rows, notes


@dataclass(frozen=True, repr=False)
class Discrimination(Shown):
    """How well each method tells the oils apart, and per hour of bench time.

    ``methods`` has a row a method, best first: ``method, oils, results, signal_kv`` (SD between oils, the noise
    taken out), ``noise_kv`` (SD of a result on one oil), ``discrimination`` = signal / noise with limits,
    ``minutes`` a result takes on the bench, and ``per_hour`` with limits: the discrimination of the mean of as
    many results as an hour holds. Columns of time are nan where the minutes are not given.
    """

    by: str
    result: str
    methods: pd.DataFrame
    ranked_by: str
    confidence: float
    cautions: tuple[Caution, ...]


def discrimination(
    data: Any,
    *,
    by: str | Sequence[str] = PROCEDURE,
    minutes: Mapping[str, float] | None = None,
    result: Result = "result",
    confidence: float = 0.95,
) -> Discrimination:
    """Rank methods by how well they tell the same oils apart, per result and per bench hour.

    Only oils tested by all methods count, so that the spread between oils is that of the same oils. Limits
    from F for one-way classification (Searle, Casella and McCulloch, Variance Components (1992), ch. 3),
    with the harmonic mean of the numbers of results. Where no oil has two results, and a result is the mean of several
    fillings, the noise of a result is that of its fillings over the root of their number. Of several laboratories it is
    the noise within one.

    Parameters
    ----------
    minutes : mapping, optional
        Level of ``by`` -> bench minutes of one result, such as from :func:`methods.procedures.minutes_of`.
    result
        What is one result, as for :func:`methods.precision`: what the method reports unless said.
    data : Records or DataFrame
        The records.
    by : str or sequence of str, default PROCEDURE
        Column or columns of the factor that tells the methods apart.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        Fewer than three shared oils, or no method repeated.
    """
    table, by, notes = known_rows(data, by)
    refuse_mixture(table, by)
    rows, said = results_of(table, by, result)
    notes += said
    rows, more = _shared(rows, list(dict.fromkeys(rows["level"])), by)
    notes += more
    if rows["sample"].nunique() < 3:
        raise NotEstimable(
            "Fewer than three oils were tested by all methods; how well they tell oils apart cannot be seen."
        )
    out = [
        _one(name, part, (minutes or {}).get(str(name)), confidence) for name, part in rows.groupby("level", sort=False)
    ]
    found = pd.DataFrame(out)
    if found["discrimination"].isna().all():
        raise NotEstimable("No method has repeated results, so its noise is unknown; test two fillings of some oils.")
    silent = list(found.loc[found["discrimination"].isna(), "method"])
    if silent:
        notes.append(Caution("not_repeated", f"No repeated results by {', '.join(silent)}: noise unknown, not ranked."))
    timed = bool(found["minutes"].notna().all())
    key = "per_hour" if timed else "discrimination"
    found = found.sort_values(key, ascending=False, na_position="last", ignore_index=True)
    if len(found) > 1:
        notes += _order(rows, found, key, confidence)
    notes += _within_laboratories(rows)
    return Discrimination(by, str(result), found, key, confidence, tuple(notes))


def _one(name: object, part: pd.DataFrame, minutes: float | None, confidence: float) -> dict[str, object]:
    groups = part.groupby("sample")["kv"]
    counts = groups.size().to_numpy(dtype=float)
    p, total = counts.size, counts.sum()
    row: dict[str, object] = {"method": str(name), "oils": p, "results": int(total)}
    nan = float("nan")
    noise2, df = repeat_variance(_cells(part))
    m = p / (1 / counts).sum()
    spread = m * float(groups.mean().var(ddof=1))
    if not (df > 0 and noise2 > 0):
        row |= dict.fromkeys(
            ["signal_kv", "noise_kv", "discrimination", "discrimination_low", "discrimination_high"], nan
        )
    else:
        f, tail = spread / noise2, (1 - confidence) / 2
        ends = (f / scipy.stats.f.ppf(1 - tail, p - 1, df), f / scipy.stats.f.ppf(tail, p - 1, df))
        low, high = (float(np.sqrt(max(v - 1, 0.0) / m)) for v in ends)
        signal = float(np.sqrt(max(spread - noise2, 0.0) / m))
        noise = float(np.sqrt(noise2))
        row |= {"signal_kv": signal, "noise_kv": noise, "discrimination": signal / noise}
        row |= {"discrimination_low": low, "discrimination_high": high}
    hours = np.sqrt(60 / minutes) if minutes else nan
    row["minutes"] = float(minutes) if minutes else nan
    for end in ("", "_low", "_high"):
        row[f"per_hour{end}"] = float(row[f"discrimination{end}"]) * hours  # type: ignore[arg-type]
    return row
