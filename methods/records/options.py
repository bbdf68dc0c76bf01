"""The caller's choices when a file is read; each overrules a guess of the reader."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from methods.errors import InputError
from methods.records.areas import Area, areas_of
from methods.records.voltages import FACTORS


@dataclass
class Options:
    """The caller's choices; each overrules a guess."""

    columns: dict[str, str]
    sheet: str | Sequence[str] | None
    decimal: str | None
    unit: str | None
    ceiling_kv: float | bool | None
    day_first: bool | None
    layout: str | None
    words: frozenset[str]
    areas: tuple[Area, ...] = ()


def options_of(
    columns: Mapping[str, str] | None, sheet: str | Sequence[str] | None, decimal: str | None, unit: str | None,
    ceiling_kv: float | bool | None, day_first: bool | None, layout: str | None, thousands: str | None,
    censored: str | Iterable[str], areas: Iterable[Area | Mapping[str, Any]] = (),
) -> Options:  # fmt: skip
    """Check the arguments of :func:`methods.records.read`; a wrong one is an InputError that lists the right ones.

    Parameters
    ----------
    columns : mapping of str to str or None
        Column of the record table to heading.
    sheet : str or sequence of str or None
        Sheets that are read.
    decimal : str or None
        ``point`` or ``comma``, or the mark itself.
    unit : str or None
        Of the voltages.
    ceiling_kv : float or bool or None
        Ceiling of the test set, kV; False: there is none.
    day_first : bool or None
        Whether 03/04 is a day in April.
    layout : str or None
        ``long``, ``wide``, ``two-block`` or ``transposed``.
    thousands : str or None
        Mark between thousands.
    censored : str or iterable of str
        Words that mean a withstand.
    areas : Iterable[Area or mapping of str to object], optional
        What is said of areas.
    """
    decimal = {"point": ".", "comma": ","}.get(decimal or "", decimal)
    if thousands is not None:
        if thousands not in (".", ",", "'", " "):
            raise InputError(f"thousands must be one of . , ' or a space, not {thousands!r}.", column="thousands")
        decimal = decimal or {".": ",", ",": "."}.get(thousands)
    for argument, value, allowed in (
        ("decimal", decimal, (None, ".", ",")),
        ("unit", unit, (None, *FACTORS)),
        ("layout", layout, (None, "long", "wide", "two-block", "transposed")),
    ):
        if value not in allowed:
            raise InputError(
                f"{argument} is {value!r}; it must be one of {', '.join(str(a) for a in allowed if a)}.",
                column=argument,
            )
    if ceiling_kv is True or (ceiling_kv not in (None, False) and not float(ceiling_kv) > 0):
        raise InputError(
            f"ceiling_kv is {ceiling_kv!r}; it is a number of kV above zero, or False.", column="ceiling_kv"
        )
    words = [censored] if isinstance(censored, str) else list(censored)
    return Options(
        dict(columns or {}), sheet, decimal, unit, ceiling_kv, day_first, layout,
        frozenset(w.strip().casefold() for w in words), areas_of(areas),
    )  # fmt: skip
