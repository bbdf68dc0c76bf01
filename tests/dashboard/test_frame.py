"""The busy bar follows the server without a walk through the whole page."""

from __future__ import annotations

from typing import Any

import panel as pn
import pytest
from bokeh.document import Document

from dashboard.app import App
from dashboard.study import Study


@pytest.mark.parametrize("name", ["busy", "title"])
def test_only_what_may_bring_new_models_walks_through_the_page(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    pn.extension()
    page = App(Study()).page
    document = Document()
    page.server_doc(document)
    model = next(iter(page._models.values()))[0]
    walks: list[Any] = []
    monkeypatch.setattr(type(page), "_patch_datamodel_ref", lambda *of: walks.append(of))
    value = True if name == "busy" else "other"
    page.param.update(**{name: value})
    assert getattr(model.data, name) == value
    assert bool(walks) == (name != "busy")
