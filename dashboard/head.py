"""The bar across the top: shows and hides the menu, changes the theme, says when an answer takes its time."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import param

from dashboard import frame_styles
from dashboard.component import Component


class Head(Component):
    """The bar of a :class:`dashboard.frame.Frame`, whose theme and menu it sets.

    The browser says ``{"asked": n}`` when a control was used and hears ``{"answered": n}`` once the server has done
    what was asked before it.
    """

    SCRIPT = Path(__file__).with_suffix(".js")

    dark = param.Boolean(default=False, doc="Whether the dark theme is on; the browser sets it on a click.")

    def __init__(self, **params: object) -> None:
        super().__init__(stylesheets=[frame_styles.head_css()], css_classes=["head"], margin=0, **params)

    def heard(self, message: dict[str, Any]) -> None:
        if "dark" in message:  # the theme of the device, at a first visit
            self.dark = bool(message["dark"])
        self.tell({"answered": message.get("asked", 0)})
