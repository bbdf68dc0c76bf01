"""Text and containers without the style sheets of the kit.

Panel gives every component half a dozen style sheets, each of which the browser fetches, parses and applies again. A
piece of text that brings its own rules, or a container that only puts things under each other, needs none of them,
and a page has some forty.
"""

from __future__ import annotations

import html
from typing import Any

import panel as pn
import panel.models
import param
from bokeh.models import ImportedStyleSheet


class Plain:
    """Keeps of the style sheets those that were given for this component."""

    def _process_param_change(self, params: dict[str, Any]) -> dict[str, Any]:
        found: dict[str, Any] = super()._process_param_change(params)  # type: ignore[misc]
        if "stylesheets" in found:
            given = self.stylesheets  # type: ignore[attr-defined]
            found["stylesheets"] = [
                s for s in found["stylesheets"] if not isinstance(s, ImportedStyleSheet) and s in given
            ]
        return found


class Markup(Plain, pn.widgets.Widget):
    """Markup of this program's own.

    Made as a widget: a pane of panel's brings, unseen, a row around it that costs as much again.
    """

    object = param.String(default="", doc="The markup.")

    _widget_type = panel.models.HTML
    _rename = {"object": "text", "label": None, "name": None}

    def __init__(self, object: str = "", **params: Any) -> None:
        super().__init__(object=object, **params)

    @property
    def _linked_properties(self) -> tuple[str, ...]:
        return ()  # the browser changes nothing of it

    def _process_param_change(self, params: dict[str, Any]) -> dict[str, Any]:
        found = super()._process_param_change(params)
        if "text" in found:
            found["text"] = html.escape(found["text"])  # it crosses as text, and is markup again in the browser
        return found


class Stack(Plain, pn.Column):
    """Things under each other."""


class Line(Plain, pn.Row):
    """Things beside each other."""


class Wrap(Line):
    """Things beside each other that move under each other where there is no room."""

    def __init__(self, *objects: Any, **params: Any) -> None:
        super().__init__(*objects, stylesheets=[_WRAP], **params)


#: Bokeh has what stands in a row share its width, which leaves nothing to move.
_WRAP = ":host { flex-flow: row wrap; align-items: flex-start; } :not(style) { flex: 0 1 auto !important; }"
