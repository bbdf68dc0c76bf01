"""Rows that a line break within a cell has cut in two: joined again, and told."""

from __future__ import annotations

from collections import Counter

from methods.records.kept import Log
from methods.records.layout import is_number
from methods.records.text import Sheet

_LABEL = (":", "：", "=")


def mend_broken_rows(sheet: Sheet, log: Log) -> None:
    """Join two neighbouring short rows of a delimited text that together are one row of the usual width, in place."""
    if sheet.delimiter in ("", "spaces") or len(sheet.cells) < 3:
        return
    widths = Counter(map(len, sheet.cells))
    width, count = widths.most_common(1)[0]
    if width < 3 or count < 0.5 * len(sheet.cells):
        return
    short = sum(2 <= len(r) < width for r in sheet.cells)
    if not 2 <= short <= max(2, 0.1 * len(sheet.cells)) or short % 2:
        return
    cells: list[list[str]] = []
    rows: list[int] = []
    at = 0
    while at < len(sheet.cells):
        row = sheet.cells[at]
        after = sheet.cells[at + 1] if at + 1 < len(sheet.cells) else []
        if (
            2 <= len(row) < width
            and len(after) >= 2
            and len(row) + len(after) == width + 1
            and row[-1].strip()
            and after[0].strip()
            and not after[0].rstrip().endswith(_LABEL)  # two lines of a form, each with its label
            and (is_number(joined := _joined(row[-1], after[0])) or not (is_number(row[-1]) or is_number(after[0])))
        ):
            cells.append([*row[:-1], joined, *after[1:]])
            rows.append(sheet.rows[at])
            log.guess("rows", f"rows {sheet.rows[at]} and {sheet.rows[at + 1]} are one row",
                      "a line break within a cell cut it in two", "put the cell in quotation marks",
                      code="row_cut", row=sheet.rows[at])  # fmt: skip
            at += 2
            continue
        cells.append(row)
        rows.append(sheet.rows[at])
        at += 1
    sheet.cells, sheet.rows = cells, rows


def _joined(end: str, begin: str) -> str:
    return f"{end.rstrip()} {begin.lstrip()}"
