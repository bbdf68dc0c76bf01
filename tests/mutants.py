"""Change one thing in a module of ``methods`` at a time and see whether its tests notice.

``python -m tests.mutants methods/interlab/level.py tests/methods/interlab --count 20 --rng 1`` prints the share that
the tests kill, and each survivor with its line. The module is changed in a copy, never where it stands.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
#: An operator and what stands in its place.
SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Lt: ast.LtE, ast.LtE: ast.Lt,
    ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.And: ast.Or, ast.Or: ast.And,
    ast.USub: ast.UAdd,
}  # fmt: skip
SECONDS = 300


def places(tree: ast.Module) -> Iterator[ast.AST]:
    """Operators, comparisons and numbers that can be changed; not those of annotations."""
    for node in ast.walk(tree):
        if isinstance(node, (ast.BinOp, ast.UnaryOp)) and type(node.op) in SWAPS:
            yield node
        elif isinstance(node, ast.BoolOp) or (isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS):
            yield node
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            yield node


def change(node: ast.AST) -> None:
    """Make the mutant in place."""
    if isinstance(node, (ast.BinOp, ast.UnaryOp, ast.BoolOp)):
        node.op = SWAPS[type(node.op)]()  # type: ignore[assignment]
    elif isinstance(node, ast.Compare):
        node.ops[0] = SWAPS[type(node.ops[0])]()  # type: ignore[call-overload]
    elif isinstance(node, ast.Constant):
        node.value = node.value + 1  # type: ignore[operator]


def run(module: Path, tests: list[str], count: int, rng: int) -> tuple[int, list[str]]:
    """How many mutants were made, and those that the tests let live."""
    source = (ROOT / module).read_text(encoding="utf-8")
    total = sum(1 for _ in places(ast.parse(source)))
    chosen = sorted(random.Random(rng).sample(range(total), min(count, total)))
    alive = []
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", "build"))
        for at in chosen:
            tree = ast.parse(source)
            node = list(places(tree))[at]
            before = ast.unparse(node)
            change(node)
            (copy / module).write_text(ast.unparse(tree), encoding="utf-8")
            words = [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", *tests]
            try:
                done = subprocess.run(
                    words, cwd=copy, env=os.environ | {"PYTHONPATH": str(copy)}, capture_output=True, timeout=SECONDS
                )
            except subprocess.TimeoutExpired:
                continue  # it never ends: noticed
            if done.returncode == 0:
                alive.append(f"{module}:{getattr(node, 'lineno', 0)}: {before} -> {ast.unparse(node)}")
    return len(chosen), alive


def main() -> int:
    """Print the share killed and the survivors."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("module", type=Path)
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--rng", type=int, default=1)
    args = parser.parse_args()
    made, alive = run(args.module, args.tests, args.count, args.rng)
    print(f"{args.module}: {made - len(alive)} of {made} mutants killed")
    print("\n".join(alive))
    return 0


if __name__ == "__main__":
    sys.exit(main())
