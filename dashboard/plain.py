"""Text and containers without the style sheets of the kit.

Panel gives every component half a dozen style sheets, each of which the browser fetches, parses and applies again. A
piece of text that brings its own rules, or a container that only puts things under each other, needs none of them,
and a page has some forty.
"""

from __future__ import annotations

from typing import Any

import panel as pn
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


class Markup(Plain, pn.pane.HTML):
    """Markup of this program's own."""


class Stack(Plain, pn.Column):
    """Things under each other."""


class Line(Plain, pn.Row):
    """Things beside each other."""


class Wrap(Plain, pn.FlexBox):
    """Things beside each other that move under each other where there is no room."""
