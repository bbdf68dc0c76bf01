"""Plots said in layers: what a page draws when the plot must follow a control at once.

A :class:`Drawing` is plain data. :mod:`dashboard.plots.patched` makes Bokeh models of it once and afterwards
replaces only what differs: columns, looks, ranges and legend labels.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

#: Kinds of layers and the columns of their data.
KINDS: dict[str, tuple[str, ...]] = {
    "line": ("x", "y"),
    "lines": ("xs", "ys", "colour", "dash"),
    "bands": ("xs", "ys", "colour"),
    "marks": ("x", "y", "colour"),
    "readings": ("x", "y", "colour", "marker"),
    "segments": ("x0", "y0", "x1", "y1", "colour"),
    "bars": ("left", "bottom", "right", "top", "colour"),
    "names": ("x", "y", "text", "colour"),
}


@dataclass(frozen=True)
class Layer:
    """One kind of mark, for one level or for all.

    Parameters
    ----------
    kind : str
        One of :data:`KINDS`.
    data : mapping
        Its columns; ``xs`` and ``ys`` hold one array a row, ``colour`` and ``dash`` one text a row.
    label : str
        In the legend; empty: not in it.
    look : mapping
        Properties of the glyph that hold for the whole layer, by Bokeh's names.
    about : mapping
        What is told of a mark, or of a point of a line, that the pointer is on: name to one value each.
    of : str, or one a row
        The line of the legend that it belongs to, which shows it alone on a click; empty: it always stays.
    rows : sequence of int
        For ``readings``: the rows of the study that the marks are, by which they are selected.
    silent : bool
        Nothing is told of it: a help line, a band that a curve tells of.
    """

    kind: str
    data: Mapping[str, Any]
    label: str = ""
    look: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, Any] = field(default_factory=dict)
    of: str | Sequence[str] = ""
    rows: Sequence[int] = ()
    silent: bool = False

    def alone(self, name: str) -> Layer:
        """The layer as it is while only ``name`` of the legend is shown."""
        mine = self.of or self.label
        if not mine or not name:
            return self
        if isinstance(mine, str):
            return self if mine == name else self._some([])
        return self._some([i for i, one in enumerate(mine) if one == name])

    def _some(self, keep: list[int]) -> Layer:
        data = {n: _taken(v, keep) for n, v in self.data.items()}
        about = {n: _taken(v, keep) for n, v in self.about.items()}
        return replace(self, data=data, about=about, rows=[self.rows[i] for i in keep] if len(self.rows) else ())


@dataclass(frozen=True)
class Plot:
    """Layers on one pair of axes; ``x_range`` and ``y_range`` are taken from the layers where they are None."""

    layers: Sequence[Layer]
    x_label: str = ""
    y_label: str = ""
    title: str = ""
    log_x: bool = False
    log_y: bool = False
    x_range: tuple[float, float] | None = None
    y_range: tuple[float, float] | None = None
    y_bounds: tuple[float, float] | None = None
    x_ticks: Sequence[tuple[float, str]] | None = None
    y_ticks: Sequence[tuple[float, str]] | None = None
    large: bool = False  # numbers and names to be read from the last row of a room


@dataclass(frozen=True)
class Drawing:
    """One plot, or small multiples on common axes."""

    plots: Sequence[Plot]

    def shape(self) -> Hashable:
        """What a patch cannot carry."""
        return tuple(
            (p.log_x, p.log_y, bool(p.title), tuple((la.kind, tuple(la.about), la.silent) for la in p.layers))
            for p in self.plots
        )

    def alone(self, name: str) -> Drawing:
        """The drawing while only ``name`` of the legend is shown, on the axes of the whole."""
        if not name:
            return self
        x, y = self.ranges()
        return Drawing([
            replace(p, layers=[la.alone(name) for la in p.layers], x_range=x, y_range=y) for p in self.plots
        ])  # fmt: skip

    def legend(self) -> list[tuple[str, str, str, str, str]]:
        """What the lines of the legend say: name, kind of mark, colour, dash, marker; each once."""
        found: dict[str, tuple[str, str, str, str, str]] = {}
        for layer in (la for p in self.plots for la in p.layers if la.label):
            found.setdefault(layer.label, _line_of(layer))
        return list(found.values())

    def ends(self) -> dict[str, float]:
        """Where the lines of the legend end on the right: the y of the last point of each that is a line."""
        found = {}
        for layer in (la for p in self.plots for la in p.layers if la.label and la.kind == "line"):
            y = np.asarray(layer.data["y"], dtype=float)
            y = y[np.isfinite(y)]
            if len(y):
                found[layer.label] = float(y[-1])
        return found

    def ranges(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The common ranges of both axes, with a margin around what the layers hold."""
        xs, ys = zip(*[_range(p) for p in self.plots], strict=True)
        return _widest(xs), _widest(ys)


def _widest(ranges: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return min(r[0] for r in ranges), max(r[1] for r in ranges)


def _range(plot: Plot) -> tuple[tuple[float, float], tuple[float, float]]:
    return (
        plot.x_range or _around([_values(la, "x") for la in plot.layers], plot.log_x),
        plot.y_range or _around([_values(la, "y") for la in plot.layers], plot.log_y),
    )


_NAMES = {"x": ("x", "xs", "x0", "x1", "left", "right"), "y": ("y", "ys", "y0", "y1", "bottom", "top")}


def _values(layer: Layer, axis: str) -> np.ndarray[Any, Any]:
    found = []
    for name in _NAMES[axis]:
        if name in layer.data:
            column = layer.data[name]
            found += [np.asarray(c, dtype=float) for c in column] if name.endswith("s") else [
                np.asarray(column, dtype=float)
            ]  # fmt: skip
    return np.concatenate(found) if found else np.array([])


def _around(columns: Sequence[np.ndarray[Any, Any]], log: bool) -> tuple[float, float]:
    values = np.concatenate([*columns, np.array([])])
    values = values[np.isfinite(values) & (values > 0 if log else True)]
    if not len(values):
        return (1.0, 10.0) if log else (0.0, 1.0)
    low, high = float(values.min()), float(values.max())
    if log:
        margin = max((high / low) ** 0.04, 1.01)
        return low / margin, high * margin
    margin = 0.04 * (high - low) or max(abs(high) * 0.05, 0.5)
    return low - margin, high + margin


def _line_of(layer: Layer) -> tuple[str, str, str, str, str]:
    look = layer.look
    colours = layer.data.get("colour", ())
    colour = str(look.get("line_color") or (colours[0] if len(colours) else look.get("colour", "")))
    return layer.label, layer.kind, colour, str(look.get("line_dash", "solid")), str(look.get("marker", "circle"))


def _taken(column: Any, keep: list[int]) -> Any:
    return column[keep] if isinstance(column, np.ndarray) else [column[i] for i in keep]
