"""What does a planned comparison promise, and in which order is it tested?"""

from __future__ import annotations

from typing import Any

import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.studies.missing import MissingPlan
from methods.studies.round_plan import RoundPlan
from methods.studies.study_plan import StudyPlan

QUESTION = "bench_plan"
#: Of a round: what becomes known, and how it is called.
_KNOWN = {
    "uncertainty_s_r": "s_r", "uncertainty_s_R": "s_R", "uncertainty_ratio": "s_R / s_r",
    "pooled_uncertainty_s_r": "s_r, pooled over the oils",
}  # fmt: skip


def study(found: StudyPlan) -> Answer:
    """A comparison of procedures: the half-width of every shift, and the runs."""
    note = f"Kept with a probability of {100 * found.assurance:g} %; limits at {100 * found.confidence:g} % confidence."
    return _made(found, "bench_promise", "What it promises", pd.DataFrame(found.pairs), note)


def missing(found: MissingPlan) -> Answer:
    """The tests that take apart what changes together, and the runs."""
    return _made(found, "bench_missing", "Tests that would help", pd.DataFrame({"test": found.tests}))


def round_(found: RoundPlan) -> Answer:
    """A round of laboratories: how well its figures become known, and the runs."""
    rows = [{"figure": name, "known_percent": 100 * getattr(found, key)} for key, name in _KNOWN.items()]
    note = f"At {100 * found.confidence:g} % confidence, if s_R / s_r is {found.gamma:g}."
    return _made(found, "bench_round", "How well the round's figures become known", pd.DataFrame(rows), note)


def runs_table(sheet: pd.DataFrame) -> pd.DataFrame:
    """The runs of a sheet in their order, a row a filling, without what is filled in at the bench."""
    left = sheet.drop_duplicates("run").drop(columns=["order", "kv", "outcome", "note"], errors="ignore")
    return left.dropna(axis=1, how="all").reset_index(drop=True)


def _made(found: Any, name: str, title: str, frame: pd.DataFrame, note: str = "") -> Answer:
    own = OWN[QUESTION]
    drawn = Table("bench_runs", "The runs in their order", runs_table(found.sheet), f"Order of seed {found.seed}.", own)
    tables = (Table(name, title, frame, note, own), drawn)
    return Answer(QUESTION, (found.sentence,), tuple(found.cautions), tables, ("bench_plan",), found)
