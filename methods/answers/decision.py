"""Does the oil reach the limit of its method, and how sure is that?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.answers.writing import listed, plural
from methods.planning.judging import Decision, Decisions
from methods.planning.standing import name_of, telling
from methods.protocols.grades import FAIR, GOOD, POOR
from methods.result import Caution

QUESTION = "decision"
_FIELDS = (
    "verdict", "mean_kv", "expanded_uncertainty_kv", "low_kv", "minimum_kv", "probability_above",
    "wrong_verdict_probability", "guard_band_kv", "surely_above_kv", "results", "fillings", "breakdowns", "withstood",
    "basis",
)  # fmt: skip
_VERBS = {"pass": ("passes", "pass"), "fail": ("fails", "fail"), "undecided": ("is undecided", "are undecided")}


def decisions(found: Decisions) -> Answer:
    """The verdict on each oil and condition; of several their numbers and the least sure; what was not compared."""
    made, own = found.decisions, OWN.get(QUESTION, {})
    rule = f"Limit: {found.limit}. Rule: {found.rule}."
    tables = [Table("decision_verdicts", "Verdicts", _rows(made), rule, own)]
    if found.refused:
        names = telling([r["group"] for r in found.refused])
        rows = [
            {"case": name_of(r["group"], names), "breakdowns": r["breakdowns"], "reason": r["reason"]}
            for r in found.refused
        ]
        tables.append(Table("decision_not_compared", "Not compared", pd.DataFrame(rows), "", own))
    cautions: list[Caution] = list(dict.fromkeys(c for d in made for c in d.cautions))
    return Answer(QUESTION, _said(found), tuple(cautions), tuple(tables), ("means",) if made else (), found)


def decision(found: Decision) -> Answer:
    """The verdict on one oil under one condition."""
    rule = f"Limit: {found.limit}. Rule: {found.rule}."
    table = Table("decision_verdicts", "Verdicts", _rows([found]), rule, OWN.get(QUESTION, {}))
    return Answer(QUESTION, (found.sentence,), tuple(found.cautions), (table,), ("means",), found)


def telling_columns(made: Sequence[Decision]) -> list[str]:
    """What each decision is called: the columns that it takes to tell them apart."""
    names = telling([d.group or {} for d in made])
    return [name_of(d.group or {}, names) for d in made]


def _rows(made: Sequence[Decision]) -> pd.DataFrame:
    rows: list[dict[str, Any]] = []
    for label, one in zip(telling_columns(made), made, strict=True):
        values = {n: getattr(one, n) for n in _FIELDS}
        values = {
            "verdict": values.pop("verdict"),
            **grade_cells(one),
            **values,
            "departures": "; ".join(one.departures),
        }
        rows.append({"case": label, **{n: np.nan if v is None else v for n, v in values.items()}})
    table = pd.DataFrame(rows, columns=list(rows[0]) if rows else ["case", *_FIELDS])
    return table if any(one.departures for one in made) else table.drop(columns="departures", errors="ignore")


def grade_cells(made: Decision) -> dict[str, Any]:
    """The grade and its probabilities as cells of a table; nothing where the limit is not graded."""
    if not made.grades:
        return {}
    return {"grade": made.grade, **{f"probability_{g.name}": g.probability for g in made.grades}}


def _said(found: Decisions) -> tuple[str, ...]:
    made, said = found.decisions, []
    if len(made) == 1:
        said.append(made[0].sentence)
    else:
        counts = {v: sum(d.verdict == v for d in made) for v in _VERBS}
        told = [f"{n} {_VERBS[v][n > 1]}" for v, n in counts.items() if n]
        rule = "" if found.rule == "simple" else f" ({found.rule})"
        against = f"against {found.limit_kv:g} kV{rule}"
        said.append(f"Of {len(made)} oils and conditions {listed(told)} {against}.")
        grades = {g: sum(d.grade == g for d in made) for g in (GOOD, FAIR, POOR)}
        if any(grades.values()):
            said.append(f"Grades: {listed([f'{n} {g}' for g, n in grades.items() if n])}.")
        unsure = [(d.wrong_verdict_probability, name, d) for name, d in zip(telling_columns(made), made, strict=True)]
        chances = [c for c, _, _ in unsure if c is not None]
        if chances:
            _, name, worst = next(u for u in unsure if u[0] == max(chances))
            chance = f"{100 * max(chances):.0f} %"
            said.append(f"The least sure is {name}: {worst.verdict}, and wrong with a probability of {chance}.")
    if found.refused:
        others = f"{plural(len(found.refused), 'other')} not compared"
        said.append(f"{others}: another method, gap, edition or liquid.")
    return tuple(said)
