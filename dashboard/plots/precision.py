"""Plots of the precision page: spreads against the level, Mandel's h and k, and the scatter-against-mean chart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import holoviews as hv
import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots import elements as elements  # loads what draws the elements below

KINDS = {"s_r": "Within a laboratory (s_r)", "s_R": "Between laboratories (s_R)"}
CORNERS = ["x0", "y0", "x1", "y1"]


def spreads(levels: pd.DataFrame, curves: Mapping[str, tuple[Any, Any]], dark: bool) -> hv.Overlay:
    """s_r and s_R with their limits against the mean of the level, and the chosen relation of each as a line.

    ``levels`` has ``mean`` and, for each kind, itself with ``_low`` and ``_high``; ``curves`` its means and spreads.
    """
    looks = theme.cues(list(KINDS), dark)
    at, by = hv.Dimension("mean", label="Mean of the level (kV)"), hv.Dimension("s", label="Standard deviation (kV)")
    span = float(np.ptp(levels["mean"])) if len(levels) > 1 else 10.0
    layers: list[Any] = []
    for sign, (kind, name) in zip((-1, 1), KINDS.items(), strict=True):
        look = looks[kind]
        x, y = levels["mean"].to_numpy(dtype=float) + sign * 0.004 * span, levels[kind].to_numpy(dtype=float)
        low, high = (levels[f"{kind}_{end}"].to_numpy(dtype=float) for end in ("low", "high"))
        most = 2.5 * np.nanmax(levels[list(KINDS)].to_numpy(dtype=float))
        known = np.isfinite(low) & np.isfinite(high)
        bars = (x[known], low[known], x[known], np.minimum(high[known], most))
        layers.append(hv.Segments(bars, ["mean", "s", "x1", "y1"]).opts(color=look.colour, line_width=2))
        layers.append(hv.Scatter((x, y), at, by, label=name).opts(color=look.colour, marker=look.marker, size=10))
        layers.append(hv.Curve(curves[kind], at, by).opts(color=look.colour, line_dash=look.dash, line_width=2))
    return hv.Overlay(layers).opts(hv.opts.Overlay(xlabel=at.label, ylabel=by.label, padding=0.08, ylim=(0, None)))


def _stems_of(one: pd.DataFrame) -> list[Any]:
    colour, marker, level = one[["colour", "marker", "level"]].iloc[0]
    return [
        hv.Segments(one, CORNERS, []).opts(color=colour, line_width=2),
        hv.Scatter(one, "x1", "y1", label=level).opts(color=colour, marker=marker, size=8),
    ]


def _stems(levels: Sequence[pd.DataFrame]) -> list[Any]:
    """A stem and its mark for each cell, level by level; more levels than a legend can name are drawn at once."""
    if len(levels) <= elements.MOST_NAMED:
        return [layer for one in levels if len(one) for layer in _stems_of(one)]
    every = pd.concat(levels, ignore_index=True)
    return [
        hv.Segments(every, CORNERS, ["colour"]).opts(color="colour", line_width=2),
        hv.Scatter(every, "x1", ["y1", "colour", "marker"]).opts(color="colour", marker="marker", size=8),
    ]


def mandel(
    cells: pd.DataFrame,
    levels: Sequence[str],
    statistic: str,
    critical: Mapping[str, Mapping[str, float]],
    dark: bool,
) -> hv.Overlay:
    """Mandel's h or k, a group of stems for each laboratory, a stem for each level; its critical lines at 5 % and 1 %.

    ``critical`` maps a level to its critical values by significance (``0.05``, ``0.01``).
    """
    colours, looks = theme.palette(dark), theme.cues(levels, dark)
    laboratories = list(dict.fromkeys(cells["laboratory"]))
    place = {name: i for i, name in enumerate(laboratories)}
    step = 0.8 / max(len(levels), 1)
    signs = (1, -1) if statistic == "h" else (1,)
    layers: list[Any] = [hv.HLine(0).opts(color=colours.line, line_width=1)]
    lines: dict[str, list[tuple[float, float, float, float]]] = {"0.05": [], "0.01": []}
    stems: list[pd.DataFrame] = []
    for j, level in enumerate(levels):
        part = cells[cells["level"] == level]
        x = part["laboratory"].map(place).to_numpy(dtype=float) - 0.4 + (j + 0.5) * step
        y = part[statistic].to_numpy(dtype=float)
        look = looks[level]
        stem = {"x0": x, "y0": 0 * y, "x1": x, "y1": y, "colour": look.colour, "marker": look.marker, "level": level}
        stems.append(pd.DataFrame(stem))
        for alpha, found in lines.items():
            limit = critical.get(level, {}).get(alpha, float("nan"))
            if np.isfinite(limit):
                found += [(v - step / 2, s * limit, v + step / 2, s * limit) for v in x for s in signs]
    layers += _stems(stems)
    for alpha, name, dash, colour in (
        ("0.05", "Critical at 5 %", "dashed", colours.caution), ("0.01", "Critical at 1 %", "solid", colours.wrong),
    ):  # fmt: skip
        layers.append(hv.Segments(lines[alpha], CORNERS, label=name).opts(color=colour, line_dash=dash, line_width=2))
    ticks = list(enumerate(laboratories))
    return hv.Overlay(layers).opts(
        hv.opts.Overlay(
            xlabel="", ylabel=f"Mandel's {statistic}", xticks=ticks, xlim=(-0.6, len(laboratories) - 0.4),
            xrotation=45 if len(laboratories) > 4 else 0, padding=(0, 0.1),
        )
    )  # fmt: skip


def chart(points: pd.DataFrame, levels: Sequence[str], band: pd.DataFrame | None, dark: bool) -> hv.Overlay:
    """Each cell's SD in per cent of its mean against its mean, with the user's own band where there is one."""
    colours, looks = theme.palette(dark), theme.cues(levels, dark)
    at, by = hv.Dimension("mean", label="Mean of the cell (kV)"), hv.Dimension("cov", label="SD in % of the mean")
    layers: list[Any] = []
    if band is not None:
        x, low, high = (band[c].to_numpy(dtype=float) for c in ("mean_kv", "low", "high"))
        layers.append(
            hv.Area((x, 100 * low, 100 * high), at, [by, hv.Dimension("top")], label="Your band").opts(
                color=colours.good, fill_alpha=theme.BAND_ALPHA, line_alpha=0
            )
        )
    for level in levels:
        part = points[points["level"] == level]
        look = looks[level]
        xy = (part["mean"].to_numpy(dtype=float), 100 * part["cov"].to_numpy(dtype=float))
        layers.append(hv.Scatter(xy, at, by, label=level).opts(color=look.colour, marker=look.marker, size=9))
    return hv.Overlay(layers).opts(hv.opts.Overlay(xlabel=at.label, ylabel=by.label, padding=0.08, ylim=(-1, None)))
