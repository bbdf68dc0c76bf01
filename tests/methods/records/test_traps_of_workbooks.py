"""Workbooks whose sheets repeat each other or differ in name only; encodings and sizes; all invented."""

from __future__ import annotations

import io

import openpyxl
import pytest

from methods import InputError, read


def book(**sheets: list[list[object]]) -> bytes:
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(row)
    held = io.BytesIO()
    made.save(held)
    return held.getvalue()


ONE = [["Sample", "kV"], ["A", 41.2], ["A", 43.5], ["A", 44.1]]
TWO = [["Sample", "kV"], ["A", 51.2], ["A", 53.5], ["A", 54.1]]


def test_a_sheet_that_repeats_another_counts_once() -> None:
    records = read(book(a=ONE, b=ONE), name="x.xlsx")
    assert len(records.table) == records.rows_read == 3
    assert records.guesses["code"].tolist() == ["sheet_not_read"]
    assert set(records.cells[records.cells["sheet"] == "b"]["role"]) == {"not_used"}
    assert len(read(book(a=ONE, b=ONE), name="x.xlsx", sheet=["a", "b"]).table) == 6


def test_sheets_that_only_their_names_tell_apart() -> None:
    records = read(book(first=ONE, second=TWO), name="x.xlsx")
    assert records.table["sheet"].tolist() == ["first"] * 3 + ["second"] * 3
    assert "sheets_alike" in records.guesses["code"].tolist()
    oils = read(book(A=[["Sample", "kV"], ["A", 41.2]], B=[["Sample", "kV"], ["B", 51.2]]), name="x.xlsx")
    assert "sheet" not in oils.table.columns  # a sheet for each oil is no method


def test_a_sheet_called_after_a_body_of_standards() -> None:
    records = read(book(IEC=ONE, ASTM=TWO), name="x.xlsx")
    assert records.table["method"].tolist() == ["IEC"] * 3 + ["ASTM"] * 3


def test_a_unit_that_cannot_be_is_asked_about() -> None:
    for raw, head in ((b"sample,kV\nA,41200\nA,43100\n", "kV"), (b"sample,BDV (V)\nA,41.2\nA,43.1\n", "BDV")):
        with pytest.raises(InputError, match=f"{head}.*--unit"):
            read(raw)
    assert read(b"sample,kV\nA,41200\nA,43100\n", unit="V").table["kv"].tolist() == [41.2, 43.1]


def test_an_empty_column_of_voltages_is_asked_about() -> None:
    with pytest.raises(InputError, match="holds nothing.*--value"):
        read(b"sample,kv,other\nA,,41.2\nA,,43.1\n")


def test_an_oil_between_two_others_is_kept_and_told() -> None:
    records = read(b"Sample,b1,b2,b3,b4,b5\nA,41,43,45,42,44\nB,51,53,55,52,54\nC,46,48,50,47,49\n")
    assert len(records.table) == 15 and "maybe_summary" in records.problems["code"].tolist()


@pytest.mark.parametrize("encoding", ["utf-32", "utf-32-le", "utf-32-be"])
def test_text_in_four_bytes_a_character(encoding: str) -> None:
    assert read(("sample,kV\n" + "A,41.2\nA,43.1\n" * 4).encode(encoding)).breakdowns == 8


@pytest.mark.parametrize("top", ["\n" * 700, ",\n" * 700, "x" * 100_000 + "\n"])
def test_what_stands_above_a_long_table(top: str) -> None:
    records = read((top + "sample,kV\n" + "A,43.2\n" * 450_000).encode())
    assert records.breakdowns == 450_000 and records.refused == 0


def test_a_cell_of_a_hundred_kilobytes() -> None:
    records = read(("sample,note,kV\nA," + "x" * 100_000 + ",41.2\n" + "A,y,43.2\n" * 350_000).encode())
    assert records.breakdowns == 350_001


def test_field_strength_and_its_summaries() -> None:
    head = "Sample;Gap (mm);U1 (kV/mm);U2 (kV/mm);U3 (kV/mm);Mean\n"
    raw = head + "A;2;20.10;21.30;19.90;20.43\n;;21.00;20.00;19.00;20.00\n"
    records = read(raw.encode())
    assert records.table["kv"].round(6).tolist() == [40.2, 42.6, 39.8, 42, 40, 38]
    assert "mean_differs" not in records.problems["code"].tolist()


def test_the_method_in_a_cell_is_no_several_things() -> None:
    records = read(b"sample,method,kV\nA,ASTM D1816 2 mm,41.2\nA,ASTM D1816 2 mm,43.1\n")
    assert not records.guesses["evidence"].str.contains("several things").any()
    assert records.table["gap_mm"].tolist() == [2, 2]
