"""At one glance: every oil through the procedures, its fillings as clusters of readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from dashboard import theme
from dashboard.levels import level_text
from dashboard.plots import readings
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import line, points, spans
from dashboard.plots.readings import Told
from methods.columns import with_unit

#: Oils and procedures that one plot tells apart.
MOST_OILS, MOST_GROUPS = 12, 16


def name(levels: Sequence[Any], columns: Sequence[str], joint: str = ", ") -> str:
    """A procedure by its levels."""
    return joint.join(_said(c, v) for c, v in zip(columns, levels, strict=True)) or "all"


def _said(column: str, value: Any) -> str:
    text = level_text(value)
    if column == "stirring":
        return {"none": "unstirred", "continuous": "stirred"}.get(text, f"stirring {text}")
    return with_unit(column, value) if column == "gap_mm" else text


def shown_rows(found: Any) -> np.ndarray:
    """Places in the table of the readings that are drawn: of the oils and procedures shown, evenly chosen if many."""
    rows = found.rows
    there = np.flatnonzero(((rows["oil"] < MOST_OILS) & (rows["group"] < MOST_GROUPS)).to_numpy())
    if len(there) <= readings.MOST:
        return there
    return there[np.linspace(0, len(there) - 1, readings.MOST).astype(int)]


def shown_fillings(found: Any) -> Any:
    """Fillings whose means are drawn: of the oils and procedures shown, evenly chosen if there are many."""
    fill = found.filling_means
    fill = fill[(fill["oil"] < MOST_OILS) & (fill["group"] < MOST_GROUPS) & fill["mean_kv"].notna()]
    if len(fill) <= readings.MOST:
        return fill
    return fill.iloc[np.linspace(0, len(fill) - 1, readings.MOST).astype(int)]


def glance(found: Any, said: Told, look: Callable[[str], theme.Cue], dark: bool) -> Drawing:
    """``found`` is :class:`methods.scatter.clusters.Clusters`, ``said`` tells of the rows of :func:`shown_rows`."""
    colours = theme.palette(dark)
    oils = [str(o) for o in found.oils[:MOST_OILS]]
    groups = list(found.groups.itertuples(index=False))[:MOST_GROUPS]
    names = [name(g, found.columns) for g in groups]
    slot = 0.8 / max(len(oils), 1)
    rows = found.rows.iloc[said.at]
    many = found.filling_means.groupby(["group", "oil"])["filling"].max()
    most = many.reindex(list(zip(rows["group"], rows["oil"], strict=True))).to_numpy(dtype=float) + 1
    centre = rows["group"].to_numpy(dtype=float) - 0.4 + (rows["oil"].to_numpy(dtype=float) + 0.5) * slot
    within = (rows["filling"].to_numpy(dtype=float) + 0.5) / most - 0.5  # each filling its own place beside the others
    width = 0.85 * slot / most
    x = centre + 0.85 * slot * within + 0.22 * width * readings.aside(len(rows))
    cues = [look(oils[o]) for o in rows["oil"]]
    marks = [theme.WITHSTOOD_MARKER if w else "circle" for w in rows["withstood"]]
    layers: list[Layer] = [_edges(groups, found.columns, found.rows["kv"], colours.line)]
    layers.append(
        readings.layer(said, x, rows["kv"], [c.colour for c in cues], marks, [oils[o] for o in rows["oil"]], size=4,
                       fill_alpha=0.3, line_alpha=0.35)
    )  # fmt: skip
    fill = shown_fillings(found)
    count = many.reindex(list(zip(fill["group"], fill["oil"], strict=True))).to_numpy(dtype=float) + 1
    at = fill["group"].to_numpy(dtype=float) - 0.4 + (fill["oil"].to_numpy(dtype=float) + 0.5) * slot
    at = at + 0.85 * slot * ((fill["filling"].to_numpy(dtype=float) + 0.5) / count - 0.5)
    half, kv = 0.36 * 0.85 * slot / count, fill["mean_kv"].to_numpy(dtype=float)
    about = {"Oil": [oils[o] for o in fill["oil"]], "Procedure": [names[g] for g in fill["group"]],
             "Mean of the filling (kV)": kv, "Readings": fill["readings"].to_numpy()}  # fmt: skip
    layers.append(
        spans(at - half, kv, at + half, kv, [look(oils[o]).colour for o in fill["oil"]], width=3,
              of=[oils[o] for o in fill["oil"]], about=about)
    )  # fmt: skip
    for o, oil in enumerate(oils):
        mine, cue = found.means[(found.means["oil"] == o) & (found.means["group"] < MOST_GROUPS)], look(oil)
        middle = mine["group"].to_numpy(dtype=float) - 0.4 + (o + 0.5) * slot
        mean = mine["mean_kv"].to_numpy(dtype=float)
        told = {"Oil": [oil] * len(mine), "Procedure": [names[g] for g in mine["group"]], "Mean (kV)": mean,
                "from (kV)": mine["low_kv"].to_numpy(dtype=float), "to (kV)": mine["high_kv"].to_numpy(dtype=float),
                "Fillings": mine["fillings"].to_numpy()}  # fmt: skip
        layers.append(line(middle, mean, cue.colour, oil, dash=cue.dash, width=1.5, silent=True))
        layers.append(points(middle, mean, cue.colour, marker=cue.marker, size=9, of=oil, about=told))
    ticks = [(float(i), name(g, found.columns, "\n")) for i, g in enumerate(groups)]
    plot = Plot(layers, "", "Breakdown voltage (kV)", x_range=(-0.55, len(groups) - 0.45), x_ticks=ticks)
    return Drawing([plot])


def _edges(groups: Sequence[Any], columns: Sequence[str], kv: Any, colour: str) -> Layer:
    """Lines between procedures of another first level: of one electrode and the next."""
    turns = [i - 0.5 for i in range(1, len(groups)) if columns and groups[i][0] != groups[i - 1][0]]
    low, high = float(np.nanmin(kv)), float(np.nanmax(kv))
    return spans(turns, [low] * len(turns), turns, [high] * len(turns), colour, width=1, dash="dotted")
