"""The page frame: its document, its parts, its themes."""

from __future__ import annotations

from typing import Any

import panel as pn
import pytest
from bokeh.core.templates import MACROS
from bokeh.document import Document
from bokeh.models import ImportedStyleSheet

from dashboard import app, demo, theme
from dashboard.app import App
from dashboard.frame import Frame
from dashboard.pages import keys
from dashboard.study import Study


@pytest.fixture(autouse=True)
def extension() -> None:
    pn.extension()


def document_of(page: Any) -> Document:
    document = Document()
    page.server_doc(document)
    return document


def test_the_document_names_what_is_needed_and_no_other_host() -> None:
    document = document_of(Frame())
    variables = document.template_variables | {"macros": MACROS, "title": "gapshift", "docs": []}
    page = document.template.render(variables)
    for module in ("head.js", "controls.js", "actions.js", "menu.js", "addressbar.js", "mends.js"):
        assert page.count(module) == 2, module  # preloaded, and run early
    addresses = page.replace("http://www.w3.org/2000/svg", "").replace("http%3A//www.w3.org/2000/svg", "")
    assert "http:" not in addresses and "https:" not in addresses and "//cdn" not in addresses
    assert '<html lang="en">' in page and 'name="viewport"' in page


@pytest.mark.parametrize("key", sorted(keys()))
def test_no_part_of_a_page_asks_for_a_style_sheet(key: str) -> None:
    """Each would be fetched, parsed and applied again, from another host where there is no server."""
    study = Study()
    study.open_demo(demo.names()[0])
    study.page = key
    root = App(study).page.get_root()
    assert [
        m for m in root.references() for s in getattr(m, "stylesheets", ()) if isinstance(s, ImportedStyleSheet)
    ] == []


def test_its_parts_are_known_to_assistive_technology() -> None:
    _, side, main = Frame().get_root().children
    assert main.html_attributes["role"] == "main" and side.html_attributes["role"] == "complementary"
    assert side.html_attributes["aria-label"]


def test_the_bar_and_the_frame_agree_about_the_theme() -> None:
    frame = Frame(dark=True)
    bar = frame[0]
    assert bar.dark
    bar.dark = False
    assert not frame.dark
    frame.dark = True
    assert bar.dark


@pytest.mark.parametrize(("kept", "dark"), [("dark", True), ("light", False), (None, False)])
def test_a_session_begins_in_the_theme_that_was_chosen_last(
    kept: str | None, dark: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    cookies = {} if kept is None else {"gapshift_theme": kept}
    monkeypatch.setattr(type(pn.state), "cookies", property(lambda _: cookies))
    built = app.build()
    assert built.page.dark is dark and built._pages["records"].dark is dark


def test_both_themes_name_every_colour_that_style_sheets_use() -> None:
    rules = theme.frame_css()
    for name in theme._NAMES:
        assert rules.count(f"--{name.replace('_', '-')}: ") == 3, name  # light, dark, and on paper
