"""Progress of a command: on a terminal alone."""

from __future__ import annotations

import io
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from dashboard.commands import progress as module
from dashboard.commands.progress import progress

ROUND = Path(__file__).parents[2] / "data" / "laboratory_round.csv"


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def at_once(monkeypatch):
    monkeypatch.setattr(module, "PATIENCE", 0.0)
    monkeypatch.setattr(module, "EVERY", 0.0)


def test_a_terminal_sees_one_line_that_goes_away():
    seen = Terminal()
    with progress("Report", seen) as tell:
        tell(1, 4)
        tell(0.75)
    assert "\rReport: 25 %" in seen.getvalue() and "\rReport: 75 %" in seen.getvalue()
    assert seen.getvalue().endswith("\r" + " " * len("Report: 75 %") + "\r") and "\n" not in seen.getvalue()


def test_the_line_goes_away_where_the_work_fails():
    seen = Terminal()
    with pytest.raises(ValueError), progress("Report", seen) as tell:
        tell(1, 2)
        raise ValueError
    assert seen.getvalue().endswith(" \r")


def test_a_pipe_sees_nothing():
    seen = io.StringIO()
    with progress("Report", seen) as tell:
        tell(1, 4)
    assert not seen.getvalue()


@pytest.mark.parametrize("terminal", [True, False])
def test_a_report_tells_a_terminal_how_far_it_is(terminal, tmp_path):
    words = [sys.executable, "-m", "dashboard.cli", "report", str(ROUND), "--out", str(tmp_path / "r.md")]
    ours, theirs = pty.openpty() if terminal else os.pipe()
    done = subprocess.run(words, stderr=theirs, stdout=subprocess.DEVNULL, timeout=120, check=False)
    os.close(theirs)
    told = b""
    try:
        while part := os.read(ours, 65536):
            told += part
    except OSError:  # the terminal's other end is closed
        pass
    os.close(ours)
    assert done.returncode == 0
    assert (b"Report: " in told) is terminal and (told == b"") is not terminal


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["choose", "routine_wide.csv"], "Choice: 40 %"),
        (["check", "routine_wide.csv", "check_oil.csv"], "Reading: 50 %"),
    ],
)
def test_a_choice_and_several_files_tell_a_terminal_too(words, told, monkeypatch, capsys):
    from dashboard import cli

    seen = Terminal()
    monkeypatch.setattr(sys, "stderr", seen)
    cli.main([words[0], *(str(ROUND.parent / name) for name in words[1:])])
    assert told in seen.getvalue() and "%" not in seen.getvalue().rpartition("\r")[2]
