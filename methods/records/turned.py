"""A sheet that runs across: its labels stand in the first column, each other column is one filling."""

from __future__ import annotations

import dataclasses

from methods.columns import COLUMNS
from methods.records.blocks import Block, Cut, is_heading
from methods.records.headings import read_heading
from methods.records.layout import counts_breakdowns, is_number
from methods.records.text import Sheet


def turned(sheet: Sheet) -> Cut:
    """The sheet with rows and columns changed, where its first column reads as headings; otherwise as it is."""
    width = max(map(len, sheet.cells))
    cells = [[*r, *[""] * (width - len(r))] for r in sheet.cells]
    at = next((c for c in range(width) if sum(bool(r[c].strip()) for r in cells) >= 3), None)
    if at is None or at == width - 1:
        return Cut([Block(sheet)], [])
    labels = [r[at].strip().rstrip(" :") for r in cells]
    run = _run(labels)
    read = [read_heading(t) if t and (i in run or not is_number(t)) else None for i, t in enumerate(labels)]
    named = [
        i for i, h in enumerate(read) if h is not None and h.name in COLUMNS and h.name not in ("kv", "note", "order")
    ]
    named = [i for i in named if not _form(cells, i, at)]
    shots = [
        i
        for i, h in enumerate(read)
        if h is not None and h.shot is not None and h.name is None and counts_breakdowns([h])
    ]
    values = [i for i in shots if any(is_number(c) for c in cells[i][at + 1 :])]
    if len(values) < 2 or not named or not is_heading([labels[i] for i in (*named, *shots)]):
        return Cut([Block(sheet)], [])
    first, last = min(*named, *shots), max(max(named), max(shots))
    while last + 1 < len(cells) and (labels[last + 1] or any(map(is_number, cells[last + 1]))):
        last += 1
    lone = [i for i in range(first, last + 1) if not any(c.strip() for c in cells[i])]
    rows = [i for i in range(first, last + 1) if i not in lone]
    columns = [c for c in range(at, width) if any(cells[i][c].strip() for i in rows)]
    new = [[(labels[i] if c == at else cells[i][c]) for i in rows] for c in columns]
    out = dataclasses.replace(
        sheet, cells=new, rows=[c + 1 for c in columns], cols=[sheet.rows[i] for i in rows], head=0, turned=True
    )  # fmt: skip
    lines = [
        (sheet.rows[i], c + 1, t) for i, r in enumerate(cells) if not first <= i <= last
        for c, t in enumerate(r) if t.strip()
    ]  # fmt: skip
    return Cut(
        [Block(out, [ln for ln in lines if ln[0] < sheet.rows[first]])],
        [ln for ln in lines if ln[0] > sheet.rows[last]],
    )


def _form(cells: list[list[str]], at: int, label: int) -> bool:
    """Whether a labelled row belongs to a form above the table: one value, and a blank row between, or another form."""
    width = max(sum(bool(c.strip()) for c in r) for r in cells) - 1
    for row in cells[at:]:
        if not any(c.strip() for c in row):
            return width > 1
        if sum(bool(c.strip()) for c in row[label + 1 :]) > 1:
            return False
    return False


def _run(labels: list[str]) -> set[int]:
    """The places of bare numbers that count 1, 2, 3 ... down a column."""
    out: list[int] = []
    for i, text in enumerate(labels):
        bare = text.rstrip(".")
        if not text:
            continue
        if bare.isdecimal() and int(bare) == len(out) + 1:
            out.append(i)
        elif bare.isdecimal() and out:
            return set()  # numbers that do not go on counting
        elif len(out) >= 3:
            break
    return set(out) if len(out) >= 3 else set()
