"""Plots of the method-study page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import holoviews as hv
import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots import elements as elements  # loads what draws the elements below

CORNERS = ["x0", "y0", "x1", "y1"]


def trips(curves: pd.DataFrame, names: Mapping[str, str], own_cov: float, dark: bool) -> hv.Overlay:
    """Probability that each rule asks for more against the true CoV, in per cent; the user's own CoV as a line."""
    colours, looks = theme.palette(dark), theme.cues(list(names), dark)
    at = hv.Dimension("cov", label="True coefficient of variation (%)")
    by = hv.Dimension("p", label="Asks for more (%)")
    layers: list[Any] = []
    for key in dict.fromkeys(curves["rule"]):
        part, look = curves[curves["rule"] == key], looks[key]
        xy = (part["cov_percent"].to_numpy(dtype=float), part["probability_percent"].to_numpy(dtype=float))
        layers.append(
            hv.Curve(xy, at, by, label=names[key]).opts(color=look.colour, line_dash=look.dash, line_width=2.5)
        )
    if np.isfinite(own_cov):
        line = ([own_cov, own_cov], [0, 100])
        layers.append(
            hv.Curve(line, at, by, label="These records").opts(color=colours.line, line_dash="dotted", line_width=2)
        )
    return hv.Overlay(layers or [hv.Curve([], at, by)]).opts(
        hv.opts.Overlay(xlabel=at.label, ylabel=by.label, ylim=(0, 100), xlim=(0, 42))
    )


def power(
    points: pd.DataFrame,
    column: str,
    lines: Mapping[str, pd.DataFrame],
    beyond: Mapping[str, pd.DataFrame],
    band: pd.DataFrame | None,
    xlabel: str,
    dark: bool,
) -> hv.Overlay:
    """Means against gap or rate on logarithmic axes, each oil's law, and the band for one new filling.

    ``lines`` maps an oil to its curve over the data (``x, kv``), ``beyond`` to one that goes on, drawn dotted; ``band``
    has ``x, band_low_kv, band_high_kv``.
    """
    colours, looks = theme.palette(dark), theme.cues(list(lines), dark)
    at, by = hv.Dimension("x", label=xlabel), hv.Dimension("kv", label="Voltage (kV)")
    layers: list[Any] = []
    if band is not None:
        x, low, high = (band[c].to_numpy(dtype=float) for c in ("x", "band_low_kv", "band_high_kv"))
        layers.append(
            hv.Area((x, low, high), at, [by, hv.Dimension("top")], label="One new filling").opts(
                color=colours.muted, fill_alpha=theme.BAND_ALPHA, line_alpha=0
            )
        )
    for oil, line in lines.items():
        look = looks[oil]
        dots, solid = ((c["x"].to_numpy(dtype=float), c["kv"].to_numpy(dtype=float)) for c in (beyond[oil], line))
        farther = hv.Curve(dots, at, by).opts(color=look.colour, line_dash="dotted", line_width=1.5)
        law = hv.Curve(solid, at, by).opts(color=look.colour, line_dash=look.dash, line_width=2.5)
        part = points[points["oil"] == oil]
        xy = (part[column].to_numpy(dtype=float), part["kv"].to_numpy(dtype=float))
        marks = hv.Scatter(xy, at, by, label=oil).opts(color=look.colour, marker=look.marker, size=10)
        layers += [farther, law, marks]
    return hv.Overlay(layers).opts(
        hv.opts.Overlay(xlabel=at.label, ylabel=by.label, logx=True, logy=True, padding=(0.06, 0.1))
    )


def log_ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Ticks of a logarithmic axis that takes in these values."""
    steps = (1, 1.5, 2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 100, 120, 150, 200)
    inside = [v for v in steps if low * 0.8 <= v <= high * 1.25]
    return [(v, f"{v:g}") for v in inside]


def agreement(points: pd.DataFrame, limits: Any, oils: Sequence[str], unit: str, dark: bool) -> hv.Overlay:
    """Difference against mean, an oil a point; the bias with its band, the limits with their own at the right edge."""
    colours, looks = theme.palette(dark), theme.cues(list(oils), dark)
    x = points["mean_kv"].to_numpy(dtype=float)
    margin = 0.08 * max(float(np.ptp(x)), 1.0)
    left, right = float(x.min()) - margin, float(x.max()) + margin
    layers: list[Any] = []
    spread = max(abs(limits.upper - limits.bias), abs(limits.bias - limits.lower), 1e-9)
    lowest, highest = limits.bias - 3 * spread, limits.bias + 3 * spread
    layers.append(
        hv.Rectangles([(left, limits.bias_low, right, limits.bias_high)], CORNERS).opts(
            color=colours.primary, fill_alpha=theme.BAND_ALPHA, line_alpha=0
        )
    )
    for name, place in (("lower", right - 0.004 * (right - left)), ("upper", right + 0.004 * (right - left))):
        ends = [max(getattr(limits, f"{name}_low"), lowest), min(getattr(limits, f"{name}_high"), highest)]
        layers.append(
            hv.Segments([(place, ends[0], place, ends[1])], CORNERS).opts(color=colours.caution, line_width=4)
        )
    layers.append(hv.Segments([(left, 0, right, 0)], CORNERS).opts(color=colours.line, line_width=1))
    layers.append(
        hv.Segments([(left, limits.bias, right, limits.bias)], CORNERS, label="Mean difference").opts(
            color=colours.primary, line_width=2.5
        )
    )
    ends = [(left, v, right, v) for v in (limits.lower, limits.upper)]
    layers.append(
        hv.Segments(ends, CORNERS, label="Limits that hold 95 % of differences").opts(
            color=colours.caution, line_width=2, line_dash="dashed"
        )
    )
    for oil in oils:
        part, look = points[points["sample"] == oil], looks[oil]
        xy = (part["mean_kv"].to_numpy(dtype=float), part["difference"].to_numpy(dtype=float))
        layers.append(hv.Scatter(xy, "x0", "y0", label=oil).opts(color=look.colour, marker=look.marker, size=10))
    return hv.Overlay(layers).opts(
        hv.opts.Overlay(xlabel="Mean of both methods (kV)", ylabel=f"Second less first ({unit})", padding=(0, 0.05))
    )


LINES = {"equal": "Equal readings", "deming": "Deming", "passing_bablok": "Passing–Bablok"}


def association(
    pairs: pd.DataFrame, lines: pd.DataFrame, band: pd.DataFrame, names: tuple[str, str], dark: bool
) -> hv.Overlay:
    """One method against the other, an oil a point; lines with error in both, and the band for one new oil."""
    colours, looks = theme.palette(dark), theme.cues(["oil", "deming", "passing_bablok"], dark)
    at, by = hv.Dimension("x", label=f"{names[0]} (kV)"), hv.Dimension("y", label=f"{names[1]} (kV)")
    x, y, low, high = (band[c].to_numpy(dtype=float) for c in ("first_kv", "second_kv", "low_kv", "high_kv"))
    layers: list[Any] = []
    if len(x):
        layers.append(
            hv.Area((x, low, high), at, [by, hv.Dimension("top")], label="One new oil").opts(
                color=looks["deming"].colour, fill_alpha=theme.BAND_ALPHA, line_alpha=0
            )
        )
    for kind in dict.fromkeys(lines["line"]):
        part = lines[lines["line"] == kind]
        look = looks.get(kind, theme.Cue(colours.line, "dotted", "circle"))
        xy = (part["first_kv"].to_numpy(dtype=float), part["second_kv"].to_numpy(dtype=float))
        layers.append(
            hv.Curve(xy, at, by, label=LINES.get(kind, kind)).opts(
                color=look.colour, line_dash=look.dash, line_width=2.5 if kind != "equal" else 1.5
            )
        )
    xy = (pairs["first_kv"].to_numpy(dtype=float), pairs["second_kv"].to_numpy(dtype=float))
    layers.append(hv.Scatter(xy, at, by, label="One oil").opts(color=looks["oil"].colour, marker="circle", size=10))
    return hv.Overlay(layers).opts(hv.opts.Overlay(xlabel=at.label, ylabel=by.label, padding=0.08))


def tails(curves: Mapping[str, pd.DataFrame], points: pd.DataFrame, dark: bool) -> hv.Overlay:
    """Share that breaks down against the voltage under each family, on a logarithmic scale that shows the low end.

    ``curves`` maps a family's name to ``kv, percent``; ``points`` are the readings' plotting positions.
    """
    colours, looks = theme.palette(dark), theme.cues(list(curves), dark)
    at, by = hv.Dimension("kv", label="Voltage (kV)"), hv.Dimension("percent", label="Breaks down below it (%)")
    points = points[points["percent"] <= 60]
    layers: list[Any] = [
        hv.Scatter((points["kv"].to_numpy(dtype=float), points["percent"].to_numpy(dtype=float)), at, by,
                   label="One reading").opts(color=colours.muted, size=6)
    ]  # fmt: skip
    for name, line in curves.items():
        look = looks[name]
        layers.append(
            hv.Curve(
                (line["kv"].to_numpy(dtype=float), line["percent"].to_numpy(dtype=float)), at, by, label=name
            ).opts(color=look.colour, line_dash=look.dash, line_width=2.5)
        )
    return hv.Overlay(layers).opts(
        hv.opts.Overlay(xlabel=at.label, ylabel=by.label, logy=True, ylim=(0.08, 60), padding=(0.04, 0))
    )


#: Ticks of the share that breaks down, in per cent.
SHARES = [(0.1, "0.1"), (0.5, "0.5"), (1, "1"), (5, "5"), (10, "10"), (50, "50")]
