"""The lowest versions that pyproject.toml allows carry the program: an environment of them, and tests run in it."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
#: What is run there: every page, and fits against other libraries.
SOME = ("tests/dashboard/test_app.py", "tests/methods/scatter/test_fit.py")


@pytest.fixture(scope="module")
def lowest(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The Python of an environment with the lowest direct dependencies."""
    place = tmp_path_factory.mktemp("lowest") / "env"
    python = place / "bin" / "python"
    for words in (
        ["venv", "--quiet", "--python", sys.executable, str(place)],
        ["pip", "install", "--quiet", "--python", str(python), "--resolution", "lowest-direct",
         "--group", f"{ROOT / 'pyproject.toml'}:test", f"{ROOT}[parquet,report,bigdata]"],
    ):  # fmt: skip
        done = subprocess.run([sys.executable, "-m", "uv", *words], capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
    return python


def test_they_are_the_lowest(lowest: Path) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    code = "import importlib.metadata as m, sys; print(*[m.version(n) for n in sys.argv[1:]])"
    wanted = [Requirement(text) for text in project["dependencies"]]
    found = subprocess.run(
        [lowest, "-c", code, *[r.name for r in wanted]], capture_output=True, text=True, check=True
    ).stdout.split()
    for requirement, version in zip(wanted, found, strict=True):
        floor = next(s.version for s in requirement.specifier if s.operator == ">=")
        assert version.split(".")[: len(floor.split("."))] == floor.split("."), requirement


def test_the_program_works_with_them(lowest: Path) -> None:
    done = subprocess.run(
        [lowest, "-m", "pytest", "-q", *SOME], cwd=ROOT, capture_output=True, text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-4000:]
