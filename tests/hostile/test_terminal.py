"""What stands in a file steers no terminal: not in tables, not in messages, not in JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard.cli import main

#: Sets the colour, the window's title, and the direction of writing; rings; and begins a sequence in one byte.
STEERING = ("\x1b[31m", "\x1b]0;own\x07", "\u202e", "\x9b2J")
COMMANDS = (
    ("check", "--cells"), ("fit", "--by", "electrode"), ("shift", "--by", "electrode"), ("components",), ("choose",),
    ("decide", "--limit", "30"), ("order", "--by", "electrode"), ("rules",), ("budget",), ("confounding",),
    ("precision", "--level", "electrode"), ("sensitivity", "--by", "electrode"), ("check-oil",),
    ("equivalence", "--by", "electrode", "--margin", "10%"), ("fit", "--by", "nothing"), ("shift", "--by", "\x1b[31m"),
)  # fmt: skip


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("terminal") / "sheet.csv"
    rows = [
        f"A{STEERING[1]}{STEERING[3]},{STEERING[0]}{electrode}{STEERING[2]},{filling},{order},{40 + order}"
        for electrode in ("disk", "sphere") for filling in (1, 2, 3) for order in range(1, 6)
    ]  # fmt: skip
    path.write_text("\n".join(["sample,electrode,filling,order,kv", *rows, f"A,disk,4,1,{STEERING[0]}many"]) + "\n")
    return path


def steers(text: str) -> list[str]:
    return [c for c in text if (ord(c) < 32 and c not in "\n\t") or 127 <= ord(c) < 160 or c in "\u202e\u2066"]


@pytest.mark.parametrize("words", COMMANDS, ids=lambda w: " ".join(w).encode("unicode_escape").decode())
def test_no_command_prints_it(words: tuple[str, ...], sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main([words[0], str(sheet), *words[1:]])
    said = capsys.readouterr()
    assert (said.out + said.err).strip()
    assert steers(said.out) == steers(said.err) == []
    if main([words[0], str(sheet), *words[1:], "--json"]) != 2:
        said = capsys.readouterr()
        assert steers(said.out) == steers(said.err) == []
        assert json.loads(said.out) is not None


def test_json_still_says_what_stood_there(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["fit", str(sheet), "--by", "electrode", "--json"])
    levels = {row["group"]["electrode"] for row in json.loads(capsys.readouterr().out)["fits"]}
    assert any("\x1b[31m" in level for level in levels), levels
