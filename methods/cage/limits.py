"""How much reading one file may take: memory, processor time and what comes of it, and how to raise it."""

from __future__ import annotations

import os
from dataclasses import dataclass

from methods.errors import InputError

#: Variable of the environment: each file that is read is held to its account (:mod:`methods.records.balance`). ``1``
#: counts and holds to it, ``count`` only counts, because another process holds to it.
CHECK_ACCOUNT = "GAPSHIFT_CHECK_ACCOUNT"
#: Bytes beyond which a file is not read at all.
MAX_BYTES = 1_500_000_000
#: Variables of the environment that hold for every file, and the options of the command line that do the same.
MEMORY = "GAPSHIFT_READ_MEMORY"
SECONDS = "GAPSHIFT_READ_SECONDS"
#: What any file may take, and what each MB of it may take besides: a sound file takes what its size asks for, a small
#: one that asks for more is no table. MB and seconds.
_MEMORY_MB, _MEMORY_PER_MB = 1200.0, 10.0
_SECONDS, _SECONDS_PER_MB = 8.0, 1.0
#: What a waiting process is given before it is ended, as times its processor time, and besides, in seconds.
_PATIENCE, _PATIENCE_S = 3.0, 4.0


@dataclass(frozen=True)
class Limits:
    """What reading one file may take.

    Attributes
    ----------
    memory_mb : float
        Memory beyond what the reader takes before it has seen the file, in MB. The table that comes of it may take
        as much.
    seconds : float
        Processor time, s.
    """

    memory_mb: float
    seconds: float

    @property
    def patience_s(self) -> float:
        """Seconds on the clock after which the reader is ended, whatever it waits for."""
        return _PATIENCE * self.seconds + _PATIENCE_S


def limits_for(size: int, memory_mb: float | None = None, seconds: float | None = None) -> Limits:
    """The limits for a file of ``size`` bytes: what is given here, else by the environment, else by its size.

    Parameters
    ----------
    size : int
        Of the file, bytes.
    memory_mb : float, optional
        Most memory, MB.
    seconds : float, optional
        Most processor time, s.

    Raises
    ------
    InputError
        A limit in the environment is no number above zero.
    """
    megabytes = size / 1e6
    return Limits(
        memory_mb or _asked(MEMORY) or _MEMORY_MB + _MEMORY_PER_MB * megabytes,
        seconds or _asked(SECONDS) or _SECONDS + _SECONDS_PER_MB * megabytes,
    )


def _asked(name: str) -> float | None:
    text = os.environ.get(name, "").strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < float("inf"):
        raise InputError(f"{name} is {text!r}; it must be a number above zero.", column=name, text=text)
    return value


def over_memory(name: str, limits: Limits) -> str:
    """What to say of a file that asked for more memory."""
    return (
        f"{name}: reading it asks for more than {limits.memory_mb:,.0f} MB of memory. Split the file, or raise the "
        f"limit where gapshift is started: --read-memory MB, or {MEMORY}."
    )


def over_time(name: str, limits: Limits) -> str:
    """What to say of a file that took too long."""
    return (
        f"{name}: reading it takes longer than {limits.seconds:,.0f} s. Split the file, or raise the limit where "
        f"gapshift is started: --read-seconds S, or {SECONDS}."
    )


def set_limits(memory_mb: float | None = None, seconds: float | None = None) -> None:
    """Have these limits hold for all that this process reads from now on."""
    for name, value in ((MEMORY, memory_mb), (SECONDS, seconds)):
        if value is not None:
            os.environ[name] = f"{value:g}"
