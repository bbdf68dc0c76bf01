"""The help of every command and of every kind of one: an example in each, several files wherever one is taken."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.cli import parser
from dashboard.commands.examples import EXAMPLES


def walk(one: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every parser below the first with the words that lead to it."""
    for name, below in one.commands.items():
        yield (*words, name), below
        yield from walk(below, (*words, name))


EVERY = dict(walk(parser()))
#: An option with what it takes.
OPTION = re.compile(r"\[--[^\]]*\]|--[a-z-]+ [A-Z]+")


def test_the_tree_has_all_of_it() -> None:
    assert {("archive", "add"), ("plan", "study"), ("plan", "next"), ("rounds",), ("serve",)} <= set(EVERY)
    assert len(EVERY) >= 40


@pytest.mark.parametrize("words", EVERY, ids=" ".join)
def test_every_help_has_an_example_that_it_understands(words: tuple[str, ...]) -> None:
    help = EVERY[words].format_help()
    assert re.search(r"^examples?:$", help, re.M)
    shown = re.findall(r"^  gapshift (.*)$", help, re.M)
    assert shown
    for line in shown:
        said = shlex.split(line)
        assert tuple(said[: len(words)]) == words
        args = parser().parse_args(said)
        assert args.command == words[0]


@pytest.mark.parametrize("words", EVERY, ids=" ".join)
def test_several_files_wherever_one_is_taken(words: tuple[str, ...]) -> None:
    usage = " ".join(EVERY[words].format_usage().split())
    place = re.search(r"\b(FILE|PATH)\b", OPTION.sub("", usage))
    if place is not None:
        name = place[1]
        assert f"[{name} ...]" in usage
    if "--history FILE" in usage:
        assert parser().parse_args([*_shortest(words), "--history", "a.csv", "--history", "b.csv"]).history == [
            "a.csv", "b.csv",
        ]  # fmt: skip


def _shortest(words: tuple[str, ...]) -> list[str]:
    """The first example of a command, as it is typed."""
    examples = [shlex.split(said) for said, _ in EXAMPLES[words[0]]]
    return [words[0], *next(e for e in examples if len(words) == 1 or e[:1] == [words[1]])]


def test_the_first_help_names_every_command_and_what_it_is_not() -> None:
    text = parser().format_help()
    assert all(re.search(rf"^ +{name}\b", text, re.M) for (name, *rest) in EVERY if not rest)
    assert "does not control, interlock or approve" in text
