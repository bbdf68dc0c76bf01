"""What a text says about a test: electrode, gap, stirring, rate of rise, method ... taken apart from one line.

A title, a sheet's or a file's name, or one cell: ``Mushroom electrodes at 1 mm with continuous stirring (0.5 kV/s)``.
Words of fourteen languages stand in ``context.toml``. A text that speaks of two electrodes, two gaps or two ways of
stirring says none of them.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

from methods.columns import PLACE
from methods.protocols import recognise
from methods.records.cells import normalise, parse_number, unit_of
from methods.records.headings import any_unit, fold, read_heading, word

_LENGTHS = ("mm", "cm", "in", "mil")
_QUANTITY = re.compile(
    r"(?<![\w.,])(?P<number>\d{1,6}(?:[.,]\d{1,4})?)\s?-?(?P<unit>kv\s?/\s?s(?:ec)?|v\s?/\s?s|kv\s?/\s?min|kv/mm|kv/cm|kv|mm|cm|"
    r"inch(?:es)?|in\b|in(?=\s|$)|mils?|°\s?c|°\s?f|mg\s?/\s?kg|ppm|мм|см|毫米|厘米|ミリ|кв/с|кв|\")(?![a-z0-9/])",
    re.IGNORECASE,
)
_UNIT_WORDS = {"мм": "mm", "см": "cm", "毫米": "mm", "厘米": "cm", "ミリ": "mm", "кв": "kV", "кв/с": "kV/s"}
_CLAUSE = re.compile(r"[;|()\[\]\n、，；]|,(?!\d)|\s[-–—/+]\s|\s&\s")
_PAIR = re.compile(r"\s*([^:=：]{2,40}?)\s*[:=：]\s*(\S.*)", re.DOTALL)
_FIELD_UNIT = re.compile(r"(?<![\w/])(?:in\s+|\(|\[)?(kv\s?/\s?mm|kv\s?/\s?cm|mv\s?/\s?m)(?![\w])", re.IGNORECASE)
_VOLTS = re.compile(r"(?:\bin\s+|\ben\s+|\bw\s+|\bi\s+|\bv\s+|[(\[])\s?(v|volts?)\s?[)\]]?\s*$", re.IGNORECASE)
_LABEL = re.compile(
    r"([^\W\d][^\d:=]{1,24}?)[\s_.:#№-]*(?:(?:no|nr|n[°º]|№|#)\.?\s*)?([A-Z]{0,3}-?\d{1,4}[a-z]?|[A-Z]{1,2})"
)
_LABELLED = ("filling", "sample", "fluid", *PLACE)


@dataclass(frozen=True)
class Facts:
    """``said``: name -> text, in words that a column of that name would hold. ``rest``: words that said nothing."""

    said: dict[str, str] = field(default_factory=dict)
    rest: tuple[str, ...] = ()
    unsure: tuple[str, ...] = ()  # names of which the text says more than one thing


@cache
def context_words() -> dict[str, dict[str, Any]]:
    """The word lists of ``context.toml``."""
    return tomllib.loads(files("methods.records").joinpath("context.toml").read_text(encoding="utf-8"))


def _pattern(words: list[str]) -> re.Pattern[str]:
    """One pattern for a list of words and stems, the longest first."""
    parts = []
    for text in sorted({fold(w.rstrip("*")) + ("*" if w.endswith("*") else "") for w in words}, key=len, reverse=True):
        bare = text.rstrip("*")
        if not bare:
            continue
        body = re.escape(bare).replace(r"\ ", " ").replace("\\*", r"\w*")
        if any(c >= "\u3040" for c in bare):
            parts.append(body)
        else:
            parts.append(rf"(?<!\w){body}" + (r"\w*" if text.endswith("*") else r"(?!\w)"))
    return re.compile("|".join(parts))


@cache
def _patterns(section: str, name: str) -> re.Pattern[str]:
    return _pattern(context_words()[section][name])


@cache
def _electrode_pattern() -> tuple[re.Pattern[str], dict[str, str]]:
    lists = context_words()["electrode"]
    pattern = _pattern([w for words in lists.values() for w in words])
    return pattern, {fold(w.rstrip("*")): level for level, words in lists.items() for w in words}


def _electrodes(folded: str) -> tuple[set[str], str]:
    """The electrodes that a folded text speaks of, and the text without those words."""
    pattern, levels = _electrode_pattern()
    out: set[str] = set()

    def take(hit: re.Match[str]) -> str:
        text = hit[0]
        level = levels.get(text)
        if level is None:  # a stem: the longest that the word begins with
            level = next(levels[s] for s in sorted(levels, key=len, reverse=True) if text.startswith(s))
        out.add(level)
        return " "

    return out, pattern.sub(take, folded)


def topic_of(heading_text: str) -> str | None:
    """What an unknown heading speaks of: ``electrode``, ``stirring`` or ``gap_mm``."""
    words = fold(heading_text)
    if _patterns("stirring", "topic").search(words):
        return "stirring"
    if _patterns("electrode_topic", "words").search(words):
        return "gap_mm" if _patterns("gap", "words").search(words) else "electrode"
    return None


def electrode_in(text: str) -> str | None:
    """``disk``, ``spherical`` or ``mushroom`` where a text speaks of one of them only."""
    levels, rest = _electrodes(fold(text))
    levels = levels or {w for t in (rest, *rest.split()) if (w := word("electrode", t))}
    return levels.pop() if len(levels) == 1 else None


@lru_cache(maxsize=20_000)
def stirring_in(text: str, asked: bool = False) -> str | None:
    """``none``, ``between``, ``continuous`` or ``stirred`` (it does not say when); None: the text does not say.

    ``asked``: the text is an answer to whether the oil was stirred, so that it need not speak of stirring.
    """
    words = fold(text)
    if not words:
        return None
    topic = _patterns("stirring", "topic").search(words)
    if not topic and not asked:
        return None
    found = set()
    if _patterns("stirring", "between").search(words):
        found.add("between")
    if _patterns("stirring", "continuous").search(words):
        found.add("continuous")
    if _patterns("stirring", "none").search(words) or words.split()[-1] in context_words()["stirring"]["none_last"]:
        found.add("none")
    if len(found) > 1 or (found == {"none"} and _both(words)):
        return None
    if found:
        return found.pop()
    if _patterns("stirring", "done").search(words) or _patterns("stirring", "on").search(words):
        return "stirred"
    return None


_AND = frozenset("and vs versus und et y e oder or och en i a и und sowie".split())


def _both(words: str) -> bool:
    """``stirred and unstirred``: the text speaks of both."""
    parts = words.split()
    done = _patterns("stirring", "done")
    return any(
        w in _AND and (done.search(" ".join(parts[:at])) or done.search(" ".join(parts[at:])))
        for at, w in enumerate(parts)
    )


def _quantities(text: str) -> tuple[dict[str, list[str]], str]:
    """Numbers with a unit, by what they measure, and the text without them."""
    out: dict[str, list[str]] = {}
    lengths: list[tuple[str, bool, bool]] = []
    gap, other = _patterns("gap", "words"), _patterns("gap", "other_lengths")

    def take(hit: re.Match[str]) -> str:
        raw = hit["unit"].casefold().replace(" ", "")
        unit = _UNIT_WORDS.get(raw) or any_unit(raw)
        value = parse_number(hit["number"])
        if value is None or unit is None:
            return hit[0]
        shown = f"{hit['number'].replace(',', '.')} {unit}"
        before, after = fold(text[max(0, hit.start() - 30) : hit.start()]), fold(text[hit.end() : hit.end() + 14])
        last = " ".join(before.split()[-2:])
        if unit in _LENGTHS:
            named = bool(gap.search(" ".join(before.split()[-3:])) or gap.match(after))
            near = bool(gap.search(" ".join(before.split()[-1:])))
            across = (
                bool(other.search(last) or other.match(after))
                or "ø" in text[max(0, hit.start() - 2) : hit.start()].casefold()
            )
            lengths.append((shown, named, across and not near))
        elif unit in ("kV/s", "V/s", "kV/min"):
            out.setdefault("rise_kv_s", []).append(shown)
        elif unit in ("C", "F"):
            out.setdefault("temperature_c", []).append(f"{hit['number'].replace(',', '.')} °{unit}")
        elif unit in ("mg/kg", "ppm"):
            out.setdefault("water_mg_kg", []).append(shown)
        elif unit == "kV":
            out.setdefault("kv", []).append(shown)
        return " "

    bare = _QUANTITY.sub(take, text)
    named = [s for s, n, o in lengths if n and not o] or [s for s, n, o in lengths if not o and _likely_gap(s)]
    if named:
        out["gap_mm"] = named
    return out, bare


def _likely_gap(shown: str) -> bool:
    value, _, unit = shown.partition(" ")
    return 0.2 <= float(value) * {"mm": 1.0, "cm": 10.0, "in": 25.4, "mil": 0.0254}[unit] <= 8


@lru_cache(maxsize=20_000)
def facts_of(text: str) -> Facts:
    """Take a text apart. Pairs such as ``gap: 2 mm`` first, then what is said in running words."""
    clean = normalise(text)[:400]
    if not clean or not any(c.isalnum() for c in clean):
        return Facts()
    several: dict[str, list[str]] = {}
    loose: list[str] = []
    for clause in _CLAUSE.split(clean):
        pair = _PAIR.fullmatch(clause)
        name = column_called(pair[1]) if pair else None
        if pair and name:
            several.setdefault(name, []).append(pair[2].strip(" .,"))
        elif clause.strip():
            loose.append(clause.strip())
    running = " ; ".join(loose)
    amounts, bare = _quantities(running)
    for name, found in amounts.items():
        if name != "kv":
            several.setdefault(name, []).extend(found)
    _field_unit(running, several)
    levels, folded = _electrodes(fold(bare))
    if not levels and re.search(r"(?<!\w)vde(?! ?\d)(?!\w)", folded) and "method" not in several:
        levels, folded = {"mushroom"}, re.sub(r"(?<!\w)vde(?!\w)", " ", folded)
    if levels:
        several.setdefault("electrode", []).extend(levels)
    ways = [w for part in loose if (w := stirring_in(_QUANTITY.sub(" ", part).strip()))]
    if not ways and len(loose) > 1 and (way := stirring_in(_QUANTITY.sub(" ", running))):
        ways = [way]
    if ways:
        several.setdefault("stirring", []).extend(ways)
    if "method" not in several:
        hit = next((t for t in (clean, *loose) if recognise(t) is not None), None)
        if hit is not None:
            several["method"] = [hit]
    if len(loose) == 1 and not several:
        several.update(_labelled(loose[0]))
    said = {name: texts[0] for name, texts in several.items() if len({plain_value(name, t) for t in texts}) == 1}
    unsure = tuple(sorted(set(several) - set(said)))
    return Facts(said, _rest(folded), unsure)


def plain_value(name: str, text: str) -> str:
    """A value in one spelling, for comparing two of them."""
    if name == "gap_mm":
        found = _QUANTITY.search(text)
        if found:
            amounts, _ = _quantities("gap " + found[0])
            shown = amounts.get("gap_mm", [text])[0]
            value, _, unit = shown.partition(" ")
            factor = {"mm": 1.0, "cm": 10.0, "in": 25.4, "mil": 0.0254}.get(unit)
            return f"{float(value) * factor:.4g}" if factor else text
    if name == "electrode":
        return word("electrode", text) or next(iter(_electrodes(fold(text))[0]), fold(text))
    if name == "stirring":
        return word("stirring", text) or stirring_in(text, True) or fold(text)
    return fold(text)


def column_called(label: str) -> str | None:
    """The column of the record table that a label such as ``Elektroden`` stands for."""
    key = fold(label)
    if key in _CEILINGS:
        return "ceiling"
    name = read_heading(label.strip("# ")).name
    if name is None and len(key.split()) == 1 and not any(c.isdecimal() for c in key):
        name = topic_of(key)
    return name if name not in ("kv", "outcome", "order", "note", None) else None


_CEILINGS = frozenset(
    (
        "ceiling,max voltage,maximum voltage,full scale,instrument ceiling,upper limit,highest "
        "voltage,hochstspannung,max spannung,maximalspannung,highest voltage of the test set,test set "
        "maximum,tension maximale,tension max,tension maxima,tensione massima,napiecie maksymalne,hogsta "
        "spanning,maximale spanning,tensao maxima,maximalni napeti,максимальное "
        "напряжение,最高电压,最大电压,最大電圧,最高電圧,azami gerilim,maksimum gerilim"
    ).split(",")
)


def _field_unit(text: str, several: dict[str, list[str]]) -> None:
    """``values in kV/cm``: the unit of the readings below."""
    found = _FIELD_UNIT.search(text)
    if found and not re.search(r"\d\s*$", text[: found.start(1)]):
        several["unit"] = [str(unit_of(found[1]))]
        return
    volts = _VOLTS.search(text)
    if volts:
        several["unit"] = ["V"]


def _labelled(text: str) -> dict[str, list[str]]:
    """``Filling 2``, ``Sample Q-88``, ``Lab B``: a known word and one label behind it."""
    found = _LABEL.fullmatch(text.strip(" .:"))
    if found is None:
        return {}
    name = read_heading(found[1].strip()).name
    return {name: [found[2]]} if name in _LABELLED else {}


_FILLERS = frozenset(
    (
        "with at and of the a in mit und bei der die das avec et a de des les con y e di da z i przy med och "
        "vid met en bij com s na с и при ile electrode electrodes elektroden elektroder elektrody electrodos "
        "elettrodi eletrodos elektrot gap abstand spacing distance only "
    ).split()
)


def _rest(folded: str) -> tuple[str, ...]:
    bare = folded
    for name in ("topic", "done", "none", "between", "continuous"):
        bare = _patterns("stirring", name).sub(" ", bare)
    bare = _patterns("gap", "words").sub(" ", bare)
    bare = _patterns("electrode_topic", "words").sub(" ", bare)
    return tuple(w for w in bare.split() if w not in _FILLERS)


def holds_no_readings(name: str) -> bool:
    """Whether a sheet's name says that it sums up or explains (``Summary``, ``read me``)."""
    key = fold(name)
    names = {fold(n) for n in context_words()["no_readings"]["names"]}
    return key in names or fold(re.sub(r"\d+", " ", name)) in names
