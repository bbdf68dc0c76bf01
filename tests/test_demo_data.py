"""The demo files are what their script makes, and say that they are invented."""

from __future__ import annotations

import io
import runpy
from pathlib import Path

import pandas as pd
import pytest

FOLDER = Path(__file__).parents[1] / "data"


@pytest.fixture(scope="module")
def script():
    return runpy.run_path(str(FOLDER / "make_demo.py"))


@pytest.mark.parametrize(
    ("file", "maker"),
    [
        ("programme_long.csv", "programme"),
        ("routine_wide.csv", "wide"),
        ("laboratory_round.csv", "laboratory_round"),
        ("bench_studies.csv", "bench_studies"),
        ("check_oil.csv", "check_oil"),
    ],
)
def test_the_script_makes_the_file(script, file, maker):
    made = pd.read_csv(io.StringIO(script[maker]().to_csv(index=False)), dtype=str)
    pd.testing.assert_frame_equal(made, pd.read_csv(FOLDER / file, dtype=str))


def test_the_messy_sheet_is_the_scripts(script):
    found = pd.read_excel(FOLDER / "messy_sheet.xlsx", header=None, dtype=str, engine="calamine")
    rows = script["messy_rows"]()
    assert len(found) == len(rows)
    for (_, line), row in zip(found.iterrows(), rows, strict=True):
        cells = [None if pd.isna(c) else c for c in line]
        assert cells[: len(row)] == [None if c is None else str(c) for c in row]


def test_the_folder_says_that_it_is_invented():
    assert "invented, every number of it" in (FOLDER / "README.md").read_text(encoding="utf-8")
