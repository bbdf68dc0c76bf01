"""Each of the killers ends in records or in one line, within its time and its memory, and the reader reads on."""

from __future__ import annotations

import multiprocessing
import pickle
from multiprocessing.connection import Connection
from typing import Any

import pytest

from methods.cage import read_in_cage
from methods.errors import InputError
from tests.hostile.killers import KILLERS, cell, sound_rows, workbook

#: What each may take: processor time in s, and memory in MB with all that the reader itself takes.
SECONDS, MEGABYTES = 20, 2_000


def _apart(there: Connection, name: str) -> None:
    """Read one in a cage, from a process whose children are that cage alone."""
    called, data = KILLERS[name]()
    try:
        told: Any = ("read", len(read_in_cage(data, name=called).table))
    except InputError as error:
        told = ("refused", str(error))
    except BaseException as error:
        told = ("foreign", repr(error))
    there.send_bytes(pickle.dumps(told))


@pytest.mark.parametrize("name", KILLERS)
def test_it_ends_well(name: str) -> None:
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_apart, args=(there, name))
    process.start()
    there.close()
    kind, told = pickle.loads(here.recv_bytes())
    process.join()
    assert kind in ("read", "refused"), told
    if kind == "refused":
        assert len(told) < 400 and "\n" not in told and "Traceback" not in told
    assert process.exitcode == 0


def test_the_limits_are_those_of_the_process(tmp_path: Any) -> None:
    """What a small file may take at most is below what the killers are allowed."""
    from methods.cage import limits_for

    small = limits_for(1_500_000)
    assert small.seconds < SECONDS and small.memory_mb < MEGABYTES - 500


def test_memory_beyond_the_limit_is_one_line_and_how_to_raise_it() -> None:
    called, data = "long.csv", b"electrode,kv\n" + b"disk,41.5\n" * 400_000
    with pytest.raises(InputError, match=r"long\.csv: reading it asks for more than 30 MB.*--read-memory MB.*GAPSHIFT"):
        read_in_cage(data, name=called, memory_mb=30)
    assert len(read_in_cage(data, name=called).table) == 400_000


def test_time_beyond_the_limit_is_one_line_and_how_to_raise_it() -> None:
    called, data = KILLERS["headings_again_and_again"]()
    with pytest.raises(InputError, match=r"takes longer than 1 s.*--read-seconds S.*GAPSHIFT_READ_SECONDS"):
        read_in_cage(data, name=called, seconds=1, memory_mb=4_000)


def test_a_limit_in_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GAPSHIFT_READ_MEMORY", "lots")
    with pytest.raises(InputError, match="GAPSHIFT_READ_MEMORY is 'lots'"):
        read_in_cage(b"kv\n41\n42\n", name="a.csv")


def test_what_is_read_is_what_is_read_without_a_cage() -> None:
    from methods.records import read

    data = b"sample,electrode,filling,kv\nA,disk,1,41,\nA,disk,1,>60\nB,sphere,2,x\nB,sphere,2,55.5\n"
    caged, plain = read_in_cage(data, name="a.csv"), read(data, name="a.csv")
    assert caged.table.equals(plain.table) and caged.problems.equals(plain.problems)
    assert caged.guesses.equals(plain.guesses) and caged.source == plain.source
    with pytest.raises(InputError) as told:
        read_in_cage(b"a,b\nx,y\n", name="a.csv")
    with pytest.raises(InputError) as said:
        read(b"a,b\nx,y\n", name="a.csv")
    assert str(told.value) == str(said.value) and told.value.__dict__ == said.value.__dict__


def test_one_that_dies_takes_nobody_along() -> None:
    with pytest.raises(InputError):
        read_in_cage(workbook(sound_rows(200_000)), name="large.xlsx", memory_mb=40)
    assert len(read_in_cage(workbook(sound_rows()), name="small.xlsx").table) == 12


def test_a_merged_column_is_filled_by_its_own_cells() -> None:
    rows = f'<row r="1">{cell("A1", "electrode")}{cell("B1", "kv")}</row>' + "".join(
        f'<row r="{r}">{cell(f"A{r}", "disk") if r == 2 else ""}{cell(f"B{r}", 40 + r)}</row>' for r in range(2, 8)
    )
    merged = '<mergeCells><mergeCell ref="A2:A7"/><mergeCell ref="ZZ2:ZZ1048576"/></mergeCells>'
    table = read_in_cage(workbook(rows, merged), name="merged.xlsx").table
    assert table["electrode"].tolist() == ["disk"] * 6
