"""A refusal of a command names the option that mends it, and the option is one of that command."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from dashboard import cli
from dashboard.commands.mending import OPTIONS, with_option

DATA = Path(__file__).parents[2] / "data"
CASES = [
    ("decide routine_wide.csv --limit 30", "--limit-method"),
    ("decide routine_wide.csv --limit nonsense", "gapshift limits"),
    ("agreement programme_long.csv", "--first"),
    ("precision routine_wide.csv", "--laboratory"),
    ("plan mean --cov 15%", "--half-width"),
    ("choose routine_wide.csv --weight speed=2", "--weight"),
    ("choose laboratory_round.csv", "--only"),
    ("archive list --archive none.duckdb", "--archive"),
]


@pytest.mark.parametrize(("line", "option"), CASES)
def test_the_option_that_mends_is_named(line, option, monkeypatch, capsys):
    monkeypatch.chdir(DATA)
    assert cli.main(shlex.split(line)) == 2
    told = capsys.readouterr().err
    assert option in told and told.count("\n") == 1
    if option.startswith("--"):
        words = shlex.split(line)[: 2 if line.startswith(("plan", "archive")) else 1]
        with pytest.raises(SystemExit):
            cli.main([*words, "--help"])
        assert option in capsys.readouterr().out


def test_every_hint_is_reached_and_a_refusal_that_names_an_option_is_left_alone():
    assert len(OPTIONS) == len(CASES)
    assert with_option("Say --first.") == "Say --first." and with_option("Nothing known.") == "Nothing known."
    assert all(re.search(r"--[a-z]|gapshift", said) for said in OPTIONS.values())
