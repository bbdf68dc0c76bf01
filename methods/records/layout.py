"""How a sheet is laid out: the description to which every shape is brought, and what cells look like."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

from methods.records.cells import VALUE, WITHSTOOD, normalise, parse
from methods.records.headings import Heading, any_unit, read_heading

#: Words before a number that count breakdowns.
COUNTING = frozenset(
    "b,k,x,r,ordinal,test,trial,value,measurement,messung,essai,ensayo,run,reading,no,nr,wert,mesure".split(",")
) | {""}


@dataclass
class Layout:
    """How a sheet is laid out. Column numbers count from 0 within ``cells``."""

    kind: str
    headings: list[Heading]
    cells: list[list[str]]
    rows: list[int]
    first: int  # the first row of data in ``cells``
    values: list[int]
    shots: list[int]
    meta: dict[str, str] = field(default_factory=dict)  # what is said around the table, by the column it is about
    places: dict[str, str] = field(default_factory=dict)  # where that stands
    guesses: list[tuple[str, str, str, str]] = field(default_factory=list)
    summaries: dict[int, str] = field(default_factory=dict)
    named: bool = False  # the user said which column holds the voltages
    voltage: bool = True  # the heading speaks of a voltage
    levels: list[dict[str, str]] = field(default_factory=list)  # what each value column's heading says
    unwanted: set[str] = field(default_factory=set)  # what the user said is not in the file
    derived: set[int] = field(default_factory=set)  # columns taken from the cells of another one
    head: int = 0  # the row of headings in ``cells``
    column_rows: list[int] | None = None  # transposed: the sheet's row of each value column


@lru_cache(maxsize=65_536)  # a column shows the same few cells again and again
def is_number(text: str) -> bool:
    """Whether a cell can be read as a voltage or a plain number."""
    text = normalise(text)
    if not any(c.isdecimal() for c in text) or text[:2].casefold() == "kv":  # "kV 1" is a heading
        return False
    if re.fullmatch(r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?", text):
        return True
    cell = parse(text)
    return cell.kind in (VALUE, WITHSTOOD) and not (cell.note and len(cell.note) > 25)


def shot_run(row: list[str]) -> list[int]:
    """Columns whose cells are the bare whole numbers 1, 2, 3 ... in a row (at least three)."""
    best: list[int] = []
    run: list[int] = []
    texts = [normalise(cell).rstrip(".") for cell in row]
    if not any(text.endswith("1") for text in texts):  # nothing begins to count
        return []
    for at, text in enumerate(texts):
        if text.isdecimal() and len(text) < 6 and int(text) == len(run) + 1:
            run.append(at)
        elif text == "1":
            run = [at]
        elif text:
            best, run = max(best, run, key=len), []
    best = max(best, run, key=len)
    return best if len(best) >= 3 else []


def is_unit_row(row: list[str]) -> bool:
    filled = [c for c in row if c.strip()]
    return len(filled) > 1 and all(any_unit(c) is not None for c in filled) and not shot_run(row)


def counts_breakdowns(heads: list[Heading]) -> bool:
    """Whether numbered headings count breakdowns (``b1 b2``, ``1 2``) and not samples (``Oil 1``, ``A-1``)."""
    prefixes = {h.prefix for h in heads}
    return all(p in COUNTING or read_heading(p).name in ("kv", "order") for p in prefixes)
