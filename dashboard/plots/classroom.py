"""Plots of the classroom: a test as it grows, and a hundred laboratories beside each other."""

from __future__ import annotations

from typing import Any

import holoviews as hv
import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots import elements as elements  # loads what draws the elements below


def growing(
    table: pd.DataFrame, running: pd.DataFrame, truth_kv: float | None, limit_kv: float | None, dark: bool
) -> Any:
    """Breakdowns in the order in which they came, the running mean with its band; truth and limit as lines."""
    colours = theme.palette(dark)
    looks = theme.cues(["breakdown", "mean", "limit", "truth"], dark)
    n = running["n"].to_numpy()
    top = running["withstood"].to_numpy(dtype=bool)
    kv = running["kv"].to_numpy()
    band = hv.Area(
        (n, running["low_kv"].to_numpy(), running["high_kv"].to_numpy()), "Breakdown", ["low", "high"],
        label="Interval of the mean",
    ).opts(color=looks["mean"].colour, alpha=theme.BAND_ALPHA, line_alpha=0)  # fmt: skip
    mean = hv.Curve((n, running["mean_kv"].to_numpy()), "Breakdown", "kV", label="Mean so far").opts(
        color=looks["mean"].colour, line_width=2.5, line_dash="solid"
    )
    points = hv.Scatter((n[~top], kv[~top]), "Breakdown", "kV", label="Breakdown").opts(
        color=looks["breakdown"].colour, marker=looks["breakdown"].marker, size=8
    )
    held = hv.Scatter((n[top], kv[top]), "Breakdown", "kV", label="Withstood at the ceiling").opts(
        color=colours.wrong, marker=theme.WITHSTOOD_MARKER, size=11
    )
    layers = [band, mean, points]
    starts = _starts(table)
    if len(starts):
        layers.insert(0, hv.VLines(starts, label="New filling").opts(color=colours.line, line_dash="dotted"))
    if top.any():
        layers.append(held)
    layers += _levels(n, truth_kv, limit_kv, looks)
    overlay = hv.Overlay(layers)
    return overlay.opts(
        hv.opts.Overlay(xlabel="Breakdown number", ylabel="Voltage (kV)"),
        hv.opts.Scatter(tools=["hover"]),
    )


def _starts(table: pd.DataFrame) -> np.ndarray:
    labels = table["filling"].to_numpy()
    return np.flatnonzero(labels[1:] != labels[:-1]) + 1.5 if len(labels) > 1 else np.array([])


def layers_of(table: pd.DataFrame, truth_kv: float | None, limit_kv: float | None) -> tuple[bool, ...]:
    """Which layers :func:`growing` draws: when it changes, the plot must be built anew."""
    return (
        bool(len(_starts(table))), bool((table["outcome"] == "withstood").any()),
        truth_kv is not None, limit_kv is not None, len(table) > 0,
    )  # fmt: skip


def _levels(n: np.ndarray, truth_kv: float | None, limit_kv: float | None, looks: dict[str, theme.Cue]) -> list[Any]:
    """Horizontal lines over the data for those of the two that are there."""
    last = max(float(n[-1]) if len(n) else 1.0, 2.0)
    return [
        hv.Curve(([0.5, last + 0.5], [value, value]), "Breakdown", "kV", label=label).opts(
            color=looks[name].colour, line_dash=looks[name].dash, line_width=2
        )
        for value, label, name in ((truth_kv, "True mean", "truth"), (limit_kv, "Limit", "limit"))
        if value is not None
    ]


def laboratories(results: pd.DataFrame, truth_kv: float | None, limit_kv: float | None, dark: bool) -> Any:
    """Every laboratory's mean, a column of points for each design; truth and limit as lines."""
    looks = theme.cues(["mean", "spread", "limit", "truth"], dark)
    designs = list(dict.fromkeys(results["design"]))
    place = {d: i + 1 for i, d in enumerate(designs)}
    x = results["design"].map(place).to_numpy(dtype=float)
    # Spread the points sideways by their laboratory number: where a point stands in its column means nothing.
    x = x + 0.32 * (np.modf(results["laboratory"].to_numpy() * 0.618033988749895)[0] * 2 - 1)
    points = hv.Scatter((x, results["mean_kv"].to_numpy()), "Design", "kV", label="Mean of one laboratory").opts(
        color=looks["mean"].colour, marker=looks["mean"].marker, size=5, alpha=0.55
    )
    n = np.array([1, len(designs)])
    layers = [points, *_levels(n, truth_kv, limit_kv, looks)]
    return hv.Overlay(layers).opts(
        hv.opts.Overlay(
            xlabel="Fillings × breakdowns on each", ylabel="Reported mean (kV)",
            xticks=[(i, d) for d, i in place.items()] or [(1, "hidden")], xlim=(0.4, max(len(designs), 1) + 0.6),
        )
    )  # fmt: skip
