"""The rows of data below the heading, cut into columns of coded text."""

from __future__ import annotations

import numpy as np

from methods.records.coded import Body, coded
from methods.records.columnar import columnar
from methods.records.layout import Layout
from methods.records.plain_sheet import body_below
from methods.records.text import Sheet, mark_of, records_of


def body_of(sheet: Sheet, plan: Layout) -> Body:
    """The data below the heading."""
    if sheet.columns is not None:
        return body_below(sheet, plan)
    lengths = sheet.sizes or [len(r) for r in sheet.cells]
    if sheet.long:
        fast = columnar(sheet, plan)
        if fast is not None:
            return fast
        cells, rows = records_of(sheet.whole(), mark_of(sheet.delimiter))
        skip = len(cells) and cells[0] and cells[0][0].strip().casefold().startswith("sep=")
        cells, rows = (cells[1:], rows[1:]) if skip else (cells, rows)
        lengths = [len(r) for r in cells]
        width = max(len(plan.headings), max(lengths))
        plan.cells, plan.rows = [r + [""] * (width - len(r)) for r in cells], rows
    cells = plan.cells[plan.first :]
    long_rows = _overlong(sheet, plan, lengths)
    numbers = np.asarray(plan.rows[plan.first :], dtype=np.int64)
    held = np.array([any(c.strip() for c in r) for r in cells], dtype=bool)
    kept = [r for r, h in zip(cells, held, strict=True) if h]
    return Body([coded([r[i] for r in kept]) for i in range(len(plan.headings))], numbers[held], long_rows[held])


def _overlong(sheet: Sheet, plan: Layout, lengths: list[int]) -> np.ndarray:
    """Rows of comma-separated text that have more cells than the heading: an unquoted ``58,4`` cut in two."""
    sizes = np.asarray(lengths[plan.first :])
    out = np.zeros(len(plan.cells) - plan.first, dtype=bool)
    if (
        sheet.delimiter != "comma"
        or plan.kind == "transposed"
        or plan.first == 0
        or len(sizes) != len(out)
        or not len(sizes)
    ):
        return out
    over = sizes > max(lengths[: plan.first])
    return over if over.mean() < 0.5 or len(over) == 1 else out
