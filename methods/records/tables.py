"""The tables of all sheets, each with what is said around it; and several readings in one cell."""

from __future__ import annotations

import dataclasses
import re

from methods.errors import InputError
from methods.records.account import Account
from methods.records.blocks import Block, Cut, Line, cut
from methods.records.broken import mend_broken_rows
from methods.records.by_hand import leave_out
from methods.records.cells import BLANK, NO_BREAKDOWN, VALUE, WITHSTOOD, is_date, parse
from methods.records.context import LINE, by_file, give_context, said_by_lines
from methods.records.facts import holds_no_readings
from methods.records.heading_row import find_heading
from methods.records.headings import read_heading
from methods.records.kept import Log
from methods.records.layout import is_number
from methods.records.options import Options
from methods.records.places import Place
from methods.records.plain_sheet import is_plain
from methods.records.recipe import Recipe
from methods.records.said import tables_said
from methods.records.shapes import layout_of
from methods.records.sheets import tell_hidden
from methods.records.text import Said, Sheet
from methods.records.turned import turned

NOTHING = Recipe.of(None)
_SEPARATORS = (r"\s*/\s*", r"\s*;\s*", r"\s*\|\s*", r",\s+", r"\s+-\s+", r"\s+")
_MOST = 60  # readings in one cell
#: What stands between readings in one cell; a cell without it holds one.
_BETWEEN = re.compile(r"[\s/;|]")


def tables_of(
    sheets: list[Sheet], called: str, options: Options, account: Account, log: Log, said: Recipe = NOTHING
) -> list[Sheet]:  # fmt: skip
    """Every table of every sheet that holds readings, with what is said around it; those not read are told.

    Parameters
    ----------
    sheets : list of Sheet
        Sheets of the file.
    called : str
        Name of the file.
    options : Options
        What the caller said.
    account : Account
        Told of what is not read.
    log : Log
        Takes the problems and guesses.
    said : Recipe, default NOTHING
        The recipe.

    Raises
    ------
    InputError
        No table can be read: what is wrong with the likeliest one.
    """
    file = by_file(called)
    usable: list[Sheet] = []
    failed: list[tuple[Sheet, InputError]] = []
    for whole in sheets:
        quiet = holds_no_readings(whole.name) and not whole.wanted and len(sheets) > 1
        told = tables_said(said, leave_out(whole, options.areas, account), sheets)
        if told:
            usable += _as_said(told, whole, file, account, log)
            continue
        found, wrong = _of_sheet(whole, file, options, account, log)
        if quiet or (whole.hidden_sheet and not whole.wanted):
            whole.aside = found
            found = []
        usable += found
        failed += wrong
    if not usable:
        usable = [t for s in sheets for t in s.aside]
    if not usable:
        raise max(failed, key=lambda f: sum(map(len, f[0].cells)))[1]
    read = {t.name for t in usable}
    tell_hidden([s for s in sheets if s.name in read or not s.name], log)
    _tell_unread(
        [s for s in sheets if s.name not in read], [f for f in failed if f[0].name in read], failed, account, log
    )
    return usable


def _as_said(told: list[Sheet], whole: Sheet, file: list[Said], account: Account, log: Log) -> list[Sheet]:
    """Tables that a recipe cuts out, with the lines above their headings."""
    blocks = []
    for part in told:
        cols = part.cols or list(range(1, max(map(len, part.cells)) + 1))
        above = zip(part.rows[: part.head or 0], part.cells[: part.head or 0], strict=True)
        blocks.append(
            Block(part, [(r, c, t) for r, line in above for c, t in zip(cols, line, strict=False) if t.strip()])
        )
    found = Cut(blocks, [])
    give_context(found, whole.name, file, account, log)
    _name_tables(found, log)
    return told


def _of_sheet(
    whole: Sheet, file: list[Said], options: Options, account: Account, log: Log
) -> tuple[list[Sheet], list[tuple[Sheet, InputError]]]:
    if whole.columns is not None and not (is_plain(whole, options.columns) and not _hold_several(whole)):
        whole.lay_out()
    if whole.long and whole.columns is None:
        whole.context = (*_lines_of_head(whole), *file)
        return [whole], []
    mend_broken_rows(whole, log)
    sheet = leave_out(whole, options.areas, account)
    heads = tuple(a.rows[0] for a in options.areas if a.role == "heading" and a.rows and a.sheet in (None, whole.name))
    if options.layout == "transposed":
        found = Cut([Block(sheet)], [])
    else:
        found = cut(sheet, heads)
    if len(found.blocks) == 1 and found.blocks[0].sheet.head is None:
        found = turned(sheet) if options.layout in (None, "transposed") else None or found
    usable: list[Sheet] = []
    failed: list[tuple[Sheet, InputError]] = []
    for block in found.blocks:
        block.sheet = dataclasses.replace(block.sheet)  # the account keeps the cells as they stand
        split_series(block.sheet, log)
        try:
            layout_of(block.sheet, options.columns, options.layout)
        except InputError as error:
            failed.append((block.sheet, error))
            continue
        if block.sheet.head is None and not block.sheet.turned:
            whole_sheet = len(block.sheet.cells) == len(sheet.cells)  # its series may be given cells of their own
            lines = padded(block.sheet.cells if whole_sheet else sheet.cells)
            head = find_heading(lines, set())
            if head is None:
                head = next((i for i, line in enumerate(lines) if any(map(is_number, line))), 0)
            block.lines = [(r, c, t) for r, line in zip(sheet.rows[:head], sheet.cells[:head], strict=True)
                           for c, t in enumerate(line, 1) if t.strip()]  # fmt: skip
            if whole_sheet and len(found.blocks) == 1:
                found.lines = _foot(sheet, head)
        usable.append(block.sheet)
    kept = Cut([b for b in found.blocks if any(b.sheet is u for u in usable)], found.lines)
    if kept.blocks:
        give_context(kept, whole.name, file, account, log)
        _name_tables(kept, log)
    return usable, failed


def _hold_several(whole: Sheet) -> bool:
    """Whether a cell of a sheet that is kept by columns holds several readings."""
    return any(_BETWEEN.search(t) and _readings(t) for c in whole.columns or [] for t in c.uniques)


def _foot(sheet: Sheet, head: int) -> list[Line]:
    """Lines of text that say something of the readings, one in its row, below the last row that holds a number."""
    last = max((i for i, line in enumerate(sheet.cells) if any(map(is_number, line))), default=len(sheet.cells))
    out = []
    for row, line in zip(sheet.rows[last + 1 :], sheet.cells[last + 1 :], strict=True):
        held = [(row, c, t) for c, t in enumerate(line, 1) if t.strip()]
        if len(held) == 1 and not _holds_readings(held[0][2]) and said_by_lines(held, LINE, "", None, sheet.name):
            out += held
    return out if head < last else []


def _holds_readings(text: str) -> bool:
    return parse(text).kind in (VALUE, WITHSTOOD, NO_BREAKDOWN) or bool(_readings(text))


def padded(cells: list[list[str]]) -> list[list[str]]:
    """Rows of one length."""
    width = max(map(len, cells))
    return [[*r, *[""] * (width - len(r))] for r in cells]


def _lines_of_head(sheet: Sheet) -> list[Said]:
    """What the lines above the heading of a long text say."""
    head = find_heading(sheet.cells, set())
    lines = [(r, c, t) for r, line in zip(sheet.rows[: head or 0], sheet.cells[: head or 0], strict=True)
             for c, t in enumerate(line, 1) if t.strip()]  # fmt: skip
    return said_by_lines(lines, LINE, "a line above the heading", None, sheet.name)


def _name_tables(found: Cut, log: Log) -> None:
    """Tables of one sheet that nothing else tells apart go by their titles."""
    if len(found.blocks) < 2:
        return
    told = [tuple(sorted({(s.name, s.text) for s in b.sheet.context})) for b in found.blocks]
    titles = [" ".join(t for _, _, t in b.lines)[:60] or f"table {n}" for n, b in enumerate(found.blocks, 1)]
    if len(set(told)) < len(told):
        for n, block in enumerate(found.blocks):
            block.sheet.title = titles[n] if titles.count(titles[n]) == 1 else f"{titles[n]} {n + 1}"
    log.guess("tables", f"{len(titles)} tables on one sheet: " + ", ".join(map(repr, titles)),
              "headings that come again below each other or side by side",
              "--say table@B5:F9 for each")  # fmt: skip


def _tell_unread(
    sheets: list[Sheet], tables: list[tuple[Sheet, InputError]], failed: list[tuple[Sheet, InputError]],
    account: Account, log: Log,
) -> None:  # fmt: skip
    for sheet in sheets:
        why = next((str(e) for f, e in failed if f.name == sheet.name), "")
        why = "the sheet is hidden" if sheet.hidden_sheet else why or "its name says that it sums up or explains"
        account.unread[sheet.name] = f"the sheet is not read: {why}"
        log.guess("sheets", f"{sheet.name!r} is not read", why, "--sheet", code="sheet_not_read")
    for part, error in tables:
        account.unread_tables.append((part, str(error)))
        log.guess("tables", f"the table from row {part.rows[0]} on is not read", str(error),
                  _as_table(part), code="table_not_read", row=part.rows[0])  # fmt: skip


def _as_table(part: Sheet) -> str:
    """The words that make a table of these cells."""
    columns = part.cols or list(range(1, max(map(len, part.cells)) + 1))
    return f"--say table@{Place(part.rows[0], min(columns) - 1, part.rows[-1], max(columns) - 1)}"


def split_series(sheet: Sheet, log: Log) -> None:
    """Give each reading a cell of its own where the cells of a column hold several (``58.4/61.2/60.0``), in place."""
    if sheet.long or not sheet.cells:
        return
    for at in range(max(map(len, sheet.cells))):
        column = [r[at] if at < len(r) else "" for r in sheet.cells]
        several = {c: found for c in set(column) if _BETWEEN.search(c.strip()) and (found := _readings(c))}
        if not several:
            continue
        parts = [several.get(c, []) for c in column]
        first = next(i for i, p in enumerate(parts) if p)
        below = [(c, p) for c, p in zip(column[first:], parts[first:], strict=True) if c.strip()]
        if sum(bool(p) for _, p in below) <= len(below) / 2:
            continue
        width = max(len(p) for p in parts)
        _widen(sheet, at, parts, first, width)
        shown = f"{width} readings in one cell, in the order of the test"
        log.guess("breakdowns", shown, repr(column[first]), "write one reading a cell")
        return


def _widen(sheet: Sheet, at: int, parts: list[list[str]], first: int, width: int) -> None:
    size = max(map(len, sheet.cells))
    sheet.cells = [list(r) for r in sheet.cells]
    head = next((i for i in range(first - 1, -1, -1) if at < len(sheet.cells[i]) and sheet.cells[i][at].strip()), None)
    for i, row in enumerate(sheet.cells):
        row += [""] * (at + 1 - len(row))
        if i == head:
            text = row[at]
            new = [text] * width if read_heading(text).name == "kv" else [f"b{k + 1}" for k in range(width)]
        else:
            held = parts[i] or [row[at]]
            new = held + [""] * (width - len(held))
        sheet.cells[i] = row[:at] + new + row[at + 1 :]
    cols = sheet.cols or list(range(1, size + 1))
    sheet.cols = cols[:at] + [cols[at]] * width + cols[at + 1 :]


def _of_the_calendar(text: str) -> bool:
    """Whether numbers that look like a date can be one: ``51/45/49`` cannot."""
    numbers = [int(n) for n in re.findall(r"\d+", text)][:3]
    if len(numbers) < 3 or max(numbers) >= 1000:
        return True
    return sum(1 <= n <= 12 for n in numbers[:2]) > 0 and all(1 <= n <= 31 for n in numbers[:2])


def _readings(text: str) -> list[str]:
    """The readings of a cell that holds three or more with one mark between them, else an empty list."""
    clean = text.strip()
    if sum(c.isdecimal() for c in clean) < 3 or (is_date(clean) and _of_the_calendar(clean)):
        return []
    for mark in _SEPARATORS:
        held = [p for p in re.split(mark, clean) if p]
        if not 3 <= len(held) <= _MOST:
            continue
        cells = [parse(p) for p in held]
        plain = all(c.kind in (VALUE, WITHSTOOD) and not (c.kind == VALUE and c.note) for c in cells)
        thousands = mark == r"\s+" and all(re.fullmatch(r"\d{3}(?:[.,]\d+)?", p) for p in held[1:])
        if plain and not thousands and any(c.kind != BLANK and c.value >= 1 for c in cells):
            return held
    return []
