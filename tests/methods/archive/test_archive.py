"""An archive: what is added once, what is met again, and what a killed process leaves."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import pytest

from dashboard.study import Study
from methods import InputError, read
from methods.archive import Archive, gather_shared, list_archive, share
from methods.cage import read_in_cage
from methods.scatter.history import scatter_history

DATA = Path(__file__).parents[3] / "data"
#: Invented: two fillings of one oil on two days.
HEAD = "sample,tested_on,filling,order,kv\n"
FIRST = "".join(f"A,2025-01-10,1,{i + 1},{v}\n" for i, v in enumerate((51, 48, 55, 50, 47)))
SECOND = "".join(f"A,2025-02-10,1,{i + 1},{v}\n" for i, v in enumerate((49, 52, 46, 53, 50)))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "oils.duckdb"


def added(path: Path, text: str, name: str) -> pd.Series:
    with Archive(path) as archive:
        return archive.add(read(text.encode(), name=name)).files.iloc[0]


@pytest.mark.parametrize("name", ["programme_long.csv", "routine_wide.csv", "messy_sheet.xlsx"])
def test_what_was_added_is_read_again_cell_by_cell(path: Path, name: str) -> None:
    with Archive(path) as archive:
        archive.add(DATA / "laboratory_round.csv")
        archive.add(DATA / name)
    before, after = read(DATA / name), read(path, where={"source_file": name})
    pd.testing.assert_frame_equal(before.table, after.table[before.table.columns])
    assert before.fillings == after.fillings
    assert after.origin["source_row"].tolist() == [str(r) for r in before.origin["source_row"]]
    assert set(after.origin["source_file"]) == {name}


def test_the_same_bytes_are_added_once(path: Path) -> None:
    assert added(path, HEAD + FIRST, "one.csv")["rows_added"] == 5
    again = added(path, HEAD + FIRST, "copy.csv")
    assert (again["rows_added"], again["status"], again["added_as"]) == (0, "added before", "one.csv")
    assert len(read(path).table) == 5


def test_a_filling_met_again_in_another_file_counts_once(path: Path) -> None:
    added(path, HEAD + FIRST, "january.csv")
    year = added(path, HEAD + FIRST + SECOND, "year.csv")
    assert (year["rows_added"], year["fillings_known"], year["fillings_added"]) == (5, 1, 1)
    assert sorted(read(path).table["tested_on"].unique()) == ["2025-01-10", "2025-02-10"]


def test_a_filling_that_went_on_takes_the_place_of_its_beginning(path: Path) -> None:
    begun = HEAD + "".join(FIRST.splitlines(keepends=True)[:3])
    added(path, begun, "noon.csv")
    whole = added(path, HEAD + FIRST, "evening.csv")
    assert (whole["fillings_grown"], whole["rows_added"]) == (1, 5)
    assert read(path).table["kv"].tolist() == [51, 48, 55, 50, 47]
    with Archive(path) as archive:  # and what it had replaced counts again when it is taken out
        archive.remove("evening.csv")
    assert read(path).table["kv"].tolist() == [51, 48, 55]


def test_equal_numbers_of_nobody_knows_which_oil_are_not_taken_for_one_test(path: Path) -> None:
    added(path, "kv\n52\n48\n", "one.csv")
    other = added(path, "kv\n52\n48\n\n", "two.csv")
    assert other["rows_added"] == 2
    assert len(read(path).table) == 4


def test_what_differs_in_one_cell_is_added_and_said(path: Path) -> None:
    added(path, HEAD + FIRST, "one.csv")
    with Archive(path) as archive:
        made = archive.add(read((HEAD + FIRST).replace("tested_on", "operator,tested_on").replace(
            "A,", "A,Kay,").encode(), name="two.csv"))  # fmt: skip
    assert made.files["fillings_alike"].tolist() == [1]
    assert [c.code for c in made.cautions] == ["alike"]
    assert len(read(path).table) == 10


def test_columns_of_the_files_own_come_back_as_they_were(path: Path) -> None:
    added(path, HEAD.replace("kv", "kv,basket,depth") + FIRST.replace("\n", ",north,2.5\n"), "own.csv")
    added(path, HEAD + SECOND, "plain.csv")
    table = read(path).table
    assert table["basket"].dropna().tolist() == ["north"] * 5
    assert len(table) == 10
    assert table["depth"].dropna().tolist() == [2.5] * 5


def test_rows_are_chosen_by_level_and_by_day(path: Path) -> None:
    added(path, HEAD + FIRST + SECOND, "year.csv")
    assert set(read(path, since="2025-02-01").table["tested_on"]) == {"2025-02-10"}
    assert set(read(path, until="2025-02-01").table["tested_on"]) == {"2025-01-10"}
    assert len(read_in_cage(path, where={"sample": ["A"]}, since="2025-01-10").table) == 10
    with pytest.raises(InputError, match="No row has sample 'B'; there are 'A'"):
        read(path, where={"sample": "B"})
    with pytest.raises(InputError, match="no day"):
        read(path, since="last spring")
    with pytest.raises(InputError, match="no row is left"):
        read(path, since="2030-01-01")


CHOICES = [
    {"where": {"source_file": "programme_long.csv"}}, {"where": {"electrode": "spherical"}, "since": "2026-01-20"},
    {"where": {"sample": ["Alderholt T1", "Cinder Hill T2"], "stirring": "none"}}, {"until": "2026-01-15"},
    {"where": {"gap": "2.54"}}, {"where": {"laboratory": "(empty)"}}, {"where": {"filling": "1"}},
    {"where": {"operator": "(empty)", "gap_mm": "2.5"}},
]  # fmt: skip


@pytest.mark.parametrize("choice", CHOICES, ids=str)
def test_the_database_chooses_the_rows_that_the_table_would(
    choice: dict[str, Any], tmp_path_factory: pytest.TempPathFactory
) -> None:
    from methods.records.only import only

    path = tmp_path_factory.getbasetemp() / "choices.duckdb"
    if not path.exists():
        with Archive(path) as archive:
            for name in ("programme_long.csv", "laboratory_round.csv", "routine_wide.csv"):
                archive.add(DATA / name)
    try:
        wanted = only(read(path), **choice)
    except InputError as error:
        with pytest.raises(InputError) as said:
            read(path, **choice)
        assert str(said.value) == str(error)
        return
    found = read(path, **choice)
    pd.testing.assert_frame_equal(found.table, wanted.table)
    pd.testing.assert_frame_equal(found.origin.reset_index(drop=True), wanted.origin)


def test_rows_that_are_not_wanted_are_never_read(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    added(path, HEAD + FIRST + SECOND, "year.csv")
    seen: list[int] = []
    from methods.archive import reading

    join = reading.join_tables
    monkeypatch.setattr(
        reading, "join_tables", lambda parts, **k: (seen.append(sum(map(len, parts))), join(parts, **k))[1]
    )
    assert len(read(path, since="2025-02-01").table) == 5 and seen == [5]


def test_a_folder_of_shared_archives_is_read_as_one(tmp_path: Path) -> None:
    one, two, folder = tmp_path / "north.duckdb", tmp_path / "south.duckdb", tmp_path / "all"
    added(one, HEAD + FIRST, "january.csv")
    added(one, "basket," + HEAD + "".join(f"north,{row}\n" for row in SECOND.split()), "own.csv")
    added(two, HEAD + FIRST, "copy of january.csv")  # the same test, met again at another place
    added(two, HEAD + SECOND.replace("A,", "B,"), "other oil.csv")
    with Archive(two) as archive:
        archive.mark("2025-01-20", "polished", electrode="disk")
    for archive_of in (one, two, two):  # again: its file is put in the place of the last
        share(archive_of, folder)
    assert sorted(p.name for p in folder.iterdir()) == [
        "north.marks.parquet", "north.readings.parquet", "south.marks.parquet", "south.readings.parquet"]  # fmt: skip
    whole = read_in_cage(folder)
    assert len(whole.table) == 15 and whole.table["sample"].value_counts().to_dict() == {"A": 10, "B": 5}
    assert set(whole.origin["source_file"]) == {"january.csv", "own.csv", "other oil.csv"}
    assert whole.marks["what"].tolist() == ["polished"]
    assert len(read(folder, where={"sample": "B"}, since="2025-02-01").table) == 5
    assert set(read(folder, since="2025-02-01").table["tested_on"]) == {"2025-02-10"}
    with pytest.raises(InputError, match="No row has sample 'C'; there are"):
        read(folder, where={"sample": "C"})
    made = gather_shared(folder, tmp_path / "all.duckdb")
    columns = ["sample", "filling", "order", "kv", "tested_on"]
    pd.testing.assert_frame_equal(read(made).table[columns], whole.table[columns])
    with Archive(made) as archive:  # an archive like any other
        assert archive.add(read((HEAD + FIRST).encode(), name="once more.csv")).files["rows_added"].sum() == 0
    study = Study()
    study.open(made)
    assert len(study.table) == 15


def test_a_folder_that_holds_something_else_is_one_line(path: Path, tmp_path: Path) -> None:
    added(path, HEAD + FIRST, "one.csv")
    share(path, tmp_path / "all")
    pd.DataFrame({"kv": [1.0]}).to_parquet(tmp_path / "all" / "x.readings.parquet")
    for reader in (read, read_in_cage):
        with pytest.raises(InputError, match="x.readings.parquet is no shared archive"):
            reader(tmp_path / "all")
    (tmp_path / "all" / "x.readings.parquet").write_bytes(b"PAR1 nothing of the kind")
    with pytest.raises(InputError, match="cannot be read") as said:
        read(tmp_path / "all")
    assert "\n" not in str(said.value)
    with pytest.raises(InputError, match="a folder, not a file"):
        read_in_cage(tmp_path)


def test_the_electrode_log_travels_with_the_records(path: Path) -> None:
    added(path, HEAD + FIRST, "one.csv")
    with Archive(path) as archive:
        archive.mark("2025-01-20", "polished", electrode="disk")
        with pytest.raises(InputError, match="no day"):
            archive.mark("20.1.2025", "polished")
    assert read_in_cage(path).marks["what"].tolist() == ["polished"]
    assert list_archive(path).marks["electrode"].tolist() == ["disk"]


def test_scatter_is_borrowed_from_it_as_from_the_files(path: Path) -> None:
    with Archive(path) as archive:
        archive.add(DATA / "routine_wide.csv")
    assert scatter_history(read(path)) == scatter_history(read(DATA / "routine_wide.csv"))


def test_the_page_opens_it_from_a_path_and_from_bytes(path: Path) -> None:
    added(path, HEAD + FIRST + SECOND, "year.csv")
    for source in (path, path.read_bytes()):
        study = Study()
        study.open(source, path.name)
        assert len(study.table) == 10
        assert study.files[0].records.source.layout == "archive"


ADDING = """
import os, sys
from methods import read
from methods.archive import Archive
archive = Archive(sys.argv[1])
number = 0
print("begun", flush=True)
while True:
    day = f"2025-03-{number % 28 + 1:02d}"
    rows = "".join(f"B,{day},{number},{i},{40 + (number * 7 + i * 3) % 20}\\n" for i in range(1, 400))
    archive.add(read(("sample,tested_on,filling,order,kv\\n" + rows).encode(), name=f"{number}.csv"))
    number += 1
    print(number, flush=True)
"""


@pytest.mark.parametrize("after", [1, 2, 4])
def test_a_process_killed_while_it_adds_loses_nothing_and_leaves_no_half(path: Path, after: int) -> None:
    added(path, HEAD + FIRST, "before.csv")
    process = subprocess.Popen([sys.executable, "-c", ADDING, str(path)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None and process.stdout.readline() == "begun\n"
    told = 0
    while told < after:
        told = int(process.stdout.readline())
    time.sleep(0.013 * after)  # in the midst of the next
    os.kill(process.pid, signal.SIGKILL)
    rest = process.stdout.read().split()
    process.wait()
    told = int(rest[-1]) if rest else told
    table = read(path).table
    whole = table.groupby("source_file").size()
    assert whole.pop("before.csv") == 5
    assert set(whole) == {399}, "a file is there whole or not at all"
    assert len(whole) in (told, told + 1)
    assert added(path, HEAD + SECOND, "after.csv")["rows_added"] == 5  # and it goes on


def test_two_processes_do_not_write_at_once(path: Path) -> None:
    added(path, HEAD + FIRST, "one.csv")
    hold = (
        "import sys; from methods.archive import Archive; a = Archive(sys.argv[1]); print('held', flush=True); input()"
    )
    other = subprocess.Popen([sys.executable, "-c", hold, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert other.stdout is not None and other.stdout.readline() == b"held\n"
    with pytest.raises(InputError, match="another process is adding to it"):
        Archive(path)
    other.communicate(b"\n")
    assert len(read(path).table) == 5


def test_what_is_no_archive_is_one_line(path: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no archive"):
        read(path)
    path.write_text("kv\n50\n")
    with pytest.raises(InputError, match="is not an archive"):
        Archive(path)
    path.unlink()
    Archive(path).close()
    with pytest.raises(InputError, match="nothing has been added"):
        read_in_cage(path)
    other = tmp_path / "other.duckdb"
    duckdb.connect(str(other)).execute("CREATE TABLE a AS SELECT 1 AS b").close()
    with pytest.raises(InputError, match="no archive of tests"):
        read_in_cage(other)


def test_a_view_in_an_archive_from_elsewhere_reaches_no_other_file(path: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("kv\n50\n")
    added(path, HEAD + FIRST, "one.csv")
    with duckdb.connect(str(path)) as db:
        db.execute("ALTER TABLE readings RENAME TO hidden")
        db.execute(f"CREATE VIEW readings AS SELECT * FROM hidden, read_csv('{secret}')")
    with pytest.raises(InputError) as told:
        read_in_cage(path)
    assert "Traceback" not in str(told.value)


@pytest.mark.parametrize("seed", range(6))
def test_a_damaged_archive_is_one_line_in_the_cage(path: Path, seed: int) -> None:
    import random

    added(path, HEAD + FIRST, "one.csv")
    raw, rng = bytearray(path.read_bytes()), random.Random(seed)
    for _ in range(200):
        raw[rng.randrange(16, len(raw))] = rng.randrange(256)
    try:
        read_in_cage(bytes(raw), name="damaged.duckdb")
    except InputError as error:
        assert "\n" not in str(error)
