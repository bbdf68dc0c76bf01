"""Bokeh models of a drawing: made once, patched afterwards."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
from bokeh.models import AllIndices, CDSView, ColumnDataSource, Range1d, Selection, UnionRenderers
from bokeh.models.annotations import Legend, LegendItem
from bokeh.models.glyphs import Line, MultiLine, Patches, Quad, Scatter, Segment
from bokeh.models.renderers import GlyphRenderer
from bokeh.plotting import figure

from dashboard import theme
from dashboard.plots.layers import KINDS, Drawing, Layer, Plot

_TOOLS = "pan,box_zoom,wheel_zoom,reset,save"


def _glyph(layer: Layer) -> Any:
    look: dict[str, Any] = dict(layer.look)
    if layer.kind == "line":
        return Line(x="x", y="y", **look)
    if layer.kind == "lines":
        return MultiLine(xs="xs", ys="ys", line_color="colour", **{"line_dash": "dash", **look})
    if layer.kind == "bands":
        return Patches(xs="xs", ys="ys", fill_color="colour", line_color=None, **look)
    if layer.kind == "marks":
        return Scatter(x="x", y="y", fill_color="colour", line_color="colour", **look)
    if layer.kind == "segments":
        return Segment(x0="x0", y0="y0", x1="x1", y1="y1", line_color="colour", **look)
    return Quad(
        left="left", bottom="bottom", right="right", top="top", fill_color="colour", line_color="colour", **look
    )


def _columns(layer: Layer) -> dict[str, Any]:
    return {name: layer.data[name] for name in KINDS[layer.kind]}


class Patched:
    """The figures of a drawing and what is needed to patch them.

    Attributes
    ----------
    figures : list of bokeh figures
        One a plot, sharing their ranges.
    """

    def __init__(
        self, drawing: Drawing, *, dark: bool, height: int | None, ticks: Sequence[tuple[float, str]] | None = None
    ) -> None:
        x_range, y_range = drawing.ranges()
        self._limits = (x_range, y_range)
        self._x, self._y = (Range1d(start=r[0], end=r[1], reset_start=r[0], reset_end=r[1]) for r in (x_range, y_range))
        self._dark, self._ticks = dark, ticks
        self._layers: list[list[GlyphRenderer]] = []
        self._drawn: list[list[Layer]] = []
        self.figures = [self._figure(plot, height) for plot in drawing.plots]
        self._restyle()

    def _figure(self, plot: Plot, height: int | None) -> Any:
        named = [layer for layer in plot.layers if layer.label]
        size: dict[str, Any] = {"sizing_mode": "stretch_both", "min_height": 140}
        if height is not None:
            size = {"height": height + theme.LEGEND_LINE * len(named), "sizing_mode": "stretch_width"}
        made = figure(
            **size, tools=_TOOLS,
            active_drag="box_zoom", active_scroll=None, x_range=self._x, y_range=self._y,
            x_axis_type="log" if plot.log_x else "linear", x_axis_label=plot.x_label, y_axis_label=plot.y_label,
            toolbar_location="above", title=plot.title,
        )  # fmt: skip
        # Nothing here is selected or filtered: one model that says so serves all layers.
        shared = {"selected": Selection(), "selection_policy": UnionRenderers()}
        everything = AllIndices()
        renderers = [
            made.add_glyph(ColumnDataSource(_columns(la), **shared), _glyph(la), view=CDSView(filter=everything))
            for la in plot.layers
        ]
        for renderer in renderers:
            renderer.nonselection_glyph = renderer.selection_glyph = renderer.muted_glyph = None
        items = [
            LegendItem(label={"value": la.label}, renderers=[r])
            for la, r in zip(plot.layers, renderers, strict=True)
            if la.label
        ]
        if items:
            made.add_layout(Legend(items=items, orientation="vertical", location="left"), "below")
        self._layers.append(renderers)
        self._drawn.append(list(plot.layers))
        return made

    def _restyle(self) -> None:
        hook = theme.style_plot(self._dark, self._ticks)
        for made in self.figures:
            hook(SimpleNamespace(state=made), None)
            made.border_line_color = None  # the dark theme of the frame draws one

    def patch(self, drawing: Drawing, *, dark: bool = False, ticks: Sequence[tuple[float, str]] | None = None) -> None:
        """Show another drawing of the same shape: send what differs and nothing else."""
        limits = drawing.ranges()
        for shown, was, now in zip((self._x, self._y), self._limits, limits, strict=True):
            if was != now:  # otherwise the reader's zoom stays
                shown.update(start=now[0], end=now[1], reset_start=now[0], reset_end=now[1])
        self._limits = limits
        for i, plot in enumerate(drawing.plots):
            self._patch_plot(i, plot)
        if dark != self._dark or ticks != self._ticks:
            self._dark, self._ticks = dark, ticks
            self._restyle()

    def _patch_plot(self, i: int, plot: Plot) -> None:
        made = self.figures[i]
        if plot.title and made.title.text != plot.title:
            made.title.text = plot.title
        for axis, label in ((made.xaxis[0], plot.x_label), (made.yaxis[0], plot.y_label)):
            if axis.axis_label != label:
                axis.axis_label = label
        labels = {}
        for k, layer in enumerate(plot.layers):
            renderer, before = self._layers[i][k], self._drawn[i][k]
            if not _same(before.data, layer.data):
                source: Any = renderer.data_source
                source.data = _columns(layer)
            if before.look != layer.look:
                renderer.glyph.update(**layer.look)
            if before.label != layer.label:
                labels[renderer.id] = layer.label
        for item in made.legend[0].items if labels else ():
            if item.renderers[0].id in labels:
                item.label = {"value": labels[item.renderers[0].id]}
        self._drawn[i] = list(plot.layers)


def _same(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    return all(_equal(a[name], b[name]) for name in a)


def _equal(a: Any, b: Any) -> bool:
    if a is b:
        return True
    if len(a) != len(b):
        return False
    if isinstance(a, list) and len(a) and isinstance(a[0], np.ndarray):
        return all(np.array_equal(x, y, equal_nan=True) for x, y in zip(a, b, strict=True))
    return bool(np.array_equal(np.asarray(a), np.asarray(b)))
