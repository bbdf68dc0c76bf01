"""The row of headings: found by its words, with units beside it and what the lines above it say."""

from __future__ import annotations

import re

from methods.records.headings import Heading, any_unit, fold, read_heading
from methods.records.layout import is_number, is_unit_row, shot_run

#: Under another heading: the name of that.
_NAMES = frozenset(
    (
        "name no nr number id nummer bezeichnung nom nombre numero nome nazwa numer namn naam nummer nazev "
        "cislo название номер 名称 编号 名前 番号 ad numara n "
    ).split()
)
_SEARCH = 60  # a heading is looked for in this many rows
_PAIR = re.compile(r"#?\s*([^:=]{2,40}?)\s*[:=]\s*(\S.*)", re.DOTALL)


def find_heading(cells: list[list[str]], wanted: set[str]) -> int | None:
    best, best_score = None, 0.9
    worded = 0
    start = next((i for i, r in enumerate(cells) if any(c.strip() for c in r)), 0)
    for at in range(start, min(len(cells), start + _SEARCH)):
        below = [r for r in cells[at + 1 : at + 12] if any(c.strip() for c in r) and not is_unit_row(r)][:5]
        score = _score(cells[at], below, wanted)
        if worded and sum(bool(c.strip()) for c in cells[at]) <= worded and _holds_numbers(cells[at]):
            score -= 6  # a row of data below a row that is all words
        filled = [c for c in cells[at] if c.strip()]
        if len(filled) >= 3 and not any(map(is_number, filled)) and not is_unit_row(cells[at]):
            worded = max(worded, len(filled))
        if score > best_score and not (best is not None and best_score >= 4 and _data_between(cells[best + 1 : at])):
            best, best_score = at, score
    return best


def _holds_numbers(row: list[str]) -> bool:
    run = set(shot_run(row))
    return any(is_number(c) and at not in run for at, c in enumerate(row))


def _data_between(rows: list[list[str]]) -> bool:
    """Whether rows of data lie between: a heading is not looked for below the data of another one."""
    return any(sum(bool(c.strip()) for c in r) >= 2 and any(map(is_number, r)) and not is_unit_row(r) for r in rows)


def _score(row: list[str], below: list[list[str]], wanted: set[str]) -> float:
    filled = [c for c in row if c.strip()]
    if not filled or not any(is_number(c) for r in below for c in r):
        return float("-inf")
    if is_unit_row(row):
        return 1.0
    run = set(shot_run(row))
    total = 0.0
    for at, cell in enumerate(row):
        text = cell.strip()
        if not text:
            continue
        read = read_heading(text) if len(text) <= 80 else Heading(text)
        if fold(text) in wanted and fold(text) and not is_number(text):
            total += 6
        elif at in run:
            total += 2
        elif is_number(text) and (read.shot is None or text[-1].isdecimal() or text[-1] == "."):
            total -= 2
            continue
        elif _PAIR.fullmatch(text) and not read.name:
            total -= 1
        elif read.name:
            total += 4 if read.name == "kv" else 3
        elif read.shot:
            total += 2
        elif read.summary:
            total += 1.5
        else:
            total += 0.5
        if sum(is_number(r[at]) for r in below if at < len(r)) > len(below) / 2:
            total += 1
    return total


def headings_of(cells: list[list[str]], head: int | None) -> tuple[list[Heading], int, list[tuple[str, str, str, str]]]:
    """The heading of each column, with units from a row of units above or below, and the first row of data."""
    width = len(cells[0])
    if head is None:
        first = next(i for i, r in enumerate(cells) if any(c.strip() for c in r))
        guess = (
            "heading",
            "none: the first line is data",
            " | ".join(c for c in cells[first] if c.strip())[:60],
            "--value",
        )
        return [Heading(f"column {i + 1}") for i in range(width)], first, [guess]
    row, first = cells[head], head + 1
    units: list[str | None] = [None] * width
    while first < len(cells) and not any(c.strip() for c in cells[first]):
        first += 1
    if first < len(cells) and is_unit_row(cells[first]):
        units = [any_unit(c) for c in cells[first]]
        first += 1
    counted = _sub_heading(row, cells[first]) if first < len(cells) else []
    if counted:  # a second line of headings: 1, 2, 3 ... under one wide heading
        over = read_heading(row[counted[0]])
        row = [cells[first][i] if i in counted else c for i, c in enumerate(row)]
        units = [over.unit if i in counted else u for i, u in enumerate(units)]
        first += 1
        if first < len(cells) and is_unit_row(cells[first]):
            units = [any_unit(c) or u for c, u in zip(cells[first], units, strict=True)]
            first += 1
    above = cells[head - 1] if head else []
    group = [""] * width
    if above and is_unit_row(above):
        units = [any_unit(c) or u for c, u in zip(above, units, strict=True)]
    elif above:
        carried = ""
        for at in range(width):
            carried = above[at].strip() or carried
            group[at] = carried
    out = []
    for at in range(width):
        read = read_heading(row[at]) if row[at].strip() else Heading("")
        over = read_heading(group[at]) if group[at] and len(group[at]) < 80 else Heading("")
        if not read.text and above and above[at].strip() and (over.name or over.summary):
            read = over
        elif above and above[at].strip() and over.name in ("sample", "fluid") and fold(read.text) in _NAMES:
            read = Heading(over.text, over.name, read.unit, second=over.second)
        unit = read.unit or units[at]
        if unit is None and read.shot is not None and over.name == "kv":
            unit = over.unit
        if (
            unit in (None, "-")
            and read.name is None
            and read.shot is None
            and over.name == "kv"
            and over.unit
            and row[at].strip()
        ):
            unit = over.unit if not read.summary else None
        out.append(Heading(read.text, read.name, unit, read.shot, read.prefix, read.summary, read.second))
    return out, first, []


def _sub_heading(row: list[str], below: list[str]) -> list[int]:
    """The columns that the line below the heading numbers, when it does nothing else and starts under a voltage."""
    filled = [i for i, c in enumerate(below) if c.strip()]
    if len(filled) < 2 or not row[filled[0]].strip() or read_heading(row[filled[0]]).name != "kv":
        return []
    numbers = [read_heading(below[i]).shot for i in filled]
    bare = not any(row[i].strip() for i in filled[1:])
    return filled if bare and numbers == list(range(1, len(filled) + 1)) else []
