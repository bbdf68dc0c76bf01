"""Random damage to files as people have them: an InputError or a reading that balances, and nothing else.

A byte is flipped, two cells change places, a row is lost or stands twice, the end is missing. Every reading is held to
its account (``methods/records/balance.py``): numbers of the file = numbers accounted for, read = kept + refused.
"""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from methods import InputError, read
from methods.records.balance import faults

ROOT = Path(__file__).parents[3]
FILES = sorted(
    p
    for folder in ("tests/reference/sheets", "tests/reference/data", "data")
    for p in (ROOT / folder).iterdir()
    if p.suffix in (".csv", ".tsv", ".xlsx") and p.stat().st_size < 100_000
)


def flipped(raw: bytes, rng: random.Random) -> bytes:
    out = bytearray(raw)
    for _ in range(rng.choice((1, 3, 20))):
        out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def cut_off(raw: bytes, rng: random.Random) -> bytes:
    return raw[: rng.randrange(1, len(raw))]


def _in_rows(raw: bytes, change: Callable[[list[list[object]]], None]) -> bytes:
    """The file with its rows of cells changed: of the first sheet of a workbook, or of a text."""
    if raw[:2] == b"PK":
        book = openpyxl.load_workbook(io.BytesIO(raw))
        sheet = max(book, key=lambda s: s.max_row)
        for area in list(sheet.merged_cells.ranges):
            sheet.unmerge_cells(str(area))
        rows = [[c.value for c in row] for row in sheet.iter_rows()]
        change(rows)
        sheet.delete_rows(1, sheet.max_row)
        for row in rows:
            sheet.append(row)
        held = io.BytesIO()
        book.save(held)
        return held.getvalue()
    encoding = (
        "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig" if raw[:3] == b"\xef\xbb\xbf" else "utf-8"
    )
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError:
        encoding = "cp1252"
        text = raw.decode(encoding)
    mark = max(";\t,", key=text.count)
    cells: list[list[object]] = [list(r) for r in csv.reader(io.StringIO(text), delimiter=mark)]
    change(cells)
    out = io.StringIO()
    csv.writer(out, delimiter=mark, lineterminator="\n").writerows(cells)
    return out.getvalue().encode(encoding)


def swapped(raw: bytes, rng: random.Random) -> bytes:
    """Two cells that hold something change places, one to three times."""

    def change(rows: list[list[object]]) -> None:
        held = [(r, c) for r, row in enumerate(rows) for c, v in enumerate(row) if v not in (None, "")]
        for _ in range(rng.choice((1, 2, 3))):
            (a, b), (x, y) = rng.sample(held, 2)
            rows[a][b], rows[x][y] = rows[x][y], rows[a][b]

    return _in_rows(raw, change)


def rows_lost(raw: bytes, rng: random.Random) -> bytes:
    """One to five rows are lost, or one stands twice or elsewhere."""

    def change(rows: list[list[object]]) -> None:
        if rng.random() < 0.3:
            rows.insert(rng.randrange(len(rows)), list(rng.choice(rows)))
        for _ in range(rng.choice((1, 1, 2, 5))):
            if len(rows) > 2:
                del rows[rng.randrange(len(rows))]

    return _in_rows(raw, change)


@pytest.mark.parametrize("damage", [flipped, cut_off, swapped, rows_lost], ids=lambda d: d.__name__)
def test_a_damaged_file_is_refused_or_balances(damage: Callable[[bytes, random.Random], bytes]) -> None:
    assert len(FILES) > 40
    rng = random.Random(damage.__name__)
    came_through = 0
    for path in FILES:
        raw = damage(path.read_bytes(), rng)
        try:
            records = read(raw, name=path.name)  # raises AssertionError where it does not balance
        except InputError as error:
            assert str(error).strip() and "\n" not in str(error)
            continue
        assert not faults(records)
        came_through += 1
    assert came_through >= (len(FILES) / 2 if damage in (swapped, rows_lost) else 10)
