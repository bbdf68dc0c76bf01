"""Plots of the decision page: means with their uncertainty against the limit, and operating characteristics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import line, name, points, spans
from dashboard.plots.shift import rows

_MARKERS = {"pass": "circle", "fail": "square", "undecided": "diamond"}


@dataclass(frozen=True)
class Case:
    """One judged mean with the half-width of its expanded uncertainty (nan: none), kV."""

    label: str
    verdict: str
    mean_kv: float
    reach_kv: float

    @classmethod
    def of(cls, label: str, decision: Any) -> Case:
        """The case of a decision that has a mean."""
        reach = decision.expanded_uncertainty_kv
        return cls(label, decision.verdict, decision.mean_kv, np.nan if reach is None else reach)


def look(verdict: str, dark: bool) -> theme.Cue:
    """How a verdict looks."""
    colours = theme.palette(dark)
    colour = {"pass": colours.good, "fail": colours.wrong}.get(verdict, colours.caution)
    return theme.Cue(colour, "solid", _MARKERS.get(verdict, "diamond"))


def means(
    cases: Sequence[Case], limit_kv: float, dark: bool, ticks: Sequence[tuple[float, str]] | None = None
) -> Drawing:
    """Each case's mean with its expanded uncertainty, from top to bottom, and the limit as a line."""
    colours, top = theme.palette(dark), len(cases) - 0.5
    layers: list[Layer] = [spans(limit_kv, -0.5, limit_kv, top + 0.6, colours.ink, width=2, dash="dashed")]
    place = dict(zip((c.label for c in cases), rows(len(cases)), strict=True))
    for verdict in (v for v in _MARKERS if any(c.verdict == v for c in cases)):
        mine, cue = [c for c in cases if c.verdict == verdict and np.isfinite(c.mean_kv)], look(verdict, dark)
        mean, reach = np.array([c.mean_kv for c in mine]), np.array([c.reach_kv for c in mine])
        y, known = np.array([place[c.label] for c in mine], dtype=float), np.isfinite(reach)
        layers.append(
            spans((mean - reach)[known], y[known], (mean + reach)[known], y[known], cue.colour, width=3,
                  of=[verdict] * int(known.sum()))
        )  # fmt: skip
        about = {"": [c.label for c in mine], "Verdict": [verdict] * len(mine), "Mean (kV)": mean, "± (kV)": reach}
        layers.append(points(mean, y, cue.colour, verdict, marker=cue.marker, size=12, about=about))
    ends = [v for c in cases if np.isfinite(c.mean_kv) for v in (c.mean_kv, limit_kv)]
    left = not ends or limit_kv <= 0.5 * (min(ends) + max(ends))
    layers.append(name(limit_kv, top + 0.6, f"limit {limit_kv:g} kV", colours.ink, left=left, above=False))
    return Drawing([Plot(layers, "Mean (kV)", "", y_range=(-0.5, top + 0.6), y_ticks=ticks)])


def characteristics(table: pd.DataFrame, limit_kv: float, dark: bool) -> Drawing:
    """Chance of passing against the true mean, a line for each ``design``; the ideal would be a step at the limit."""
    colours = theme.palette(dark)
    designs = list(dict.fromkeys(table["design"]))
    looks = theme.cues(designs, dark)
    layers: list[Layer] = [
        line([limit_kv, limit_kv], [0, 1], colours.ink, f"limit {limit_kv:g} kV", dash="dashed", width=2, silent=True)
    ]
    for design in designs:
        mine, cue = table[table["design"] == design], looks[design]
        x, y = (mine[c].to_numpy(dtype=float) for c in ("true_mean_kv", "pass_probability"))
        about = {"": [design] * len(x), "True mean (kV)": x, "Chance that it passes": y}
        layers.append(line(x, y, cue.colour, design, dash=cue.dash, about=about))
    return Drawing([Plot(layers, "True mean of the oil (kV)", "Chance that it passes", y_range=(-0.02, 1.02))])
