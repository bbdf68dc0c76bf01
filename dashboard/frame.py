"""The page frame: the bar across the top, the menu beside, the page; and the document that they are sent in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import jinja2
import panel as pn
import param

from dashboard import frame_styles, head, plain, theme

_DOCUMENT = jinja2.Template(Path(__file__).with_name("document.html").read_text(encoding="utf-8"))


class Frame(pn.viewable.Viewer):
    """Bar, menu and page of one session.

    Parameters
    ----------
    side, main : viewable
        What stands beside the page, and the page.
    dark : bool
        Whether the dark theme is on; the button in the bar changes it.
    """

    dark = param.Boolean(default=False, doc="Whether the dark theme is on.")

    def __init__(self, side: Any = None, main: Any = None, **params: Any) -> None:
        super().__init__(**params)
        bar = head.Head(dark=self.dark)
        bar.link(self, dark="dark", bidirectional=True)
        self.layout = plain.Stack(
            bar,
            plain.Stack(*([side] if side else []), css_classes=["side"], margin=0),
            plain.Stack(*([main] if main else []), css_classes=["main"], margin=0),
            margin=0, sizing_mode="stretch_width", styles={"max-height": "none"}, css_classes=["gapshift"],
            stylesheets=[frame_styles.frame_css()],
        )  # fmt: skip

    def __panel__(self) -> Any:
        return self.layout


def dress(document: Any) -> None:
    """Give a session's document its title, its template and what the template says."""
    document.title = "gapshift"
    document.template = _DOCUMENT
    document.template_variables.update(css=frame_styles.page_css(), sign=theme.sign())
