"""A refusal of a command names the option that mends it, and the option is one of that command."""

from __future__ import annotations

import ast
import re
import shlex
from pathlib import Path

import pytest

from dashboard import cli
from dashboard.commands.mending import OPTIONS, with_option
from methods.errors import InputError

ROOT = Path(__file__).parents[2]
DATA = ROOT / "data"
CASES = [
    ("decide routine_wide.csv --limit 30", "--limit-method"),
    ("decide routine_wide.csv --limit nonsense", "gapshift limits"),
    ("agreement programme_long.csv", "--first"),
    ("precision routine_wide.csv", "--laboratory"),
    ("plan mean --cov 15%", "--half-width"),
    ("plan percentile --cov 15% --p 1%", "--half-width"),
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


def test_a_refusal_that_names_an_option_or_lacks_nothing_known_is_left_alone():
    assert with_option(InputError("Say --first.", lacks="two_levels")) == "Say --first."
    assert with_option(InputError("Say which.", lacks="two_levels")) == "Say which. (--first LEVEL --second LEVEL)"
    assert with_option(InputError("Nothing known.")) == "Nothing known."
    assert with_option(InputError("Say which two to compare.")) == "Say which two to compare.", "words decide nothing"
    assert all(re.search(r"--[a-z]|gapshift", said) for said in OPTIONS.values())


def test_what_is_said_to_lack_is_what_the_commands_know():
    """Every ``lacks=`` of a refusal in ``methods`` and the commands has its option, and every option its refusal."""
    said = set()
    for folder in ("methods", "dashboard/commands"):
        for file in (ROOT / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                    said |= {k.value.value for k in node.exc.keywords if k.arg == "lacks"}
    assert said == set(OPTIONS)
