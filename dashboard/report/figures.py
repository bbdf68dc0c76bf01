"""Pictures of a report: the drawings of the pages as inline SVG, on paper what they are on the screen."""

from __future__ import annotations

import io
import re
from functools import cached_property
from typing import Any

from matplotlib import rc_context

from dashboard.plots.layers import Drawing
from dashboard.plots.printed import STYLE, figure_of

WIDTH_IN = 7.2


class Inline:
    """A drawing as an ``<svg>`` element (``str`` of it), and in points. It is drawn when it is first wanted: what
    stands in the appendix alone costs nothing where there is none.

    Parameters
    ----------
    drawing : Drawing
    key : str
        The ids of the element begin with it, so that they are its own within the page.
    height : int
        On the screen, in pixels.
    """

    def __init__(self, drawing: Drawing, key: str, height: int) -> None:
        self._drawing, self._key, self._height = drawing, key, height

    @cached_property
    def _figure(self) -> Any:
        with rc_context(STYLE):
            return figure_of(self._drawing, height=self._height, width_in=WIDTH_IN)

    @cached_property
    def _text(self) -> str:
        buffer, key = io.StringIO(), self._key
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        with rc_context(STYLE):
            self._figure.savefig(buffer, format="svg", metadata=nothing)
        text = buffer.getvalue()
        text = text[text.index("<svg") :]
        text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.S)
        text = re.sub(r'\bid="([^"]+)"', rf'id="{key}-\1"', text)
        text = re.sub(r'(xlink:href|href)="#([^"]+)"', rf'\1="#{key}-\2"', text)
        return re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", text)

    def __str__(self) -> str:
        return self._text

    def png(self, dots_per_inch: int = 200) -> bytes:
        """The same drawing as the bytes of a PNG file, on white."""
        buffer = io.BytesIO()
        with rc_context(STYLE):
            self._figure.savefig(buffer, format="png", dpi=dots_per_inch, facecolor="white")
        return buffer.getvalue()


def drawn(drawing: Drawing, key: str, height: int = 440) -> Inline:
    """A drawing for a page whose ids begin with ``key``; ``height`` is that on the screen, in pixels."""
    return Inline(drawing, key, height)
