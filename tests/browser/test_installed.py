"""What a user has who installed the package: no checkout beside it, an environment of its own, an empty folder."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import tomllib
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser.conftest import ROOT, Visitor, free_port

#: Nothing of the checkout may help: neither its path nor its environment.
CLEAN = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}


def run(*words: Any, cwd: Path) -> str:
    done = subprocess.run([str(w) for w in words], cwd=cwd, env=CLEAN, capture_output=True, text=True)
    assert done.returncode == 0, f"{words}: {done.stdout[-2000:]}{done.stderr[-2000:]}"
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The ``bin`` of a new environment that holds the wheel built from the source distribution, and nothing else."""
    place = tmp_path_factory.mktemp("installed")
    run(sys.executable, "-m", "build", "--outdir", place / "dist", ROOT, cwd=place)  # the wheel is made of the sdist
    run(sys.executable, "-m", "venv", place / "env", cwd=place)
    wheel = next((place / "dist").glob("*.whl"))
    constraints = ROOT / "constraints.txt"
    run(
        place / "env" / "bin" / "python", "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
        "--constraint", constraints, wheel, cwd=place,
    )  # fmt: skip
    return place / "env" / "bin"


def test_every_package_is_named_and_every_file_of_data_comes_along(installed: Path, tmp_path: Path) -> None:
    named = set(tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"])
    there = {
        str(p.parent.relative_to(ROOT)).replace(os.sep, ".")
        for top in ("methods", "dashboard") for p in (ROOT / top).rglob("__init__.py")
    }  # fmt: skip
    assert named - {"gapshift_demo"} == there
    home = Path(
        run(installed / "python", "-c", "import methods; print(methods.__path__[0])", cwd=tmp_path).strip()
    ).parent
    files = subprocess.run(
        ["git", "ls-files", "methods", "dashboard"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    wanted = {f for f in files if f and not f.endswith((".png", ".md")) and "docs" not in f.split("/")}
    assert not {f for f in wanted if not (home / f).is_file()}


def test_the_command_answers_from_an_empty_folder(installed: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(
        "electrode,filling,kv\n"
        + "".join(f"{e},{f},{40 + 3 * f + len(e)}\n" for e in ("disk", "mushroom") for f in (1, 2, 3))
    )
    told = run(installed / "gapshift", "shift", sheet, "--by", "electrode", cwd=tmp_path)
    assert "mushroom" in told
    demo = run(installed / "python", "-c", "from dashboard import demo; print(demo.names())", cwd=tmp_path)
    assert "programme" in demo and "messy" in demo
    run(installed / "gapshift", "--help", cwd=tmp_path)


@pytest.fixture
def served(installed: Path, tmp_path: Path) -> Iterator[str]:
    port = free_port()
    words = [str(installed / "gapshift"), "serve", "--no-browser", "--port", str(port)]
    process = subprocess.Popen(words, cwd=tmp_path, env=CLEAN, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    url, until = f"http://localhost:{port}/", time.monotonic() + 120
    while True:
        assert process.poll() is None and time.monotonic() < until, "The installed gapshift does not serve."
        try:
            urllib.request.urlopen(f"{url}static/js/bokeh.min.js", timeout=60).close()
            break
        except OSError:
            time.sleep(0.1)
    yield url
    process.terminate()
    process.wait(20)


def test_the_demo_is_seen_in_the_browser(served: str, chromium: Any, request: pytest.FixtureRequest) -> None:
    someone = Visitor(chromium, served, request.node.name)
    tab = someone.open("?page=shift&data=programme")
    tab.locator("canvas").first.wait_for()
    assert "IEC 60156" in someone.answer()
    someone.picture("end")
    someone.context.close()
    assert not someone.wrong, someone.wrong
