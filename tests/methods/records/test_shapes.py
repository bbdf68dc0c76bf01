"""Shapes of sheets: long, wide, two-block, transposed, titles, units, no heading. All data are invented."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from methods.errors import InputError, UnusableFile
from methods.records import COLUMNS, Records, columnar, read, safe_csv
from methods.records import reading as reader
from methods.records.cells import BLANK, parse


def load(text: str, **options: Any) -> Records:
    return read(text.encode(), name="sheet.csv", **options)


@pytest.mark.parametrize(
    "head",
    [
        "b1,b2,b3",
        "1,2,3",
        "kV 1,kV 2,kV 3",
        "BD 1,BD 2,BD 3",
        "Shot 1,Shot 2,Shot 3",
        "1st,2nd,3rd",
        "first,second,third",
        "U1,U2,U3",
        "Breakdown 1 (kV),Breakdown 2 (kV),Breakdown 3 (kV)",
        "U_1 [kV],U_2 [kV],U_3 [kV]",
        "kV,kV,kV",
        "BDV (kV),,",
        "Test 1,Test 2,Test 3",
    ],
)
def test_wide_headings(head: str) -> None:
    records = load(f"Sample,{head}\nA,44,45,49\nA,50,51,>60\n")
    assert records.source.layout == "wide"
    assert records.table["kv"].tolist() == [44, 45, 49, 50, 51, 60]
    assert records.table["order"].tolist() == [1, 2, 3, 1, 2, 3]
    assert (records.fillings, records.withstood, records.rows_read) == (2, 1, 6)
    assert records.origin["source_row"].tolist() == [2, 2, 2, 3, 3, 3]


def test_titles_and_units_above_and_below() -> None:
    rows = "A,2,44,22\nB,2,45,23\n"
    for text in (f"Sample,Gap,BDV,Temp\n,mm,kV,°C\n{rows}", f",mm,kV,°C\nSample,Gap,BDV,Temp\n{rows}"):
        records = load(text)
        assert records.table["kv"].tolist() == [44, 45] and records.table["gap_mm"].tolist() == [2, 2]
    titled = load("Oil lab\nMethod: ASTM D1816 2 mm\nAnalyst:,J. Doe\nGap = 2 mm\n\n" + "Sample,kV\nA,44\nA,45\n")
    assert titled.table["method"].unique().tolist() == ["ASTM D1816 2 mm"]
    assert titled.table["operator"].unique().tolist() == ["J. Doe"] and titled.table["gap_mm"].tolist() == [2, 2]
    assert titled.table["electrode"].unique().tolist() == ["mushroom"]


def test_a_second_line_of_headings() -> None:
    for text in (
        "Sample,Breakdown voltage (kV),,,Avg\n,1,2,3,\nA,44,45,49,46\n",
        "Sample,Gap,Breakdown voltage (V),,\n,,1,2,3\nA,2,44000,45000,49000\n",
    ):
        assert load(text).table["kv"].tolist() == [44, 45, 49]


@pytest.mark.parametrize("head", ["Shot,Oil A,Oil B", ",A-1,A-2", "No.,X,Y"])
@pytest.mark.parametrize("labels", [("1", "2", "3"), ("b1", "b2", "b3"), ("1st", "2nd", "3rd")])
def test_transposed(head: str, labels: tuple[str, ...]) -> None:
    body = "".join(f"{n},{44 + i},{50 - i}\n" for i, n in enumerate(labels))
    records = load(f"D877 results\n{head}\n,kV,kV\n{body}Mean,45,49\n")
    assert records.source.layout == "transposed"
    assert records.table["kv"].tolist() == [44, 45, 46, 50, 49, 48]
    assert records.table["sample"].tolist() == [head.split(",")[1]] * 3 + [head.split(",")[2]] * 3
    assert records.origin["source_row"].tolist() == [4, 5, 6, 4, 5, 6]


def test_a_refusal_in_a_transposed_sheet_is_found_where_it_stands() -> None:
    problems = load("Shot,Oil A,Oil B\n1,44,50\n2,-1,52\n3,45,x\n").problems
    assert problems[["row", "column", "found"]].to_numpy().tolist() == [[3, "Oil A", "-1"], [4, "Oil B", "x"]]


@pytest.mark.parametrize("second", ["A cont.", "", "A (repeat)", "A 6-10"])
def test_five_more_on_a_second_row(second: str) -> None:
    text = f"Sample,b1,b2,b3,b4,b5\nA,44,45,46,41,40\n{second},47,44,45,41,49\nB,55,56,57,58,51\n"
    records = load(text)
    assert records.source.layout == "two-block" and records.fillings == 2
    assert records.table["order"].tolist() == [*range(1, 11), *range(1, 6)]
    assert load(text, layout="wide").table["filling"].notna().all()


def test_the_same_id_on_two_rows_of_five() -> None:
    some = "Sample,b1,b2,b3,b4,b5\nA,44,45,46,41,40\nA,47,44,45,41,49\nB,55,56,57,58,51\n"
    assert load(some).fillings == 2
    assert load(some, layout="wide").fillings == 3
    every = some + "B,55,51,57,52,51\n"
    assert load(every).fillings == 4
    assert load(every, layout="two-block").fillings == 2


def test_no_heading() -> None:
    records = load("A,44,45,46\nB,50,51,52\n")
    assert records.table["sample"].tolist() == ["A"] * 3 + ["B"] * 3 and records.breakdowns == 6
    assert load("44.1,45.2,46.3,48.8\n").breakdowns == 4
    assert load("55\n56\n57.1\n").breakdowns == 3


def test_a_label_given_once_is_carried_down_as_a_guess() -> None:
    records = load("Sample,Shot,kV\nA,1,44\n,2,45\n,3,46\nB,1,55\n,2,54\n,3,57\n")
    assert records.table["sample"].tolist() == ["A"] * 3 + ["B"] * 3
    assert "sample" in records.guesses["what"].tolist()


def test_unknown_columns_are_kept_under_their_heading() -> None:
    records = load("Sample,Drum Colour ,kV,Pressure,Code\nA,red,44,1.5,007\nB,blue,45,2,008\n")
    assert list(records.table.columns) == [*COLUMNS, "Drum Colour", "Pressure", "Code"]
    assert records.table["Pressure"].tolist() == [1.5, 2] and records.table["Code"].tolist() == ["007", "008"]


def test_other_sources(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {"sample": ["A", "B"], "kV": [44.5, None], "when": pd.to_datetime(["2025-01-02", "2025-01-03"])}
    )
    assert read(frame).breakdowns == 1
    frame.to_parquet(tmp_path / "x.parquet")
    assert read(tmp_path / "x.parquet").table["kv"].tolist() == [44.5]
    (tmp_path / "x.csv").write_text("kV\n44\n")
    assert read(str(tmp_path / "x.csv")).source.name == "x.csv"
    assert read(io.BytesIO(b"kV\n44\n"), name="y.csv").breakdowns == 1
    assert read(io.StringIO("kV\n44\n")).breakdowns == 1
    with pytest.raises(InputError):
        read(12)  # type: ignore[arg-type]
    with pytest.raises(UnusableFile):
        read(pd.DataFrame())


def test_what_is_exported_reads_back() -> None:
    records = load("Sample,Extra,b1,b2\nA,=x,44,>60\nB,y,50.5 (bubble),51\n")
    again = read(safe_csv(records.table).encode(), name="again.csv")
    assert again.table["kv"].tolist() == records.table["kv"].tolist()
    assert again.table["outcome"].tolist() == records.table["outcome"].tolist()
    assert again.table["filling"].tolist() == records.table["filling"].tolist()
    assert again.problems.empty


LONG = "Sample;Batch;Code;Shot;kV;Temp;Minutes;date\n" + "".join(
    f"S{i % 7};{i // 6};{i % 9:03d};{i % 6 + 1};"
    f"{'>60' if i % 50 == 3 else '-1' if i % 90 == 5 else f'{40 + i % 13 * 1.3:.1f}'};"
    f"{20 + i % 5 / 10};{i * 1.7:.2f};2025-03-{i % 28 + 1:02d}\n"
    for i in range(270)
)


RUNS = "Sample,Batch,Day,kV,Reading\n" + "".join(
    f"oil {i // 200},{i // 6:03d},2025-03-{i // 50 + 1:02d},{40 + i * 37 % 101 / 7:.6f},{i * 1.37:.3f}\n"
    for i in range(700)
)


@pytest.mark.parametrize(
    "text",
    [
        LONG,
        "Lab report\n\n" + LONG,
        LONG.replace(";", ","),
        LONG.replace(".", ","),
        LONG.replace("S3;", '"S3";'),
        LONG + "Mean;;;;50.1;;;\n",
        LONG + "S1;5;001;1;44;20;1;2025-03-01;too;many\n",
        LONG.replace("\n", "\r\n"),
        LONG.replace("S2;", "S2\u00a0;"),
        LONG.replace("\nS5;11;", "\n\nS5;11;"),
        LONG.replace("S4;", "Öl 4;"),
        RUNS,
        RUNS.replace("oil 2", ""),
        RUNS.replace("oil 2", " oil 2"),
    ],
    ids=[
        "clean",
        "titles",
        "comma",
        "decimal-comma",
        "quotes",
        "total",
        "ragged",
        "crlf",
        "spaces",
        "blank-line",
        "not-ascii",
        "runs",
        "runs-blank",
        "runs-space",
    ],
)
def test_a_long_text_reads_the_same_by_columns_as_by_cells(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    slow = load(text)
    monkeypatch.setattr(reader, "LARGE", 1000)
    for arrow in (columnar.pyarrow, None):  # with Arrow and without
        monkeypatch.setattr(columnar, "pyarrow", arrow)
        fast = load(text)
        pd.testing.assert_frame_equal(fast.table, slow.table)
        pd.testing.assert_frame_equal(fast.origin.astype(object), slow.origin.astype(object))
        assert fast.to_dict() | {"guesses": 0} == slow.to_dict() | {"guesses": 0}


cells = st.one_of(
    st.floats(0.5, 150).map(lambda v: f"{v:.1f}"),
    st.sampled_from(
        [
            "",
            " ",
            ">60",
            "60+",
            "NB",
            "<5",
            "0",
            "-1",
            "999",
            "58,4",
            "58.4*",
            "61 (bubble)",
            "#REF!",
            "Mean",
            "kV",
            "60",
            "x",
            "1-5",
        ]
    ),
    st.text(st.characters(codec="utf-8", exclude_characters=',"\n\r;|\t\0'), max_size=8),
)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.lists(cells, min_size=3, max_size=3), min_size=1, max_size=8), st.booleans())
def test_every_cell_is_kept_or_refused(rows: list[list[str]], wide: bool) -> None:
    head = "sample,b1,b2,b3" if wide else "sample,filling,kV,note"
    body = [
        "S0,44,45,46" if wide else "S0,1,44,",
        *(",".join([f"S{i}", *(f'"{c}"' if "," in c else c for c in r)]) for i, r in enumerate(rows)),
    ]
    records = load("\n".join([head, *body]) + "\n")  # a cell with a comma is quoted
    refused = records.problems["action"].str.startswith("refused").sum()
    assert records.rows_read == records.breakdowns + records.withstood + refused
    assert records.problems["action"].str.match("kept|refused").all()
    columns = (0, 1, 2) if wide else (1,)
    held = sum(parse(r[i]).kind != BLANK for r in rows for i in columns) + (3 if wide else 1)
    assert records.rows_read == held
    assert (records.table["kv"] > 0).all()


@settings(max_examples=20, deadline=None)
@given(st.binary(max_size=300))
def test_no_bytes_bring_it_down(raw: bytes) -> None:
    try:
        records = read(raw, name="x")
    except InputError:
        return
    assert records.rows_read == len(records.table) + records.refused
