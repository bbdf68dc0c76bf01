"""What a design costs on the bench: by the protocol's own times and cell, or by stated times of one's own."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from methods.errors import InputError
from methods.protocols.bench import as_protocol, bench_time
from methods.protocols.protocol import Protocol
from methods.result import Caution

#: From more breakdowns on one filling than this, what the earlier ones leave behind is said with the plan. Methods take
#: 5 or 6 on a filling, and 10 where a consistency rule asks for five more.
MOST_WITHOUT_WEAR = 10


@dataclass(frozen=True)
class BenchTimes:
    """Minutes that a filling and a breakdown take, where no method gives them; ``own``: typed by the user.

    A filling is emptied, rinsed, filled and left to rest; a breakdown is its ramp and the pause after it. The defaults
    are common practice, no source.
    """

    filling_minutes: float = 10.0
    breakdown_minutes: float = 1.5
    own: bool = False

    def __post_init__(self) -> None:
        for name in ("filling_minutes", "breakdown_minutes"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise InputError(f"{name} is {value}; it must be above 0.", column=name, rule="above 0")

    @property
    def words(self) -> str:
        """Both times in words, with where they come from."""
        mark = "typed" if self.own else "common practice, no source; type your own or name a method"
        return (
            f"{self.filling_minutes:g} min to empty, rinse, fill and rest, and {self.breakdown_minutes:g} min for a "
            f"breakdown with its pause ({mark})"
        )


#: What a plan is weighed by when nobody named a method or times.
USUAL = BenchTimes()


def bench_times(filling_minutes: float | None, breakdown_minutes: float | None) -> BenchTimes | None:
    """Times of the user's own, the usual one where only one is told; None where neither is.

    Raises
    ------
    InputError
        A time that is not above zero.
    """
    if filling_minutes is None and breakdown_minutes is None:
        return None
    return BenchTimes(
        USUAL.filling_minutes if filling_minutes is None else float(filling_minutes),
        USUAL.breakdown_minutes if breakdown_minutes is None else float(breakdown_minutes),
        own=True,
    )


@dataclass(frozen=True)
class Cost:
    """Minutes on the bench and millilitres of oil of one design; oil is None where no protocol says the cell.

    ``usual``: the minutes are by :data:`USUAL`, good enough to weigh designs, not to be reported as a bench's time.
    """

    minutes: float
    oil_ml: float | None
    assumptions: tuple[str, ...] = ()
    usual: bool = False

    @property
    def bench_minutes(self) -> float | None:
        """The minutes to report: None where nobody named a method or times."""
        return None if self.usual else self.minutes


@lru_cache(maxsize=64)
def _named(text: str) -> Protocol:
    return as_protocol(text)


def design_cost(
    protocol: Protocol | str | BenchTimes | None,
    fillings: int,
    breakdowns_per_filling: int,
    mean_kv: float | None = None,
) -> Cost:
    """Cost of ``fillings`` fillings of ``breakdowns_per_filling`` breakdowns.

    Without a protocol by :class:`BenchTimes`, the usual ones (:data:`USUAL`) unless others are given.

    Parameters
    ----------
    protocol : Protocol or str or BenchTimes or None
        A test method, its name, or bench times; the usual ones if None.
    fillings : int
        Number of fillings.
    breakdowns_per_filling : int
        Breakdowns on each.
    mean_kv : float, optional
        Expected mean, kV: how long a ramp takes.

    Raises
    ------
    InputError
        A protocol that nobody knows.
    """
    if protocol is None or isinstance(protocol, BenchTimes):
        times = protocol or USUAL
        one = times.filling_minutes + breakdowns_per_filling * times.breakdown_minutes
        return Cost(fillings * one, None, (times.words,), usual=protocol is None)
    known = _named(protocol) if isinstance(protocol, str) else protocol
    time = bench_time(known, fillings=fillings, breakdowns_per_filling=breakdowns_per_filling, mean_kv=mean_kv)
    return Cost(time.minutes, time.oil_volume_ml, tuple(time.assumptions))


def assumed(
    protocol: Protocol | str | BenchTimes | None,
    mean_kv: float | None,
    breakdowns_per_filling: int = 1,
    *,
    weighed: bool = True,
) -> tuple[Caution, ...]:
    """Cautions: what the bench time had to assume, and what so many breakdowns on one filling do to it.

    ``weighed``: fillings were weighed against breakdowns, so that the times count even where none are reported.

    Parameters
    ----------
    protocol : Protocol or str or BenchTimes or None
        A test method, its name, or bench times; the usual ones if None.
    mean_kv : float or None
        Expected mean, kV.
    breakdowns_per_filling : int, default 1
        Breakdowns on each filling.
    weighed : bool, default True
        Whether fillings were weighed against breakdowns.
    """
    assumptions = design_cost(protocol, 1, 1, mean_kv).assumptions
    found = worn(breakdowns_per_filling)
    if protocol is None:
        text = f"Fillings and breakdowns are weighed by {assumptions[0]}."
        return (*found, Caution("weighed_by_usual_times", text)) if weighed else found
    if assumptions:
        found = (*found, Caution("bench_time_assumed", f"The bench time takes {'; '.join(assumptions)}."))
    return found


def worn(breakdowns_per_filling: int) -> tuple[Caution, ...]:
    """What carbon, gas and pitting do where more than :data:`MOST_WITHOUT_WEAR` breakdowns are taken on a filling."""
    if breakdowns_per_filling <= MOST_WITHOUT_WEAR:
        return ()
    return (
        Caution(
            "worn_filling",
            f"{breakdowns_per_filling} breakdowns on one filling: every arc leaves carbon and gas in the oil and pits "
            "the electrodes, so the later ones are no longer of the same oil and electrodes, and are not independent "
            f"of the earlier ones. Methods take 5 or 6 on a filling, at most {MOST_WITHOUT_WEAR}; spread them over "
            "more fillings (common practice, no source).",
        ),
    )


def wear_words(breakdowns_per_filling: int) -> str:
    """The same in short, to follow the sentence of a plan; empty where it need not be said."""
    if breakdowns_per_filling <= MOST_WITHOUT_WEAR:
        return ""
    return (
        f" So many on one filling change what is measured by carbon, gas and pitting: take at most {MOST_WITHOUT_WEAR} "
        "on each."
    )
