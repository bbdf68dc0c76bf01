"""Which distribution describes the breakdown voltages, and what lies at its low end?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.answers.writing import listed, number
from methods.columns import level_text
from methods.families import titles
from methods.result import Caution
from methods.scatter.fitting import INTERVALS, Fit
from methods.scatter.groups import Fits

QUESTION = "fit"
_OIL = (
    "mean_kv", "mean_low_kv", "mean_high_kv", "holds_for", "sd_kv", "sd_low_kv", "sd_high_kv", "cov_percent",
    "cov_low_percent", "cov_high_percent", "within_sd_kv", "within_low_kv", "within_high_kv", "between_sd_kv",
    "between_low_kv", "between_high_kv",
)  # fmt: skip
#: Field of the oil that holds two limits -> the two columns.
_LIMITS = {
    "sd_limits_kv": ("sd_low_kv", "sd_high_kv"), "cov_limits_percent": ("cov_low_percent", "cov_high_percent"),
    "within_sd_limits_kv": ("within_low_kv", "within_high_kv"),
    "between_sd_limits_kv": ("between_low_kv", "between_high_kv"),
}  # fmt: skip
#: Counted in tests/calibration/RESULTS.md, which lists what limits hold where.
_SDS = (
    "Limits of SDs rest on normal scatter, and reach lower where wide values show: with one value in twenty three "
    "times as wide they hold in about 96 of 100 for one result, 91 within fillings. Limits of the mean hold there."
)
Row = Mapping[str, Any]


#: Groups up to which a caution names them.
MOST_NAMED = 8


def fits(found: Fits | Sequence[Row]) -> Answer:
    """Every family at every group, best AICc first: parameters, percentiles with limits, the oil's mean and scatter."""
    groups: dict[str, list[Row]] = {}
    for row in found:
        groups.setdefault(repr(row["group"]), []).append(row)
    ordered = [row for rows in groups.values() for row in sorted(rows, key=_rank)]
    made = [row for row in ordered if "error" not in row]
    sure = sorted({(r["confidence"], r["interval"]) for r in made})
    note = " ".join(f"Limits: {100 * c:g} % confidence, {INTERVALS[i]}." for c, i in sure)
    tables = [_table("fits", "Fitted distributions", [_fit(r) for r in ordered], "Parameters ± standard error.")]
    if made:
        tables.append(_table("percentiles", "Percentiles by each family", [_percentiles(r) for r in made], note))
    oils = [next(r for r in rows if r.get("oil") is not None) for rows in groups.values()
            if any(r.get("oil") is not None for r in rows)]  # fmt: skip
    if oils:
        tables.append(_table("oils", "Mean and scatter, whatever the family", [_oil(r) for r in oils], _SDS))
        above = [line for r in oils for line in _above(r)]
        if above:
            levels = sorted({r["oil"].confidence for r in oils})
            note = f"Normal law, with a one-sided confidence of {listed([f'{100 * c:g} %' for c in levels])}."
            tables.append(_table("tolerance", "What most breakdowns lie above", above, note))
        free = [line for rows in groups.values() for line in _free(rows)]
        if free:
            note = "Order statistics of independent breakdowns; – where no rank is a limit at that confidence."
            tables.append(_table("free_limits", "Percentiles without a family", free, note))
    said = tuple(_best(rows) for rows in groups.values())
    return Answer(QUESTION, said, tuple(_cautions(made)), tuple(tables), ("distribution",) if made else (), found)


def fit(found: Fit) -> Answer:
    """One family at one set of values."""
    row = {"group": {}, **{name: getattr(found, name) for name in found.__dataclass_fields__}}
    made = fits([row])
    return Answer(QUESTION, made.sentences, tuple(found.cautions), made.tables, made.plots, found)


def group_words(row: Row) -> str:
    """What a group is called; nothing where there is one of everything."""
    return ", ".join(level_text(v) for v in row["group"].values())


def _rank(row: Row) -> tuple[bool, float]:
    aicc = row.get("aicc")
    there = aicc is not None and np.isfinite(aicc)
    return (not there, float(aicc) if there and aicc is not None else 0.0)


def _head(row: Row) -> dict[str, Any]:
    return {k: level_text(v) for k, v in row["group"].items()}


def _fit(row: Row) -> dict[str, Any]:
    test = row.get("anderson_darling") or {}
    return {
        **_head(row), "family": row["family"], "n": row["n"], "withstood": row["withstood"],
        "fillings": row.get("fillings"), "parameters": _parameters(row) if "error" not in row else None,
        "log_likelihood": row.get("log_likelihood"), "aicc": row.get("aicc"), "ad": test.get("modified"),
        "ad_p": test.get("p_value"), "error": row.get("error"),
    }  # fmt: skip


def _parameters(row: Row) -> str:
    errors = row["standard_errors"]
    made = [f"{k.replace('_', ' ')} {number(v, 4)} ± {number(errors.get(k))}" for k, v in row["parameters"].items()]
    return ", ".join(made)


def _percentiles(row: Row) -> dict[str, Any]:
    out = {**_head(row), "family": row["family"]}
    for point in row["percentiles"]:
        p = f"{100 * point.p:g}"
        out |= {f"kv_{p}": point.kv, f"low_{p}": point.low, f"high_{p}": point.high}
    return out


def _oil(row: Row) -> dict[str, Any]:
    oil = row["oil"]
    values = {n: getattr(oil, n, None) for n in _OIL}
    for limits, (low, high) in _LIMITS.items():
        values[low], values[high] = getattr(oil, limits) or (None, None)
    return {**_head(row), **values}


def _above(row: Row) -> list[dict[str, Any]]:
    points = [q for q in row["oil"].percentiles if q.p < 0.5 and q.surely_above_kv is not None]
    return [
        {**_head(row), "share_above": 1 - q.p, "surely_above_kv": max(q.surely_above_kv, 0.0),
         "confidence": row["oil"].confidence}
        for q in points if np.isfinite(q.surely_above_kv)
    ]  # fmt: skip


def _free(rows: Sequence[Row]) -> list[dict[str, Any]]:
    found = next((r["free_limits"] for r in rows if r.get("free_limits")), ())
    return [
        {**_head(rows[0]), "p": q.p, "low_kv": q.low, "high_kv": q.high, "n": q.n, "confidence": q.confidence}
        for q in found if np.isfinite([q.low, q.high]).any()
    ]  # fmt: skip


def _best(rows: Sequence[Row]) -> str:
    """Which family describes a group best, from the table's own cells."""
    name = group_words(rows[0])
    lead = f"{name}: " if name else ""
    there = [r for r in rows if "error" not in r]
    if not there:
        return f"{lead}no family can be fitted; the reasons stand in the table."
    ranked = [r for r in there if not _rank(r)[0]]
    best = min(ranked or there, key=_rank)
    point = best["percentiles"][0] if best["percentiles"] else None
    family = titles([str(best["family"])])[str(best["family"])]
    of = "of the families tried, " if len(rows) > 1 else "the "
    text = f"{lead}{of}{family} describes the readings best" if len(ranked) > 1 else f"{lead}{family} fitted"
    if len(rows) > 1 and not ranked:
        text = f"{lead}too few readings to rank the families; {family} fitted"
    if point is None:
        return f"{text}."
    limits = f" ({number(point.low)} to {number(point.high)} kV)" if np.isfinite([point.low, point.high]).all() else ""
    return f"{text}; by it {100 * point.p:g} % of breakdowns lie below {number(point.kv)} kV{limits}."


def _cautions(made: Sequence[Row]) -> list[Caution]:
    """Each caution once; what concerns some groups or families only names them."""
    seen: dict[tuple[str, str], list[Row]] = {}
    for row in made:
        for caution in row.get("cautions", ()):
            seen.setdefault((caution.code, caution.text), []).append(row)
    out = []
    for (code, text), rows in seen.items():
        families = list(dict.fromkeys(str(r["family"]) for r in rows))
        groups = [g for g in dict.fromkeys(group_words(r) for r in rows) if g]
        every = {group_words(r) for r in made}
        whose = []
        if len(groups) < len(every) and groups:
            whose.append("; ".join(groups) if len(groups) <= MOST_NAMED else f"{len(groups)} of {len(every)} groups")
        if len(families) < len({str(r["family"]) for r in made}):
            whose.append(listed(titles(families).values()))
        out.append(Caution(code, f"{', '.join(whose)}: {text}" if whose else text))
    return out


def _table(name: str, title: str, rows: Sequence[Mapping[str, Any]], note: str = "") -> Table:
    """A table without the columns that hold nothing."""
    frame = pd.DataFrame(rows)
    frame = frame[[c for c in frame.columns if bool(frame[c].notna().any())]]
    return Table(name, title, frame, note, OWN.get(QUESTION, {}))
