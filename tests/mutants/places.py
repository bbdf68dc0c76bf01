"""What can be changed in a module, and what stands there then.

Operators, comparisons and numbers. Left alone, because no test should notice: annotations, the words of a refusal
(``raise``), docstrings, and joined texts, lists or tuples, which a changed sign only breaks.
"""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
#: An operator and what stands in its place.
SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.FloorDiv,
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.And: ast.Or, ast.Or: ast.And, ast.USub: ast.UAdd,
}  # fmt: skip
#: What an operator that joins no numbers has on one of its sides.
JOINED = (ast.JoinedStr, ast.List, ast.Tuple, ast.Dict, ast.Set, ast.ListComp)


@dataclass(frozen=True)
class Place:
    """One place that can be changed: its module, its number there, and the function around it.

    ``function`` is the outermost one (``Class.method``), empty at the module's own level; ``first`` its first line.
    """

    module: str
    at: int
    line: int
    before: str
    after: str
    function: str
    first: int

    @property
    def name(self) -> str:
        """How it is told: where, what, and what instead."""
        return f"{self.module}:{self.line}: {self.before} -> {self.after}"


def places(source: str, module: str) -> list[Place]:
    """All that can be changed in a module, in the order of its text."""
    out = []
    for at, (node, function, first) in enumerate(_changeable(ast.parse(source))):
        changed = copy.deepcopy(node)
        _change(changed)
        words = (" ".join(ast.unparse(n).split())[:90] for n in (node, changed))
        out.append(Place(module, at, getattr(node, "lineno", 0), *words, function, first))
    return out


def changed(source: str, at: int) -> ast.Module:
    """The module with the ``at``-th place changed."""
    tree = ast.parse(source)
    node = next(n for i, (n, _, _) in enumerate(_changeable(tree)) if i == at)
    _change(node)
    return tree


def _changeable(tree: ast.Module) -> Iterator[tuple[ast.AST, str, int]]:
    yield from _walk(tree, "", "", 0)


def _walk(node: ast.AST, within: str, function: str, first: int) -> Iterator[tuple[ast.AST, str, int]]:
    """Nodes with the function around them; ``within`` is the class or classes so far."""
    if isinstance(node, ast.Raise) or (isinstance(node, ast.If) and _for_types(node.test)):
        return
    if _is_place(node):
        yield node, function, first
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "type_params"):
            continue
        inside = (within, function, first)
        if isinstance(node, ast.ClassDef) and not function:
            inside = (f"{within}{node.name}.", "", 0)
        elif isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)) and not function and name == "body":
            start = node.decorator_list[0].lineno if node.decorator_list else node.lineno
            inside = (within, within + node.name, start)
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _walk(child, *inside)


def _for_types(test: ast.expr) -> bool:
    return isinstance(test, ast.Name) and test.id == "TYPE_CHECKING"


def _is_place(node: ast.AST) -> bool:
    if isinstance(node, ast.BinOp):
        sides = (node.left, node.right)
        texts = any(isinstance(s, ast.Constant) and isinstance(s.value, str) for s in sides)
        return type(node.op) in SWAPS and not texts and not any(isinstance(s, JOINED) for s in sides)
    if isinstance(node, ast.UnaryOp):
        return isinstance(node.op, ast.Not) or type(node.op) in SWAPS
    if isinstance(node, ast.Compare):
        return type(node.ops[0]) in SWAPS
    return isinstance(node, ast.BoolOp) or (isinstance(node, ast.Constant) and type(node.value) in (int, float))


def _change(node: ast.AST) -> None:
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):  # "not not": the truth of it
        node.operand = ast.UnaryOp(ast.Not(), node.operand)
        ast.fix_missing_locations(node)
    elif isinstance(node, (ast.BinOp, ast.UnaryOp, ast.BoolOp)):
        node.op = SWAPS[type(node.op)]()  # type: ignore[assignment]
    elif isinstance(node, ast.Compare):
        node.ops[0] = SWAPS[type(node.ops[0])]()  # type: ignore[call-overload]
    elif isinstance(node, ast.Constant):
        node.value = node.value + 1  # type: ignore[operator]
