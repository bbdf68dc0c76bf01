"""The dashboard leans on what its libraries promise: no private name of another library outside one module."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import re
from pathlib import Path
from typing import Any

import pytest

import dashboard

ROOT = Path(dashboard.__file__).parent
#: The one module that may: it says what for.
LISTED = "component.py"
FILES = sorted(p for p in ROOT.rglob("*.py") if p.name != LISTED)
SCRIPTS = sorted([*ROOT.rglob("*.js"), *ROOT.rglob("*.html")])
LIBRARIES = ("panel", "param", "bokeh", "holoviews", "pyviz_comms", "tornado")
#: Packages of this project, whose own inner names are its own business.
OWN = ("dashboard", "methods")


def private(name: str) -> bool:
    return name.startswith("_") and not (name.startswith("__") and name.endswith("__"))


def own_names() -> set[str]:
    """Names with a leading underscore that this project's own code gives."""
    found: set[str] = set()
    for package in OWN:
        for path in Path(importlib.import_module(package).__file__ or "").parent.rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
                    found.add(node.name)
                elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                    found.add(node.id)
                elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
                    found.add(node.attr)
    return {n for n in found if private(n)}


def uses(path: Path) -> set[tuple[int, str]]:
    """Private names that a module takes from somewhere: attributes, imports, keys of namespaces."""
    out = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute) and private(node.attr):
            out.add((node.lineno, node.attr))
        elif isinstance(node, ast.ImportFrom):
            out |= {(node.lineno, a.name) for a in node.names if private(a.name)}
            out |= {(node.lineno, part) for part in (node.module or "").split(".") if private(part)}
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("getattr", "setattr", "hasattr"):
            words = [a.value for a in node.args if isinstance(a, ast.Constant) and isinstance(a.value, str)]
            out |= {(node.lineno, w) for w in words if private(w)}
    return out


def test_no_private_name_of_another_library_is_asked_for() -> None:
    own = own_names()
    found = [f"{p.relative_to(ROOT)}:{line} {name}" for p in FILES for line, name in sorted(uses(p)) if name not in own]
    assert found == []


def classes() -> list[type[Any]]:
    """Every class of the dashboard that derives from one of a library."""
    out = []
    for info in pkgutil.walk_packages([str(ROOT)], "dashboard."):
        module = importlib.import_module(info.name)
        out += [c for _, c in inspect.getmembers(module, inspect.isclass) if c.__module__ == info.name]
    return [c for c in out if any(b.__module__.partition(".")[0] in LIBRARIES for b in c.__mro__)]


def test_no_class_overrides_what_a_library_keeps_to_itself() -> None:
    assert len(classes()) > 20
    found = []
    for cls in classes():
        if Path(inspect.getfile(cls)).name == LISTED:
            continue
        theirs = {n for b in cls.__mro__ if b.__module__.partition(".")[0] in LIBRARIES for n in vars(b) if private(n)}
        written = ast.parse(inspect.getsource(cls))
        body = {n.name for n in ast.walk(written) if isinstance(n, (ast.FunctionDef, ast.AsyncFunctionDef))}
        body |= {n.id for n in ast.walk(written) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
        body |= {n.attr for n in ast.walk(written) if isinstance(n, ast.Attribute) and isinstance(n.ctx, ast.Store)}
        found += [f"{cls.__module__}.{cls.__name__}: {n}" for n in sorted(body & theirs)]
    assert found == []


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.name)
def test_no_script_patches_or_asks_for_inner_names(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.findall(r"[\w\])?]\._(?!_)\w+", text)
    assert "prototype" not in text and "importShim" not in text


def test_the_listed_module_is_short_and_says_what_each_name_is_for() -> None:
    text = (ROOT / LISTED).read_text(encoding="utf-8")
    module = ast.parse(text)
    used = {n for _, n in uses(ROOT / LISTED)}
    used |= {n.id for n in ast.walk(module) if isinstance(n, ast.Name) and private(n.id)}
    used |= {n.name for n in ast.walk(module) if isinstance(n, ast.FunctionDef) and private(n.name)}
    assert used == {"_bundle", "_rename", "_debounce", "_handle_msg", "_send_msg"}
    assert all(f"``{name}``" in (ast.get_docstring(module) or "") for name in used)
