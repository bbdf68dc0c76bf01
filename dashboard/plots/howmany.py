"""The plot of the how-many page: half-width against the number of breakdowns, a line for each number of fillings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import holoviews as hv
import pandas as pd

from dashboard import theme
from dashboard.plots import elements as elements  # loads what draws the elements below

_AT = hv.Dimension("breakdowns", label="Breakdowns in all")
_BY = hv.Dimension("half_width", label="Half-width (± % of the mean)")


@dataclass(frozen=True)
class Mark:
    """A point on the plot: what it is, where it stands, its marker."""

    label: str
    breakdowns: float
    half_width_percent: float
    marker: str


def name(fillings: int) -> str:
    """What a line is called."""
    return "1 filling (scatter known only)" if fillings == 1 else f"{fillings} fillings"


def curves(table: pd.DataFrame, target_percent: float, marks: Sequence[Mark], top: float, dark: bool) -> hv.Overlay:
    """Solid: the interval that the bench computes itself; dashed: for scatter known from history; target dotted.

    ``table`` is that of :func:`methods.planning.curve`; ``top`` the highest half-width shown, per cent.
    """
    colours = theme.palette(dark)
    fillings = list(dict.fromkeys(table["fillings"]))
    looks = theme.cues([name(k) for k in fillings], dark)
    layers: list[Any] = []
    for k in fillings:
        mine, cue = table[table["fillings"] == k], looks[name(k)]
        at = mine["breakdowns"].to_numpy(dtype=float)
        own, known = (mine[c].to_numpy(dtype=float) for c in ("half_width_percent", "half_width_known_percent"))
        layers.append(
            hv.Curve((at, known), _AT, _BY, label=name(k) if k == 1 else "").opts(
                color=cue.colour, line_dash="dashed", line_width=2
            )
        )
        if k > 1:
            layers.append(
                hv.Curve((at, own), _AT, _BY, label=name(k)).opts(color=cue.colour, line_dash="solid", line_width=2.5)
            )
    last = float(table["breakdowns"].max())
    layers.append(
        hv.Curve(([0, last], [target_percent, target_percent]), _AT, _BY, label=f"wanted: ± {target_percent:g} %").opts(
            color=colours.wrong, line_dash="dotted", line_width=2.5
        )
    )
    for mark in marks:
        seen = mark.half_width_percent <= top
        layers.append(
            hv.Scatter(
                ([mark.breakdowns], [mark.half_width_percent]) if seen else ([], []), _AT, _BY, label=mark.label
            ).opts(color=colours.ink, marker=mark.marker, size=14, fill_alpha=0.25, line_width=2)
        )
    return hv.Overlay(layers).opts(hv.opts.Overlay(ylim=(0, top), xlim=(0, last * 1.03)))
