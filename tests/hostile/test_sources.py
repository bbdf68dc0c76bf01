"""What a path may name besides a file, and voltages at the edge of numbers: one line each, and nothing waits."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from dashboard.cli import main
from methods import InputError
from methods.cage import read_in_cage


@pytest.mark.parametrize("command", ["check", "components", "report"])
@pytest.mark.parametrize("what", ["device", "loop", "long", "nul", "folder", "nothing"])
def test_a_path_that_is_no_file_is_one_line(
    command: str, what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    here, there = tmp_path / "a.csv", tmp_path / "b.csv"
    here.symlink_to(there)
    there.symlink_to(here)
    path = {"device": "/dev/zero", "loop": str(here), "long": "x" * 5000, "nul": "a\0b.csv", "folder": str(tmp_path),
            "nothing": str(tmp_path / "none.csv")}[what]  # fmt: skip
    more = ["--out", str(tmp_path / "report.html")] if command == "report" else []
    assert main([command, path, *more]) == 2
    said = capsys.readouterr()
    why = {"device": "is a device", "loop": "in a circle", "long": "too long", "nul": "holds a NUL",
           "folder": "a folder", "nothing": "no file"}[what]  # fmt: skip
    assert why in said.err
    assert said.err.count("\n") == 1 and "Traceback" not in said.err and len(said.err) < 400


def test_a_pipe_is_read_and_one_that_stays_silent_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    writer = threading.Thread(target=lambda: pipe.write_text("kv\n50\n52\n48\n"))
    writer.start()
    assert read_in_cage(pipe).table["kv"].tolist() == [50, 52, 48]
    writer.join()
    monkeypatch.setattr("methods.cage.source._SILENCE_S", 0.5)
    with pytest.raises(InputError, match="nothing comes"):
        read_in_cage(pipe)


@pytest.mark.parametrize("value", ["1e308", "1e-300", "-1e308", "1e400", "NaN", "inf", "0x50", "5e", "1" * 400])
@pytest.mark.parametrize("command", [("check",), ("fit",), ("components",), ("shift", "--by", "electrode"), ("order",)])
def test_a_voltage_at_the_edge_of_numbers_ends_in_words(
    value: str, command: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "edge.csv"
    rows = [f"{e},{f},{o},{45 + o + f}" for e in ("disk", "sphere") for f in (1, 2, 3) for o in (1, 2, 3)]
    path.write_text("\n".join(["electrode,filling,order,kv", *rows, f"disk,1,4,{value}"]) + "\n")
    assert main([command[0], str(path), *command[1:]]) in (0, 1, 2)
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    if command != ("check",):  # which quotes what stands in the file
        assert not {"nan", "inf", "-inf"} & set(said.out.replace("\u2212", "-").split())
