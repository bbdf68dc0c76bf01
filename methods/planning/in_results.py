"""Plans in whole results of a method: the breakdowns on a filling and the fillings that it prescribes."""

from __future__ import annotations

from typing import Any

from methods.planning.bench_cost import BenchTimes
from methods.planning.inputs import several
from methods.procedures.reported import Reported, reported_by
from methods.protocols.bench import as_protocol
from methods.result import Caution


def counted_in(protocol: Any, between: float | None, *fixed: int | None) -> Reported | None:
    """What the plan counts in; None where it is free.

    It is what the method reports, where one is named that says it, fillings differ, and nobody fixed a number.
    """
    if protocol is None or isinstance(protocol, BenchTimes) or between is None or any(v is not None for v in fixed):
        return None
    found = reported_by(as_protocol(protocol) if isinstance(protocol, str) else protocol)
    return found if found is not None and found.breakdowns_per_filling is not None else None


def whole_results(fillings: int, one: Reported | None) -> int:
    """The next number of fillings that makes whole results."""
    return fillings if one is None else -(-fillings // one.fillings) * one.fillings


def told(fillings: int, one: Reported | None) -> str:
    """The results of a plan in words, to follow its sentence; empty where it is free."""
    if one is None:
        return ""
    whole = one.whole(fillings)
    return f" That is {several(whole, 'result')} of the method, {'' if whole == 1 else 'each '}{one.words}."


def open_result(protocol: Any, between: float | None, one: Reported | None) -> tuple[Caution, ...]:
    """A caution where a method is named that does not say what it reports (ASTM D877 without its procedure).

    Parameters
    ----------
    protocol : Protocol, BenchTimes or str
        What the plan names.
    between : float or None
        Scatter between fillings; None: breakdowns count as independent.
    one : Reported or None
        What one result is, where it is known.
    """
    if one is not None or protocol is None or isinstance(protocol, BenchTimes) or between is None:
        return ()
    known = as_protocol(protocol) if isinstance(protocol, str) else protocol
    if reported_by(known) is not None:
        return ()
    text = (
        f"{known.designation} does not say here what one result is, so the plan is in fillings and breakdowns and not "
        "in whole results. Name the procedure (ASTM D877 A: five on one filling, B: five fillings of one), or fix a "
        "number."
    )
    return (Caution("result_open", text),)
