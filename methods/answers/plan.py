"""How many breakdowns on how many fillings does it take?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table, rows_of
from methods.answers.writing import number

QUESTION = "plan"
#: What stands in the table of a plan, as far as the plan has it.
_PLAN = (
    "scatter", "taken", "more", "total", "results", "fillings", "fillings_per_condition",
    "breakdowns_per_filling", "breakdowns",
    "breakdowns_per_condition", "degrees_of_freedom", "percentile", "percentile_percent", "margin", "margin_percent",
    "expected_difference_percent", "difference", "difference_percent", "half_width", "half_width_percent",
    "half_width_known", "half_width_known_percent", "half_width_kv", "half_width_after_kv",
    "half_width_percent_of_point", "assurance", "power", "power_known", "wrong_verdict_probability", "achieved",
    "low_factor", "high_factor", "tolerance_factor", "surely_above_percent", "order_statistics",
    "bench_minutes", "oil_ml",
)  # fmt: skip
#: Ways to stop in words.
STOPS = {"two_stage": "decide once, now", "stop_when_narrow": "look after each, stop when narrow"}


def plan(found: Any) -> Answer:
    """A plan of any goal: the numbers, what they cost, and the designs that were weighed."""
    tables = [_table("plan", "The plan", [_row(found)])]
    weighed = designs(found)
    if weighed is not None:
        tables.append(Table("howmany_designs", "Designs", weighed, "", OWN.get(QUESTION, {})))
    if getattr(found, "rates", ()):
        rates = rows_of(found.rates).replace({"rule": STOPS})
        tables.append(Table("howmany_rules", "How honest the two ways to stop are", rates, "", OWN.get(QUESTION, {})))
    return Answer(QUESTION, _said(found), tuple(found.cautions), tuple(tables), (), found)


def pilot_plan(found: Any) -> Answer:
    """A plan with existing data as the pilot: as its scatter stands, and to be sure."""
    rows = [
        {"scatter": name, **_row(one)}
        for name, one in (("as the pilot stands", found.estimate), ("to be sure", found.assured))
        if one is not None
    ]
    table = _table("plan", "The plan", rows)
    return Answer(QUESTION, (found.sentence,), tuple(found.cautions), (table,), (), found)


def designs(found: Any) -> pd.DataFrame | None:
    """The designs that a plan weighs against each other; None where there is one only."""
    rows = getattr(found, "designs", None) or getattr(found, "rules", None)
    if not rows:
        return None
    frame = rows_of(rows)
    frame = frame.drop(columns=[c for c in ("half_width", "half_width_known") if c in frame]).dropna(axis=1, how="all")
    for name in ("fillings", "breakdowns", "breakdowns_per_filling"):
        if name in frame:
            frame[name] = frame[name].astype("Int64")
    for name in [str(c) for c in frame if frame[c].dtype == object]:
        if name not in ("rule", "reaches_target"):
            frame[name] = frame[name].astype(float)
    return frame


def _said(found: Any) -> tuple[str, ...]:
    minutes, oil = getattr(found, "bench_minutes", None), getattr(found, "oil_ml", None)
    if minutes is None:
        return (found.sentence,)
    litres = f" and {number(oil / 1000, 2)} L of oil" if oil else ""
    first, _, rest = found.sentence.partition(". ")
    said = f"About {number(float(minutes), 2)} minutes on the bench{litres}."
    return (f"{first.rstrip('.')}.", said, *([rest] if rest else []))


def _row(found: Any) -> dict[str, Any]:
    return {n: getattr(found, n) for n in _PLAN if getattr(found, n, None) is not None}


def _table(name: str, title: str, rows: Sequence[Mapping[str, Any]]) -> Table:
    columns = [n for n in _PLAN if any(n in row for row in rows)]
    return Table(name, title, pd.DataFrame(rows, columns=columns), "", OWN.get(QUESTION, {}))
