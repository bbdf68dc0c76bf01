"""A test protocol as data: what a method prescribes, each value with the mark that says how well it is known."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any

from methods.columns import PRESCRIBED
from methods.errors import InputError

#: How well a value is known, from the best to the worst.
#: ``own copy``: entered by the user; ``published``: read in the named text; ``memory``: trade knowledge that
#: was not read again; ``common practice``: usual, but no clause to cite; ``uncertain``: ships empty.
MARKS: tuple[str, ...] = ("own copy", "published", "memory", "common practice", "uncertain")

#: The sentence that goes with whatever decides pass or fail.
CHECK = "check against your own copy of the standard"

ELECTRODES: tuple[str, ...] = ("disk", "spherical", "mushroom")
STIRRINGS: tuple[str, ...] = ("none", "between", "continuous")


@dataclass(frozen=True)
class Value:
    """One value of a standard: ``None`` when it is not known, with its mark and where it comes from.

    ``choices`` lists what the standard leaves open (two electrode shapes, stirred or not); ``value`` is then
    ``None`` until somebody chooses.
    """

    value: Any
    mark: str
    source: str
    choices: tuple[Any, ...] = ()

    @property
    def known(self) -> bool:
        """Whether there is a single value that may be relied on (uncertain ones may not)."""
        return self.value is not None and self.mark != "uncertain"


UNKNOWN = Value(None, "uncertain", "not stated here; enter it from your own copy")


@dataclass(frozen=True)
class Protocol:
    """What a test method prescribes. Every field that holds a :class:`Value` may be empty.

    ``edition`` is the edition whose text the values follow (``unspecified`` when the designation was given
    without one); ``edition_stated`` is what the recognised text itself said, otherwise ``None``. ``family``
    names the method as limits know it: an adopted text has the family of the text it adopts.
    Lengths in mm, times in s, rates in kV/s, temperatures in degrees Celsius, volumes in mL.
    """

    key: str
    family: str
    designation: str
    edition: str
    title: str
    electrode: Value = UNKNOWN
    electrode_size: Value = UNKNOWN
    electrode_material: Value = UNKNOWN
    gap_mm: Value = UNKNOWN
    gap_tolerance_mm: Value = UNKNOWN
    rise_kv_s: Value = UNKNOWN
    rise_tolerance_kv_s: Value = UNKNOWN
    frequency_low_hz: Value = UNKNOWN
    frequency_high_hz: Value = UNKNOWN
    wait_after_filling_s: Value = UNKNOWN
    wait_after_filling_max_s: Value = UNKNOWN
    pause_s: Value = UNKNOWN
    pause_max_s: Value = UNKNOWN
    breakdowns_per_filling: Value = UNKNOWN
    fillings: Value = UNKNOWN
    stirring: Value = UNKNOWN
    stirrer: Value = UNKNOWN
    statistic: Value = UNKNOWN
    rounding_digits: Value = UNKNOWN
    rule: Value = UNKNOWN
    temperature_low_c: Value = UNKNOWN
    temperature_high_c: Value = UNKNOWN
    cell_volume_min_ml: Value = UNKNOWN
    cell_volume_max_ml: Value = UNKNOWN
    scope: Value = UNKNOWN
    end_criterion: Value = UNKNOWN
    notes: tuple[str, ...] = ()
    aliases: tuple[str, ...] = ()
    check: str = CHECK
    file: str = ""
    edition_stated: str | None = None
    stated: dict[str, Any] = field(default_factory=dict, hash=False)

    @property
    def electrode_choices(self) -> tuple[str, ...]:
        """The electrode shapes that the standard allows."""
        return (self.electrode.value,) if self.electrode.value is not None else self.electrode.choices

    @property
    def stirring_choices(self) -> tuple[str, ...]:
        """The ways of stirring that the standard allows."""
        return (self.stirring.value,) if self.stirring.value is not None else self.stirring.choices

    @property
    def values(self) -> dict[str, Value]:
        """Every field that carries a mark, by name."""
        pairs = ((f.name, getattr(self, f.name)) for f in dataclasses.fields(self))
        return {name: v for name, v in pairs if isinstance(v, Value)}

    def fixed(self) -> dict[str, Any]:
        """The columns of the record table that the standard fixes: single values that are not uncertain.

        What the standard leaves open (the electrode pair of IEC 60156) is not in it.
        """
        return {name: getattr(self, name).value for name in PRESCRIBED if getattr(self, name).known}

    def variant(self, *, electrode: str | None = None, stirring: str | None = None) -> Protocol:
        """The same protocol with a choice made among what the standard leaves open.

        Raises
        ------
        InputError
            The standard does not offer that choice.
        """
        chosen: dict[str, Value] = {}
        for name, want in (("electrode", electrode), ("stirring", stirring)):
            if want is None:
                continue
            old: Value = getattr(self, name)
            offered = (old.value,) if old.value is not None else old.choices
            if offered and want not in offered:
                raise InputError(
                    f"{self.designation} does not offer {name} {want!r}; it offers {', '.join(offered)}.",
                    column=name, text=want, rule=f"one of {', '.join(offered)}",
                )  # fmt: skip
            chosen[name] = dataclasses.replace(old, value=want) if offered else Value(want, "own copy", "chosen")
        return dataclasses.replace(self, **chosen)  # type: ignore[arg-type]

    def departures(self, **found: Any) -> list[str]:
        """Sentences on where stated conditions (``electrode=``, ``gap_mm=`` ...) differ from what is prescribed.

        Only what is known on both sides is compared: gaps within 0.05 mm and rates within the tolerance are equal.
        """
        return list(self.departed(**found).values())

    def departed(self, **found: Any) -> dict[str, str]:
        """The same by column: column to sentence."""
        out: dict[str, str] = {}
        for name, value in found.items():
            if value is None or value != value or name not in PRESCRIBED:
                continue
            own: Value = getattr(self, name)
            allowed = (own.value,) if own.known else own.choices
            if not allowed:
                continue
            if isinstance(value, str):
                same = value in allowed
            else:
                room = 0.05 if name == "gap_mm" else (self.rise_tolerance_kv_s.value or 0.2 * float(allowed[0]))
                same = any(abs(float(value) - float(a)) <= room + 1e-9 for a in allowed)
            if not same:
                out[name] = f"{name} is {value}; {self.designation} prescribes {' or '.join(map(str, allowed))}"
        return out

    def to_dict(self) -> dict[str, Any]:
        """What JSON shows: plain names first, then every value with its mark and source."""
        head = {n: getattr(self, n) for n in ("key", "family", "designation", "edition", "edition_stated", "title")}
        body = {
            n: {"value": v.value, "mark": v.mark, "source": v.source, **({"choices": v.choices} if v.choices else {})}
            for n, v in self.values.items()
        }
        return {**head, **body, "fixed": self.fixed(), "notes": self.notes, "check": self.check, "file": self.file}
