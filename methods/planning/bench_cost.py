"""What a design costs on the bench, from the protocol's own times and cell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from methods.errors import InputError


@dataclass(frozen=True)
class Cost:
    """Minutes on the bench and millilitres of oil of one design; None where the protocol does not say."""

    minutes: float | None
    oil_ml: float | None


def design_cost(protocol: Any, fillings: int, breakdowns_per_filling: int, mean_kv: float | None = None) -> Cost:
    """Cost of ``fillings`` fillings of ``breakdowns_per_filling`` breakdowns; both None without a protocol.

    Raises
    ------
    InputError
        A protocol that nobody knows.
    """
    if protocol is None:
        return Cost(None, None)
    try:
        from methods.protocols.bench import bench_time
    except ImportError:
        raise InputError("Bench times need the protocols, which are not installed.") from None
    time = bench_time(protocol, fillings=fillings, breakdowns_per_filling=breakdowns_per_filling, mean_kv=mean_kv)
    return Cost(getattr(time, "minutes", None), getattr(time, "oil_ml", None))
