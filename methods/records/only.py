"""The rows that are wanted of what was read: by levels, and by the day of the test."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import level_text
from methods.errors import InputError, UnusableFile
from methods.records.headings import resolve_column
from methods.records.kept import Records


def only(
    records: Records, where: Mapping[str, Any] | None = None, since: str | None = None, until: str | None = None
) -> Records:
    """The same records with the rows that are wanted alone.

    Parameters
    ----------
    where : mapping, optional
        Column -> the level, or levels, that are wanted.
    since, until : str, optional
        First and last day, YYYY-MM-DD. A row without a day is not within them.
    records : Records
        The records.

    Raises
    ------
    InputError
        A column or level that is not there, or a day that is none.
    UnusableFile
        Nothing is left.
    """
    table = records.table
    keep = np.ones(len(table), bool)
    for name, wanted in (where or {}).items():
        column = resolve_column(table, name)
        codes, levels = pd.factorize(table[column], use_na_sentinel=True)
        written = [*(level_text(v) for v in levels), level_text(None)]
        asked = [str(w) for w in ([wanted] if isinstance(wanted, (str, int, float)) else wanted)]
        for text in asked:
            if text not in written:
                some = ", ".join(repr(w) for w in written[:12] if w != level_text(None))
                raise InputError(f"No row has {column} {text!r}; there are {some}.", column=column, text=text)
        keep &= np.isin(codes, [i if i < len(levels) else -1 for i, w in enumerate(written) if w in asked])
    if since or until:
        days = table["tested_on"].astype(object).where(table["tested_on"].notna(), "").astype(str).str[:10]
        keep &= (days != "").to_numpy()
        keep &= (days >= day(since)).to_numpy() if since else True
        keep &= (days <= day(until)).to_numpy() if until else True
    if not keep.any():
        raise nothing_left(records.source.name)
    if keep.all():
        return records
    origin = records.origin[keep].reset_index(drop=True) if len(records.origin) == len(table) else records.origin
    return dataclasses.replace(
        records, table=table[keep].reset_index(drop=True), origin=origin, rows_read=int(keep.sum()) + records.refused
    )


def nothing_left(name: str) -> UnusableFile:
    """What to say where a choice of rows chooses none."""
    return UnusableFile(f"{name}: no row is left by what was asked for (where, since, until).")


def day(text: str) -> str:
    """A day as it is kept.

    Raises
    ------
    InputError
        It is not written as YYYY-MM-DD.
    """
    try:
        return datetime.date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise InputError(f"{text!r} is no day; write it as 2025-03-31.", text=text, rule="YYYY-MM-DD") from None
