"""Bench minutes of one result of each level of a factor, from the protocols that its rows name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from methods.errors import InputError
from methods.procedures.factor import with_factor
from methods.procedures.reported import check_result, reported_by
from methods.records.table import withstood


def minutes_of(data: Any, by: str | Sequence[str], result: str | int = "result") -> dict[str, float]:
    """Minutes of one result of each level whose rows name one method that is recognised, by level as text.

    A result is what the method reports, or with ``result="filling"`` one filling; single breakdowns have no minutes of
    their own, and nothing is given for them.

    A ramp takes as long as the voltage that it reaches. Withstood rows take no part: their ceiling is the instrument's,
    and oils that reach it are left out where methods are compared. A level that never broke down has no minutes.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    by : str or sequence of str
        Column or columns of the factor.
    result : str or int, default 'result'
        What one result is: ``result``, ``filling``, ``breakdown``, or so many fillings.

    Raises
    ------
    InputError
        No such column.
    """
    from methods.protocols.bench import as_protocol, bench_time, for_liquid

    result = check_result(result)
    if result == "breakdown":
        return {}
    table, by = with_factor(data, by)
    out: dict[str, float] = {}
    for level, rows in table[~withstood(table)].groupby(by, sort=False):
        named = rows["method"].dropna().unique()
        name = f"{level:g}" if isinstance(level, float) else str(level)
        method = str(named[0]) if len(named) == 1 else name if not len(named) else ""
        try:
            fits = for_liquid(as_protocol(method), list(rows.drop_duplicates("sample")["fluid"]))
            known = None if result == "filling" else reported_by(fits)
            fillings = known.fillings if known is not None else result if isinstance(result, int) else 1
            out[name] = bench_time(fits, fillings=fillings, mean_kv=float(rows["kv"].mean())).minutes
        except InputError:
            continue
    return out
