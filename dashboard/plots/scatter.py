"""Plots of the scatter page: sources of scatter with their limits, and voltage against the order within a filling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import holoviews as hv
import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots import elements as elements  # loads what draws the elements below

CORNERS = ["x0", "y0", "x1", "y1"]


@dataclass(frozen=True)
class Row:
    """One row of an interval plot: label, estimate and limits (nan: not known), and its look."""

    label: str
    value: float
    low: float
    high: float
    cue: theme.Cue


def intervals(
    rows: Sequence[Row], xlabel: str, *, reference: float | None = None, start: float | None = None, dark: bool = False
) -> hv.Overlay:
    """Estimates with their limits, a row each from top to bottom; an arrow where a limit lies far outside the plot.

    ``reference`` is a vertical line, ``start`` where the axis begins when all lies above it.
    """
    colours = theme.palette(dark)
    lowest, highest = _reach(rows, reference, start)
    top = max(len(rows), 1) - 0.5
    layers: list[hv.Element] = [hv.Scatter([], "x0", "y0")]  # without rows there is an empty plot, not none
    if reference is not None:
        layers.append(
            hv.Segments([(reference, -0.5, reference, top)], CORNERS).opts(color=colours.line, line_width=1.5)
        )
    for i, row in enumerate(rows):
        y = float(len(rows) - 1 - i)
        known = np.isfinite(row.low) and not np.isnan(row.high)
        left, right = max(row.low, lowest), min(row.high, highest)
        layers.append(
            hv.Segments([(left, y, right, y)] if known else [], CORNERS).opts(color=row.cue.colour, line_width=3)
        )
        out = [(highest, y)] if known and row.high > highest else []
        layers.append(_arrows(out, row.cue.colour, "triangle", -90))
        out = [(lowest, y)] if known and row.low < lowest else []
        layers.append(_arrows(out, row.cue.colour, "triangle", 90))
        there = [(row.value, y)] if np.isfinite(row.value) else []
        layers.append(hv.Scatter(there, "x0", "y0").opts(color=row.cue.colour, marker=row.cue.marker, size=11))
    pad = 0.04 * (highest - lowest)
    left = lowest - pad / 2  # a point on the axis stays whole
    return hv.Overlay(layers).opts(
        hv.opts.Overlay(xlabel=xlabel, ylabel="", ylim=(-0.5, top), xlim=(left, highest + pad), show_legend=False)
    )


def _arrows(points: list[tuple[float, float]], colour: str, marker: str, angle: float) -> hv.Scatter:
    return hv.Scatter(points, "x0", "y0").opts(color=colour, marker=marker, angle=angle, size=12)


def _reach(rows: Sequence[Row], reference: float | None, start: float | None) -> tuple[float, float]:
    """Ends of the axis: around the estimates, and no more than a few times as far as they lie apart."""
    values = [r.value for r in rows if np.isfinite(r.value)]
    marks = [*values, *([reference] if reference is not None else []), *([start] if start is not None else [])]
    if not marks:
        marks = [0.0, 1.0]
    low, high = min(marks), max(marks)
    spread = max(high - low, 0.15 * max(abs(low), abs(high)), 1e-9)
    lows = [r.low for r in rows if np.isfinite(r.low)]
    highs = [r.high for r in rows if np.isfinite(r.high)]
    first = max(min([low, *lows]), low - 2 * spread)
    last = min(max([high, *highs]), high + 2 * spread)
    if any(r.high == np.inf for r in rows):
        last = max(last, high + spread)
    return (start if start is not None else first), last


def ticks(rows: Sequence[Row]) -> list[tuple[float, str]]:
    """The labels of the rows, for the y axis."""
    return [(len(rows) - 1 - i, row.label) for i, row in enumerate(rows)]


def height(rows: int) -> int:
    """Pixels for so many rows and the axis under them."""
    return 110 + 46 * min(rows, 8) + 26 * max(rows - 8, 0)


def order(points: pd.DataFrame, positions: pd.DataFrame, line: pd.DataFrame, dark: bool) -> hv.Overlay:
    """Deviations from each filling's mean against the order, their means, and the pooled trend with its band."""
    colours, looks = theme.palette(dark), theme.cues(["trend", "mean"], dark)
    at, dev = hv.Dimension("order", label="Breakdown number within the filling"), "deviation"
    aside = 0.12 * (2 * np.modf(points["filling"].to_numpy(dtype=float) * 0.618033988749895)[0] - 1)
    cloud = hv.Scatter(
        (points["order"].to_numpy(dtype=float) + aside, points["deviation_kv"].to_numpy(dtype=float)), at, dev,
        label="One breakdown",
    ).opts(color=colours.muted, size=4, alpha=0.45)  # fmt: skip
    x, y, se = (positions[c].to_numpy(dtype=float) for c in ("order", "deviation_kv", "standard_error_kv"))
    se = np.nan_to_num(se)
    bars = hv.Segments((x, y - se, x, y + se), ["order", dev, "x1", "y1"]).opts(
        color=looks["mean"].colour, line_width=2.5
    )
    means = hv.Scatter((x, y), at, dev, label="Mean over fillings ± standard error").opts(
        color=looks["mean"].colour, marker=looks["mean"].marker, size=9
    )
    t, middle, low, high = (line[c].to_numpy(dtype=float) for c in ("order", "deviation_kv", "low_kv", "high_kv"))
    band = hv.Area((t, low, high), at, [dev, "top"], label="Limits of the trend").opts(
        color=looks["trend"].colour, fill_alpha=theme.BAND_ALPHA, line_alpha=0
    )
    trend = hv.Curve((t, middle), at, dev, label="Pooled trend").opts(color=looks["trend"].colour, line_width=2.5)
    span = (float(x.min()) - 0.4, float(x.max()) + 0.4) if len(x) else (0.5, 6.5)
    numbers = [int(v) for v in x] if 1 <= len(x) <= 12 else 8  # an empty list of ticks cannot be drawn
    return hv.Overlay([cloud, band, trend, bars, means]).opts(
        hv.opts.Overlay(ylabel="Voltage less its filling's mean (kV)", xlim=span, xticks=numbers)
    )
