"""Bench minutes of one result of each level of a factor, from the protocols that its rows name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from methods.errors import InputError
from methods.procedures.factor import with_factor


def minutes_of(data: Any, by: str | Sequence[str]) -> dict[str, float]:
    """Minutes of one filling of each level whose rows name one method that is recognised, by level as text.

    A ramp takes as long as the voltage that it reaches, which for a withstood one is the ceiling: the mean over
    all rows is that of the ramps, not of the oil.

    Raises
    ------
    InputError
        No such column.
    """
    from methods.protocols.bench import bench_time

    table, by = with_factor(data, by)
    out: dict[str, float] = {}
    for level, rows in table.groupby(by, sort=False):
        named = rows["method"].dropna().unique()
        name = f"{level:g}" if isinstance(level, float) else str(level)
        method = str(named[0]) if len(named) == 1 else name if not len(named) else ""
        try:
            out[name] = bench_time(method, fillings=1, mean_kv=float(rows["kv"].mean())).minutes
        except InputError:
            continue
    return out
