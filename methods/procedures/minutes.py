"""Bench minutes of one result of each level of a factor, from the protocols that its rows name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from methods.errors import InputError
from methods.procedures.factor import with_factor
from methods.records.table import withstood


def minutes_of(data: Any, by: str | Sequence[str]) -> dict[str, float]:
    """Minutes of one filling of each level whose rows name one method that is recognised, by level as text.

    A ramp takes as long as the voltage that it reaches. Withstood rows take no part: their ceiling is the instrument's,
    and oils that reach it are left out where methods are compared. A level that never broke down has no minutes.

    Raises
    ------
    InputError
        No such column.
    """
    from methods.protocols.bench import as_protocol, bench_time, for_liquid

    table, by = with_factor(data, by)
    out: dict[str, float] = {}
    for level, rows in table[~withstood(table)].groupby(by, sort=False):
        named = rows["method"].dropna().unique()
        name = f"{level:g}" if isinstance(level, float) else str(level)
        method = str(named[0]) if len(named) == 1 else name if not len(named) else ""
        try:
            fits = for_liquid(as_protocol(method), list(rows.drop_duplicates("sample")["fluid"]))
            out[name] = bench_time(fits, fillings=1, mean_kv=float(rows["kv"].mean())).minutes
        except InputError:
            continue
    return out
