"""The plot of the page on which method to choose: bench minutes against the half-width that they buy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from dashboard import theme
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import line, name, points, spans

MINUTES = "Bench minutes for one oil"
WIDTH = "Half-width (± % of the mean)"


def minutes_against_width(
    rows: Sequence[Any], plans: Sequence[Any], target: float, looks: Mapping[str, theme.Cue], dark: bool
) -> Drawing:
    """A line of plans for each procedure, a mark with limits where it meets the target, the target dotted.

    A mark is the larger, the likelier its procedure is the best. The axis goes up to six times the target; of limits
    that go on an arrow says so.
    """
    colours = theme.palette(dark)
    most = 1.25 * max(r.bench_minutes for r in rows)
    ends = [target, *(r.half_width_percent for r in rows)]
    ends += [r.half_width_high_percent for r in rows if np.isfinite(r.half_width_high_percent)]
    top = min(1.1 * max(ends), 6 * target)
    layers: list[Layer] = [
        line([0, most], [target, target], colours.wrong, dash="dotted", width=2, silent=True),
    ]
    for row in rows:
        cue, procedure = looks[row.procedure], row.procedure
        mine = [p for p in sorted(plans, key=lambda p: p.bench_minutes) if p.procedure == procedure]
        at, width, fillings, each = (
            np.array([getattr(p, n) for p in mine if p.bench_minutes <= most], dtype=float)
            for n in ("bench_minutes", "half_width_percent", "fillings", "breakdowns_per_filling")
        )
        about = {"Procedure": [procedure] * len(at), "Fillings": fillings, "Breakdowns on each": each,
                 "Bench minutes": at, "Half-width (± %)": width}  # fmt: skip
        layers.append(line(at, width, cue.colour, procedure, dash=cue.dash, width=2, about=about))
        low, high = row.half_width_low_percent, row.half_width_high_percent
        known = bool(np.isfinite([low, high]).all())
        there = np.array([row.bench_minutes], dtype=float)
        told = {"Procedure": [procedure], "Bench minutes": there,
                "Half-width (± %)": np.array([row.half_width_percent]),
                "from": np.array([low]), "to": np.array([high]),
                "Best with a chance of (%)": np.array([100 * row.probability_best])}  # fmt: skip
        stem = (there, [low], there, [min(high, top)]) if known else ([], [], [], [])
        layers.append(spans(*stem, cue.colour, of=[procedure] * known))
        over = there if known and high > top else there[:0]
        layers.append(
            points(over, [0.985 * top] * len(over), cue.colour, marker="triangle", size=11, of=[procedure] * len(over),
                   about=told if len(over) else dict.fromkeys(told, []))
        )  # fmt: skip
        layers.append(
            points(there, [row.half_width_percent], cue.colour, marker=cue.marker, of=[procedure], about=told,
                   size=8 + 18 * float(np.sqrt(max(row.probability_best, 0.0))))
        )  # fmt: skip
    layers.append(name(0, target, f"wanted: ± {target:g} %", colours.wrong))
    return Drawing([Plot(layers, MINUTES, WIDTH, x_range=(0, most), y_range=(0, top))])
