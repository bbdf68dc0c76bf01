"""The dashboard and its pages as objects that a notebook displays, in a kernel, without another host."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).resolve().parents[2] / "data"

CELLS = (
    "import dashboard\nfrom dashboard.study import Study",
    "dashboard.show()",
    f"dashboard.page('overlay', {str(DATA / 'routine_wide.csv')!r}, view='density')",
    "from dashboard import demo\n"
    "study = Study()\nstudy.open_demo(demo.names()[0])\n"
    "shift = dashboard.page('shift', study, by='electrode')\nshift",
    "assert shift.study is study and study.by == 'electrode' and shift._answer.text",
)

#: Attributes and calls by which a page would fetch something; namespaces and links that are only followed are none.
_FETCHES = re.compile(
    r"""(?:src|data-src)\s*=\s*\\?["'](https?:)?//([^/"'\\]+)|<link[^>]+href\s*=\s*\\?["'](https?:)?//([^/"'\\]+)"""
    r"""|import\(\s*["']https?://([^/"']+)""",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def outputs() -> list[list[dict[str, Any]]]:
    """What a kernel gave for each cell."""
    import nbformat
    from nbclient import NotebookClient

    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(c) for c in CELLS])
    NotebookClient(
        book, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(DATA.parent)}}
    ).execute()
    return [cell.outputs for cell in book.cells]


@pytest.mark.parametrize("cell", [1, 2, 3], ids=["show", "page over a file", "page over a study"])
def test_it_displays_in_a_kernel(outputs: list[list[dict[str, Any]]], cell: int) -> None:
    shown = [o for o in outputs[cell] if o["output_type"] in ("execute_result", "display_data")]
    markup = "".join(str(o["data"].get("text/html", "")) for o in shown)
    assert "data-root-id" in markup or "bk-" in markup
    assert not [o for o in outputs[cell] if o["output_type"] == "error" or o.get("name") == "stderr"]


def test_no_other_host_is_asked(outputs: list[list[dict[str, Any]]]) -> None:
    for cell in outputs:
        for output in cell:
            for kind, content in output.get("data", {}).items():
                # The bundled scripts hold such addresses for components that no page uses: only markup would fetch.
                if kind == "text/html":
                    found = {m.group(0)[:120] for m in _FETCHES.finditer(str(content))}
                    assert not found, (kind, sorted(found)[:5])


def test_a_page_that_is_none_is_told_with_those_that_are() -> None:
    import dashboard

    with pytest.raises(ValueError, match=r"no page 'nowhere'; the pages are .*overlay"):
        dashboard.page("nowhere")


def test_a_table_and_settings_are_taken() -> None:
    import pandas as pd

    import dashboard

    table = pd.DataFrame({"electrode": ["disk", "disk", "spherical", "spherical"], "kv": [40.0, 42.0, 55.0, 57.0]})
    page = dashboard.page("overlay", table, by="electrode", view="box")
    assert page.view == "box" and page.study.by == "electrode"
    assert {"disk", "spherical"} <= set(page.study.levels("electrode"))
    assert page._answer.text
