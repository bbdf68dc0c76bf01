"""Minutes on the bench and oil used by a design, from the waits, pauses and ramps of a protocol."""

from __future__ import annotations

import os
from dataclasses import dataclass

from methods.errors import InputError
from methods.protocols.library import load
from methods.protocols.protocol import Protocol
from methods.protocols.recognition import recognise

#: Emptying, rinsing and filling the cell once (common practice, no source); an argument everywhere.
CLEANING_MINUTES = 5.0
#: What is taken where neither the protocol nor the caller says; each use is named in ``assumptions``.
ASSUMED_WAIT_S, ASSUMED_PAUSE_S, ASSUMED_RISE_KV_S, ASSUMED_MEAN_KV = 300.0, 60.0, 2.0, 50.0


@dataclass(frozen=True)
class BenchTime:
    """Time and oil of ``fillings`` fillings of ``breakdowns_per_filling`` breakdowns.

    ``minutes`` in all; ``parts`` the minutes by kind of work (``cleaning``, ``waiting``, ``ramps``,
    ``pauses``); ``assumptions`` names every value that the protocol does not give; ``oil_volume_ml`` is the
    smallest cell filled so many times, without rinsing, ``None`` where the cell is not known.
    """

    protocol: str
    fillings: int
    breakdowns_per_filling: int
    minutes: float
    parts: dict[str, float]
    assumptions: tuple[str, ...]
    oil_volume_ml: float | None


def as_protocol(what: Protocol | str, folder: str | os.PathLike[str] | None = None) -> Protocol:
    """A protocol from itself, its key or any text that is recognised.

    Raises
    ------
    InputError
        Text that is not recognised; it lists the keys.
    """
    if isinstance(what, Protocol):
        return what
    found = recognise(what, folder=folder)
    if found is None:
        rule = f"a designation such as ASTM D1816 2 mm, or one of {', '.join(sorted(load(folder)))}"
        raise InputError(
            f"No protocol is known as {what!r}; give {rule}.", column="protocol", text=str(what), rule=rule
        )
    return found


def bench_time(
    protocol: Protocol | str,
    *,
    fillings: int | None = None,
    breakdowns_per_filling: int | None = None,
    mean_kv: float | None = None,
    cleaning_minutes: float = CLEANING_MINUTES,
    folder: str | os.PathLike[str] | None = None,
) -> BenchTime:
    """How long a design takes: per filling cleaning + wait + n ramps of ``mean_kv`` / rise + (n - 1) pauses.

    Parameters
    ----------
    protocol : Protocol or str
    fillings, breakdowns_per_filling : int, optional
        By default those of the protocol.
    mean_kv : float, optional
        The voltage that a ramp is expected to reach.
    cleaning_minutes : float
        Emptying, rinsing and filling, for each filling.

    Raises
    ------
    InputError
        Counts below 1 or unknown, a mean or a cleaning time out of range.
    """
    p = as_protocol(protocol, folder)
    counts: dict[str, int] = {}
    for name, given in (("fillings", fillings), ("breakdowns_per_filling", breakdowns_per_filling)):
        number = given if given is not None else getattr(p, name).value
        if number is None or number != int(number) or number < 1:
            rule = "a whole number, 1 or more"
            raise InputError(f"{name} is {number}; for {p.designation} it must be {rule}.", column=name, rule=rule)
        counts[name] = int(number)
    if mean_kv is not None and not 0 < mean_kv < float("inf"):
        raise InputError(f"mean_kv is {mean_kv}; it must be above 0.", column="mean_kv", rule="above 0")
    if not 0 <= cleaning_minutes < float("inf"):
        raise InputError(f"cleaning_minutes is {cleaning_minutes}.", column="cleaning_minutes", rule="0 or more")
    k, n = counts["fillings"], counts["breakdowns_per_filling"]
    notes = [f"{cleaning_minutes:g} min for emptying, rinsing and filling (common practice, no source)"]

    def known(name: str, assumed: float, unit: str) -> float:
        value = getattr(p, name).value
        if value is None:
            notes.append(f"{name} is not known for {p.designation}: {assumed:g} {unit} assumed")
        return float(assumed if value is None else value)

    if mean_kv is None:
        notes.append(f"ramps to {ASSUMED_MEAN_KV:g} kV assumed, because no mean is given")
    wait = known("wait_after_filling_s", ASSUMED_WAIT_S, "s")
    pause = known("pause_s", ASSUMED_PAUSE_S, "s") if n > 1 else 0.0
    ramp = (ASSUMED_MEAN_KV if mean_kv is None else float(mean_kv)) / known("rise_kv_s", ASSUMED_RISE_KV_S, "kV/s")
    parts = {
        "cleaning": k * float(cleaning_minutes),
        "waiting": k * wait / 60,
        "ramps": k * n * ramp / 60,
        "pauses": k * (n - 1) * pause / 60,
    }
    cell = p.cell_volume_min_ml.value
    return BenchTime(p.key, k, n, sum(parts.values()), parts, tuple(notes), None if cell is None else k * float(cell))
