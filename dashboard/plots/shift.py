"""Plots of the shift page: intervals against the reference, and the shift over the whole distribution."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import holoviews as hv
import numpy as np

from dashboard import theme
from dashboard.plots import elements as elements  # loads what draws the elements below

_CORNERS = ["x0", "y0", "x1", "y1"]


@dataclass(frozen=True)
class Bar:
    """One row of an interval plot: a label, an estimate with its limits (nan: not known), and its look."""

    label: str
    value: float
    low: float
    high: float
    cue: theme.Cue


def intervals(bars: Sequence[Bar], xlabel: str, margin: float | None, dark: bool) -> hv.Overlay:
    """Each level's estimate with its limits, from top to bottom; zero line, band of agreement where there is one."""
    colours = theme.palette(dark)
    top = len(bars) - 0.5
    layers: list[Any] = []
    if margin is not None:
        layers.append(
            hv.Rectangles([(-margin, -0.5, margin, top)], _CORNERS).opts(
                color=colours.good, fill_alpha=theme.BAND_ALPHA, line_alpha=0
            )
        )
    layers.append(hv.Segments([(0, -0.5, 0, top)], _CORNERS).opts(color=colours.line, line_width=1.5))
    for row, bar in zip(rows(len(bars)), bars, strict=True):
        known = np.isfinite([bar.low, bar.high]).all()
        layers.append(
            hv.Segments([(bar.low, row, bar.high, row)] if known else [], _CORNERS).opts(
                color=bar.cue.colour, line_width=3
            )
        )
        there = np.isfinite(bar.value)
        layers.append(
            hv.Scatter(([bar.value], [row]) if there else ([], []), "x0", "y0").opts(
                color=bar.cue.colour, marker=bar.cue.marker, size=11
            )
        )
    return hv.Overlay(layers).opts(
        hv.opts.Overlay(xlabel=xlabel, ylabel="", ylim=(-0.5, top), show_legend=False, padding=(0.06, 0)),
    )  # fmt: skip


def rows(n: int) -> list[int]:
    """The y positions of ``n`` rows, the first on top."""
    return list(range(n - 1, -1, -1))


def height(n: int) -> int:
    """Pixels for ``n`` rows and the axis under them."""
    return 110 + 46 * min(n, 8) + 26 * max(n - 8, 0)


def whole(curves: Sequence[Any], looks: Mapping[str, theme.Cue], names: Sequence[str], dark: bool) -> hv.Overlay:
    """Shift in per cent at each percentile, with the band that holds for all percentiles at once.

    ``curves`` are :class:`methods.shifts.LevelPercentiles`, ``names`` their levels as text.
    """
    colours = theme.palette(dark)
    at, by = hv.Dimension("p", label="Percentile of the breakdowns (%)"), hv.Dimension("Shift", label="Shift (%)")
    layers: list[Any] = [hv.Curve(([0, 100], [0, 0]), at, by).opts(color=colours.line, line_width=1.5)]
    for level, name in zip(curves, names, strict=True):
        cue = looks[name]
        p = np.array([100 * point.p for point in level.curve])
        low, high, value = (
            np.array([getattr(point, field) for point in level.curve], dtype=float)
            for field in ("band_low_percent", "band_high_percent", "difference_percent")
        )
        layers.append(
            hv.Area((p, low, high), at, [by, hv.Dimension("high")]).opts(
                color=cue.colour, fill_alpha=theme.BAND_ALPHA, line_alpha=0
            )
        )
        layers.append(
            hv.Curve((p, value), at, by, label=name).opts(color=cue.colour, line_dash=cue.dash, line_width=2.5)
        )
    return hv.Overlay(layers)
