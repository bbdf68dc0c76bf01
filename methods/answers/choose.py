"""Which procedure gives most for its bench time, and how sure is that?"""

from __future__ import annotations

import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table, rows_of
from methods.choosing.choice import Choice

QUESTION = "choose"
_FIRST = (
    "procedure", "probability_best", "mean_kv", "shift_percent", "low_percent", "high_percent", "fillings",
    "breakdowns_per_filling", "bench_minutes", "oil_litres", "half_width_percent", "half_width_low_percent",
    "half_width_high_percent",
)  # fmt: skip
_SECOND = (
    "procedure", "oils", "results", "cov_within_percent", "cov_between_percent", "cov_result_percent",
    "discrimination_per_result", "discrimination_per_result_low", "discrimination_per_result_high",
    "discrimination_per_hour", "withstood_percent", "false_alarm_percent", "wrong_verdict_percent",
)  # fmt: skip


def choose(found: Choice) -> Answer:
    """The procedures, the likeliest best first; their scatter; what would settle it; what is published of them."""
    ranked = sorted(found.procedures, key=lambda r: -r.probability_best)
    note = (
        f"For ± {found.half_width_percent:g} % of an oil's mean at {100 * found.confidence:g} % confidence. Shifts are "
        f"against {found.reference}."
    )
    tables = [
        _table("choose", "Procedures, the likeliest best first", rows_of(ranked, _FIRST), note),
        _table("choose_scatter", "Their scatter, and how they tell oils apart", rows_of(ranked, _SECOND)),
    ]
    if found.would_settle:
        tables.append(_table("choose_settle", "Further tests that would settle it", pd.DataFrame(found.would_settle)))
    notes = [{"procedure": r.procedure, "note": n} for r in ranked for n in r.notes]
    if notes:
        tables.append(_table("choose_published", "What is published of their sensitivity", pd.DataFrame(notes)))
    return Answer(QUESTION, (found.sentence,), tuple(found.cautions), tuple(tables), ("choose",), found)


def _table(name: str, title: str, frame: pd.DataFrame, note: str = "") -> Table:
    return Table(name, title, frame, note, OWN[QUESTION])
