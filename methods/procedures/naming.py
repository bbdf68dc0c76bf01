"""Which procedures a table of records holds, and what each is called in short."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import REGISTRY, SETTING, STIRRED, factor_name, with_unit
from methods.records.table import as_table, first_rows, group_codes

#: What makes a procedure, in the order in which a name says it.
FIELDS: tuple[str, ...] = tuple(c.name for c in REGISTRY if c.describes == "procedure")

#: What tells procedures apart where none of the fields does: where the rows came from.
ORIGINS: tuple[str, ...] = ("file", "sheet")

#: Fields that a name says as soon as they differ; the others are added only where names would be alike.
_FIRST: tuple[str, ...] = SETTING
_LAST: tuple[str, ...] = ("rise_kv_s", "edition")

#: What tests are called whose sheet names nothing of how they were made.
NOT_GIVEN = "procedure not given"


@dataclass(frozen=True)
class Procedures:
    """The procedures of a table.

    ``codes`` has one entry a row of the table and indexes ``names`` and ``fields``; ``fields`` holds a
    row a procedure with the columns :data:`FIELDS`, and those of :data:`ORIGINS` that were needed.
    """

    codes: np.ndarray
    names: list[str]
    fields: pd.DataFrame

    def labels(self) -> pd.Series:
        """The name of each row's procedure, one entry a row."""
        return pd.Series(pd.array(self.names, dtype="str").take(self.codes), dtype="str")


def name_procedures(data: Any) -> Procedures:
    """Find the procedures and name them by what differs, such as ``mushroom 1 mm, stirred``.

    Two tests are of one procedure where method, edition, electrode, gap, stirring and rate of rise are alike;
    an empty cell is like an empty cell. Rows that say none of these are told apart by their file (or sheet),
    where there are several. A name begins with the method, where one is given; electrode, gap and stirring
    follow as far as they differ among procedures of the same method, rate and edition only where names would
    otherwise be alike.

    Raises
    ------
    InputError
        No table of records.
    """
    table = as_table(data)
    origins = [o for o in ORIGINS if o in table.columns]
    bare = np.ones(len(table), dtype=bool)
    for name in FIELDS:
        bare &= table[name].isna().to_numpy()
    used: list[str] = []
    if bare.any():
        used = [o for o in origins if table.loc[bare, o].nunique() > 1][:2]
    codes = group_codes(table, FIELDS)
    if used:
        where = np.where(bare, group_codes(table, used) + 1, 0)
        codes = pd.factorize(codes.astype(np.int64) * (int(where.max(initial=0)) + 1) + where)[0].astype(np.int64)
    first = first_rows(codes)
    fields = table.loc[first, [*FIELDS, *used]].reset_index(drop=True)
    rows = fields.astype(object).where(fields.notna(), None).to_dict("records")
    return Procedures(codes, _names(rows, used), fields)


def _names(rows: Sequence[dict[Any, Any]], origins: Sequence[str]) -> list[str]:
    heads = [str(r["method"]) if r["method"] is not None else "" for r in rows]
    names = [""] * len(rows)
    for head in dict.fromkeys(heads):
        members = [i for i, h in enumerate(heads) if h == head]
        group = [rows[i] for i in members]
        for i, body in zip(members, _bodies(group, head, origins), strict=True):
            names[i] = " ".join(part for part in (head, body) if part)
    return _different([n or NOT_GIVEN for n in names])


def _bodies(group: Sequence[dict[Any, Any]], head: str, origins: Sequence[str]) -> list[str]:
    """What tells the procedures of one method apart, in words."""
    differing = [f for f in (*_FIRST, *_LAST) if len({r[f] for r in group}) > 1]
    if head and len(group) == 1:
        return [""]
    chosen = [f for f in _FIRST if f in differing]
    if not head and len(group) == 1:
        chosen = [f for f in _FIRST if group[0][f] is not None]
    for extra in _LAST:
        if extra in differing and len({tuple(r[f] for f in chosen) for r in group}) < len(group):
            chosen.append(extra)
    if not chosen and len(group) == 1 and not head:
        chosen = [f for f in _LAST if group[0][f] is not None]
    return [_words(r, chosen) or str(next((r[o] for o in origins if r[o] is not None), "")) for r in group]


def _words(row: dict[Any, Any], chosen: Sequence[str]) -> str:
    edition = [f"edition {row['edition']}"] if "edition" in chosen and row["edition"] is not None else []
    shape = [with_unit(f, row[f]) for f in ("electrode", "gap_mm") if f in chosen and row[f] is not None]
    rest = []
    if "stirring" in chosen and row["stirring"] is not None:
        rest.append(STIRRED.get(row["stirring"], str(row["stirring"])))
    if "rise_kv_s" in chosen and row["rise_kv_s"] is not None:
        rest.append(with_unit("rise_kv_s", row["rise_kv_s"]))
    unknown = [f"{factor_name(f)} not given" for f in chosen if row[f] is None]
    known = [" ".join(shape)] if shape else []
    words = [*edition, *known, *rest]
    return ", ".join([*words, *unknown] if words else [])


def _different(names: list[str]) -> list[str]:
    """The names, with a number behind those that are still alike."""
    out, seen = [], dict.fromkeys(names, 0)
    for name in names:
        seen[name] += 1
        out.append(name if names.count(name) == 1 else f"{name} ({seen[name]})")
    return out
