"""What a design costs on the bench, from the protocol's own times and cell."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from methods.protocols.bench import as_protocol, bench_time
from methods.protocols.protocol import Protocol
from methods.result import Caution


@dataclass(frozen=True)
class Cost:
    """Minutes on the bench and millilitres of oil of one design; None where the protocol does not say."""

    minutes: float | None
    oil_ml: float | None
    assumptions: tuple[str, ...] = ()


@lru_cache(maxsize=64)
def _named(text: str) -> Protocol:
    return as_protocol(text)


def design_cost(
    protocol: Protocol | str | None, fillings: int, breakdowns_per_filling: int, mean_kv: float | None = None
) -> Cost:
    """Cost of ``fillings`` fillings of ``breakdowns_per_filling`` breakdowns; both None without a protocol.

    Raises
    ------
    InputError
        A protocol that nobody knows.
    """
    if protocol is None:
        return Cost(None, None)
    known = _named(protocol) if isinstance(protocol, str) else protocol
    time = bench_time(known, fillings=fillings, breakdowns_per_filling=breakdowns_per_filling, mean_kv=mean_kv)
    return Cost(time.minutes, time.oil_volume_ml, tuple(time.assumptions))


def assumed(protocol: Protocol | str | None, mean_kv: float | None) -> tuple[Caution, ...]:
    """A caution that names what the bench time had to assume; empty without a protocol."""
    if protocol is None:
        return ()
    assumptions = design_cost(protocol, 1, 1, mean_kv).assumptions
    if not assumptions:
        return ()
    return (Caution("bench_time_assumed", "The bench time assumes: " + "; ".join(assumptions) + "."),)
