"""What is written reads back as it was: every row, column, digit, withstand and kind of value, whatever was read."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from methods import read
from methods.columns import COLUMNS
from methods.errors import InputError
from methods.records import filling_codes, records_bytes, write_records
from methods.records.export import KINDS

ROOT = Path(__file__).parents[3]
FILES = [
    *sorted((ROOT / "data").glob("*.csv")), ROOT / "data" / "messy_sheet.xlsx",
    *sorted((ROOT / "tests" / "reference" / "sheets").glob("[0-9]*")),
]  # fmt: skip
#: Invented. What a spreadsheet would run, withstands, a refused cell, a wall, empty samples, columns of its own.
HARD = (
    "Sample,Electrode,Own,Note,kV\n=1+1,disk,=cmd|calc,-hot,44.1\n-20 oil,disk,@y,+z,> 60\n,disk,007,,abc\n"
    ",cap,1.50,'q',60\n"
    "+B,cap,,=SUM(A1),60\nB,cap,x,,60\nB,cap,x,,60\nB,cap,x,,no BD\n"
)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("file", FILES, ids=lambda p: p.name)
def test_every_sheet_reads_back(file: Path, kind: str) -> None:
    records = read(file)
    again = read(records_bytes(records, kind), name=f"again.{kind}")
    assert_frame_equal(again.table, records.table, check_exact=True)
    assert again.withstood == records.withstood and again.fillings == records.fillings
    assert again.refused == 0 and not (again.guesses["code"] == "ceiling").any()


@pytest.mark.parametrize("kind", KINDS)
def test_hard_cells_read_back_and_nothing_is_guessed_twice(kind: str) -> None:
    records = read(HARD.encode(), name="hard.csv", ceiling_kv=False)
    assert records.refused and records.table["sample"].tolist()[0] == "=1+1"
    again = read(records_bytes(records, kind), name=f"again.{kind}")
    assert_frame_equal(again.table, records.table, check_exact=True)
    walls = read(HARD.encode(), name="hard.csv")
    assert walls.withstood > records.withstood  # another answer about the ceiling, kept just as well
    assert_frame_equal(read(records_bytes(walls, kind), name=f"again.{kind}").table, walls.table, check_exact=True)
    assert (filling_codes(again.table) == filling_codes(records.table)).all()


def test_empty_samples_stay_empty() -> None:
    table = pd.DataFrame({"sample": ["A", None, "B"], "kv": [40.0, 1 / 3, 42.0], "outcome": ["breakdown"] * 3})
    for kind in KINDS:
        again = read(records_bytes(table, kind), name=f"x.{kind}").table
        assert again["sample"].isna().tolist() == [False, True, False] and again["kv"][1] == 1 / 3


def test_the_csv_runs_nothing_and_says_units_in_its_names(tmp_path: Path) -> None:
    path = write_records(read(HARD.encode(), name="hard.csv"), tmp_path / "readings.csv")
    frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    assert tuple(frame.columns[: len(COLUMNS)]) == tuple(COLUMNS)
    cells = [c for column in frame for c in frame[column]]
    assert not any(c.startswith(("=", "+", "-", "@")) for c in cells) and "'=1+1" in cells


def test_other_endings_and_places_are_refused(tmp_path: Path) -> None:
    table = read(io.BytesIO(b"kV\n44\n"), name="x.csv")
    with pytest.raises(InputError, match=r"\.csv or \.parquet"):
        write_records(table, tmp_path / "readings.txt")
    with pytest.raises(InputError, match="cannot be written"):
        write_records(table, tmp_path / "none" / "readings.csv")
