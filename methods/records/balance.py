"""Whether a reading balances: each number of the file is accounted for, and what was read was kept or refused.

With the environment variable ``GAPSHIFT_CHECK_ACCOUNT=1``, which the tests set, every file that is read is held to it.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from typing import Any

import pandas as pd

from methods.cage.limits import CHECK_ACCOUNT as SWITCH
from methods.columns import COLUMNS
from methods.records.account import CELL_ROLES
from methods.records.layout import is_number
from methods.records.plain_sheet import numbers_below
from methods.records.text import Sheet, mark_of, records_of

_MOST = 40_000_000  # characters of a long text whose numbers are counted
_held: set[tuple[Any, ...]] = set()


def numbers_in(sheets: Sequence[Sheet]) -> dict[str, int] | None:
    """How many cells of each sheet read as numbers, before anything else is done with them; None: not asked for."""
    if not os.environ.get(SWITCH):
        return None
    out: dict[str, int] = {}
    for sheet in sheets:
        cells = sheet.cells
        if sheet.columns is not None:
            out[sheet.name] = numbers_below(sheet, is_number)
            continue
        if sheet.long:
            text = sheet.whole()
            if len(text) > _MOST:
                continue
            cells = records_of(text, mark_of(sheet.delimiter))[0]
        texts = Counter(c for row in cells for c in row)
        out[sheet.name] = sum(n for text, n in texts.items() if is_number(text))
    return out


def faults(records: Any) -> list[str]:
    """What does not balance, in words; empty where all does.

    Parameters
    ----------
    records : Records
        As :func:`methods.read` gives them, before any row is filtered away.
    """
    out: list[str] = []
    cells, table = records.cells, records.table
    held = cells[cells["number"].to_numpy(dtype=bool)]
    for name, count in (records.account.numbers or {}).items():
        told = int((held["sheet"] == name).sum())
        if told != count:
            out.append(f"{told} of {count} numbers of sheet {name!r} are accounted for")
    strange = set(cells["role"].unique()) - {*CELL_ROLES, *COLUMNS}
    if strange:
        out.append(f"roles that are none: {strange}")
    if not bool(held["why"].astype(bool).all()):
        out.append("a number without a reason for its role")
    refused = int(records.problems["refused"].sum()) if len(records.problems) else 0
    if records.rows_read != len(table) + refused:
        out.append(f"{records.rows_read} read, {len(table)} kept, {refused} refused")
    read = cells[cells["role"].isin(["breakdown", "withstood"]).to_numpy()]
    rows = records.origin["source_row"]
    if not pd.api.types.is_integer_dtype(rows):
        rows = rows.astype(str).str.rpartition("!")[2].astype(int)
    if len(table) <= 200_000:
        mine = set(zip(records.origin["source_sheet"].astype(str), rows, records.origin["source_place"], strict=True))
        told_of = set(zip(read["sheet"].astype(str), read["row"], read["column"], strict=True))
        if not told_of <= mine:
            out.append(f"cells are told as readings that give none: {sorted(told_of - mine)[:5]}")
        written = set(zip(cells["sheet"].astype(str), cells["row"], cells["column"], strict=True))
        if lost := (mine - told_of) & written:  # a withstand may stand in the column of outcomes, over an empty cell
            out.append(f"readings come from cells that are told as something else: {sorted(lost)[:5]}")
    elif len(read) != len(table):
        out.append(f"{len(read)} cells are told as readings, and there are {len(table)}")
    return out


def hold(records: Any) -> None:
    """Where it is asked for: raise AssertionError unless the records balance. What was held before is not again."""
    if os.environ.get(SWITCH) != "1":
        return
    key = (records.source.sha256, records.rows_read, len(records.table), len(records.problems), len(records.guesses))
    if key in _held:
        return
    wrong = faults(records)
    if wrong:
        raise AssertionError(f"{records.source.name} does not balance: {'; '.join(wrong)}")
    _held.add(key)
