"""Pictures of a report: the drawings of the pages as inline SVG, on paper what they are on the screen."""

from __future__ import annotations

import io
import re
from typing import Any

from matplotlib import rc_context

from dashboard.plots.layers import Drawing
from dashboard.plots.printed import STYLE, figure_of

WIDTH_IN = 7.2


class Inline(str):
    """An ``<svg>`` element as text, which can also give its picture in points."""

    __slots__ = ("figure",)
    figure: Any

    def png(self, dots_per_inch: int = 200) -> bytes:
        """The same drawing as the bytes of a PNG file, on white."""
        buffer = io.BytesIO()
        with rc_context(STYLE):
            self.figure.savefig(buffer, format="png", dpi=dots_per_inch, facecolor="white")
        return buffer.getvalue()


def drawn(drawing: Drawing, key: str, height: int = 440) -> Inline:
    """A drawing as an ``<svg>`` element whose ids begin with ``key``, so that they are its own within the page.

    ``height`` is that on the screen, in pixels.
    """
    buffer = io.StringIO()
    with rc_context(STYLE):
        figure = figure_of(drawing, height=height, width_in=WIDTH_IN)
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.S)
    text = re.sub(r'\bid="([^"]+)"', rf'id="{key}-\1"', text)
    text = re.sub(r'(xlink:href|href)="#([^"]+)"', rf'\1="#{key}-\2"', text)
    made = Inline(re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", text))
    made.figure = figure
    return made
