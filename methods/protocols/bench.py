"""Minutes on the bench and oil used by a design, from the waits, pauses and ramps of a protocol."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from methods.errors import InputError
from methods.protocols.fitting import liquid_of
from methods.protocols.library import load
from methods.protocols.protocol import Protocol, Value
from methods.protocols.recognition import recognise

#: Emptying, rinsing and filling the cell once (common practice, no source); an argument everywhere.
CLEANING_MINUTES = 5.0
#: What is taken where neither the protocol nor the caller says; each use is named in ``assumptions``.
#: Liquids that let bubbles go slowly, and how long they are left after filling at least (common practice, no source).
SLOW_LIQUIDS = ("natural ester", "synthetic ester", "blended ester", "silicone")
SLOW_WAIT_S = 900.0
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


#: What the times of a test are called in a remark.
_SAID = {
    "wait_after_filling_s": "the rest after filling", "pause_s": "the pause between breakdowns",
    "rise_kv_s": "the rate of rise",
}  # fmt: skip


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


def for_liquid(protocol: Protocol, fluids: Any) -> Protocol:
    """The protocol with the rest after filling that esters and other viscous liquids need for their bubbles to rise.

    Parameters
    ----------
    fluids : str or sequence of str
        What the oils are; of several the rest is the mean over them. Where none is known to be slow, the protocol comes
        back as it is. 15 min at least for esters and silicone (:data:`SLOW_WAIT_S`).
    """
    named: Iterable[Any] = [fluids] if fluids is None or isinstance(fluids, str) else fluids
    kinds = [liquid_of(f) for f in named]
    slow = [k for k in kinds if k in SLOW_LIQUIDS]
    if not slow:
        return protocol
    usual = float(protocol.wait_after_filling_s.value or ASSUMED_WAIT_S)
    wait = (len(slow) * max(SLOW_WAIT_S, usual) + (len(kinds) - len(slow)) * usual) / len(kinds)
    who = " and ".join(dict.fromkeys(str(k) for k in slow))
    said = (
        f"a rest of {max(SLOW_WAIT_S, usual) / 60:g} min after filling for {who}, whose bubbles rise slowly "
        "(assumed: common practice, no source)"
    )
    return replace(protocol, wait_after_filling_s=Value(wait, "common practice", said))


def bench_time(
    protocol: Protocol | str,
    *,
    fillings: int | None = None,
    breakdowns_per_filling: int | None = None,
    mean_kv: float | None = None,
    cleaning_minutes: float = CLEANING_MINUTES,
    fluid: Any = None,
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
    fluid : str, optional
        Kind of liquid: esters and other viscous liquids rest longer (:func:`for_liquid`).
    folder : str or path, optional
        The user's own files beside those that are shipped; by default the folder that the environment names.

    Raises
    ------
    InputError
        Counts below 1 or unknown, a mean or a cleaning time out of range.
    """
    p = for_liquid(as_protocol(protocol, folder), fluid)
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
    if p.wait_after_filling_s.mark == "common practice":
        notes.append(p.wait_after_filling_s.source)
    elif liquid_of(fluid) is None:
        notes[0] += ", and rests as for mineral oil: esters and other viscous liquids rest longer"

    def known(name: str, assumed: float, unit: str) -> float:
        value = getattr(p, name).value
        if value is None:
            notes.append(f"{_SAID[name]} is not known for {p.designation}: {assumed:g} {unit} assumed")
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
