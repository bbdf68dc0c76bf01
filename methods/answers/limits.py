"""Which acceptance limits are known, and for what?"""

from __future__ import annotations

import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.answers.writing import listed, plural
from methods.protocols.limit_list import LimitList
from methods.result import Caution

QUESTION = "limits"
_COLUMNS = (
    "document", "edition", "liquid", "stage", "equipment", "kind", "method", "gap_mm", "kv", "boundary", "mark",
    "newer", "key",
)  # fmt: skip


def limits(found: LimitList) -> Answer:
    """The limits with document, edition, liquid, stage, equipment, method, gap, value and mark."""
    frame = found.limits[list(_COLUMNS)]
    frame = frame.astype(object).where(frame.notna() & (frame != ""), None)
    documents = frame["document"].nunique()
    said = [f"{plural(len(frame), 'limit')} of {plural(documents, 'document')}."]
    if found.without_numbers:
        names = listed(f"{d['document']} ({d['edition']})" for d in found.without_numbers)
        said.append(f"Without numbers here: {names}.")
    note = f"–: not known here, or not said. Before a result is judged: {found.check}."
    table = Table("limits", "Acceptance limits", pd.DataFrame(frame), note, OWN[QUESTION])
    cautions = (Caution("check", f"{found.check[:1].upper()}{found.check[1:]}."),)
    return Answer(QUESTION, tuple(said), cautions, (table,), (), found)
