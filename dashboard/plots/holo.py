"""A drawing as HoloViews elements: what a notebook shows and adds to, from the layers that the page draws."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import holoviews as hv
import numpy as np

from dashboard.plots import elements as elements  # loads what draws the elements below
from dashboard.plots.layers import Drawing, Layer, Plot

_CORNERS = ["x0", "y0", "x1", "y1"]


def element(drawing: Drawing, **options: Any) -> hv.Overlay | hv.Layout:
    """An overlay, or a layout of small multiples; ``options`` go to the overlay (each of them)."""
    x, y = drawing.ranges()
    made = [_overlay(plot, x, y, options) for plot in drawing.plots]
    return made[0] if len(made) == 1 else hv.Layout(made).cols(2)


def _overlay(plot: Plot, x: tuple[float, float], y: tuple[float, float], options: dict[str, Any]) -> hv.Overlay:
    axes = hv.Dimension("x", label=plot.x_label or "x"), hv.Dimension("y", label=plot.y_label or "y")
    layers = [e for layer in plot.layers for e in _DRAWN[layer.kind](layer, *axes)]
    look: dict[str, Any] = {
        "xlabel": plot.x_label, "ylabel": plot.y_label, "title": plot.title, "logx": plot.log_x, "logy": plot.log_y,
        "xlim": x, "ylim": y, "show_grid": True, "width": 700, "height": 400,
    }  # fmt: skip
    for name, ticks in (("xticks", plot.x_ticks), ("yticks", plot.y_ticks)):
        if ticks is not None:
            look[name] = list(ticks)
    return hv.Overlay(layers).opts(hv.opts.Overlay(**{**look, **options}))


def _look(layer: Layer, **more: Any) -> dict[str, Any]:
    return {**{k: v for k, v in layer.look.items() if k != "colour"}, **more}


def _line(layer: Layer, x: hv.Dimension, y: hv.Dimension) -> list[Any]:
    return [hv.Curve((layer.data["x"], layer.data["y"]), x, y, label=layer.label).opts(**_look(layer))]


def _lines(layer: Layer, x: hv.Dimension, y: hv.Dimension) -> list[Any]:
    rows = zip(*(layer.data[n] for n in ("xs", "ys", "colour", "dash")), strict=True)
    return [
        hv.Curve((xs, ys), x, y, label=layer.label).opts(**_look(layer, line_color=colour, line_dash=dash))
        for xs, ys, colour, dash in rows
    ]


def _bands(layer: Layer, x: hv.Dimension, y: hv.Dimension) -> list[Any]:
    rows = zip(*(layer.data[n] for n in ("xs", "ys", "colour")), strict=True)
    return [
        hv.Polygons([{"x": xs, "y": ys}], [x, y], label=layer.label).opts(**_look(layer, color=colour, line_alpha=0))
        for xs, ys, colour in rows
    ]


def _marks(layer: Layer, x: hv.Dimension, y: hv.Dimension) -> list[Any]:
    """Marks, one element for each colour and marker: every backend draws these."""
    colours = np.asarray(layer.data["colour"], dtype=object)
    markers = np.asarray(layer.data.get("marker", [layer.look.get("marker", "circle")] * len(colours)), dtype=object)
    out = []
    for colour, marker in dict.fromkeys(zip(colours, markers, strict=True)):
        here = (colours == colour) & (markers == marker)
        values = (np.asarray(layer.data["x"], float)[here], np.asarray(layer.data["y"], float)[here])
        out.append(hv.Scatter(values, x, y, label=layer.label).opts(**_look(layer, color=colour, marker=marker)))
    return out


def _segments(layer: Layer, x: hv.Dimension, y: hv.Dimension) -> list[Any]:
    rows = zip(*(layer.data[n] for n in (*_CORNERS, "colour")), strict=True)
    return [hv.Segments([row[:4]], _CORNERS, label=layer.label).opts(**_look(layer, color=row[4])) for row in rows]


def _bars(layer: Layer, x: hv.Dimension, y: hv.Dimension) -> list[Any]:
    rows = zip(*(layer.data[n] for n in ("left", "bottom", "right", "top", "colour")), strict=True)
    return [hv.Rectangles([row[:4]], _CORNERS, label=layer.label).opts(**_look(layer, color=row[4])) for row in rows]


def _names(layer: Layer, x: hv.Dimension, y: hv.Dimension) -> list[Any]:
    look = {k: v for k, v in layer.look.items() if k in ("text_align", "text_baseline")}
    rows = zip(*(layer.data[n] for n in ("x", "y", "text", "colour")), strict=True)
    return [
        hv.Labels([(at, over, text)], [x, y], "text").opts(**look, text_color=colour, text_font_size="10pt")
        for at, over, text, colour in rows
    ]


_DRAWN: dict[str, Callable[[Layer, hv.Dimension, hv.Dimension], list[Any]]] = {
    "line": _line, "lines": _lines, "bands": _bands, "marks": _marks, "readings": _marks, "segments": _segments,
    "bars": _bars, "names": _names,
}  # fmt: skip
