"""Several files read as one."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard.cli import main
from dashboard.study import Study
from methods import InputError, read, read_all, shift
from methods.records import filling_codes

ROWS = {"disk.csv": ("disk", 40), "caps.csv": ("mushroom", 50)}


@pytest.fixture
def two(tmp_path: Path) -> list[Path]:
    """One file for each electrode, both with fillings 1 to 3, one with a cell that is no voltage."""
    paths = []
    for name, (electrode, level) in ROWS.items():
        lines = [f"S1,{electrode},{f},{level + f + b / 10}" for f in (1, 2, 3) for b in range(4)]
        path = tmp_path / name
        path.write_text("sample,electrode,filling,kv\n" + "\n".join([*lines, f"S1,{electrode},3,lost"]) + "\n")
        paths.append(path)
    return paths


def test_nothing_is_lost_and_fillings_stay_apart(two: list[Path]) -> None:
    records, parts = read_all(two), [read(p) for p in two]
    assert records.rows_read == sum(p.rows_read for p in parts) == 26
    assert records.refused == 2 and list(records.problems.query("refused")["file"]) == list(ROWS)
    assert records.fillings == 6 == filling_codes(records.table).max() + 1
    assert list(records.table["file"].unique()) == list(ROWS)
    assert len(records.cells) == sum(len(p.cells) for p in parts) and set(records.cells["file"]) == set(ROWS)


def test_one_file_is_what_read_gives(two: list[Path]) -> None:
    assert read_all(two[:1]).table.equals(read(two[0]).table)


def test_page_command_and_python_give_the_same(two: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    study = Study()
    for path in two:
        study.open(path)
    mine = shift(read_all(two), "electrode").shifts[0]
    assert shift(study.selection, "electrode").shifts[0].difference_kv == mine.difference_kv
    assert main(["shift", *map(str, two), "--by", "electrode", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["shifts"][0]["difference_kv"] == pytest.approx(mine.difference_kv)


def test_a_file_that_is_named_twice_is_told(two: list[Path]) -> None:
    with pytest.raises(InputError, match="the same, byte for byte"):
        read_all([two[0], two[0]])
    with pytest.raises(InputError, match="No file"):
        read_all([])
