"""The check-oil chart: one oil, one procedure, result after result, with limits, run rules and the electrode log.

A result is the mean of one filling. Fillings differ by more than breakdowns within one filling explain, so limits for
means come from the moving range of results (individuals); limits from the SD within fillings (``mean_and_sd``) hold
only where fillings do not differ, and a caution says when they do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.columns import CONDITION, ELECTRODE_LOG, LABELS, STIRRED, name_level
from methods.control.run_rules import RunRule, broken, chosen
from methods.control.shewhart import (
    RANGE_FACTOR,
    WIDTH,
    c4,
    false_alarms,
    moving_ranges,
    sd_factors,
    sigma_of,
)
from methods.errors import InputError, NotEstimable
from methods.records.table import as_table, filling_codes, group_codes, withstood
from methods.result import Caution, Shown
from methods.shifts.two_sample import t_from_summary
from methods.wording import percent

CHARTS = ("individuals", "mean_and_sd")
#: Fewest results that limits are made of, and fewest with which they are settled (common practice, no source).
FEWEST, SETTLED = 3, 20
#: The rules that are asked by default: single results, runs to one side, and clusters on one side.
RULES = ("1", "2", "5", "6")


@dataclass(frozen=True, repr=False)
class CheckOil(Shown):
    """A check-oil chart.

    Attributes
    ----------
    oil : str
        The oil and its procedure, as far as the records name them.
    chart : str
        ``individuals`` or ``mean_and_sd``.
    points : DataFrame
        A row a result, in the order of the tests: ``result`` (from 1), ``tested_on``, ``filling``, ``breakdowns``,
        ``withstood``, ``mean_kv`` (none where some withstood), ``low_kv``, ``high_kv`` (limits), ``moving_range_kv``,
        ``sd_kv``, ``sd_low_kv``, ``sd_high_kv``, ``in_baseline``, ``broken`` (keys of the rules that it breaks).
    centre_kv, sigma_kv : float
        Centre line, and SD of single results behind the limits.
    mean_range_kv, range_high_kv : float
        Of the moving range: its mean and its upper limit.
    mean_sd_kv : float
        SD within fillings, averaged.
    baseline : int
        Results of which the limits were made.
    rules : tuple of RunRule
    false_alarms : float
        Of 100 further results in control, how many these limits and rules flag on average, by simulation.
    marks : DataFrame
        The electrode log: ``marked_on, what, electrode, instrument, note``, ``after_result``, ``before``, ``after``
        (results since the entry before, and up to the next), ``difference_kv``, ``low_kv``, ``high_kv``, ``p_value``.
    """

    oil: str
    chart: str
    points: pd.DataFrame
    centre_kv: float
    sigma_kv: float
    mean_range_kv: float
    range_high_kv: float
    mean_sd_kv: float
    baseline: int
    rules: tuple[RunRule, ...]
    false_alarms: float
    marks: pd.DataFrame
    cautions: tuple[Caution, ...] = ()


def cases(data: Any) -> dict[str, pd.DataFrame]:
    """Oils with their procedures that were tested at least three times: name -> rows, the most tested first."""
    table = as_table(data)
    codes = group_codes(table, ("sample", *CONDITION))
    fillings = filling_codes(table)
    count = pd.Series(fillings).groupby(codes).nunique().sort_values(ascending=False, kind="stable")
    often = count.index[count.to_numpy() >= FEWEST].to_numpy()
    parts = {int(c): table[codes == c].reset_index(drop=True) for c in often}
    differs = [c for c in LABELS if c != "filling" and table[c].nunique(dropna=False) > 1]
    out: dict[str, pd.DataFrame] = {}
    for part in parts.values():
        said = ", ".join(_named_level(c, part[c].iloc[0]) for c in differs if pd.notna(part[c].iloc[0])) or "the oil"
        out[said if said not in out else f"{said} ({len(out) + 1})"] = part
    return out


def _named_level(column: str, value: Any) -> str:
    return STIRRED.get(value, str(value)) if column == "stirring" else name_level(column, value)


def check_oil(
    data: Any, *, chart: str = "individuals", baseline: int | None = None, rules: Sequence[str] = RULES,
    marks: pd.DataFrame | None = None, name: str | None = None,
) -> CheckOil:  # fmt: skip
    """Chart the results of one oil under one procedure.

    Parameters
    ----------
    data : Records or DataFrame
        Of one oil under one condition; a filling is one result. They stand in the order of ``tested_on``, or where
        that is not given in the order of the file.
    chart : "individuals" or "mean_and_sd"
    baseline : int, optional
        Of how many results, from the first on, the limits are made; by default all.
    rules : sequence of str
        Keys of :func:`methods.control.run_rules.run_rules`.
    marks : DataFrame, optional
        The electrode log (``marked_on``, ``what``); by default that of the records.
    name : str, optional
        What the oil is called.

    Raises
    ------
    InputError
        Several oils or conditions, or an option that is not there.
    NotEstimable
        Fewer than three results without a withstand.
    """
    if chart not in CHARTS:
        raise InputError(f"chart is {chart!r}; it is one of {', '.join(CHARTS)}.", text=chart)
    asked = chosen(rules)
    table = as_table(data)
    codes = group_codes(table, ("sample", *CONDITION))
    if len(table) and codes.max() > 0:
        some = "; ".join(list(cases(table))[:6]) or "none was tested three times"
        raise InputError(
            f"A check-oil chart is of one oil under one procedure; here are {codes.max() + 1}. Choose one, such "
            f"as with --where sample=NAME. Most tested: {some}.", rule="one oil, one procedure",
        )  # fmt: skip
    points = _points(table)
    known = points["mean_kv"].notna().to_numpy()
    if known.sum() < FEWEST:
        raise NotEstimable(
            f"Results with a mean: {int(known.sum())}; a chart needs at least {FEWEST}. One with a withstand has none: "
            "choose an oil that stays below the ceiling."
        )
    most = len(points) if baseline is None else min(int(baseline), len(points))
    base = known & (np.arange(len(points)) < most)
    if base.sum() < FEWEST:
        raise InputError(f"Limits are made of at least {FEWEST} results with a mean; these are {int(base.sum())}.")
    values = points["mean_kv"].to_numpy(dtype=float)
    number = points["breakdowns"].to_numpy(dtype=float)
    ranges = moving_ranges(values[known])
    points["moving_range_kv"] = np.nan
    points.loc[known, "moving_range_kv"] = ranges
    centre, sigma = float(values[base].mean()), float(sigma_of(values[base]))
    sd = points["sd_kv"].to_numpy(dtype=float)
    several = base & (number > 1)
    mean_sd = float(np.average(sd[several], weights=number[several] - 1)) if several.any() else math.nan
    within = _within(sd[several], number[several]) if several.any() else math.nan
    if chart == "mean_and_sd" and not within > 0:
        raise NotEstimable("Limits from the SD within fillings need several breakdowns on a filling.")
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = np.full(len(points), WIDTH * sigma) if chart == "individuals" else WIDTH * within / np.sqrt(number)
        low, high = sd_factors(np.maximum(number, 2))
        middle = c4(np.maximum(number, 2)) * within
    points["low_kv"], points["high_kv"] = centre - reach, centre + reach
    points["sd_low_kv"], points["sd_high_kv"] = low * middle, high * middle
    points["in_baseline"] = base
    if not reach[known].min() > 0:
        raise NotEstimable("All results of the baseline are equal, so there is no scatter to make limits of.")
    z = np.where(known, (values - centre) * WIDTH / reach, np.nan)
    hits = [(rule.key, broken(z, rule)) for rule in asked]
    points["broken"] = [", ".join(k for k, hit in hits if hit[i]) for i in range(len(points))]
    log = marks if marks is not None else getattr(data, "marks", None)
    mean_range = float(np.nanmean(moving_ranges(values[base])))
    told = CheckOil(
        name or next(iter(_named(table)), "the oil"), chart, points, centre,
        sigma if chart == "individuals" else within, mean_range, RANGE_FACTOR * mean_range, mean_sd,
        int(base.sum()), tuple(asked),
        false_alarms(int(base.sum()), asked), _marked(log, points),
    )  # fmt: skip
    return _with_cautions(told, table, values[base], number[base], within)


def _named(table: pd.DataFrame) -> list[str]:
    said = [name_level(c, table[c].iloc[0]) for c in LABELS if c != "filling" and pd.notna(table[c].iloc[0])]
    return [", ".join(said)] if said else []


def _points(table: pd.DataFrame) -> pd.DataFrame:
    """A row a filling, in the order of the tests."""
    codes, stood, kv = filling_codes(table), withstood(table), table["kv"].to_numpy(dtype=float)
    rows = []
    for code in range(int(codes.max(initial=-1)) + 1):
        mine = codes == code
        first = table[mine].iloc[0]
        gone = int(stood[mine].sum())
        rows.append({
            "tested_on": first["tested_on"], "filling": first["filling"], "breakdowns": int(mine.sum()) - gone,
            "withstood": gone, "mean_kv": float(kv[mine].mean()) if not gone else math.nan,
            "sd_kv": float(kv[mine].std(ddof=1)) if not gone and mine.sum() > 1 else math.nan,
        })  # fmt: skip
    out = pd.DataFrame(rows)
    if len(out) and out["tested_on"].notna().all():
        out = out.sort_values("tested_on", kind="stable", ignore_index=True)
    out.insert(0, "result", np.arange(1, len(out) + 1))
    return out


def _within(sd: np.ndarray, number: np.ndarray) -> float:
    """SD within fillings: the mean of the SDs, each over its c4."""
    known = np.isfinite(sd)
    return float(np.mean(sd[known] / c4(number[known]))) if known.any() else math.nan


def _marked(log: pd.DataFrame | None, points: pd.DataFrame) -> pd.DataFrame:
    """The entries of the log, each with what the results did at it."""
    columns = list(ELECTRODE_LOG)
    if log is None or not len(log):
        return pd.DataFrame(columns=columns)
    out = log.reindex(columns=columns).sort_values("marked_on", kind="stable", ignore_index=True)
    if not points["tested_on"].notna().all():
        return out
    days = points["tested_on"].astype(str).str[:10].to_numpy()
    place = [int((days < str(d)[:10]).sum()) for d in out["marked_on"]]
    edges = sorted({0, len(points), *place})
    values, rows = points["mean_kv"].to_numpy(dtype=float), []
    for at in place:
        i = edges.index(at)
        before = values[edges[i - 1] : at] if i else values[:0]
        after = values[at : edges[i + 1]] if i + 1 < len(edges) else values[:0]
        before, after = before[np.isfinite(before)], after[np.isfinite(after)]
        row: dict[str, Any] = {"after_result": at, "before": len(before), "after": len(after)}
        if min(len(before), len(after)) >= 2:
            t = t_from_summary(
                float(after.mean()), float(after.std(ddof=1)), len(after),
                float(before.mean()), float(before.std(ddof=1)), len(before),
            )  # fmt: skip
            row |= {"difference_kv": t.difference, "low_kv": t.low, "high_kv": t.high, "p_value": t.p_value}
        rows.append(row)
    names = ["after_result", "before", "after", "difference_kv", "low_kv", "high_kv", "p_value"]
    return pd.concat([out, pd.DataFrame(rows).reindex(columns=names)], axis=1)


def _with_cautions(
    found: CheckOil, table: pd.DataFrame, base: np.ndarray, number: np.ndarray, within: float
) -> CheckOil:
    out = []
    if found.baseline < SETTLED:
        out.append(Caution("few", (
            f"The limits come from {found.baseline} results; below {SETTLED} they are not settled: about "
            f"{percent(found.false_alarms)} of 100 further results in control would be flagged."
        )))  # fmt: skip
    gone = int((found.points["withstood"] > 0).sum())
    if gone:
        out.append(Caution("withstood", (
            f"{gone} results hold withstood tests: they have no mean, stand in no limit, and no pattern goes "
            "across them."
        )))  # fmt: skip
    if table["tested_on"].isna().any():
        out.append(Caution("undated", "Not all tests have a day: the order of the file counts as that of the tests."))
    if within > 0 and number.min() > 1 and len(base) > FEWEST:
        ratio = float(base.var(ddof=1) / (within**2 * np.mean(1 / number)))
        p = float(scipy.stats.f.sf(ratio, len(base) - 1, float(np.sum(number - 1))))
        if p < 0.05:
            what = (
                "the limits shown are too narrow for results: choose individuals"
                if found.chart == "mean_and_sd"
                else "limits from the SD within fillings would be too narrow"
            )
            out.append(Caution("between_fillings", (
                f"Results scatter {math.sqrt(ratio):.2g} times as widely as the breakdowns on one filling explain "
                f"(p {p:.2g}), so {what}."
            )))  # fmt: skip
    import dataclasses

    return dataclasses.replace(found, cautions=tuple(out))


__all__ = ["CHARTS", "RULES", "CheckOil", "cases", "check_oil"]
