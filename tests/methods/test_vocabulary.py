"""One name for one thing in every public signature and result, and nothing public that nobody reaches."""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import methods
from methods.answers import MAKERS

ROOT = Path(methods.__file__).parents[1]
METHODS = sorted((ROOT / "methods").rglob("*.py"))

#: Name that is not used -> the one that is.
PARAMETERS = {
    "alpha": "confidence", "significance": "confidence", "conf": "confidence", "se": "standard_error",
    "stderr": "standard_error", "seed": "rng", "random_state": "rng", "generator": "rng", "resamples": "repetitions",
    "simulations": "repetitions", "n_boot": "repetitions", "warnings": "cautions", "pvalue": "p_value",
    "p_val": "p_value", "distribution": "family",
}  # fmt: skip
FIELDS = {k: v for k, v in PARAMETERS.items() if k not in ("seed", "distribution")}  # a result says which seed it used

#: Of these ``distribution`` is what the uncertainty of a quantity follows, as JCGM 100 calls it.
QUANTITIES = {"methods/planning/uncertainty.py", "methods/planning/mean_uncertainty.py", "methods/planning/budget.py"}


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def public_functions(path: Path) -> Iterator[ast.FunctionDef]:
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node


@pytest.mark.parametrize("path", METHODS, ids=lambda p: str(p.relative_to(ROOT)))
def test_parameters_and_fields_have_the_names_of_the_table(path: Path) -> None:
    place = str(path.relative_to(ROOT))
    for function in public_functions(path):
        inner = {n for f in public_functions(path) for n in ast.walk(f) if n is not f}
        if function in inner:
            continue  # a function within a function is nobody's interface
        for arg in [*function.args.args, *function.args.kwonlyargs]:
            assert arg.arg not in PARAMETERS or place in QUANTITIES, (
                f"{place}: {function.name}({arg.arg}) is called {PARAMETERS[arg.arg]}"
            )
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for item in node.body:
                if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name):
                    name = item.target.id
                    assert name not in FIELDS, f"{place}: {node.name}.{name} is called {FIELDS[name]}"


def test_the_table_is_in_the_notes_for_contributors() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name in ("confidence", "standard_error", "rng", "repetitions", "cautions", "p_value", "family", "withstood"):
        assert f"`{name}`" in text


def unreached() -> set[str]:
    """Public functions of ``methods`` that neither ``methods`` nor ``dashboard`` nor a notebook uses or offers."""
    used: Counter[str] = Counter()
    for path in [*METHODS, *(ROOT / "dashboard").rglob("*.py")]:
        listed = {
            id(part)
            for node in ast.walk(tree(path))
            if isinstance(node, ast.Assign) and any(getattr(t, "id", "") == "__all__" for t in node.targets)
            for part in ast.walk(node)
        }
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                used[node.id] += 1
            elif isinstance(node, ast.Attribute):
                used[node.attr] += 1
            elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in listed:
                used[node.value] += 1
    shown = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "notebooks").glob("*.ipynb"))
    names = {n.name for p in METHODS for n in tree(p).body if isinstance(n, ast.FunctionDef) and n.name[0] != "_"}
    return {n for n in names - set(methods.__all__) if not used[n] and not re.search(rf"\b{n}\b", shown)}


def test_nothing_public_is_reached_by_tests_alone() -> None:
    found = sorted(unreached())
    assert not found, f"only tests call {found}: show them or drop them"


#: A question's answer is named as the function whose result it puts into words; it is found by the type of the result.
ANSWERS = "methods/answers/"


def test_one_name_is_one_thing():
    """No two public functions or classes of different modules have one name, answers and their questions apart."""
    places: dict[str, list[str]] = {}
    for path in METHODS:
        place = str(path.relative_to(ROOT))
        for node in tree(path).body:
            if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
                places.setdefault(node.name, []).append(place)
    twice = {name: found for name, found in places.items() if len([p for p in found if ANSWERS not in p]) > 1}
    assert not twice, f"one name for two things: {twice}"
    within = {name: found for name, found in places.items() if len([p for p in found if ANSWERS in p]) > 1}
    assert not within, f"two answers of one name: {within}"


def test_an_answer_named_as_a_question_answers_it():
    """The exception above is none: an answer of that name takes what the function of that name returns."""
    makers = {f"{ANSWERS}{module}.py:{function}": kind for kind, (module, function) in MAKERS.items()}
    questions: dict[str, str] = {}
    for path in METHODS:
        place = str(path.relative_to(ROOT))
        for node in tree(path).body:
            if isinstance(node, ast.FunctionDef) and ANSWERS not in place and node.returns is not None:
                questions[node.name] = ast.unparse(node.returns)
    shared = {key: kind for key, kind in makers.items() if key.split(":")[1] in questions}
    assert len(shared) >= 8
    for key, kind in shared.items():
        assert kind in questions[key.split(":")[1]], f"{key} answers {kind}, not {questions[key.split(':')[1]]}"
