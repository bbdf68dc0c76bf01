"""Plots of the scatter page: sources of scatter with their limits, and voltage against the order within a filling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots import readings
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import band, line, points, spans
from dashboard.plots.readings import Told
from methods.answers.components import NAMES, component_name


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
) -> Drawing:
    """Estimates with their limits, a row each from top to bottom; an arrow where a limit lies far outside the plot.

    ``reference`` is a vertical line, ``start`` where the axis begins when all lies above it.
    """
    colours = theme.palette(dark)
    lowest, highest = _reach(rows, reference, start)
    top = len(rows) - 0.5
    layers: list[Layer] = []
    if reference is not None:
        layers.append(spans(reference, -0.5, reference, top, colours.line, width=1.5))
    for i, row in enumerate(rows):
        y = float(len(rows) - 1 - i)
        known = bool(np.isfinite(row.low)) and not np.isnan(row.high)
        left, right = max(row.low, lowest), min(row.high, highest)
        about = {"Source": [row.label], xlabel: np.array([row.value]), "from": np.array([row.low]),
                 "to": np.array([row.high])}  # fmt: skip
        none: dict[str, Any] = dict.fromkeys(about, [])
        layers.append(
            spans(*((left, y, right, y) if known else ([], [], [], [])), row.cue.colour, width=4,
                  about=about if known else none)
        )  # fmt: skip
        for beyond, end, angle in ((row.high > highest, highest, -90), (row.low < lowest, lowest, 90)):
            out = [end] if known and beyond else []
            layers.append(
                points(out, [y] * len(out), row.cue.colour, marker="triangle", size=12, angle=np.deg2rad(angle),
                       about=about if out else none)
            )  # fmt: skip
        there = bool(np.isfinite(row.value))
        layers.append(
            points([row.value] if there else [], [y] if there else [], row.cue.colour, marker=row.cue.marker, size=13,
                   about=about if there else none)
        )  # fmt: skip
    pad = 0.04 * (highest - lowest)
    left = lowest - pad / 2  # a point on the axis stays whole
    plot = Plot(layers, xlabel, "", x_range=(left, highest + pad), y_range=(-0.5, top), y_ticks=ticks(rows))
    return Drawing([plot])


def component_rows(found: Any, dark: bool = False, before: str = "") -> list[Row]:
    """The rows of :class:`methods.scatter.Components`: each source of scatter that has a figure."""
    looks = theme.cues(list(NAMES), dark)
    return [
        Row(f"{before}{component_name(c.factor)}", c.sd, c.low, c.high, looks.get(c.factor, looks["breakdown"]))
        for c in found.components
        if c.sd == c.sd  # held fixed: no figure to show
    ]


def of_components(found: Any, dark: bool = False) -> Drawing:
    """The standard deviation that each source of scatter adds, with its limits."""
    return components(component_rows(found, dark), dark)


def components(rows: Sequence[Row], dark: bool = False) -> Drawing:
    """The same of rows that were put together from several results."""
    return intervals(rows, "Standard deviation (kV)", start=0.0, dark=dark)


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


def order(
    positions: pd.DataFrame, trend: pd.DataFrame, dark: bool, cloud: pd.DataFrame | None = None,
    said: Told | None = None,
) -> Drawing:  # fmt: skip
    """Means at each place of the deviations from each filling's mean, the pooled trend with its band, and behind them
    the single deviations, where ``cloud`` holds them and ``said`` what they tell."""
    colours, looks = theme.palette(dark), theme.cues(["trend", "mean"], dark)
    single = []
    if cloud is not None and said is not None:
        apart = 0.12 * (2 * np.modf(cloud["filling"].to_numpy(dtype=float) * 0.618033988749895)[0] - 1)
        n = len(cloud)
        single.append(readings.layer(
            said, cloud["order"].to_numpy(dtype=float) + apart, cloud["deviation_kv"].to_numpy(dtype=float),
            [colours.muted] * n, ["circle"] * n, "One breakdown", "One breakdown", size=5, fill_alpha=0.4,
            line_alpha=0.5,
        ))  # fmt: skip
    x, y, se = (positions[c].to_numpy(dtype=float) for c in ("order", "deviation_kv", "standard_error_kv"))
    se = np.nan_to_num(se)
    mean, told = "Mean over fillings ± standard error", {"Breakdown number": x, "Mean (kV)": y, "± (kV)": se}
    at, middle, low, high = (trend[c].to_numpy(dtype=float) for c in ("order", "deviation_kv", "low_kv", "high_kv"))
    limits = {"Breakdown number": at, "Trend (kV)": middle, "from (kV)": low, "to (kV)": high}
    name = "Pooled trend and its limits"
    layers = [
        *single,
        band(at, low, high, looks["trend"].colour, of=name),
        line(at, middle, looks["trend"].colour, name, about=limits),
        spans(x, y - se, x, y + se, looks["mean"].colour, of=[mean] * len(x)),
        points(x, y, looks["mean"].colour, mean, marker=looks["mean"].marker, size=10, about=told),
    ]
    span = (float(x.min()) - 0.4, float(x.max()) + 0.4) if len(x) else (0.5, 6.5)
    numbers = [(float(v), f"{v:g}") for v in x] if 0 < len(x) <= 12 else None
    return Drawing([
        Plot(layers, "Breakdown number within the filling", "Voltage less its filling's mean (kV)", x_range=span,
             x_ticks=numbers)
    ])  # fmt: skip
