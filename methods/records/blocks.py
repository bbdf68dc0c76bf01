"""A sheet cut into its tables: beneath each other, side by side, under one heading with titles over its groups.

Each table comes out as a sheet of its own with the rows and columns that it has in the file, the place of its
headings, and the lines that are said of it. Lines that are said of the whole sheet come beside.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

from methods.columns import PROCEDURE
from methods.records.cells import BLANK, NO_BREAKDOWN, normalise, parse
from methods.records.facts import column_called, facts_of
from methods.records.headings import Heading, any_unit, fold, read_heading, summary_label
from methods.records.layout import COUNTING, counts_breakdowns, is_number, is_unit_row, shot_run
from methods.records.text import Sheet

#: A line of text: the file's row, its column, the text.
Line = tuple[int, int, str]
_HEAD_CELLS = 80  # a heading is no longer than this
_NO_COUNT = ("mm", "cm", "in", "mil", "um", "C", "F", "mg/kg", "ppm")  # ``2 mm`` is a gap, not the second breakdown


@dataclass
class Block:
    """One table of a sheet and the lines right above it."""

    sheet: Sheet
    lines: list[Line] = field(default_factory=list)


@dataclass
class Cut:
    """A sheet cut into tables; ``lines`` are those that belong to no table in particular."""

    blocks: list[Block]
    lines: list[Line]


def cut(sheet: Sheet, forced: tuple[int, ...] = ()) -> Cut:
    """Cut a sheet into tables. ``forced``: rows of the file that hold headings because somebody said so.

    A sheet in which no row reads as headings with voltages is one table.
    """
    width = max(map(len, sheet.cells))
    grid = _Grid(
        [r + [""] * (width - len(r)) for r in sheet.cells], list(sheet.rows), list(range(1, width + 1)), forced
    )
    out: list[Block] = []
    loose: list[Line] = []
    for strip in _strips(grid):
        found, lines = _bands(strip)
        out += [Block(_sheet_of(sheet, g, head), own) for g, head, own in found]
        loose += lines
    sizes = dict(zip(sheet.rows, map(len, sheet.cells), strict=True))
    for block in out:
        if len(block.sheet.cells[0]) == width:
            block.sheet.sizes = [sizes[r] for r in block.sheet.rows]
    if not out:
        return Cut([Block(sheet)], [])
    if len(out) == 1 and out[0].sheet.head is None:
        return Cut([Block(sheet)], [])
    return Cut(out, loose)


@dataclass
class _Grid:
    cells: list[list[str]]
    rows: list[int]
    cols: list[int]
    forced: tuple[int, ...] = ()

    def part(self, rows: list[int], cols: list[int]) -> _Grid:
        """Some rows and columns, by their places."""
        whole = cols == list(range(len(self.cols)))
        return _Grid(
            [list(self.cells[r]) for r in rows] if whole else [[self.cells[r][c] for c in cols] for r in rows],
            [self.rows[r] for r in rows], [self.cols[c] for c in cols], self.forced,
        )  # fmt: skip

    def is_head(self, at: int) -> bool:
        return self.rows[at] in self.forced if self.forced else is_heading(self.cells[at])


def _sheet_of(sheet: Sheet, grid: _Grid, head: int | None) -> Sheet:
    return dataclasses.replace(sheet, cells=grid.cells, rows=grid.rows, cols=grid.cols, head=head)


def is_heading(row: list[str], readings: bool = False) -> bool:
    """Whether a row reads as headings with a voltage, or breakdowns that are counted, among them.

    Headings of summaries alone are headings, too, unless ``readings`` are asked for.
    """
    filled = [c for c in row if c.strip()]
    if len(filled) < 2 or max(map(len, filled)) > _HEAD_CELLS:
        return False
    sorts = [_sort_of(c) for c in filled]
    numbers = sorts.count("number") + sorts.count("counts")
    if sorts.count("number") > sorts.count("may"):  # most rows of readings: fewer counts than numbers
        return False
    run = set(_counted(row))
    if numbers > len(run):
        return False
    if is_unit_row(row) and not any(any_unit(c) == "-" for c in filled):
        return False
    read = [(i, read_heading(c)) for i, c in enumerate(row) if c.strip()]
    if any(parse(c).kind == NO_BREAKDOWN and _no_breakdown(c) for c in filled):
        return False
    shots = [h for i, h in read if h.shot is not None and h.name is None and h.unit not in _NO_COUNT]
    known = sum(
        i in run or h.name is not None or h in shots or h.summary is not None or fold(h.text) in COUNTING
        for i, h in read
    )
    counted = len(run) >= 2 or (len(shots) >= 2 and counts_breakdowns(shots) and _rises(shots)) or _lettered(shots)
    if not counted and all(len(set(facts_of(c).said) & set(PROCEDURE)) > 1 for c in filled):
        return False  # titles that stand side by side
    if not readings and any(h.summary for _, h in read) and all(h.summary or h.name for _, h in read):
        return True
    return 2 * known >= len(filled) and (counted or any(h.name == "kv" for _, h in read))


def reads_as_number(text: str) -> bool:
    """Whether a cell counts as a number where a row is asked whether it is a heading."""
    bare = text.replace(".", "", 1)
    if bare.isascii() and bare.isdecimal() and text[0] != "." and text[-1] != ".":
        return True
    return _sort_of(text) in ("number", "counts")


def breakdown_number(text: str) -> int:
    """The number by which a cell may count breakdowns in a row of headings; 0 for any other cell."""
    if text.isascii() and text.isdecimal():
        return int(text) if len(text) < 6 else 0
    bare = normalise(text).rstrip(".")
    return int(bare) if bare.isdecimal() and len(bare) < 6 else 0


@lru_cache(maxsize=65_536)
def _sort_of(text: str) -> str:
    """``counts``: a number that may be one of 1, 2, 3 ... over breakdowns; another ``number``; no number, but such a
    count (``may``); or a text."""
    may = normalise(text).rstrip(".").isdecimal()
    if is_number(text) and not _ordinal(text):
        return "counts" if may else "number"
    return "may" if may else "text"


def _no_breakdown(text: str) -> bool:
    """Whether a cell that says that nothing broke down is no heading, such as ``Withstood``."""
    return read_heading(text).name not in ("kv", "outcome") or fold(text).split()[:1] == ["no"]


def _ordinal(text: str) -> bool:
    """``1st``, ``2nd``: a heading that begins with a digit."""
    return any(map(str.isalpha, text)) and read_heading(text).shot is not None


def _rises(shots: list[Heading]) -> bool:
    """Whether numbered headings count 1, 2, 3 ..., perhaps several times."""
    numbers = [h.shot or 0 for h in shots]
    return (
        all(b in (a + 1, 1, numbers[0]) for a, b in zip(numbers, numbers[1:], strict=False)) and len(set(numbers)) > 1
    )


def _lettered(shots: list[Heading]) -> bool:
    """``A1 A2 A3 B1 B2 B3``: two or more groups under letters, each counted from 1."""
    prefixes = list(dict.fromkeys(h.prefix for h in shots))
    groups = [[h.shot for h in shots if h.prefix == p] for p in prefixes]
    return len(groups) >= 2 and all(len(g) >= 3 and g == list(range(1, len(g) + 1)) for g in groups)


def _counted(row: list[str]) -> list[int]:
    """The columns of bare whole numbers that count 1, 2, 3 ..., one or more times over."""
    if len(run := shot_run(row)) < 2:
        return []
    out = []
    last = 0
    for at, cell in enumerate(row):
        text = normalise(cell).rstrip(".")
        if text.isdecimal() and int(text) in (last + 1, 1):
            out.append(at)
            last = int(text)
    return out if set(run) <= set(out) else run


def _blank(row: list[str]) -> bool:
    return not any(c.strip() for c in row)


def _strips(grid: _Grid) -> list[_Grid]:
    """The sheet cut at empty columns where both sides have headings of their own and no labels in common."""
    width = len(grid.cols)
    first = next((i for i in range(len(grid.rows)) if grid.is_head(i) or _some_head(grid.cells[i])), None)
    if first is None:
        return [grid]
    empty = [not any(r[c].strip() for r in grid.cells[first:]) for c in range(width)]
    spans: list[list[int]] = []
    for c in range(width):
        if not empty[c]:
            if spans and spans[-1][-1] == c - 1:
                spans[-1].append(c)
            else:
                spans.append([c])
    if len(spans) < 2:
        return [grid]
    every = range(len(grid.rows))
    parts = [[[grid.cells[r][c] for c in span] for r in every] for span in spans]
    headed = [any(_own_heading(r) for r in part) for part in parts]
    if sum(headed) < 2:
        return [grid]
    joined: list[list[int]] = []
    for span, own in zip(spans, headed, strict=True):  # what has no headings belongs to what stands before it
        if joined and not own:
            joined[-1] += span
        elif joined and not any(headed[: spans.index(span)]):
            joined[-1] += span
        else:
            joined.append(list(span))
    edges = [j[0] for j in joined[1:]]
    whole = [list(range(a, b)) for a, b in zip([0, *edges], [*edges, width], strict=True)]
    return [grid.part(list(every), cols) for cols in whole]


def _some_head(row: list[str]) -> bool:
    """Whether part of a row reads as headings: another table beside it has data there."""
    parts: list[list[str]] = [[]]
    for cell in row:
        if cell.strip():
            parts[-1].append(cell)
        elif parts[-1]:
            parts.append([])
    return len(parts) > 2 and any(is_heading(p) for p in parts)


def _own_heading(row: list[str]) -> bool:
    """Headings that can stand alone: with a label or an order beside the voltages, breakdowns counted from 1."""
    if not is_heading(row, readings=True):
        return False
    read = [read_heading(c) for c in row if c.strip()]
    label = any(h.name not in (None, "kv") or fold(h.text) in COUNTING or h.text in ("#", "№") for h in read)
    run = _counted(row)
    return label or (bool(run) and normalise(row[run[0]]).rstrip(".") == "1")


def _bands(grid: _Grid) -> tuple[list[tuple[_Grid, int | None, list[Line]]], list[Line]]:
    """The tables beneath each other within a strip, each cut into those side by side; and the lines of no table."""
    heads = [i for i in range(len(grid.rows)) if grid.is_head(i)]
    heads = [
        i
        for i, after in zip(heads, [*heads[1:], len(grid.rows)], strict=False)
        if (after == i + 1 < len(grid.rows) or any(_readings_in(grid.cells[r]) for r in range(i + 1, after)))
        and _stands_out(grid, heads, i)
    ]
    if not heads:
        return (
            ([(grid, None, [])], []) if any(map(_has_number, grid.cells)) else ([], _lines(grid, range(len(grid.rows))))
        )
    groups: list[list[int]] = []
    for i in heads:
        if groups and groups[-1][-1] == i - 1:
            groups[-1].append(i)
        else:
            groups.append([i])
    starts: list[tuple[int, list[int]]] = []  # the first title line of a table, and its heading rows
    last: list[str] = []
    for group in groups:
        top = _title_above(grid, group[0], starts[-1][1][-1] + 1 if starts else 0)
        texts = [fold(c) for c in grid.cells[group[-1]] if c.strip()]
        if starts and texts == last and top == group[0]:
            continue  # the heading again, on the next page
        last = texts
        starts.append((top, group))
    tables: list[tuple[_Grid, int | None, list[Line]]] = []
    loose = _lines(grid, range(starts[0][0]))
    for (top, group), end in zip(starts, [*(s[0] for s in starts[1:]), len(grid.rows)], strict=True):
        own, more = _table(grid, top, group, end)
        tables += own
        loose += more
    return tables, loose


def _stands_out(grid: _Grid, heads: list[int], at: int) -> bool:
    """Whether further headings stand below a blank line, a title or other headings, or fill their row."""
    if at == heads[0] or at - 1 in heads or grid.forced:
        return True
    above = grid.cells[at - 1]
    before = {fold(c) for c in grid.cells[max(h for h in heads if h < at)] if c.strip()}
    texts = [fold(c) for c in grid.cells[at] if c.strip()]
    like = 2 * sum(t in before for t in texts) > len(texts) or all(
        (read_heading(c).name or read_heading(c).shot or summary_label(c)) and not _lone_label(c)
        for c in grid.cells[at]
        if c.strip()
    )
    if _blank(above) or (_is_line(above, False) and (like or any(facts_of(c).said for c in above if c.strip()))):
        return True
    return sum(t in before for t in texts) >= 0.6 * len(texts)


def _lone_label(text: str) -> bool:
    """Whether a text with a number, ``S3``, counts no breakdown."""
    read = read_heading(text)
    return read.name is None and read.shot is not None and not counts_breakdowns([read])


def _readings_in(row: list[str]) -> bool:
    return any(is_number(c) or parse(c).kind == NO_BREAKDOWN for c in row if c.strip())


def _has_number(row: list[str]) -> bool:
    return any(map(is_number, row))


def _title_above(grid: _Grid, at: int, least: int) -> int:
    """The first of the lines of text right above a heading; ``at`` itself when there are none."""
    first = up = at
    while up > least and _blank(grid.cells[up - 1]):
        up -= 1
    while up > least and _is_line(grid.cells[up - 1], least == 0):
        up -= 1
        first = up
    return first


def _is_line(row: list[str], top: bool) -> bool:
    """Whether a row is a line of text and not a row of data: titles, pairs of label and value."""
    filled = [c for c in row if c.strip()]
    if not filled:
        return False
    if len(filled) == 1:
        lone = next(i for i, c in enumerate(row) if c.strip())
        return not is_number(filled[0]) or (lone == 0 and filled[0].strip().rstrip(".)").isdecimal() and len(row) > 1)
    if any(parse(c).kind in (BLANK, NO_BREAKDOWN) for c in filled) and not _form_line(filled):
        return False
    if not any(map(is_number, filled)):
        return top or all(facts_of(c).said for c in filled) or len(filled) <= 3
    return any(c.strip().endswith((":", "=")) for c in filled)


def _form_line(filled: list[str]) -> bool:
    """A label of the procedure and its value, which may be ``no``."""
    return len(filled) == 2 and not is_number(filled[0]) and column_called(filled[0].rstrip(" :=：")) in PROCEDURE


def _lines(grid: _Grid, rows: Iterable[int]) -> list[Line]:
    return [
        (grid.rows[r], grid.cols[c], text) for r in rows for c, text in enumerate(grid.cells[r]) if text.strip()
    ]  # fmt: skip


def _table(
    grid: _Grid, top: int, group: list[int], end: int
) -> tuple[list[tuple[_Grid, int | None, list[Line]]], list[Line]]:
    """One band: cut at lines that begin a new section, then into groups side by side."""
    head = max(group, key=lambda i: sum(bool(c.strip()) for c in grid.cells[i]))
    above = [i for i in range(max(top, head - 1), head) if not _blank(grid.cells[i])]
    titles = [r for r in range(top, head) if r not in group]
    heads = [*above, *range(head, group[-1] + 1)]
    body, loose, sections = _sections(grid, head, range(group[-1] + 1, end))
    out: list[tuple[_Grid, int | None, list[Line]]] = []
    spans = _groups(grid.cells[head], [r for r in body])
    for lines, rows in sections:
        keep = [*heads, *rows]
        for columns, start, stop in spans:
            part = grid.part(keep, columns)
            own = [ln for ln in _lines(grid, titles) if _over(grid, ln, start, stop, spans, titles)]
            out.append((part, len(above), [*own, *lines]))
    shared = [ln for ln in _lines(grid, titles) if len(spans) > 1 and not any(ln in o[2] for o in out)]
    return out, [*shared, *loose]


def _over(
    grid: _Grid, line: Line, start: int, stop: int, spans: list[tuple[list[int], int, int]], titles: list[int]
) -> bool:
    """Whether a line above a heading stands over this group of columns; one that stands alone is said of all."""
    if len(spans) == 1:
        return True
    at = grid.cols.index(line[1])
    same = [g for g in range(len(grid.cols)) if grid.cells[grid.rows.index(line[0])][g].strip()]
    over = [g for g in same if any(s <= g < e for _, s, e in spans)]
    covered = {next(k for k, (_, s, e) in enumerate(spans) if s <= g < e) for g in over}
    return len(covered) > 1 and start <= at < stop


def _sections(
    grid: _Grid, head: int, rows: range
) -> tuple[list[list[str]], list[Line], list[tuple[list[Line], list[int]]]]:
    """The rows of data, cut where a line within them says something new of the rows below; and lines of no data."""
    read = [read_heading(c) for c in grid.cells[head]]
    names = [h.name for h in read]
    values = {i for i, h in enumerate(read) if h.name == "kv" or (h.shot is not None and h.name is None)}
    values |= set(_counted(grid.cells[head]))
    data: list[int] = []
    loose: list[Line] = []
    sections: list[tuple[list[Line], list[int]]] = [([], [])]
    last = max((r for r in rows if _has_number(grid.cells[r])), default=-1)
    pending: list[Line] = []
    for r in rows:
        row = grid.cells[r]
        filled = [c for c, text in enumerate(row) if text.strip()]
        if (
            len(filled) == 1
            and filled[0] not in values
            and not is_number(row[filled[0]])
            and parse(row[filled[0]]).kind not in (BLANK, NO_BREAKDOWN)
        ):
            text = row[filled[0]]
            said = facts_of(text).said
            section = any(n in said for n in (*PROCEDURE, "sample", "filling", "fluid"))
            known = names[filled[0]] in ("sample", "filling") and not any(n in said for n in PROCEDURE)
            line = (grid.rows[r], grid.cols[filled[0]], text)
            if section and not known and r < last:
                pending.append(line)
                continue
            if not known or r > last:
                loose.append(line)
                continue
        elif filled and r > last and not _has_number(row) and not values & set(filled):
            loose += [(grid.rows[r], grid.cols[c], row[c]) for c in filled]
            continue
        if pending and filled:
            sections.append((pending, []))
            pending = []
        data.append(r)
        sections[-1][1].append(r)
    kept: list[tuple[list[Line], list[int]]] = []
    for lines, held in sections:
        if not kept or any(_has_number(grid.cells[r]) for r in held):
            kept.append((lines, held))
        else:
            kept[-1][1].extend(held)
    kept = [s for s in kept if any(not _blank(grid.cells[r]) for r in s[1])]
    return [grid.cells[r] for r in data], [*loose, *pending], kept or [([], data)]


def _groups(head: list[str], body: list[list[str]]) -> list[tuple[list[int], int, int]]:
    """The groups of columns that repeat one set of headings: columns (with those before the first that are shared),
    and where the group begins and ends."""
    width = len(head)
    whole = [(list(range(width)), 0, width)]
    texts = [fold(c) or c.strip() for c in head]
    run = set(_counted(head))
    lettered = [read_heading(c).prefix for c in head]
    shots = [read_heading(c) if c.strip() else None for c in head]
    if _lettered([h for h in shots if h is not None and h.shot is not None and h.name is None]):
        firsts = [i for i, h in enumerate(shots) if h is not None and h.shot == 1 and lettered.index(h.prefix) == i]
    else:
        again = next((t for i, t in enumerate(texts) if t and texts.count(t) > 1), None)
        if again is None:
            return whole
        firsts = [i for i, t in enumerate(texts) if t == again]
        if again.isdecimal() and not all(i in run for i in firsts):
            return whole
    edges = [*firsts, width]
    out = []
    for start, stop in zip(edges, edges[1:], strict=False):
        read = [read_heading(head[i]) for i in range(start, stop) if head[i].strip()]
        value = any(h.name == "kv" for h in read) or sum(h.shot is not None and h.name is None for h in read) >= 2
        if not value or len(read) < 2:
            return whole
        out.append(([*range(firsts[0]), *range(start, stop)], start, stop))
    return out
