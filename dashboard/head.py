"""The bar across the top: shows and hides the menu, changes the theme, says when an answer takes its time."""

from __future__ import annotations

from pathlib import Path

import panel as pn
import param

from dashboard import plain, theme


class Head(plain.Plain, pn.custom.JSComponent):
    """The bar of a :class:`dashboard.frame.Frame`, whose theme and menu it sets."""

    dark = param.Boolean(default=False, doc="Whether the dark theme is on; the browser sets it on a click.")

    _debounce = 0  # ms: a click is answered at once
    _bundle = Path(__file__).with_suffix(".js")

    def __init__(self, **params: object) -> None:
        super().__init__(stylesheets=[theme.head_css()], css_classes=["head"], margin=0, **params)
