"""What a heading means: the contract's column, the unit written in it, a shot's number, or a summary such as a mean."""

from __future__ import annotations

import difflib
import re
import tomllib
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

import pandas as pd

from methods.columns import COLUMNS
from methods.errors import InputError
from methods.records.cells import normalise, unit_of
from methods.records.folding import fold
from methods.records.summary_words import phrases, summary_kind

_OTHER_UNITS = {
    "мм": "mm", "см": "cm", "кв/с": "kV/s", "мг/кг": "mg/kg", "毫米": "mm", "厘米": "cm", "℃": "C",
    "mm": "mm", "millimetre": "mm", "millimeter": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in", '"': "in",
    "mil": "mil", "mils": "mil", "um": "um", "μm": "um", "µm": "um", "°c": "C", "degc": "C", "c": "C", "celsius": "C",
    "°f": "F", "degf": "F", "f": "F", "fahrenheit": "F", "k": "K", "ppm": "ppm", "mg/kg": "mg/kg", "ppmw": "mg/kg",
    "ppm(w)": "mg/kg", "ppm(m/m)": "mg/kg", "μg/g": "mg/kg", "ug/g": "mg/kg", "ul/l": "uL/L", "μl/l": "uL/L",
    "mg/l": "mg/L",
    "ppmv": "uL/L",
    "kv/s": "kV/s", "kvs-1": "kV/s", "kv/sec": "kV/s", "kvpersecond": "kV/s", "kv/second": "kV/s", "v/s": "V/s",
    "kv/min": "kV/min",
    "min": "min", "mins": "min", "minutes": "min", "h": "h", "hr": "h", "hrs": "h", "hours": "h", "s": "s", "sec": "s",
    "seconds": "s", "%": "%", "-": "-", "–": "-", "#": "-", "no": "-", "yyyy-mm-dd": "-", "dd.mm.yyyy": "-",
    "dd/mm/yyyy": "-",
    "mm/dd/yyyy": "-", "text": "-", "1": "-", "id": "-", "date": "-",
}  # fmt: skip
_ORDINALS = {w: i for i, w in enumerate("first second third fourth fifth sixth seventh eighth ninth tenth".split(), 1)}
_SHOT = re.compile(
    r"(?P<prefix>[^\d]*?)[\s_.#:-]*(?P<number>\d{1,4})(?:st|nd|rd|th|\.|e|er|eme|ª|º|回目|回|次)?(?P<tail>\D*)"
)
_TIME = re.compile(r"\b(?:minutes|mins?|hours|hrs?|seconds|secs?)\b|\btime\b|\bttb\b|\bttf\b|\bzeit\b")


#: Characters beyond which a text is no heading: patterns need not look at it.
_LONGEST = 300


@dataclass(frozen=True)
class Heading:
    """One heading, read. ``text`` is as written; ``shot`` is the number in ``b3`` or ``3rd``; ``prefix`` its words."""

    text: str
    name: str | None = None
    unit: str | None = None
    shot: int | None = None
    prefix: str = ""
    summary: str | None = None
    second: str | None = None


@cache
def vocabulary() -> dict[str, dict[str, Any]]:
    """The word lists of ``vocabulary.toml``, by section."""
    return tomllib.loads(files("methods.records").joinpath("vocabulary.toml").read_text(encoding="utf-8"))


@cache
def _lookup(section: str) -> dict[str, str]:
    """Folded word -> meaning, for one section of the vocabulary."""
    return {fold(word): meaning for meaning, words in vocabulary()[section].items() for word in words}


def any_unit(text: str) -> str | None:
    """The unit that ``text`` is (of voltage, length, temperature ...), or None."""
    clean = normalise(text).strip(" ()[].").casefold()
    return unit_of(clean) or _OTHER_UNITS.get(clean.replace(" ", "")) or ("%" if clean == "%" else None)


def split_unit(text: str) -> tuple[str, str | None]:
    """Take the unit off a heading: ``BDV (kV)`` -> (``BDV``, ``kV``)."""
    clean = normalise(text)
    for found in re.finditer(r"[(\[{<]([^()\[\]{}<>]*)[)\]}>]", clean):
        unit = any_unit(found[1]) or next((u for p in re.split(r"[,;]", found[1]) if (u := any_unit(p))), None)
        if unit is not None:
            return (clean[: found.start()] + " " + clean[found.end() :]).strip(), unit
    per = re.fullmatch(
        r"(.+?)[\s,]+(kv\s*/\s*s(?:ec)?|kv\s*/\s*[cm]m|кв\s*/\s*[см]м|mg\s*/\s*kg|kv\s+per\s+second)",
        clean,
        re.IGNORECASE,
    )
    if per:
        return per[1].strip(" ,"), any_unit(per[2].replace(" ", ""))
    under = re.fullmatch(r"(.+?)_(kv_s|v_s|mg_kg|ul_l|kv_mm|kv|v|mm|c|f|ppm|mil|in)", clean.casefold())
    if under:
        return clean[: len(under[1])], any_unit(under[2].replace("_", "/"))
    for pattern in (
        r"(.+)(?:\s*[,;/|:]\s*|\s+in\s+|\s+)(\S+)",
        r"(.+?)(?:\s*[,;/|:]\s*|\s+in\s+|\s+)(\S+\s?(?:rms|peak|pk))",
    ):
        tail = re.fullmatch(pattern, clean, re.IGNORECASE)
        if tail and (unit := any_unit(tail[2])) not in (None, "-") and not _ambiguous_tail(tail[2], clean):
            return re.sub(r"[\s,;/|:]+$|\s+in$", "", tail[1].strip()), unit
    return clean, None


def _ambiguous_tail(tail: str, whole: str) -> bool:
    """Bare ``no``, ``id``, ``min``, ``s`` or ``1`` behind a word are words of the heading, not its unit."""
    short = tail.casefold().strip("().[]")
    if short in ("no", "id", "min", "mins", "s", "h", "k", "1", "date", "text", "#", "in"):
        return True
    if short not in ("v", "c", "f") or re.search(r"[,/(\[_]", whole):
        return False
    known = _lookup("headings").get(
        fold(re.sub(r"\s+in\s*$", "", whole[: whole.rstrip().rfind(tail)]))
    )  # "Temp C", but not "Lab C"
    return known != ("kv" if short == "v" else "temperature_c")


@lru_cache(maxsize=20_000)
def read_heading(text: str) -> Heading:
    """Read one heading. Nothing is assumed about the column's contents."""
    if len(text) > _LONGEST:  # a remark, whatever it speaks of
        return Heading(" ".join(text[:_LONGEST].split()) + "…")
    shown = re.sub(r"\s*\^\(?\d{1,2}\)?|(?<=\w)\s*[†‡*]+$", "", " ".join(normalise(text).split()))  # footnote marks
    if unit_of(shown) in ("kV/mm", "kV/cm"):  # all of it is the unit, and no kV whose own unit is cm
        return Heading(shown, "kv", unit_of(shown))
    bare, unit = split_unit(shown)
    key = fold(bare)
    names = _lookup("headings")
    summary = phrases().get(key) or _summary_in(key) or summary_kind(shown)
    if not key and unit_of(unit):
        return Heading(shown, "kv", unit)
    if summary and key not in names:
        return Heading(shown, None, unit, summary=summary)
    whole = fold(shown)
    name = names.get(key) or names.get(whole) or names.get(_without_number_sign(key))
    if shown in COLUMNS:
        name = shown
    if name == "outcome" and unit_of(unit):
        return Heading(shown, "kv", unit)
    if name is None and unit_of(shown):
        return Heading(shown, "kv", unit_of(shown))
    second = vocabulary()["second_choice"].get(key)
    if name == "kv" and unit is None and shown.casefold() in ("kv", "kilovolts"):
        unit = "kV"
    if name is not None:
        return Heading(shown, name, unit, second=second)
    number, prefix = _shot(bare, key)
    if number is not None:
        return Heading(shown, None, unit, number, prefix)
    if unit in ("kV/mm", "kV/cm"):  # a field strength, whatever it is called
        return Heading(shown, "kv", unit)
    return Heading(shown, None, unit)


_NUMBER_SIGN = re.compile(r"(?:(?<=\s)|^)(?:n o|n|no|nr|num|number|nummer|numero|cislo|номер|番号|编号)(?=\s|$)")


def _without_number_sign(key: str) -> str:
    """``Huile n°`` and ``Amostra n.º`` without the sign for number."""
    return " ".join(_NUMBER_SIGN.sub(" ", key).split())


def _summary_in(key: str) -> str | None:
    """A summary word inside a longer heading: ``mean bdv``, ``bdv avg``, ``std dev of 6``."""
    words = key.split()
    if len(words) < 2:
        return None
    sums = phrases()
    for size in (3, 2, 1):
        for at in range(len(words) - size + 1):
            part = " ".join(words[at : at + size])
            found = sums.get(part) if any(len(w) > 1 for w in part.split()) else None
            if found and (
                found in ("mean", "sd", "cov", "median") or (found in ("min", "max", "range") and len(part) > 2)
            ):
                return found
    return None


def _shot(bare: str, key: str) -> tuple[int | None, str]:
    if key in _ORDINALS:
        return _ORDINALS[key], "ordinal"
    first, _, rest = key.partition(" ")
    if first in _ORDINALS and _lookup("headings").get(rest) in ("kv", "order", "filling"):
        return _ORDINALS[first], rest
    found = _SHOT.fullmatch(normalise(bare))
    if found is None or not 1 <= int(found["number"]) <= 2000:
        return None, ""
    if not found["prefix"].strip() and 1900 <= int(found["number"]):  # a year
        return None, ""
    tail = fold(found["tail"])
    if tail and _lookup("headings").get(tail) not in ("kv", "order") and tail not in ("kv", "v"):
        return None, ""
    return int(found["number"]), fold(found["prefix"]) or tail


def is_time(head: Heading) -> bool:
    """Whether the heading speaks of a length of time (minutes to breakdown), not of a date."""
    return head.unit in ("min", "h", "s") or (head.name is None and bool(_TIME.search(fold(head.text))))


def is_label(head: Heading) -> bool:
    """Whether an unknown heading names records or circumstances, so that its numbers are not voltages."""
    words = set(vocabulary()["not_values"]["words"])
    return fold(head.text) in words or head.text.strip() in ("#", "№") or is_time(head)


def summary_label(text: str) -> str | None:
    """What a row's label says it sums up (``Mean``, ``Average:``, ``s.d.``); None for an ordinary label."""
    key = fold(text)
    if key in ("n", "s", "hi", "lo", "final", "reported", "pass", "verdict", "count"):
        return None if len(key) == 1 and not text.strip().endswith(("=", ":")) else phrases().get(key)
    return summary_kind(text) or _summary_in(key)


def doubtful(text: str) -> bool:
    """Whether a heading often means something else than what it is taken for."""
    return fold(text) in {fold(w) for w in vocabulary()["doubtful"]["words"]}


def word(section: str, text: str) -> str | None:
    """Look a cell's word up in one vocabulary (``electrode``, ``stirring``, ``outcome``); None when unknown."""
    return _lookup(section).get(fold(text))


def plain_stirring(text: str) -> bool:
    """Whether the cell says only that the oil was stirred, not when."""
    return fold(text) in {fold(w) for w in vocabulary()["stirring_plain"]["words"]}


def resolve_column(data: Any, text: str) -> str:
    """The column of a record table that a person means by ``text``.

    Exact name first, then without regard to case, accents and punctuation, then the known headings
    (``gap`` is ``gap_mm``, ``stir`` is ``stirring``).

    Raises
    ------
    InputError
        No such column; the message lists those that hold something and names the nearest.
    """
    table: pd.DataFrame = data if isinstance(data, pd.DataFrame) else getattr(data, "table", data)
    names = [str(c) for c in table.columns]
    if text in names:
        return text
    matches = [n for n in names if fold(n) == fold(text)]
    if matches:
        return matches[0]
    read = read_heading(text)
    for candidate in (read.name, read.second):
        if candidate in names:
            return str(candidate)
    held = [n for n in names if len(table) and bool(table[n].notna().any())]
    close = difflib.get_close_matches(fold(text), [fold(n) for n in held], n=1, cutoff=0.6)
    near = next((n for n in held if close and fold(n) == close[0]), None)
    hint = f" Did you mean {near!r}?" if near else ""
    raise InputError(
        f"There is no column {text!r}.{hint} Columns with contents: {', '.join(held)}.",
        column=text, text=text, rule="an existing column",
    )  # fmt: skip
