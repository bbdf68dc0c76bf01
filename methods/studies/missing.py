"""The tests that would take apart what changes together in the records, as a run sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from methods.columns import with_unit
from methods.errors import InputError, NotEstimable
from methods.procedures import FIELDS
from methods.records.table import as_table
from methods.result import Caution
from methods.shifts import confounding
from methods.studies.plan_result import WithSheet
from methods.studies.procedure_plan import ProcedurePlan, from_mapping
from methods.studies.sheet import bench_sheet


@dataclass(frozen=True, repr=False)
class MissingPlan(WithSheet):
    """The result of :func:`plan_missing`: which fillings to test, and their sheet. ``complete``: all is told apart."""

    tests: list[str]
    fillings: int
    runs: int
    bench_minutes: float
    days: int
    complete: bool
    seed: int
    sheet: pd.DataFrame
    sentence: str
    cautions: list[Caution]


def plan_missing(
    data: Any, *, fillings: int = 2, most: int = 12, hours_a_day: float = 7.0, rng: int = 0
) -> MissingPlan:  # fmt: skip
    """The tests that :func:`methods.shifts.confounding` finds missing, each on so many fillings, in random order.

    Parameters
    ----------
    data : Records or DataFrame
    fillings : int
        Of each test; two show how fillings scatter.
    most : int
        Most tests.
    hours_a_day : float, default 7.0
        Bench hours of a day.
    rng : int, default 0
        Seed of the order, kept with the sheet.

    Raises
    ------
    NotEstimable
        Nothing is missing, or no test that a bench can make would help.
    InputError
        No fillings.
    """
    if isinstance(fillings, bool) or fillings != int(fillings) or fillings < 1:
        raise InputError(f"{fillings!r} fillings: one or more.", rule="1 or more")
    table = as_table(data)
    found = confounding(table, most=most)
    if not found.missing:
        raise NotEstimable(
            "No further test is needed: " + found.sentences[0]
            if found.complete
            else "No test that a bench can make would take these factors apart: " + " ".join(found.sentences)
        )
    oils = sorted({str(t["sample"]) if "sample" in t else "any oil" for t in found.missing})
    plans: list[ProcedurePlan] = []
    names: dict[str, int] = {}
    pairs = set()
    for test in found.missing:
        plan = _procedure(test, table)
        at = names.setdefault(plan.procedure, len(plans))
        if at == len(plans):
            plans.append(plan)
        pairs.add((at, oils.index(str(test.get("sample", "any oil")))))
    sheet, days = bench_sheet(oils, plans, int(fillings), int(rng), hours_a_day, only=pairs)
    runs = len(pairs) * int(fillings)
    minutes = float(fillings) * sum(plans[p].minutes for p, _ in pairs)
    sentence = (
        f"Test these {runs} filling{'s' if runs > 1 else ''}: {len(pairs)} combination{'s' if len(pairs) > 1 else ''} "
        f"that the records lack, about {minutes / 60:.1f} h in {days} day{'s' if days > 1 else ''}. "
        + ("Then every factor can be told apart." if found.complete else "That tells some of the factors apart.")
    )
    return MissingPlan(
        list(found.suggestions[: len(found.missing)]), int(fillings), runs, minutes, days, found.complete, int(rng),
        sheet, sentence, _cautions(plans),
    )  # fmt: skip


def _procedure(test: dict[str, Any], table: pd.DataFrame) -> ProcedurePlan:
    """What is set: what the test names, and of the rest what all records have alike."""
    settings = {f: test[f] for f in FIELDS if f in test}
    for f in FIELDS:
        values = table[f].dropna().unique()
        if f not in settings and len(values) == 1 and f not in ("method", "edition"):
            settings[f] = values[0]
    name = ", ".join(with_unit(f, v) for f, v in settings.items()) or "as before"
    if "laboratory" in test:
        settings, name = {**settings, "laboratory": test["laboratory"]}, f"{name}, {test['laboratory']}"
    per = table.groupby(list(_FILLING), dropna=False).size()
    plan = from_mapping({**settings, "procedure": name, "breakdowns_per_filling": int(per.median())}, 0.1, 0.0)
    where = {"laboratory": settings["laboratory"]} if "laboratory" in settings else {}
    return replace(plan, settings={**where, **plan.settings})


_FILLING: Sequence[str] = ("sample", *FIELDS, "filling")


def _cautions(plans: Sequence[ProcedurePlan]) -> list[Caution]:
    text = (
        "A test whose electrode, gap and stirring are no method's own belongs to none: it serves to tell effects "
        "apart, and its waits and pauses are to be those of the tests beside it."
    )
    return [Caution("no_method", text)] if any("method" not in p.settings for p in plans) else []
