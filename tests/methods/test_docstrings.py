"""What stands in the docstrings of ``methods``: every parameter described, and examples that give what they say."""

from __future__ import annotations

import ast
import doctest
import importlib
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import methods

ROOT = Path(methods.__file__).parents[1]
MODULES = sorted((ROOT / "methods").rglob("*.py"))

#: With so many parameters or more a docstring describes each.
SEVERAL = 3


def functions(path: Path) -> Iterator[tuple[str, ast.FunctionDef]]:
    """Public functions and the public methods of public classes, by their names."""
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef) and node.name[0] != "_":
            yield node.name, node
        if isinstance(node, ast.ClassDef) and node.name[0] != "_":
            for item in node.body:
                if isinstance(item, ast.FunctionDef) and item.name[0] != "_":
                    yield f"{node.name}.{item.name}", item


def parameters(node: ast.FunctionDef) -> list[str]:
    args = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return [a.arg for a in args if a.arg not in ("self", "cls")]


def described(text: str) -> set[str]:
    """The names above the descriptions of a section ``Parameters``."""
    section = re.search(r"^Parameters\n-+\n(.*?)(?=^\w+\n-{3,}$|\Z)", text, re.M | re.S)
    heads = re.findall(r"^(\S[^:\n]*?)(?: : .*)?$", section[1], re.M) if section else []
    return {name.strip().lstrip("*") for head in heads for name in head.split(",")}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_parameter_is_described(path: Path) -> None:
    for name, node in functions(path):
        names = parameters(node)
        if len(names) >= SEVERAL:
            lacking = [p for p in names if p not in described(ast.get_docstring(node) or "")]
            assert not lacking, f"{name} does not say what {lacking} are"


EXAMPLES = [p for p in MODULES if ">>>" in p.read_text(encoding="utf-8")]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: str(p.relative_to(ROOT)))
def test_examples_give_what_they_say(path: Path) -> None:
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted and not found.failed
