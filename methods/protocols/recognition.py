"""Which protocol a free text means: "D-1816 2MM", "IEC156", "VDE 0370"; what is unknown stays unknown."""

from __future__ import annotations

import dataclasses
import os
import re
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Any

from methods.protocols.library import load, shipped_keys, toml
from methods.protocols.protocol import Protocol, Value

ALIASES = Path(__file__).parent / "aliases.toml"

#: A stated gap within this many mm of the prescribed one is that gap (D877 is 2.54 mm, often written 2.5 mm).
GAP_ROOM_MM = 0.05

_GAP = re.compile(r"(?<![\d.])(\d{1,2}(?:[.,]\d{1,3})?)\s*mm(?![a-z0-9²/])")
_ORDINAL = re.compile(r"\b(?:ed(?:ition)?|ausgabe)\.?\s*(\d)(?!\d)|\b(\d)(?:st|nd|rd|th)?\.?\s+ed(?:ition)?\b")
_YEAR = re.compile(r"(?<!\d)((?:19|20)\d\d)(?!\d)")
_LETTER = re.compile(r"\s*(?:/?\s*d?\s*877\s*m)?\s*(?:[-:]\s*\d{2,4})?(?:\s*\(\d{4}\))?[\s,(-]*([a-z])(?![a-z\d])")
_PROCEDURE = re.compile(r"\b(?:procedure|proc\.?|method|verfahren|class|type)\s*[-:]?\s*\(?([a-z])\b")


def _plain(text: str) -> str:
    """Lower case, one kind of digit, dash and space."""
    folded = unicodedata.normalize("NFKC", text).casefold()
    return re.sub(r"[\u2010-\u2015\u2212_]", "-", folded)


def _tokens(text: str) -> str:
    """Words and numbers, each alone, with a space at both ends: ``" d 1816 2 mm "``."""
    split = re.sub(r"(?<=[^\W\d_])(?=\d)|(?<=\d)(?=[^\W\d_])", " ", text)
    return " " + " ".join(re.findall(r"[^\W_]+", split)) + " "


@lru_cache(maxsize=4096)
def _needle(alias: str) -> str:
    """An alias as it is looked for in a text."""
    return _tokens(_plain(alias))


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    return toml(ALIASES)


def stated_gap(text: str) -> float | None:
    """The gap in mm that the text states, such as ``2 mm``; ``None`` when it states none or several."""
    found = {float(m.replace(",", ".")) for m in _GAP.findall(_plain(text))}
    found = {g for g in found if 0 < g < 10}  # electrode diameters are larger
    return found.pop() if len(found) == 1 else None


def _entries(protocols: dict[str, Protocol]) -> list[dict[str, Any]]:
    """The shipped designations, and what the user's own protocols are called."""
    shipped = shipped_keys()
    own = [
        {"protocol": p.key, "aliases": [p.designation, p.key, *p.aliases]}
        for p in protocols.values()
        if p.key not in shipped or p.aliases
    ]
    return [*_table()["designation"], *own]


def _matches(words: str, protocols: dict[str, Protocol]) -> list[tuple[int, int, dict[str, Any]]]:
    """Start, end and entry of each alias in the text; one that lies within a longer one is dropped."""
    found: list[tuple[int, int, dict[str, Any]]] = []
    for entry in _entries(protocols):
        for alias in entry["aliases"]:
            only_first = alias.startswith("^")
            needle = _needle(alias)
            start = 0
            while (at := words.find(needle, start)) >= 0:
                start = at + 1
                end = at + len(needle) - 1
                following = words[end:].split(" ")[1:2]
                if following and following[0] in entry.get("not_followed_by", {}).get(alias, ()):
                    continue
                if only_first and at > 0:
                    continue
                found.append((at, end, entry))
    return [
        (a, b, e) for a, b, e in found
        if not any((x <= a and b <= y and (y - x) > (b - a)) for x, y, _ in found)
    ]  # fmt: skip


def _century(two: str) -> str:
    """The year of a two-digit edition: 75 is 1975, 04 is 2004."""
    return str((1900 if int(two) > 50 else 2000) + int(two))


def _year(text: str, after: str, entry: dict[str, Any]) -> str | None:
    """The edition that the text states, as a year: ``-04``, ``:2018``, ``(2018)``, ``ed. 3``."""
    short = re.match(r"\s*(?:/?\s*d?\s*\d{3,4}\s*m)?\s*-\s*(\d\d)(?:[a-z]|e\d)?(?!\d)", after)
    if short:
        return _century(short.group(1))
    year = _YEAR.search(after) or _YEAR.search(text)
    if year:
        return year.group(1)
    ordinal = _ORDINAL.search(text)
    if ordinal:
        return entry.get("edition_numbers", {}).get(ordinal.group(1) or ordinal.group(2))
    return None


def _edition_of(edition: Any, entry: dict[str, Any]) -> str | None:
    """The edition column read as a year: ``2018``, ``04``, ``-04``, ``ed. 3``, ``3``; unreadable text as it is."""
    if edition is None or edition != edition or not str(edition).strip():
        return None
    text = _plain(str(edition)).strip().removesuffix(".0")
    two = re.match(r"-?\s*(\d\d)(?:[a-z]|e\d)?\s*(?:\(\d{4}[a-z]?\)\s*)?$", text)  # 12, 12(2019): reapproved
    if two:
        return _century(two.group(1))
    year = _YEAR.search(text)
    if year:
        return year.group(1)
    one = _ORDINAL.search(text) or re.fullmatch(r"(\d)(\d)?", text)
    if one:
        return entry.get("edition_numbers", {}).get(one.group(1) or one.group(2), text)
    return None if text in ("unspecified", "unknown", "-") else text


def _choice(words: str, kind: str) -> str | None:
    """The choice that the text states in words; the longest phrase that fits counts, a tie of two means none."""
    hits = [(len(p), name) for name, phrases in _table()[kind].items() for p in phrases if _needle(p) in words]
    if not hits:
        return None
    longest = max(hits)[0]
    names = {name for size, name in hits if size == longest}
    return names.pop() if len(names) == 1 else None


def _state(found: Protocol, name: str, value: Any, text: str) -> Protocol:
    """Note what the text states; where the standard prescribes otherwise, the prescribed value no longer holds."""
    if value is None:
        return found
    stated = {**found.stated, name: value}
    if found.departures(**{name: value}):
        said = Value(None, "uncertain", f"the text {text!r} states {value}, {found.designation} prescribes otherwise")
        return dataclasses.replace(found, stated=stated, **{name: said})  # type: ignore[arg-type]
    old: Value = getattr(found, name)
    if old.value is None and old.choices and value in old.choices and name in ("electrode", "stirring"):
        found = found.variant(**{name: value})
    return dataclasses.replace(found, stated=stated)


def _resolve(entry: dict[str, Any], year: str | None, procedure: str | None, gap: float | None) -> str:
    """The key that edition, procedure and gap point to; what they do not settle stays the general entry."""
    if year in entry.get("editions", {}):
        return str(entry["editions"][year])
    if procedure in entry.get("procedures", {}):
        return str(entry["procedures"][procedure])
    if gap is not None:
        for nominal, key in entry.get("gaps", {}).items():
            if abs(float(nominal) - gap) <= GAP_ROOM_MM:
                return str(key)
    return str(entry["protocol"])


#: Characters beyond which a text is no method's name but an account of something.
_LONGEST = 500


def recognise(
    text: Any,
    edition: Any = None,
    *,
    gap_mm: float | None = None,
    folder: str | os.PathLike[str] | None = None,
) -> Protocol | None:
    """The protocol that a free text means, or ``None``: unknown or ambiguous text is never guessed.

    Parameters
    ----------
    text : str
        The method as the laboratory wrote it.
    edition : str, optional
        The edition column, if there is one. Where it contradicts the text, the edition is unspecified.
    gap_mm : float, optional
        The stated gap. ASTM D1816 without a gap in the text or here is a protocol with the gap unknown.
    folder : path, optional
        The user's own protocols (also ``GAPSHIFT_PROTOCOLS``).

    Returns
    -------
    Protocol or None
        With ``edition_stated`` and, in ``stated``, the gap (also that of ``gap_mm``), electrode and stirring named.
        A prescribed value that the text contradicts is empty, so that it fills no cell and meets no limit.
    """
    if not isinstance(text, str) or not text.strip() or len(text) > _LONGEST:
        return None
    protocols = load(folder)
    plain = _plain(text)
    if text.strip() in protocols:
        entry: dict[str, Any] = {"protocol": text.strip()}
    else:
        matches = _matches(_tokens(_GAP.sub(" ", plain)), protocols)
        if len({protocols[e["protocol"]].family for _, _, e in matches}) != 1:
            return None  # nothing known, or two methods in one text
        entry = min(matches, key=lambda m: (m[0], -m[1]))[2]  # the first that is named
    return _complete(text, plain, entry, edition, gap_mm, protocols)


def _complete(
    text: str, plain: str, entry: dict[str, Any], edition: Any, gap_mm: float | None, protocols: dict[str, Protocol]
) -> Protocol:
    """Add edition, procedure, gap, electrode and stirring as far as the text states them."""
    general = protocols[entry["protocol"]]
    number = re.findall(r"\d+", general.designation)[:1] or ["\0"]
    spot = re.search(rf"(?<!\d)(?:{number[0]}|156)(?!\d)", plain) if number[0] == "60156" else None
    spot = spot or re.search(rf"(?<!\d){number[0]}(?!\d)", plain)
    after = _GAP.sub(" ", plain[spot.end() :]) if spot else ""
    here, there = _year(_GAP.sub(" ", plain), after, entry), _edition_of(edition, entry)
    year = here or there
    conflict = here is not None and there is not None and here != there
    letter = _PROCEDURE.search(plain) or _LETTER.match(after)
    procedure = letter.group(1) if letter else None
    gap = stated_gap(text)
    given = None if gap_mm is None or gap_mm != gap_mm else float(gap_mm)
    if gap is None or given is None:
        agreed = gap if gap is not None else given
    else:
        agreed = gap if abs(gap - given) <= GAP_ROOM_MM else None
    found = protocols[_resolve(entry, None if conflict else year, procedure, agreed)]
    found = dataclasses.replace(found, edition_stated=None if conflict else year)
    if gap is not None and given is not None and agreed is None:
        said = Value(None, "uncertain", f"the text {text!r} states {gap} mm, the record {given} mm")
        found = dataclasses.replace(found, gap_mm=said)
    found = _state(found, "gap_mm", agreed, text)
    words = _tokens(plain)
    found = _state(found, "electrode", _choice(words, "electrode"), text)
    return _state(found, "stirring", _choice(words, "stirring"), text)
