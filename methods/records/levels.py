"""Columns that each hold one level of a factor: ``sphere | mushroom``, ``kV stirred | kV still``."""

from __future__ import annotations

import re

from methods.columns import OIL, PLACE
from methods.protocols import recognise
from methods.records.headings import Heading, fold, plain_stirring, read_heading, word
from methods.records.layout import COUNTING

_GAP = re.compile(r"(?<![\w.,])(?:gap\s*)?(\d+(?:[.,]\d+)?)\s*mm\b", re.IGNORECASE)
_KV = re.compile(
    r"\(?\b(?:kv|kilovolts?|bdv|bd|breakdown(?: voltage)?|voltage|durchschlagspannung|ud|u)\b\)?", re.IGNORECASE
)
#: Words before a label or number that say what the column's level is a level of.
_LABELLED = ("filling", *PLACE, *OIL)


def level_of(text: str) -> dict[str, str] | None:
    """What a heading says about the breakdowns below it: contract name -> level; None when it says nothing."""
    shown = read_heading(text).text
    if not shown or len(shown) > 60:
        return None
    if recognise(shown) is not None:
        return {"method": shown}
    rest = _KV.sub(" ", re.sub(r"[()\[\]{}]", " ", shown))
    out: dict[str, str] = {}
    gap = _GAP.search(rest)
    if gap:
        out["gap_mm"] = gap[1].replace(",", ".") + " mm"
        rest = rest[: gap.start()] + " " + rest[gap.end() :]
    rest = rest.strip(" ,;:/-_")
    if not rest:
        return out or None
    if recognise(rest) is not None:
        return {**out, "method": rest}
    return _worded(rest, out) or _labelled(rest, out)


def _worded(rest: str, out: dict[str, str]) -> dict[str, str] | None:
    """An electrode, a way of stirring, or both, in words and nothing else."""
    found = dict(out)
    parts = [rest] if _factor(rest) else fold(rest).split()
    for part in parts:
        if part in ("electrode", "electrodes", "with", "mit", "avec", "con"):
            continue
        name = _factor(part)
        if name is None or name in found:
            return None
        found[name] = part
    return found if len(found) > len(out) else None


def _factor(text: str) -> str | None:
    key = fold(text)
    if not key or key.isdecimal() or len(key) < 3:
        return None
    if word("electrode", text):
        return "electrode"
    return "stirring" if word("stirring", text) or plain_stirring(text) else None


def _labelled(rest: str, out: dict[str, str]) -> dict[str, str] | None:
    """``Fill 2``, ``Lab B``, ``Oil 3``: a known word and one label behind it."""
    found = re.fullmatch(r"(\D*?[^\W\d])[\s_.#:-]*(\d{1,3}|(?<=[\s_.#:-])\w{1,2})", rest)
    if found is None:
        return None
    kind = fold(found[1])
    name = None if kind in COUNTING else read_heading(found[1]).name
    if name not in _LABELLED:
        return None
    name = "sample" if kind == "oil" else name
    return {**out, name: found[2] if name == "filling" else rest}


def levels_of(texts: list[str]) -> list[dict[str, str]] | None:
    """The levels of several headings, when each says a different one of the same factors."""
    found = [level_of(t) for t in texts]
    if len(found) < 2 or any(f is None for f in found):
        return None
    told = [f for f in found if f is not None]
    names = set(told[0])
    different = {tuple(sorted(f.items())) for f in told}
    return told if all(set(f) == names for f in told) and len(different) == len(told) else None


def level_columns(heads: list[Heading], shares: list[float]) -> tuple[list[int], list[dict[str, str]]]:
    """The columns of numbers whose headings are levels of the same factors, and the levels; none: two empty lists."""
    held = [
        i
        for i, h in enumerate(heads)
        if shares[i] >= 0.5 and not h.summary and h.name in (None, "kv", "gap_mm") and level_of(h.text)
    ]
    found = levels_of([heads[i].text for i in held])
    return (held, found) if found else ([], [])


def shown(levels: list[dict[str, str]]) -> str:
    """The levels in a few words: ``stirring: stirred, still``."""
    names = list(levels[0])
    return "; ".join(f"{n}: {', '.join(dict.fromkeys(level[n] for level in levels))}" for n in names)
