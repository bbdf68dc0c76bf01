"""Workbooks: sheets, hidden rows, merged cells, dates, errors, formulas, damage. All data are invented."""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Callable

import openpyxl
import pandas as pd
import pytest

from methods.errors import InputError, UnusableFile
from methods.records import read, safe_csv, workbook_parts


def book(fill: Callable[[openpyxl.Workbook], None]) -> bytes:
    workbook, out = openpyxl.Workbook(), io.BytesIO()
    fill(workbook)
    workbook.save(out)
    return out.getvalue()


def messy(workbook: openpyxl.Workbook) -> None:
    cover = workbook.active
    cover.title = "Cover"
    cover["A1"] = "Report on oils"
    data = workbook.create_sheet("data")
    data.append(["Oil tests"])
    data.append([])
    data.append(["Sample", "Fill", "Breakdown voltage (kV)", None, None, "Date"])
    data.merge_cells("C3:E3")
    data.append([None, None, 1, 2, 3, None])
    data.append(["A", 1, 58.4, 60, 61, datetime.date(2025, 3, 1)])
    data.append([None, 2, 57, 56, "=1+2", datetime.date(2025, 3, 1)])
    data.merge_cells("A5:A6")
    data.append(["B", 1, datetime.date(2025, 5, 1), 44, "#REF!", None])
    data.row_dimensions[6].hidden = True
    old = workbook.create_sheet("old")
    old.append(["Sample", "kV"])
    old.append(["Z", 33])
    old.sheet_state = "hidden"


def test_a_messy_workbook() -> None:
    records = read(book(messy), name="oils.xlsx")
    assert records.source.sheet == "data"
    assert records.table["kv"].tolist() == [58.4, 60, 61, 57, 56, 44]
    assert records.table["sample"].tolist() == ["A"] * 5 + ["B"]
    assert records.table["tested_on"].iloc[0] == "2025-03-01"
    refused = records.problems[records.problems["action"].str.startswith("refused")]
    assert refused["row"].tolist() == [6, 7, 7]
    assert [w in r for w, r in zip(("formula", "date", "error"), refused["rule"], strict=True)] == [True] * 3
    assert "1 hidden rows" in records.problems["found"].tolist()
    assert records.rows_read == 9
    assert read(book(messy), sheet="old").table["kv"].tolist() == [33]
    assert read(book(messy), sheet="3").source.sheet == "old"
    with pytest.raises(InputError, match="'Cover', 'data', 'old'"):
        read(book(messy), sheet="none")


def test_sheets_named_after_methods_are_read_together() -> None:
    def fill(workbook: openpyxl.Workbook) -> None:
        first, second = workbook.active, workbook.create_sheet("IEC 60156")
        first.title = "D877"
        for sheet, values in ((first, (33, -1)), (second, (53, 55.1))):
            sheet.append(["Sample", "kV"])
            for value in values:
                sheet.append(["A", value])

    records = read(book(fill))
    assert records.table["method"].tolist() == ["D877", "IEC 60156", "IEC 60156"]
    assert records.problems["row"].tolist() == ["D877!3"]
    assert records.rows_read == 4
    assert read(book(fill), sheet="D877").rows_read == 2


def test_labels_that_became_dates() -> None:
    def fill(workbook: openpyxl.Workbook) -> None:
        sheet = workbook.active
        sheet.append(["sample", "filling", "kV"])
        sheet.append(["S1", datetime.datetime(2025, 5, 1), 50])
        sheet.append(["S1", "1-6", 51])

    problems = read(book(fill)).problems
    assert problems[["row", "column"]].to_numpy().tolist() == [[2, "filling"]]
    assert problems["action"].iloc[0].startswith("kept")


def test_damaged_and_hostile_files(monkeypatch: pytest.MonkeyPatch) -> None:
    raw = book(messy)
    with pytest.raises(UnusableFile):
        read(raw[: len(raw) // 2], name="x.xlsx")
    with pytest.raises(UnusableFile):
        read(b"PK\x03\x04 and nothing", name="x.xlsx")
    other = io.BytesIO()
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("readme.txt", "no workbook")
    with pytest.raises(UnusableFile, match="not a workbook"):
        read(other.getvalue(), name="x.xlsx")
    monkeypatch.setattr(workbook_parts, "MAX_UNPACKED", 1000)
    with pytest.raises(UnusableFile, match="unpacks to"):
        read(raw, name="bomb.xlsx")


def test_exports_cannot_run_formulas() -> None:
    frame = pd.DataFrame({"=head": ["=1+1", "+x", "-x", "@x", "\tx", "plain"], "kv": [-1.5, 2, 3, 4, 5, 6]})
    text = safe_csv(frame)
    assert text.splitlines()[0] == "'=head,kv"
    assert [line.split(",")[0] for line in text.splitlines()[1:]] == ["'=1+1", "'+x", "'-x", "'@x", "'\tx", "plain"]
    assert text.splitlines()[1].endswith(",-1.5")
    mixed = pd.DataFrame({"found": [None, -1, "-1"], "kind": pd.Categorical(["=a", "b", "b"])})
    assert safe_csv(mixed).splitlines() == ["found,kind", ",'=a", "-1,b", "'-1,b"]
