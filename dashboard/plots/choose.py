"""The plot of the page on which method to choose: bench minutes against the half-width that they buy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import holoviews as hv
import numpy as np

from dashboard import theme
from dashboard.plots import elements as elements  # loads what draws the elements below

_AT = hv.Dimension("minutes", label="Bench minutes for one oil")
_BY = hv.Dimension("half_width", label="Half-width (± % of the mean)")


def minutes_against_width(
    rows: Sequence[Any], plans: Sequence[Any], target: float, looks: Mapping[str, theme.Cue], dark: bool
) -> hv.Overlay:
    """A line of plans for each procedure, a mark with limits where it meets the target, the target dotted."""
    colours = theme.palette(dark)
    most = 1.25 * max(r.bench_minutes for r in rows)
    layers: list[Any] = [
        hv.Curve(([0, most], [target, target]), _AT, _BY, label=f"wanted: ± {target:g} %").opts(
            color=colours.wrong, line_dash="dotted", line_width=2
        )
    ]
    for row in rows:
        cue = looks[row.procedure]
        mine = sorted((p.bench_minutes, p.half_width_percent) for p in plans if p.procedure == row.procedure)
        at, width = np.array(mine).T
        kept = at <= most
        layers.append(
            hv.Curve((at[kept], width[kept]), _AT, _BY, label=row.procedure).opts(
                color=cue.colour, line_dash=cue.dash, line_width=2
            )
        )
        limits = [(row.bench_minutes, row.half_width_low_percent, row.bench_minutes, row.half_width_high_percent)]
        known = bool(np.isfinite(limits[0]).all())
        layers.append(
            hv.Segments(limits if known else [], ["minutes", "half_width", "x1", "y1"]).opts(
                color=cue.colour, line_width=2, line_alpha=0.6
            )
        )
        layers.append(
            hv.Scatter(([row.bench_minutes], [row.half_width_percent]), _AT, _BY).opts(
                color=cue.colour, marker=cue.marker, size=13, line_color=colours.ink
            )
        )
    top = 1.1 * max([target, *(r.half_width_high_percent for r in rows if np.isfinite(r.half_width_high_percent))])
    return hv.Overlay(layers).opts(hv.opts.Overlay(xlim=(0, most), ylim=(0, min(top, 6 * target))))
