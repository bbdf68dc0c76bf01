"""A large sheet kept by columns is read as it is row by row, whatever stands in it."""

from __future__ import annotations

import datetime
import io
import random
import re
from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest
import xlsxwriter

from methods.errors import InputError
from methods.records import plain_sheet, read
from methods.records.sheet_marks import marks_of

Rows = list[list[Any]]
HEAD = ["Oil", "Filling", "No.", "kV", "Temp. C", "Day"]


def plain(size: int = 460) -> Rows:
    """An invented sheet: a heading, then one breakdown a row."""
    day = datetime.datetime(2025, 3, 1)
    return [
        HEAD,
        *(
            [f"oil-{i // 60}", i // 6 + 1, i % 6 + 1, 40 + (i * 37 % 200) / 10, 20 + i % 7 / 10,
             day + datetime.timedelta(days=i // 30)]
            for i in range(size)
        ),
    ]  # fmt: skip


def book(rows: Rows, **more: Callable[[Any, Any], None]) -> bytes:
    held = io.BytesIO()
    file = xlsxwriter.Workbook(held, {"default_date_format": "yyyy-mm-dd"})
    sheet = file.add_worksheet("Tests")
    for at, row in enumerate(rows):
        sheet.write_row(at, 0, row)
    for change in more.values():
        change(file, sheet)
    file.close()
    return held.getvalue()


def with_row(at: int, *rows: list[Any]) -> Rows:
    out = plain()
    return [*out[:at], *rows, *out[at:]]


def changed(at: int, column: int, value: Any) -> Rows:
    out = plain()
    out[at][column] = value
    return out


def titled(rows: Rows) -> Rows:
    return [["Mushroom electrodes, gap 2.5 mm", "", "", "", "", ""], ["", "", "", "", "", ""], *rows]


FAR = 430  # below what is looked at as the head
STILL_PLAIN: dict[str, Rows] = {
    "plain": plain(),
    "a title above": titled(plain()),
    "blank rows": with_row(FAR, ["", "", "", "", "", ""], [" ", "", "", "", "", ""]),
    "a withstand": changed(FAR, 3, ">60"),
    "a remark": changed(FAR, 3, "58.4 (bubble)"),
    "a word for a voltage": changed(FAR, 3, "lost"),
    "no voltage": changed(FAR, 3, ""),
    "truth values": changed(FAR, 4, True),
    "a count in words of numbers": changed(FAR, 3, 3),
    "a mean": with_row(FAR, ["Mean", "", "", 51.2, "", ""]),
    "a column that is empty at first": changed(FAR, 4, "21,5"),
    "two numbers of one text": changed(FAR, 3, 0.1 + 0.2),
}
LAID_OUT: dict[str, Rows] = {
    "headings again": with_row(FAR, HEAD),
    "other headings": with_row(FAR, ["", "", "", "", "", ""], ["Oil", "Filling", "No.", "Voltage (kV)", "", ""]),
    "a title within": with_row(FAR, ["Disk electrodes, gap 2.54 mm, no stirring", "", "", "", "", ""]),
    "a line below": [*plain(), ["Tested by nobody", "", "", "", "", ""]],
    "words below": [*plain(), ["Mean", "see sheet 2", "", "", "", ""]],
    "one number alone": with_row(FAR, ["", "", "", 55.5, "", ""]),
    "headings that count": with_row(FAR, ["Oil", 1, 2, 3, 4, 5]),
    "several readings in a cell": changed(FAR, 3, "58.4/61.2/60.0"),
    "a column that begins late": [[*r, ("x" if i == FAR else "")] for i, r in enumerate(plain())],
}


@pytest.fixture(autouse=True)
def _small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plain_sheet, "HEAD_ROWS", 380)
    monkeypatch.setenv("GAPSHIFT_CHECK_ACCOUNT", "1")


def outcome(raw: bytes, many: int, monkeypatch: pytest.MonkeyPatch, **options: Any) -> Any:
    monkeypatch.setattr(plain_sheet, "MANY_ROWS", many)
    try:
        found = read(raw, name="tests.xlsx", **options)
    except InputError as error:
        return str(error)
    cells = found.cells.sort_values(["sheet", "row", "column"], ignore_index=True)
    return [found.table, found.problems, found.guesses, found.origin, cells, found.rows_read, found.source]


def same(raw: bytes, monkeypatch: pytest.MonkeyPatch, **options: Any) -> None:
    by_columns, by_rows = (outcome(raw, many, monkeypatch, **options) for many in (0, 10**9))
    assert type(by_columns) is type(by_rows), by_columns
    for one, other in zip(by_columns, by_rows, strict=True):
        if isinstance(one, pd.DataFrame):
            pd.testing.assert_frame_equal(one, other, check_dtype=False, check_categorical=False)
        else:
            assert one == other


def kept_by_columns(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Notes of each sheet whether it stayed as columns."""
    seen: list[bool] = []
    asked = plain_sheet.is_plain

    def is_plain(sheet: Any, columns: Any) -> bool:
        seen.append(asked(sheet, columns))
        return seen[-1]

    monkeypatch.setattr("methods.records.tables.is_plain", is_plain)
    return seen


@pytest.mark.parametrize("name", STILL_PLAIN)
def test_plain(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = kept_by_columns(monkeypatch)
    same(book(STILL_PLAIN[name]), monkeypatch)
    assert seen == [True]


@pytest.mark.parametrize("name", LAID_OUT)
def test_laid_out(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = kept_by_columns(monkeypatch)
    same(book(LAID_OUT[name]), monkeypatch)
    assert asked == [False] or name == "several readings in a cell"


def test_what_the_spreadsheet_hides(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = kept_by_columns(monkeypatch)
    same(book(plain(), hide=lambda _, s: s.set_row(FAR, None, None, {"hidden": True})), monkeypatch)
    same(book(plain(), merge=lambda _, s: s.merge_range(FAR, 0, FAR + 5, 0, "oil-7")), monkeypatch)
    same(book(plain(), formula=lambda _, s: s.write_formula(FAR, 3, "=D5", None, "")), monkeypatch)
    assert seen == []


def test_several_sheets_and_options(monkeypatch: pytest.MonkeyPatch) -> None:
    def second(file: Any, _: Any) -> None:
        sheet = file.add_worksheet("Disk electrodes")
        for at, row in enumerate(plain(400)):
            sheet.write_row(at, 0, row)
        file.add_worksheet("Notes").write(0, 0, "invented")

    raw = book(plain(), second=second)
    for options in ({}, {"sheet": "Tests"}, {"columns": {"kv": "kV", "sample": "Oil"}}, {"layout": "long"},
                    {"context": "electrode=disk@Tests"}, {"say": "means=sample@A"}, {"columns": {"kv": "none"}},
                    {"areas": [{"rows": (FAR, FAR + 5), "role": "leave_out"}]}):  # fmt: skip
        same(raw, monkeypatch, **options)


def test_marks_of_a_worksheet() -> None:
    """As patterns find them: names of rows and columns, and what asks for a closer look."""
    found = marks_of(b'<row r="7"><c r="B7"><v>1</v></c><c r="AB7" t="s"><v>2</v></c></row>')
    assert (found.rows, found.columns, found.cells) == (7, 28, 2)
    assert not (found.far or found.hidden or found.formulas or found.merged)
    assert marks_of(b'<x:row r="12"><x:c r="C12"/></x:row>').cells == 1
    assert marks_of(b'<row r="99999999999"/>').rows > 1_048_576
    assert marks_of(b'<row><c r="A99999999"/></row>').far
    assert marks_of(b'<row><c r="ABCDEFG1"/></row>').columns > 16_384
    assert marks_of(b'<row r="3" hidden="1"></row>').hidden
    assert marks_of(b'<c r="A1"><f>B1</f></c>').formulas and marks_of(b'<c r="A1" t="e"><v>#N/A</v></c>').formulas
    assert marks_of(b'<mergeCells><mergeCell ref="A1:A9"/></mergeCells>').merged


def test_marks_are_those_that_patterns_find() -> None:
    """Random tags in random order, prefixes, spaces and attributes included, beside plain patterns."""
    draw = random.Random(4)
    parts = """<row r="%d">|<x:row spans="1:8" r="%d" ht="15">|<row\tr="%d"/>|</row>|<c r="%s%d">|<x:c r="%s%d" s="1"/>
        <c s="2" r="%s%d" t="s">|<v>%d</v>|</c>|<is><t>r %d c</t></is>|<cols><col min="%d"/></cols>""".split("|")
    for _ in range(200):
        text = ""
        for _ in range(draw.randint(1, 40)):
            part = draw.choice(parts)
            letters = "".join(draw.choices("ABCXYZ", k=draw.randint(1, 3)))
            number = draw.choice([1, 7, 99, 4096, 1_000_001, draw.randint(1, 9_999_999)])
            text += part.replace("%s", letters).replace("%d", str(number))
        found = marks_of(text.encode())
        rows = [int(n) for n in re.findall(r'<(?:x:)?row\s(?:[^<>]*\s)?r="(\d+)"', text)]
        cells = re.findall(r'<(?:x:)?c\s(?:[^<>]*\s)?r="([A-Z]+)(\d+)"', text)
        columns = [sum((ord(c) - 64) * 26**i for i, c in enumerate(reversed(name))) for name, _ in cells]
        assert found.rows == max(rows, default=0), text
        assert found.columns == max(columns, default=1), text
        assert found.cells == len(cells), text
        assert found.far or not any(int(n) >= 2_000_000 for _, n in cells), text
