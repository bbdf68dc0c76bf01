"""Several files read as one."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pandas as pd
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


def book(**sheets: list[list[Any]]) -> bytes:
    held = io.BytesIO()
    with pd.ExcelWriter(held, engine="openpyxl") as writer:
        for name, rows in sheets.items():
            pd.DataFrame(rows).to_excel(writer, sheet_name=name, header=False, index=False)
    return held.getvalue()


def test_two_files_without_a_label_are_two_fillings(tmp_path: Path) -> None:
    for name, kv in (("monday", (41, 42, 43)), ("friday", (44, 45, 46))):
        (tmp_path / f"{name}.csv").write_text("sample,kv\n" + "".join(f"S1,{v}\n" for v in kv))
    paths = [tmp_path / "monday.csv", tmp_path / "friday.csv"]
    records = read_all(paths)
    assert records.fillings == 2 and records.table["filling"].tolist() == ["monday.csv"] * 3 + ["friday.csv"] * 3
    study = Study()
    for path in paths:
        study.open(path)
    assert len(set(filling_codes(study.table))) == 2
    (tmp_path / "friday.csv").write_text("sample,kv\nS2,44\nS2,45\n")  # another oil: nothing needs to be told apart
    assert read_all(paths).table["filling"].isna().all() and read_all(paths).fillings == 2


@pytest.mark.parametrize("wide", [True, False])
def test_filling_1_of_two_sheets_is_two_fillings(wide: bool) -> None:
    head = [["Disk electrodes 2.5 mm", None, None, None]]
    one = [["Oil", "b1", "b2", "b3"], ["A", 40, 41.5, 42], ["A", 43, 44, 45.5]]
    two = [one[0], ["A", 46, 41.5, 42], ["A", 47, 44, 45.5]]
    if not wide:
        one, two = ([["Oil", "kV", None, None], *(["A", v, None, None] for v in r[1:])] for r in (one[1], two[1]))
    records = read(book(Monday=head + one, Tuesday=head + two))
    assert records.fillings == (4 if wide else 2) and records.conditions == 1
    assert "filling_by_sheet" in records.guesses["code"].tolist()


def test_a_filling_goes_on_where_its_breakdowns_are_counted_on() -> None:
    head = ["Disk electrodes 2.5 mm", None, None, None]
    rows = [["Oil", "Filling", "Breakdown no.", "kV"], *(["A", "1", i, 40 + i / 2] for i in range(1, 7))]
    records = read(book(one=[head, *rows[:4]], two=[head, rows[0], *rows[4:]]))
    assert records.fillings == 1 and records.table["filling"].tolist() == ["1"] * 6


# ------------------------------------------------------------------------------- three methods, not a word typed

#: What stands in each file or sheet, and what it is taken for: electrode, gap, stirring. All invented.
WAYS = {
    "Discs 2.54 mm": ("disk", 2.54, None, 34.0), "Spheres 2.5 mm, stirred": ("spherical", 2.5, "continuous", 62.0),
    "VDE 1 mm stirred": ("mushroom", 1.0, "continuous", 38.0),
}  # fmt: skip


def rows_of(level: float) -> list[list[Any]]:
    """Two oils, two fillings each, six breakdowns."""
    out: list[list[Any]] = [["Oil", "Filling", *(f"b{i}" for i in range(1, 7))]]
    for oil, more in (("Alder", 0.0), ("Birch", 9.0)):
        out += [[oil, f, *(level + more + f + (7 * i + f) % 5 for i in range(6))] for f in (1, 2)]
    return out


def three(folder: Path, how: str) -> list[Path]:
    """A workbook of three sheets, one for each method, or three files of one method each."""
    if how == "a workbook":
        path = folder / "round.xlsx"
        path.write_bytes(book(**{name: rows_of(way[3]) for name, way in WAYS.items()}))
        return [path]
    paths = []
    for name, way in WAYS.items():
        text = "\n".join(",".join(map(str, row)) for row in rows_of(way[3])) + "\n"
        named, titled = how == "names of files", how == "titles"
        path = folder / (f"{name}.csv" if named else f"week {len(paths) + 1}.csv")
        path.write_text((f'"{name}"\n' if titled else "") + text)
        paths.append(path)
    return paths


@pytest.mark.parametrize("how", ["a workbook", "names of files", "titles"])
def test_three_methods_are_three_procedures_without_a_word(
    how: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paths = three(tmp_path, how)
    records = read_all(paths)
    told = {(e, g, s) for e, g, s in zip(*(records.table[c].astype(object).where(records.table[c].notna(), None)
                                          for c in ("electrode", "gap_mm", "stirring")), strict=True)}  # fmt: skip
    assert {(e, g) for e, g, _ in told} == {(e, g) for e, g, _, _ in WAYS.values()}
    assert (records.conditions, records.fillings, len(records.table)) == (3, 12, 72)
    shifts = shift(records, "procedure").shifts
    assert len(shifts) == 2  # from the third
    assert main(["shift", *map(str, paths), "--by", "procedure", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)["shifts"]
    assert [p["difference_kv"] for p in printed] == [pytest.approx(s.difference_kv) for s in shifts]
    assert [p["fillings"] for p in printed] == [4, 4]


def test_three_files_that_only_their_names_tell_apart_are_three_levels(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paths = three(tmp_path, "nothing")
    assert len(shift(read_all(paths), "file").shifts) == 2
    assert main(["shift", *map(str, paths), "--by", "procedure", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["shifts"]) == 2
