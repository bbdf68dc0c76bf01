"""Plots of the decision page: means with their uncertainty against the limit, and operating characteristics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import holoviews as hv
import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots import elements as elements  # loads what draws the elements below
from dashboard.plots.shift import rows

_CORNERS = ["x0", "y0", "x1", "y1"]
_MARKERS = {"pass": "circle", "fail": "square", "undecided": "diamond"}
_AT = hv.Dimension("kv", label="True mean of the oil (kV)")
_BY = hv.Dimension("share", label="Chance that it passes")


@dataclass(frozen=True)
class Case:
    """One judged mean with the half-width of its expanded uncertainty (nan: none), kV."""

    label: str
    verdict: str
    mean_kv: float
    reach_kv: float


def look(verdict: str, dark: bool) -> theme.Cue:
    """How a verdict looks."""
    colours = theme.palette(dark)
    colour = {"pass": colours.good, "fail": colours.wrong}.get(verdict, colours.caution)
    return theme.Cue(colour, "solid", _MARKERS.get(verdict, "diamond"))


def means(cases: Sequence[Case], limit_kv: float, dark: bool) -> hv.Overlay:
    """Each case's mean with its expanded uncertainty, from top to bottom, and the limit as a line."""
    colours, top = theme.palette(dark), len(cases) - 0.5
    layers: list[Any] = [
        hv.Segments([(limit_kv, -0.5, limit_kv, top)], _CORNERS).opts(
            color=colours.ink, line_width=2, line_dash="dashed"
        )
    ]
    place = dict(zip((c.label for c in cases), rows(len(cases)), strict=True))
    for verdict in (v for v in _MARKERS if any(c.verdict == v for c in cases)):
        mine, cue = [c for c in cases if c.verdict == verdict and np.isfinite(c.mean_kv)], look(verdict, dark)
        spans = [(c.mean_kv - c.reach_kv, place[c.label], c.mean_kv + c.reach_kv, place[c.label]) for c in mine
                 if np.isfinite(c.reach_kv)]  # fmt: skip
        layers.append(hv.Segments(spans, _CORNERS).opts(color=cue.colour, line_width=2.5))
        points = ([c.mean_kv for c in mine], [place[c.label] for c in mine])
        layers.append(hv.Scatter(points, "x0", "y0", label=verdict).opts(color=cue.colour, marker=cue.marker, size=10))
    return hv.Overlay(layers).opts(hv.opts.Overlay(xlabel="Mean (kV)", ylabel="", ylim=(-0.5, top), padding=(0.06, 0)))


def characteristics(table: pd.DataFrame, limit_kv: float, dark: bool) -> hv.Overlay:
    """Chance of passing against the true mean, a line for each ``design``; the ideal would be a step at the limit."""
    colours = theme.palette(dark)
    designs = list(dict.fromkeys(table["design"]))
    looks = theme.cues(designs, dark)
    layers: list[Any] = [
        hv.Curve(([limit_kv, limit_kv], [0, 1]), _AT, _BY, label=f"limit {limit_kv:g} kV").opts(
            color=colours.ink, line_width=2, line_dash="dashed"
        )
    ]
    for design in designs:
        mine, cue = table[table["design"] == design], looks[design]
        layers.append(
            hv.Curve((mine["true_mean_kv"], mine["pass_probability"]), _AT, _BY, label=design).opts(
                color=cue.colour, line_width=2.5, line_dash=cue.dash
            )
        )
    return hv.Overlay(layers).opts(hv.opts.Overlay(ylim=(0, 1)))
