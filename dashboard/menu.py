"""The list of pages beside every page: links of the browser's own, which also open in a tab of their own."""

from __future__ import annotations

from pathlib import Path

import param

from dashboard import frame_styles
from dashboard.component import Component


class Menu(Component):
    """Links to the pages, with a drawn sign before each."""

    entries = param.List(default=[], doc="For each page its key, its label and the path of its sign (SVG, 24 × 24).")
    page = param.String(default="", doc="Key of the page in front; the browser sets it on a click.")

    SCRIPT = Path(__file__).with_suffix(".js")

    def __init__(self, **params: object) -> None:
        super().__init__(stylesheets=[frame_styles.menu_css()], sizing_mode="stretch_width", margin=0, **params)
