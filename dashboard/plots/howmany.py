"""The plot of the how-many page: half-width against the number of breakdowns, a line for each number of fillings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from dashboard import theme
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import line, points
from dashboard.plots.marks import name as named


@dataclass(frozen=True)
class Mark:
    """A point on the plot: its name beside it, what is told of it, where it stands, its marker."""

    name: str
    label: str
    breakdowns: float
    half_width_percent: float
    marker: str


def name(fillings: int) -> str:
    """What a line is called."""
    return "1 filling (scatter known only)" if fillings == 1 else f"{fillings} fillings"


def curves(table: pd.DataFrame, target_percent: float, marks: Sequence[Mark], top: float, dark: bool) -> Drawing:
    """Solid: the interval that the bench computes itself; dashed: for scatter known from history; target dotted.

    ``table`` is that of :func:`methods.planning.curve`; ``top`` the highest half-width shown, per cent.
    """
    colours = theme.palette(dark)
    fillings = list(dict.fromkeys(table["fillings"]))
    looks = theme.cues([name(k) for k in fillings], dark)
    layers: list[Layer] = []
    for k in fillings:
        mine, cue = table[table["fillings"] == k], looks[name(k)]
        at = mine["breakdowns"].to_numpy(dtype=float)
        own, known = (mine[c].to_numpy(dtype=float) for c in ("half_width_percent", "half_width_known_percent"))
        about = {"Fillings": [str(k)] * len(at), "Breakdowns in all": at, "The bench's own ± (%)": own,
                 "Scatter known ± (%)": known}  # fmt: skip
        layers.append(
            line(at, known, cue.colour, name(k) if k == 1 else "", dash="dashed", width=2, of=name(k), about=about)
        )
        if k > 1:
            layers.append(line(at, own, cue.colour, name(k), about=about))
    last = float(table["breakdowns"].max())
    layers.append(line([0, last], [target_percent] * 2, colours.wrong, dash="dotted", silent=True))
    for mark in marks:
        seen = mark.half_width_percent <= top
        layers.append(
            points([mark.breakdowns] if seen else [], [mark.half_width_percent] if seen else [], colours.ink,
                   marker=mark.marker, size=15, fill_alpha=0.25, line_width=2,
                   about={"": [mark.label] if seen else []})
        )  # fmt: skip
        if seen:
            left = mark.breakdowns < 0.5 * last
            layers.append(named(mark.breakdowns, mark.half_width_percent, mark.name, colours.ink, left=left, off=12))
    layers.append(named(0, target_percent, f"wanted: ± {target_percent:g} %", colours.wrong, above=False))
    plot = Plot(
        layers, "Breakdowns in all", "Half-width (± % of the mean)", x_range=(0.0, 1.03 * last), y_range=(0.0, top)
    )
    return Drawing([plot])
