"""Bokeh models of a drawing: made once, patched afterwards; what they tell, and what is selected on them."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
from bokeh.models import (
    AllIndices,
    BoxSelectTool,
    BoxZoomTool,
    CDSView,
    ColumnDataSource,
    CustomJS,
    CustomJSTickFormatter,
    HoverTool,
    LassoSelectTool,
    NoOverlap,
    PanTool,
    Range1d,
    ResetTool,
    Selection,
    TapTool,
    UnionRenderers,
    WheelZoomTool,
)
from bokeh.models.glyphs import Line, MultiLine, Patches, Quad, Scatter, Segment, Text
from bokeh.plotting import figure

from dashboard import theme
from dashboard.plots.layers import KINDS, Drawing, Layer, Plot

#: Rows of a plot from which on their names are smaller.
_MANY_ROWS = 14
#: Most rows or columns that are named on an axis.
_MOST_ROWS = 36
#: Letters of a row's name on a phone, where the plot needs the room.
_NARROW = 20
#: From more panels on their type is small; letters of a line of their titles.
_FEW_PANELS, _TITLE = 4, 20
#: Layers that are put on a figure at a time.
_AT_A_TIME = 16
#: Type that is read from the last row of a room.
_LARGE = "20px"


def _glyph(layer: Layer) -> Any:
    look: dict[str, Any] = {k: v for k, v in layer.look.items() if k != "colour"}
    if layer.kind == "line":
        return Line(x="x", y="y", **look)
    if layer.kind == "lines":
        return MultiLine(xs="xs", ys="ys", line_color="colour", **{"line_dash": "dash", **look})
    if layer.kind == "bands":
        return Patches(xs="xs", ys="ys", fill_color="colour", line_color=None, **look)
    if layer.kind == "marks":
        return Scatter(x="x", y="y", fill_color="colour", line_color="colour", **look)
    if layer.kind == "readings":
        return Scatter(x="x", y="y", fill_color="colour", line_color="colour", marker="marker", **look)
    if layer.kind == "segments":
        return Segment(x0="x0", y0="y0", x1="x1", y1="y1", line_color="colour", **look)
    if layer.kind == "names":
        return Text(x="x", y="y", text="text", text_color="colour", **look)
    return Quad(
        left="left", bottom="bottom", right="right", top="top", fill_color="colour", line_color="colour", **look
    )


def _columns(layer: Layer) -> dict[str, Any]:
    return {name: layer.data[name] for name in KINDS[layer.kind]} | dict(layer.about)


def _name(axis: Any, ticks: Sequence[tuple[float, str]]) -> None:
    """Names instead of numbers along an axis; long ones stand in two lines where the window is narrow."""
    step = max(1, -(-len(ticks) // _MOST_ROWS))  # of very many rows some are named; the pointer names the others
    ticks = list(ticks)[::step]
    axis.ticker = [at for at, _ in ticks]
    if len(ticks) > _MANY_ROWS:
        axis.update(major_label_text_font_size="12px", major_label_text_line_height=1.0)
    narrow = {at: "\n".join(_lines(name)) for at, name in ticks}
    if all(narrow[at] == name for at, name in ticks):
        axis.major_label_overrides = dict(ticks)
        return
    axis.major_label_overrides = {}
    names = {f"{at:g}": [name, narrow[at]] for at, name in ticks}
    axis.formatter = CustomJSTickFormatter(
        args={"names": names}, code="return (names[String(tick)] ?? ['', ''])[window.innerWidth < 600 ? 1 : 0]"
    )


def _lines(name: str) -> list[str]:
    """A name in two lines at most."""
    lines = textwrap.wrap(name, _NARROW, break_on_hyphens=False) or [""]
    return lines if len(lines) <= 2 else [lines[0], f"{lines[1][: _NARROW - 1]}…"]


def _small(made: Any) -> None:
    """The type of one of many panels; the canvas says once what their axes are."""
    made.title.update(text_font_size="12px", text=textwrap.fill(made.title.text, _TITLE))
    for axis in [*made.xaxis, *made.yaxis]:
        axis.update(major_label_text_font_size="12px", axis_label=None)


def _told(layer: Layer, plot: Plot) -> list[tuple[str, str]]:
    """What a tooltip says of a mark of the layer: name and value."""
    if layer.about:
        return [(name, f"@{{{name}}}{_digits(name, column)}") for name, column in layer.about.items()]
    if layer.kind in ("line", "marks"):
        return [(plot.x_label or "x", "@x{0.[000]}"), (plot.y_label or "y", "@y{0.[000]}")]
    return []


def _digits(name: str, column: Any) -> str:
    number = isinstance(column, np.ndarray) and column.dtype.kind in "fi"
    return ("{0.0}" if "kV" in name else "{0.[000]}") if number else ""


class Patched:
    """The figures of a drawing and what is needed to patch them.

    ``picked`` is called with the rows of the study that the reader selected on a figure. All figures are there from the
    start, unless they are made one after the other (``at_once=False``, :meth:`making`).

    Attributes
    ----------
    figures : list of bokeh figures
        One a plot, sharing their ranges.
    """

    def __init__(
        self, drawing: Drawing, *, dark: bool, height: int | None, ticks: Sequence[tuple[float, str]] | None = None,
        picked: Callable[[list[int]], None] | None = None, at_once: bool = True,
    ) -> None:  # fmt: skip
        x_range, y_range = drawing.ranges()
        self._limits = (x_range, y_range)
        self._x, self._y = (Range1d(start=r[0], end=r[1], reset_start=r[0], reset_end=r[1]) for r in (x_range, y_range))
        self._dark, self._ticks, self._picked = dark, ticks, picked
        self._layers: list[list[Any]] = []
        self._drawn: list[list[Layer]] = []
        self._axes: list[Any] = []
        self._equipped: list[bool] = []
        self._marking = False
        self._plots, self._height = drawing.plots, height
        self.figures: list[Any] = []
        if at_once:
            for _ in self.making():
                pass

    def making(self) -> Iterator[Any]:
        """Each figure, made where it is not there yet; one of many layers is given again when it has more of them."""
        for i in range(len(self._plots)):
            if i == len(self.figures):
                self._axes.append(_axes(self._plots[i]))
                self._layers.append([])
                self._drawn.append([])
                self._equipped.append(False)
                self.figures.append(self._figure(self._plots[i], self._height))
            while not self._equipped[i]:
                self._fill(i, self._plots[i])
                yield self.figures[i]
            yield self.figures[i]

    def _figure(self, plot: Plot, height: int | None) -> Any:
        size: dict[str, Any] = {"sizing_mode": "stretch_both", "min_height": 140}
        if height is not None:
            size = {"height": height, "sizing_mode": "stretch_width"}
        made = figure(
            **size, tools="save", x_range=self._x, y_range=self._y, x_axis_type="log" if plot.log_x else "linear",
            y_axis_type="log" if plot.log_y else "linear", x_axis_label=plot.x_label, y_axis_label=plot.y_label,
            toolbar_location="above", title=plot.title,
        )  # fmt: skip
        return made

    def _fill(self, i: int, plot: Plot) -> None:
        """Put the next layers on a figure, and after the last of them its tools."""
        made, renderers, drawn = self.figures[i], self._layers[i], self._drawn[i]
        # What no layer has of its own is there once: a page waits for each model to be made, sent and made again.
        common = {"selection_policy": UnionRenderers()}
        every, unselected = AllIndices(), Selection()
        for k, layer in list(enumerate(plot.layers))[len(renderers) :][:_AT_A_TIME]:
            own = {} if layer.kind == "readings" else {"selected": unselected}
            source = ColumnDataSource(_columns(layer), **common, **own)
            renderer = made.add_glyph(source, _glyph(layer), view=CDSView(filter=every))
            if layer.kind == "readings":
                renderer.data_source.selected.on_change("indices", self._reader(i, k))
            else:
                renderer.nonselection_glyph = renderer.selection_glyph = renderer.muted_glyph = None
            renderers.append(renderer)
            drawn.append(layer)
        if len(renderers) == len(plot.layers):
            readings = [r for r, layer in zip(renderers, drawn, strict=True) if layer.kind == "readings"]
            self._equip(made, renderers, readings, plot)
            self._equipped[i] = True
        self._restyle(i)

    def _equip(self, made: Any, renderers: list[Any], readings: list[Any], plot: Plot) -> None:
        """Tools: the pointer is told of marks; a click, a box or a lasso selects readings; the wheel waits."""
        wheel, zoom = WheelZoomTool(), BoxZoomTool()
        made.add_tools(PanTool(), zoom, wheel, ResetTool())
        alike: dict[tuple[bool, tuple[tuple[str, str], ...]], list[Any]] = {}
        for renderer, layer in zip(renderers, plot.layers, strict=True):
            told = [] if layer.silent else _told(layer, plot)
            if told:
                alike.setdefault((layer.kind == "line", tuple(told)), []).append(renderer)
        for (line, told_alike), those in alike.items():
            nearest: dict[str, Any] = {} if line else {"limit": 1}
            made.add_tools(
                HoverTool(
                    renderers=those, tooltips=list(told_alike), visible=False, line_policy="nearest",
                    point_policy="snap_to_data", **nearest,
                )
            )  # fmt: skip
        drag: Any = zoom
        if readings:
            drag = BoxSelectTool(renderers=readings)
            made.add_tools(drag, LassoSelectTool(renderers=readings, continuous=False), TapTool(renderers=readings))
        made.toolbar.active_drag = drag
        made.toolbar.active_scroll = None
        # The wheel scrolls the page until the plot is clicked, and again once the pointer has left it.
        bar = {"bar": made.toolbar, "wheel": wheel}
        made.js_on_event("tap", CustomJS(args=bar, code="bar.active_scroll = wheel"))
        made.js_on_event("mouseleave", CustomJS(args=bar, code="bar.active_scroll = null"))

    def _reader(self, i: int, k: int) -> Callable[[str, Any, Any], None]:
        def heard(_attr: str, _old: Any, new: Any) -> None:
            if not self._marking and self._picked is not None:
                rows = self._drawn[i][k].rows
                self._picked([int(rows[at]) for at in new if at < len(rows)])

        return heard

    def mark(self, rows: Sequence[int]) -> None:
        """Mark these rows of the study where they are drawn."""
        wanted = set(rows)
        self._marking = True
        try:
            for layers, renderers in zip(self._drawn, self._layers, strict=True):
                for layer, renderer in zip(layers, renderers, strict=True):
                    if layer.kind != "readings":
                        continue
                    found = [i for i, row in enumerate(layer.rows) if int(row) in wanted]
                    if list(renderer.data_source.selected.indices) != found:
                        renderer.data_source.selected.indices = found
        finally:
            self._marking = False

    def _restyle(self, only: int | None = None) -> None:
        hook = theme.style_plot(self._dark, self._ticks)
        colours = theme.palette(self._dark)
        those = slice(None) if only is None else slice(only, only + 1)
        for made, renderers, layers, axes in zip(
            self.figures[those], self._layers[those], self._drawn[those], self._axes[those], strict=True
        ):
            hook(SimpleNamespace(state=made), None)
            made.border_line_color = None  # the dark theme of the frame draws one
            bounds, x_ticks, y_ticks, large = axes
            made.xaxis[0].major_label_policy = NoOverlap(min_distance=4)  # upright it would take all names but one
            if len(self._plots) > _FEW_PANELS:
                _small(made)
            for axis in [*made.xaxis, *made.yaxis] if large else []:
                axis.update(major_label_text_font_size=_LARGE, axis_label_text_font_size=_LARGE)
            made.yaxis[0].bounds = bounds or "auto"
            for axis, ticks in ((made.xaxis[0], x_ticks), (made.yaxis[0], y_ticks if self._ticks is None else None)):
                if ticks is not None:
                    _name(axis, ticks)
            if self._ticks is not None:
                _name(made.yaxis[0], self._ticks)
            for renderer, layer in zip(renderers, layers, strict=True):
                if layer.kind == "names":
                    renderer.glyph.update(
                        text_font=theme.FONT, text_font_size=_LARGE if large else f"{theme.TYPE['plot']}px",
                        background_fill_color=colours.surface, background_fill_alpha=0.7, padding=1,
                    )  # fmt: skip
                if layer.kind == "readings":
                    size = layer.look.get("size", 6)
                    renderer.selection_glyph = renderer.glyph.clone(
                        size=size + 5, line_color=colours.ink, line_width=2.5, fill_alpha=1.0, line_alpha=1.0
                    )
                    renderer.nonselection_glyph = None

    def patch(self, drawing: Drawing, *, dark: bool = False, ticks: Sequence[tuple[float, str]] | None = None) -> None:
        """Show another drawing of the same shape: send what differs and nothing else."""
        limits = drawing.ranges()
        for shown, was, now in zip((self._x, self._y), self._limits, limits, strict=True):
            if was != now:  # otherwise the reader's zoom stays
                shown.update(start=now[0], end=now[1], reset_start=now[0], reset_end=now[1])
        self._limits = limits
        self._plots = drawing.plots
        there = drawing.plots[: len(self.figures)]
        axes = [_axes(p) for p in there]
        for i, plot in enumerate(there):
            self._patch_plot(i, plot)
        if dark != self._dark or ticks != self._ticks or axes != self._axes:
            self._dark, self._ticks, self._axes = dark, ticks, axes
            self._restyle()

    def _patch_plot(self, i: int, plot: Plot) -> None:
        made = self.figures[i]
        many = len(self._plots) > _FEW_PANELS
        title = textwrap.fill(plot.title, _TITLE) if many else plot.title
        if plot.title and made.title.text != title:
            made.title.text = title
        for axis, label in ((made.xaxis[0], plot.x_label), (made.yaxis[0], plot.y_label)):
            if axis.axis_label != label and not many:
                axis.axis_label = label
        for k, layer in enumerate(plot.layers[: len(self._layers[i])]):
            renderer, before = self._layers[i][k], self._drawn[i][k]
            self._drawn[i][k] = layer  # before the columns: what is selected is read by it
            if not _same(_columns(before), _columns(layer)):
                source: Any = renderer.data_source
                if len(source.selected.indices):  # of other marks
                    self._marking = True
                    source.selected.indices = []
                    self._marking = False
                source.data = _columns(layer)
            if before.look != layer.look:
                renderer.glyph.update(**{k: v for k, v in layer.look.items() if k != "colour"})


def _axes(plot: Plot) -> tuple[Any, ...]:
    return plot.y_bounds, plot.x_ticks, plot.y_ticks, plot.large


def _same(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    return a.keys() == b.keys() and all(_equal(a[name], b[name]) for name in a)


def _equal(a: Any, b: Any) -> bool:
    if a is b:
        return True
    if len(a) != len(b):
        return False
    if isinstance(a, list) and len(a) and isinstance(a[0], np.ndarray):
        return all(np.array_equal(x, y, equal_nan=True) for x, y in zip(a, b, strict=True))
    if isinstance(a, list) and isinstance(b, list):
        return a == b
    return bool(np.array_equal(np.asarray(a), np.asarray(b)))
