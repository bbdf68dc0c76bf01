"""Plots said in layers: what a page draws when the plot must follow a control at once.

A :class:`Drawing` is plain data. :mod:`dashboard.plots.patched` makes Bokeh models of it once and afterwards
replaces only what differs: columns, looks, ranges and legend labels.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

#: Kinds of layers and the columns of their data.
KINDS: dict[str, tuple[str, ...]] = {
    "line": ("x", "y"),
    "lines": ("xs", "ys", "colour", "dash"),
    "bands": ("xs", "ys", "colour"),
    "marks": ("x", "y", "colour"),
    "segments": ("x0", "y0", "x1", "y1", "colour"),
    "bars": ("left", "bottom", "right", "top", "colour"),
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
    """

    kind: str
    data: Mapping[str, Any]
    label: str = ""
    look: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Plot:
    """Layers on one pair of axes; ``x_range`` and ``y_range`` are taken from the layers where they are None."""

    layers: Sequence[Layer]
    x_label: str = ""
    y_label: str = ""
    title: str = ""
    log_x: bool = False
    x_range: tuple[float, float] | None = None
    y_range: tuple[float, float] | None = None


@dataclass(frozen=True)
class Drawing:
    """One plot, or small multiples on common axes."""

    plots: Sequence[Plot]

    def shape(self) -> Hashable:
        """What a patch cannot carry."""
        return tuple((p.log_x, bool(p.title), tuple((la.kind, bool(la.label)) for la in p.layers)) for p in self.plots)

    def ranges(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The common ranges of both axes, with a margin around what the layers hold."""
        xs, ys = zip(*[_range(p) for p in self.plots], strict=True)
        return _widest(xs), _widest(ys)


def _widest(ranges: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return min(r[0] for r in ranges), max(r[1] for r in ranges)


def _range(plot: Plot) -> tuple[tuple[float, float], tuple[float, float]]:
    return (
        plot.x_range or _around([_values(la, "x") for la in plot.layers], plot.log_x),
        plot.y_range or _around([_values(la, "y") for la in plot.layers], False),
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
