"""One oil under one name, where files or sheets of several people spell it differently: ``TR-12``, ``tr 12``, ``TR12``.

A name that differs from one in another file or sheet in nothing but capitals, spaces and marks is taken as that one,
and said. Where any one file or sheet has both spellings, whoever wrote it tells them apart, and they stay apart.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from methods.records.cells import normalise
from methods.records.kept import Log
from methods.wording import list_words

#: Code of the guess, and what a user can do about it.
CODE, OPTION = "same_sample", "name them differently in the files if they are different oils"

#: Runs of letters, runs of digits and signs of their own; spaces, hyphens, dots and strokes tell nothing apart.
_PARTS = re.compile(r"\d+|[^\W\d_]+|[^\w\s\-‐-―./]")

#: Above so many names nobody typed them by hand, and looking at each would take longer than reading.
_MOST = 5000


@dataclass(frozen=True)
class Renamed:
    """In ``place`` (a file or a sheet) ``name`` is taken as ``taken``, which ``first`` (another of them) has."""

    place: str
    name: str
    taken: str
    first: str

    @property
    def guess(self) -> str:
        return f"{self.name!r} is {self.taken!r}"

    @property
    def evidence(self) -> str:
        return f"the name in {self.first} differs in capitals, spaces or marks alone"


def key_of(name: str) -> tuple[str, ...]:
    """What two spellings of one name share: ``("tr", "12")``."""
    return tuple(_PARTS.findall(normalise(name).casefold())) or (name,)


def renamed(tables: Sequence[pd.DataFrame], places: Sequence[str]) -> list[Renamed]:
    """The names of ``sample`` that are taken as others, ``tables`` in their order: the first spelling stays."""
    named = [list(dict.fromkeys(t["sample"].dropna().astype(str))) if "sample" in t else [] for t in tables]
    if len(tables) < 2 or not any(named) or max(map(len, named)) > _MOST:
        return []
    first: dict[tuple[str, ...], tuple[str, str]] = {}
    apart: set[tuple[str, ...]] = set()
    for place, names in zip(places, named, strict=True):
        keys = [key_of(n) for n in names]
        apart |= {k for k in keys if keys.count(k) > 1} if len(set(keys)) < len(keys) else set()
        for name, key in zip(names, keys, strict=True):
            first.setdefault(key, (name, place))
    return [
        Renamed(place, name, *first[key])
        for place, names in zip(places, named, strict=True) for name in names
        if (key := key_of(name)) not in apart and first[key][0] != name
    ]  # fmt: skip


def with_one_name(tables: Sequence[pd.DataFrame], places: Sequence[str]) -> tuple[list[pd.DataFrame], list[Renamed]]:
    """The tables with one spelling of each name, and what was taken as what."""
    found = renamed(tables, places)
    if not found:
        return list(tables), []
    out = []
    for table, place in zip(tables, places, strict=True):
        mine = {r.name: r.taken for r in found if r.place == place}
        out.append(table.assign(sample=table["sample"].replace(mine)) if mine else table)
    return out, found


def over_sheets(table: pd.DataFrame, sheet: np.ndarray) -> tuple[pd.DataFrame, list[Renamed]]:
    """The same within one file, whose rows stand on several sheets (their names, (rows,))."""
    codes, names = pd.factorize(sheet)
    if len(names) < 2:
        return table, []
    found = renamed([table[codes == i] for i in range(len(names))], [f"sheet {n}" for n in names])
    for one in found:
        at = (codes == list(names).index(one.place.removeprefix("sheet "))) & (table["sample"] == one.name).to_numpy()
        table = table.assign(sample=table["sample"].mask(at, one.taken))
    return table, found


def guesses(found: Sequence[Renamed]) -> pd.DataFrame:
    """Rows of :attr:`methods.records.Records.guesses`, with the ``file`` where they stand."""
    return pd.DataFrame(
        [
            {"what": "sample", "guess": r.guess, "evidence": r.evidence, "option": OPTION, "code": CODE, "row": None,
             "file": r.place}
            for r in found
        ]
    )  # fmt: skip


def log_sheets(found: Sequence[Renamed], log: Log) -> None:
    """The same into the log of a file that is being read."""
    for one in found:
        log.guess("sample", one.guess, f"{one.place}: {one.evidence}", OPTION, code=CODE)


def said(found: Sequence[Renamed]) -> str:
    """All of it in a sentence; empty where every name is spelt alike."""
    if not found:
        return ""
    each = list_words([f"{r.name!r} ({r.place}) as {r.taken!r}" for r in found], 6)
    return f"Taken as one oil, for spaces, capitals and marks alone differ: {each}. {OPTION[:1].upper()}{OPTION[1:]}."
