"""Text and containers: markup of this program's own, things under and beside each other."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import panel as pn
import param

from dashboard.component import Component


class Markup(Component):
    """Markup of this program's own."""

    SCRIPT = Path(__file__).with_name("markup.js")

    object = param.String(default="", doc="The markup.")

    def __init__(self, object: str = "", **params: Any) -> None:
        super().__init__(object=object, **params)


#: Panel's columns bring a button that scrolls them, which takes a place, and a gap, though none is asked for.
_COLUMN = ".scroll-button { display: none; }"
#: Bokeh has what stands in a row share its width, which leaves nothing to move.
_WRAP = ":host { flex-flow: row wrap; align-items: flex-start; } :not(style) { flex: 0 1 auto !important; }"


class Stack(pn.Column):
    """Things under each other."""

    def __init__(self, *objects: Any, stylesheets: Any = (), **params: Any) -> None:
        super().__init__(*objects, stylesheets=[_COLUMN, *stylesheets], **params)


class Line(pn.Row):
    """Things beside each other."""


class Wrap(Line):
    """Things beside each other that move under each other where there is no room."""

    def __init__(self, *objects: Any, **params: Any) -> None:
        super().__init__(*objects, stylesheets=[_WRAP], **params)
