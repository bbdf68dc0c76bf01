"""Which readings of a database are wanted, said in SQL, so that the others are never read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from methods.archive.store import FILE
from methods.columns import COLUMNS, CONDITION, level_text
from methods.errors import InputError
from methods.records.headings import resolve_column
from methods.records.only import day

#: The readings that count, beside their files.
COUNTED = (
    "readings r JOIN fillings f USING (filling_id) JOIN files s ON s.file_id = r.file_id WHERE f.replaced_by IS NULL"
)


@dataclass
class Wanted:
    """A condition on ``r`` (readings) and ``s`` (files), and what stands for its question marks.

    ``whole``: nothing is left to be asked of the table that comes of it.
    """

    sql: str = "TRUE"
    values: list[Any] = field(default_factory=list)
    whole: bool = True

    def also(self, sql: str, *values: Any) -> None:
        self.sql += f" AND {sql}"
        self.values += values


def wanted(
    db: Any, counted: str, where: Mapping[str, Any] | None, since: str | None, until: str | None
) -> Wanted:  # fmt: skip
    """What a choice of levels and days comes to.

    Parameters
    ----------
    db : connection
    counted : str
        SQL behind ``FROM`` that gives the readings that count, as ``r``, beside their files, as ``s``.
    where, since, until
        As for :func:`methods.read`.

    Returns
    -------
    Wanted
        All rows, and not ``whole``, where the levels are of a column that only some file has, or are not there: the
        table then answers, and says what there is.

    Raises
    ------
    InputError
        A day that is none.
    """
    out = Wanted()
    for sign, text in ((">=", since), ("<=", until)):
        if text:
            out.also(f"r.tested_on <> '' AND substr(r.tested_on, 1, 10) {sign} ?", day(text))
    own = {c for (held,) in db.execute("SELECT DISTINCT columns FROM files").fetchall() for c in json.loads(held)}
    names = pd.DataFrame(columns=[*COLUMNS, *sorted(own - set(COLUMNS)), FILE])
    for name, levels in (where or {}).items():
        try:
            column = resolve_column(names, name)
        except InputError:
            return Wanted(whole=False)
        if column in own or column == "filling":  # whose labels are only settled when all are read
            return Wanted(whole=False)
        place = "s.file" if column == FILE else f'r."{column}"'
        held = {level_text(v): v for v in db.execute(f"SELECT DISTINCT {place} FROM {counted}").df().iloc[:, 0]}
        asked = [str(v) for v in ([levels] if isinstance(levels, (str, int, float)) else levels)]
        if not set(asked) <= set(held):
            return Wanted(whole=False)
        some = [held[a] for a in asked]
        told = [v for v in some if not pd.isna(v)]
        empty = f"{place} IS NULL OR isnan({place})" if isinstance(next(iter(told), 0), float) else f"{place} IS NULL"
        out.also(
            f"(list_contains(?, {place}){f' OR {empty}' if len(told) < len(some) else ''})" if told else f"({empty})",
            *([told] if told else []),
        )
    return out


def labels_clash(db: Any, counted: str) -> bool:
    """Whether a filling of one file has oil, condition, day and label of one in another: all then bear their file's
    name, whichever of them are read."""
    columns = ("sample", *CONDITION, "filling")
    told = ", ".join(f'r."{c}"' for c in columns)
    names = ", ".join(f'"{c}"' for c in columns)
    found = db.execute(
        f"SELECT 1 FROM (SELECT DISTINCT r.file_id, substr(r.tested_on, 1, 10) AS day_of, {told} FROM {counted}) "
        f"GROUP BY day_of, {names} HAVING count(*) > 1 LIMIT 1"
    ).fetchall()
    return bool(found)
