"""Do the levels differ by the tests that other laboratories report?"""

from __future__ import annotations

import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table, rows_of
from methods.columns import level_text, name_level
from methods.shifts.other_tests import OtherTests

QUESTION = "shift"
_RANKS = (
    "sample", "level", "shift_kv", "low_kv", "high_kv", "reached", "superiority", "p_value", "fillings",
    "reference_fillings",
)  # fmt: skip
_OVERALL = ("sample", "name", "statistic", "df", "df2", "p_value", "levels", "fillings")


def other_tests(found: OtherTests) -> Answer:
    """Ranks against the reference and tests over all levels, oil by oil."""
    tables = []
    against = name_level(found.by, found.reference)
    if found.ranks:
        frame = rows_of(found.ranks, _RANKS)
        frame["level"] = [level_text(v) for v in frame["level"]]
        tables.append(_table("shift_ranks", "Rank tests with Hodges and Lehmann's shift", frame, f"Against {against}."))
    if found.overall:
        tables.append(_table("shift_overall", "Tests over all levels at once", rows_of(found.overall, _OVERALL)))
    small = sum(1 for t in found.overall if t.code == "kruskal" and t.p_value < 1 - found.confidence)
    oils = len({t.sample for t in found.overall})
    said = f"by ranks the levels differ by more than chance on {small} of {oils} {'oil' if oils == 1 else 'oils'}."
    return Answer(QUESTION, (said,), tuple(found.cautions), tuple(tables), (), found)


def _table(name: str, title: str, frame: pd.DataFrame, note: str = "") -> Table:
    return Table(name, title, frame, note, OWN[QUESTION])
