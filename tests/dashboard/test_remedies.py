"""Whatever can be put right has a control, an option, a key and an argument; each surface names its own."""

from __future__ import annotations

import argparse
import ast
import inspect
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.commands.common import add_reading_options
from dashboard.pages import records_sheet
from dashboard.pages.records_words import for_the_page
from dashboard.remedies import REMEDIES
from methods import read
from methods.records.by_click import Hand
from methods.records.by_word import DEEDS
from methods.records.recipe import OPTIONS, PART_KEYS, SHEET_KEYS

ROOT = Path(__file__).parents[2]
#: Controls that choose what is spoken of, or go back and forth, and say nothing of a reading themselves.
ABOUT = {
    "File", "Sheet", "Selected", "Forget", "Take back", "Start over", "Set it", "Say it no more", "It holds for", "is",
    "or, in your words", "Save the recipe", "Read it as X was read",
}  # fmt: skip
#: How much reading may take is no matter of what is read; and where the rows come from.
LIMITS = {"--read-memory", "--read-seconds"}


def _texts(path: Path) -> Iterator[str]:
    """Every text of a module that is no docstring; what is put in is an X."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    bodies = [n.body[0] for n in ast.walk(tree) if isinstance(n, (ast.Module, ast.ClassDef, ast.FunctionDef))]
    inside = {id(first.value) for first in bodies if isinstance(first, ast.Expr)}
    joined = [n for n in ast.walk(tree) if isinstance(n, ast.JoinedStr)]
    inside |= {id(v) for n in joined for v in n.values}
    for n in joined:
        yield "".join(v.value if isinstance(v, ast.Constant) else "X" for v in n.values)  # type: ignore[misc]
    for n in ast.walk(tree):
        if isinstance(n, ast.Constant) and isinstance(n.value, str) and id(n) not in inside:
            yield n.value


def _options() -> dict[str, argparse.Action]:
    parser = argparse.ArgumentParser()
    add_reading_options(parser)
    group = next(g for g in parser._action_groups if g.title == "reading")
    return {o: a for a in group._group_actions for o in a.option_strings}


def _controls() -> set[str]:
    """The labels of all controls of the sheet."""
    tree = ast.parse(inspect.getsource(records_sheet))
    found = set(records_sheet.OPTIONS)
    for call in (n for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name) and n.args):
        first = call.args[0]
        if call.func.id in ("Choice", "Press", "Words", "Upload", "Save"):  # type: ignore[attr-defined]
            if isinstance(first, ast.Constant):
                found.add(str(first.value))
            elif isinstance(first, ast.JoinedStr):
                found.add("".join(v.value if isinstance(v, ast.Constant) else "X" for v in first.values))  # type: ignore[misc]
    deeds = next(n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name == "_deeds")
    found |= {str(n.elts[0].value) for n in ast.walk(deeds)
              if isinstance(n, ast.Tuple) and len(n.elts) == 3 and isinstance(n.elts[0], ast.Constant)}  # fmt: skip
    return found


def _say_word(option: str) -> str:
    return option.removeprefix("--say ")


def test_each_remedy_is_there_on_every_surface() -> None:
    controls, options, arguments = _controls(), _options(), inspect.signature(read).parameters
    keys = {"sheet", "name", "table", "cells", *OPTIONS, *SHEET_KEYS}
    filters = (ROOT / "dashboard/pages/records_filters.py").read_text(encoding="utf-8")
    for remedy in REMEDIES:
        assert remedy.control and remedy.option and remedy.argument, remedy
        if remedy.control == ("Filters",):
            assert "class Filters" in filters
        else:
            assert set(remedy.control) <= controls, remedy
        for option in remedy.option:
            assert option in options or (option.startswith("--say ") and _say_word(option) in DEEDS), option
        assert set(remedy.key) <= keys, remedy
        assert set(remedy.argument) <= set(arguments), remedy


def test_nothing_is_left_that_the_table_does_not_name() -> None:
    controls = {c for r in REMEDIES for c in r.control}
    options = {o for r in REMEDIES for o in r.option} | LIMITS
    arguments = {a for r in REMEDIES for a in r.argument} | {"source", "name"}
    keys = {k for r in REMEDIES for k in r.key}
    assert _controls() - ABOUT <= controls
    assert set(_options()) - {"--say"} <= options
    assert {_say_word(o) for o in options if o.startswith("--say ")} == set(DEEDS)
    assert set(inspect.signature(read).parameters) == arguments
    assert {*OPTIONS, *SHEET_KEYS, *PART_KEYS} - keys == {"rows"}  # by which a recipe knows a sheet of its shape
    deeds = {n for n, f in vars(Hand).items() if inspect.isfunction(f) and not n.startswith("_")}
    spoken = {n for f in DEEDS.values() for n in f.__code__.co_names}
    assert deeds == spoken | {"context", "of_the_file", "option", "forget"}


MESSAGES = sorted({t for p in (ROOT / "methods").rglob("*.py") for t in _texts(p)
                   if re.search(r"(?<![\w-])--[a-z]|HEADING", t)})  # fmt: skip


@pytest.mark.parametrize("text", MESSAGES, ids=lambda t: t[:40])
def test_a_message_names_options_on_the_command_line_and_controls_on_the_page(text: str) -> None:
    known = {*_options(), "--by", "--json"}
    for option, role in re.findall(r"(?<![\w-])(--[a-z-]+[a-z])(?: ([a-z-]+))?", text):
        assert option in known, text
        assert option != "--say" or role in DEEDS, text
    shown = for_the_page(text)
    assert not re.search(r"(?<![\w-])--[a-z]|HEADING", shown), shown
    for label in re.findall("“([^”]+)”", shown):
        assert label in _controls() | {"What the sheet does not say"}, shown
    assert re.search("[“]|Readings|filters of Records", shown) or "Split the file" in text, shown


def test_pages_name_no_option_but_beside_the_command_itself() -> None:
    for path in sorted((ROOT / "dashboard" / "pages").rglob("*.py")):
        for text in _texts(path):
            if path.name != "records_words.py" and re.search(r"(?<![\w(-])--[a-z]{3,} ?[a-zA-Z<.]*", text):
                assert "On the command line" in text or "var(" in text or text.startswith("--"), (path.name, text)


def test_the_command_line_names_no_control() -> None:
    labels = [c for r in REMEDIES for c in r.control if " " in c] + ["What the sheet does not say"]
    for path in [*(ROOT / "methods").rglob("*.py"), *(ROOT / "dashboard" / "commands").rglob("*.py")]:
        for text in _texts(path):
            assert not any(label in text for label in labels), (path.name, text)
