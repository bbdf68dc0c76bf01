"""Every page draws itself down to the browser's models, for files that hold little more than the voltages."""

from __future__ import annotations

from pathlib import Path

import pytest
from bokeh.document import Document

from dashboard.app import build
from dashboard.pages import entries

#: Invented files of few columns: without an order, without anything but voltages, of one filling, of one breakdown.
FILES = {
    "no order": "sample,filling,kv\n"
    + "".join(f"Oil {o},{f},{50 + 3 * f + 1.7 * i + (o == 'B')}\n" for o in "AB" for f in (1, 2, 3) for i in range(5)),
    "voltages alone": "kv\n" + "".join(f"{48 + i % 7 * 1.3:.1f}\n" for i in range(20)),
    "one filling": "electrode,order,kv\n" + "".join(f"disk,{i},{40 + i % 5 * 2.1:.1f}\n" for i in range(1, 7)),
    "one breakdown": "electrode,kv\ndisk,41.2\n",
    "all withstood": "sample,kv\n" + "A,>60\nB,>60\nA,>60\nB,>60\n",
}


@pytest.mark.parametrize("page", [entry.key for entry in entries()])
@pytest.mark.parametrize("kind", FILES)
def test_the_page_is_drawn(kind: str, page: str, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(FILES[kind], encoding="utf-8")
    app = build([file])
    app.study.page = page
    app._pages[page].shown = True
    document = Document()
    app.page.layout.server_doc(document)  # raises what would reach the browser as a failed page
    assert document.roots and document.to_json(deferred=False)["roots"]
