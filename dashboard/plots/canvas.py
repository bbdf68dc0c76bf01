"""Where every plot passes through: style, size, and a live plot that is patched instead of rebuilt."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import Any

import holoviews as hv
import panel as pn
import panel_material_ui as pmui
import param

from dashboard import parts, theme
from dashboard.plots.figure import Figure

hv.extension("bokeh", logo=False) if "bokeh" not in hv.Store.renderers else None
hv.renderer("bokeh").webgl = False  # without a GPU, WebGL is many times slower, and thinned curves gain nothing from it


def finish(
    element: Any, *, dark: bool = False, height: int = 440, ticks: Sequence[tuple[float, str]] | None = None
) -> Any:
    """Give an element, overlay or layout the style that every plot has."""
    if isinstance(element, hv.Layout):
        panels = [finish(e, dark=dark, height=max(220, height // 2), ticks=ticks) for e in element]
        return hv.Layout(panels).opts(shared_axes=True, merge_tools=True).cols(2)
    shared: dict[str, Any] = {
        "responsive": True, "min_height": height, "show_grid": True, "hooks": [theme.style_plot(dark, ticks)],
        "toolbar": "above", "framewise": True, "axiswise": True,
    }  # fmt: skip
    if isinstance(element, hv.Overlay):
        for layer in element:
            layer.opts(framewise=True, axiswise=True)
        named = len({layer.label for layer in element if layer.label})
        shared["min_height"] = height + theme.LEGEND_LINE * named  # the legend stands below and takes nothing away
        return element.opts(legend_position="bottom", legend_cols=1, **shared)
    return element.opts(**shared)


class Live(pn.viewable.Viewer):
    """A figure on a page, with its heading, its text alternative and its caption."""

    dark = param.Boolean(False, doc="Whether the dark theme is on.")

    def __init__(self, figure: Figure, **params: Any) -> None:
        super().__init__(**params)
        self.figure = figure
        self._built: Hashable = object()
        self._pipe: hv.streams.Pipe | None = None
        self._result: Any = None
        self._pane = pn.pane.HoloViews(None, sizing_mode="stretch_width", margin=0, linked_axes=False)
        self._words = parts.raw("")
        self._view = pmui.Column(
            parts.heading(figure.title),
            self._words,
            self._pane,
            sizing_mode="stretch_width",
            margin=0,
            sx={"gap": "4px"},
        )

    def __panel__(self) -> Any:
        return self._view

    def update(self, result: Any) -> None:
        """Show another result: a patch where the key is the same, a new plot otherwise."""
        self._result = result
        figure, text = self.figure, parts.escaped(self.figure.describe(result))
        # The words stand beside the canvas as an image of their own, so that the plot's tools stay reachable.
        self._words.object = f'<div role="img" aria-label="{text}"></div><p class="hint">{text}</p>'
        height = _height(figure, result)
        key = (figure.key(result), self.dark, height)
        if _live(figure, result) and self._pipe is not None and key == self._built:
            self._pipe.send(result)
            return
        self._built = key
        if not _live(figure, result):
            self._pipe = None
            self._pane.object = self._draw(result)
            return
        self._pipe = hv.streams.Pipe(data=result)
        self._pane.object = hv.DynamicMap(self._stream, streams=[self._pipe])

    def _stream(self, data: Any) -> Any:
        return self._draw(data)

    def _draw(self, result: Any) -> Any:
        figure = self.figure
        return finish(figure.draw(result), dark=self.dark, height=_height(figure, result), ticks=figure.ticks(result))

    @param.depends("dark", watch=True)
    def _repaint(self) -> None:
        if self._result is not None:
            self.update(self._result)  # another theme is a patch too


def _height(figure: Figure, result: Any) -> int:
    return figure.height(result) if callable(figure.height) else figure.height


def _live(figure: Figure, result: Any) -> bool:
    return figure.live(result) if callable(figure.live) else figure.live
