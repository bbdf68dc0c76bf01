"""The page frame: the bar across the top, the menu beside, the page; and the document that they are sent in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import jinja2
import param

from dashboard import actions, addressbar, controls, head, mends, menu, plain, theme

_DOCUMENT = jinja2.Template(Path(__file__).with_name("document.html").read_text(encoding="utf-8"))
#: Scripts that every page needs: fetched and run while the server is still building the session.
_MODULES = (head.Head, addressbar.AddressBar, mends.Mends, menu.Menu, controls.Choice, actions.Press)


class Region(plain.Stack):
    """A column that assistive technology knows as a part of the page."""

    attributes = param.Dict(default={}, doc="Attributes of its element.")

    _rename = {"attributes": "html_attributes"}


class Frame(plain.Stack):
    """Bar, menu and page of one session.

    Parameters
    ----------
    side, main : viewable
        What stands beside the page, and the page.
    dark : bool
        Whether the dark theme is on; the button in the bar changes it.
    """

    dark = param.Boolean(default=False, doc="Whether the dark theme is on.")

    _rename = {"dark": None}

    def __init__(self, side: Any = None, main: Any = None, **params: Any) -> None:
        super().__init__(
            margin=0, sizing_mode="stretch_width", styles={"max-height": "none"}, css_classes=["gapshift"],
            stylesheets=[theme.frame_css()], **params,
        )  # fmt: skip
        bar = head.Head(dark=self.dark)
        bar.link(self, dark="dark", bidirectional=True)
        beside = {"role": "complementary", "aria-label": "Pages and choices"}
        page = {"role": "main"}  # no tabindex: on the host of a shadow tree it would take all inside off the keyboard
        self.objects = [
            bar,
            Region(*([side] if side else []), attributes=beside, css_classes=["side"], margin=0),
            Region(*([main] if main else []), attributes=page, css_classes=["main"], margin=0),
        ]

    def get_root(self, doc: Any = None, *args: Any, **params: Any) -> Any:
        root = super().get_root(doc, *args, **params)
        if doc is not None:
            doc.title = "gapshift"
            doc.template = _DOCUMENT
            doc._template_variables |= {
                "css": theme.page_css(),
                "sign": theme.sign(),
                "modules": [part._render_esm(compiled=True, server=True) for part in _MODULES],
            }
        return root
