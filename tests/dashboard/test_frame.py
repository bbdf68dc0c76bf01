"""The page frame: its document, its parts, its themes."""

from __future__ import annotations

import panel as pn
import pytest
from bokeh.core.templates import MACROS
from bokeh.document import Document

from dashboard import app, frame_styles, theme
from dashboard.frame import Frame, dress


@pytest.fixture(autouse=True)
def extension() -> None:
    pn.extension()


def test_the_document_names_what_is_needed_and_no_other_host() -> None:
    document = Document()
    dress(document)
    variables = document.template_variables | {"macros": MACROS, "title": "gapshift", "docs": []}
    page = document.template.render(variables)
    addresses = page.replace("http://www.w3.org/2000/svg", "").replace("http%3A//www.w3.org/2000/svg", "")
    assert "http:" not in addresses and "https:" not in addresses and "//cdn" not in addresses
    assert '<html lang="en">' in page and 'name="viewport"' in page


def test_the_bar_and_the_frame_agree_about_the_theme() -> None:
    frame = Frame(dark=True)
    bar = frame.layout[0]
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
    rules = frame_styles.frame_css()
    for name in theme.NAMES:
        assert rules.count(f"--{name.replace('_', '-')}: ") == 3, name  # light, dark, and on paper
