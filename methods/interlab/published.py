"""What the standards publish of their own precision, for the methods that a record table names."""

from __future__ import annotations

from typing import Any

import pandas as pd

from methods.columns import RECOGNISED_BY
from methods.protocols import precision_statements, recognise

#: Columns of the table of :func:`published_precision`.
NAMES = ("method", "edition", "cov_same_percent", "cov_between_percent", "r_percent", "R_percent", "source", "note")


def published_precision(table: pd.DataFrame) -> pd.DataFrame:
    """One row for each statement that belongs to a method of the data, percent of the mean of two results.

    A result is what the method reports (as a rule the mean of one filling), so the figures stand beside those of
    ``result="filling"``. Empty where a statement gives no figure or its figure was not read; ``note`` says which, and
    ``source`` from where. The statements are data of :mod:`methods.protocols` with edition and mark, and the user's own
    folder may replace them: check against your own copy of the standard.
    """
    if "method" not in table.columns:
        return pd.DataFrame(columns=list(NAMES))
    heads = [c for c in RECOGNISED_BY if c in table.columns]
    statements = precision_statements()
    rows: dict[str, dict[str, Any]] = {}
    for head in table[heads].drop_duplicates().to_dict("records"):
        if pd.isna(head["method"]):
            continue
        edition, gap = head.get("edition"), _number(head.get("gap_mm"))
        found = recognise(
            str(head["method"]),
            None if pd.isna(edition) else str(edition),
            gap_mm=gap,
        )
        said = None if found is None else statements.get(found.key) or statements.get(found.family)
        if found is None or said is None:
            continue
        values = (said.cov_same_percent, said.cov_between_percent, said.r_percent, said.R_percent)
        source = "; ".join(dict.fromkeys(f"{v.source} ({v.mark})" for v in values if v.source))
        numbers = [None if v.value is None else float(v.value) for v in values]
        note = f"{said.note} {said.check[:1].upper()}{said.check[1:]}.".strip()
        own = said.protocol == found.key  # otherwise it is one of all methods of the family
        named = found.designation if own else found.family.replace("_", " ").upper()
        row = (named, said.edition, *numbers, source, note)
        rows.setdefault(said.protocol, dict(zip(NAMES, row, strict=True)))
    return pd.DataFrame(list(rows.values()), columns=list(NAMES))


def _number(value: Any) -> float | None:
    try:
        return None if pd.isna(value) else float(value)
    except (TypeError, ValueError):  # a table that a program passed may hold a gap in words
        return None
