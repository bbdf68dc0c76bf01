"""Every notebook runs from the first cell to the last, and is kept without outputs."""

from __future__ import annotations

import json
import os
import re
import sys
from pathlib import Path

import nbformat
import pytest
from jupyter_client.kernelspec import KernelSpec, KernelSpecManager
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient

ROOT = Path(__file__).parents[2]
#: A page lives while its kernel does and brings its scripts: who executes a notebook to send it about leaves it out.
LIVE = "skip-execution"
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
SECONDS = 600

pytestmark = pytest.mark.filterwarnings("default")


class _ThisPython(KernelSpecManager):
    """One kernel: the interpreter that runs the tests, whatever is registered on the machine."""

    def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
        words = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
        return KernelSpec(argv=words, display_name=kernel_name, language="python", name=kernel_name)


def _checked(notebook: nbformat.NotebookNode, stem: str) -> None:
    """Put the checks, which no reader wants before the eyes, behind the cells that they are about."""
    text = (Path(__file__).parent / "checks" / f"{stem}.txt").read_text(encoding="utf-8")
    for part in text.split("# %% after ")[1:]:
        name, _, source = part.partition("\n")
        at = next(i for i, cell in enumerate(notebook.cells) if cell.get("id") == name.strip())
        assert "assert " in source
        notebook.cells.insert(at + 1, nbformat.v4.new_code_cell(source.strip()))


def test_what_is_live_is_left_out_by_who_executes_a_notebook():
    assert NotebookClient.skip_cells_with_tag.default_value == LIVE
    for path in NOTEBOOKS:
        for cell in nbformat.read(path, as_version=4).cells:
            shows = cell.cell_type == "code" and re.search(r"^dashboard\.(page|show)\(", cell.source, re.M)
            assert bool(shows) == (LIVE in cell.metadata.get("tags", ())), cell.id


def test_there_is_one_for_each_user():
    assert [p.stem for p in NOTEBOOKS] == ["classroom", "committee", "manager"]


@pytest.mark.notebook
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_it_runs(path: Path):
    notebook = nbformat.read(path, as_version=4)
    assert "assert " not in "".join(c.source for c in notebook.cells if c.cell_type == "code")
    _checked(notebook, path.stem)
    where = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(where), "OPENBLAS_NUM_THREADS": "1"}
    manager = AsyncKernelManager(kernel_name="python3", kernel_spec_manager=_ThisPython())
    client = NotebookClient(
        notebook,
        km=manager,
        timeout=SECONDS,
        startup_timeout=SECONDS,
        skip_cells_with_tag="",  # the live pages too
        resources={"metadata": {"path": str(path.parent)}},
    )
    client.execute(env=environment)
    code = [c for c in notebook.cells if c.cell_type == "code"]
    assert all(c.execution_count for c in code)
    said = "".join(o.get("text", "") for c in code for o in c.outputs if o.output_type == "stream")
    assert "Traceback" not in said
    data = [o.get("data", {}) for c in code for o in c.outputs]
    pictures = sum("image/png" in d or "application/vnd.holoviews_exec.v0+json" in d for d in data)
    assert pictures >= 3, "a story is told in pictures"
    for cell in notebook.cells:
        if LIVE in cell.metadata.get("tags", ()):
            assert cell.outputs, "a page is shown"
            cell.outputs = []
    for output in (o for c in code for o in c.outputs):
        kinds = output.get("data", {})
        assert not {k for k in kinds if "javascript" in k or "_load" in k}, "it needs no script"
        assert not re.search(
            r"""<script|<link|@import|(src|href)\s*=\s*["']?(https?:)?//""", str(kinds.get("text/html", ""))
        )
    assert len(json.dumps(notebook)) < 2_000_000, "small enough to be sent about"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_it_is_kept_without_outputs_and_paths_of_a_machine(path: Path):
    document = json.loads(path.read_text(encoding="utf-8"))
    for cell in document["cells"]:
        assert not cell.get("outputs") and cell.get("execution_count") is None
        assert not re.search(r"""["'\s(](/[a-z]+/[\w.]+|[A-Z]:\\|~/)""", "".join(cell["source"]))
    assert document["metadata"]["kernelspec"]["name"] == "python3"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_its_code_asks_no_other_host(path: Path):
    """An extension that is loaded otherwise than inline fetches its scripts from its makers."""
    source = "\n".join(c.source for c in nbformat.read(path, as_version=4).cells if c.cell_type == "code")
    for call in re.findall(r"\bextension\(.*?\)", source, re.S):
        assert "inline=True" in call, call
    assert not re.search(r"https?://|\brequests\b|\burllib\b|!\s*(curl|wget|pip)", source)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_it_uses_what_the_packages_offer_by_name(path: Path):
    source = "\n".join(c.source for c in nbformat.read(path, as_version=4).cells if c.cell_type == "code")
    assert not re.search(r"^\s*(from|import) (methods|dashboard)\.", source, re.M)
