"""Plots of the classroom: a test as it grows, and a hundred laboratories beside each other."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import band, line, points, spans


def growing(
    table: pd.DataFrame, running: pd.DataFrame, truth_kv: float | None, limit_kv: float | None, dark: bool,
    guesses: pd.DataFrame | None = None,
) -> Drawing:  # fmt: skip
    """Breakdowns in the order in which they came, the running mean with its band; truth and limit as lines.

    The guesses of a class stand at the right edge.
    """
    colours = theme.palette(dark)
    looks = theme.cues(["breakdown", "mean", "limit", "truth"], dark)
    n = running["n"].to_numpy()
    top = running["withstood"].to_numpy(dtype=bool)
    kv, mean, low, high = (running[c].to_numpy(dtype=float) for c in ("kv", "mean_kv", "low_kv", "high_kv"))
    last = max(float(n[-1]) if len(n) else 1.0, 6.0) + 0.5
    bottom, ceiling = _room(kv, mean, low[2:], high[2:], truth_kv, limit_kv, guesses)
    told = {"Breakdown": n.astype(float), "Mean so far (kV)": mean, "from (kV)": low, "to (kV)": high}
    readings = {"Breakdown": n.astype(float), "kV": kv}
    so_far = "Mean so far and its interval"
    starts = _starts(table)
    layers = [
        spans(starts, [bottom] * len(starts), starts, [ceiling] * len(starts), colours.line,
              "New filling" if len(starts) else "", width=1.5, dash="dotted"),
        band(n, low, high, looks["mean"].colour, of=so_far),
        line(n, mean, looks["mean"].colour, so_far, about=told),
        points(n[~top], kv[~top], looks["breakdown"].colour, "Breakdown", marker=looks["breakdown"].marker, size=11,
               about={k: v[~top] for k, v in readings.items()}),
        points(n[top], kv[top], colours.wrong, "Withstood at the ceiling" if top.any() else "",
               marker=theme.WITHSTOOD_MARKER, size=14, line_width=2, about={k: v[top] for k, v in readings.items()}),
        *_levels(last, truth_kv, limit_kv, looks),
        _guessed(guesses, last - 0.25, colours.ink),
    ]  # fmt: skip
    return Drawing([
        Plot(layers, "Breakdown number", "Voltage (kV)", x_range=(0.5, last), y_range=(bottom, ceiling), large=True)
    ])  # fmt: skip


def _room(*what: object) -> tuple[float, float]:
    """The range of the voltage axis that holds all of these, with a margin."""
    values: list[float] = []
    for one in what:
        column = one["guess_kv"] if isinstance(one, pd.DataFrame) else one
        values += [] if column is None else [float(v) for v in np.atleast_1d(np.asarray(column, dtype=float))]
    ends = [v for v in values if np.isfinite(v)] or [0.0, 60.0]
    room = 0.08 * (max(ends) - min(ends)) + 1
    return max(min(ends) - room, 0.0), max(ends) + room


def _guessed(guesses: pd.DataFrame | None, x: float, colour: str) -> Layer:
    """The guesses of a class, below each other; the nearest of them full once the truth is known."""
    told = pd.DataFrame({"name": [], "guess_kv": []}) if guesses is None else guesses
    kv = told["guess_kv"].to_numpy(dtype=float)
    return points(
        np.full(len(kv), x), kv, colour, "Guesses" if len(kv) else "", marker="triangle", size=14, angle=np.pi / 2,
        fill_alpha=0.4, about={"Guess of": told["name"].tolist(), "kV": kv},
    )  # fmt: skip


def reporting(
    shown: pd.DataFrame, every_kv: pd.Series, count: int, truth_kv: float | None, limit_kv: float | None,
    guesses: pd.DataFrame, dark: bool,
) -> Drawing:  # fmt: skip
    """Laboratories in the order in which they report: the mean of each, coloured by pass and fail.

    Parameters
    ----------
    shown : DataFrame
        Those that have reported: columns laboratory, mean_kv.
    every_kv : Series
        Means of all that will, so that the axis stays while they come; only its extent is seen.
    """
    colours, looks = theme.palette(dark), theme.cues(["mean", "spread", "limit", "truth"], dark)
    kv, numbers = shown["mean_kv"].to_numpy(dtype=float), shown["laboratory"].to_numpy(dtype=float)
    known = np.isfinite(kv)
    fails = known & (kv < limit_kv if limit_kv is not None else False)
    passes = known & ~fails
    good = ("Passes", colours.good) if limit_kv is not None else ("Mean of one laboratory", looks["mean"].colour)
    last = count + 1 + 0.03 * count
    size = 13 if count <= 150 else 8

    def told(some: np.ndarray) -> dict[str, np.ndarray]:
        return {"Laboratory": numbers[some], "Mean (kV)": kv[some]}

    layers = [
        *_levels(last, truth_kv, limit_kv, looks, 0.0),
        points(numbers[passes], kv[passes], good[1], good[0], size=size, fill_alpha=0.75, about=told(passes)),
        points(numbers[fails], kv[fails], colours.wrong, "Fails" if limit_kv is not None else "", marker="square",
               size=size, fill_alpha=0.75, about=told(fails)),
        _guessed(guesses, last - 0.012 * count, colours.ink),
    ]  # fmt: skip
    whole = _room(every_kv, truth_kv, limit_kv, guesses)
    return Drawing([
        Plot(layers, "Laboratory, in the order in which they report", "Reported mean (kV)", x_range=(0.0, last),
             y_range=whole, large=True)
    ])  # fmt: skip


def _starts(table: pd.DataFrame) -> np.ndarray:
    labels = table["filling"].to_numpy()
    return np.flatnonzero(labels[1:] != labels[:-1]) + 1.5 if len(labels) > 1 else np.array([])


def _levels(
    last: float, truth_kv: float | None, limit_kv: float | None, looks: dict[str, theme.Cue], first: float = 0.5
) -> list[Layer]:
    """Horizontal lines over the data for those of the two that are there."""
    return [
        line([first, last], [value, value], looks[name].colour, label, dash=looks[name].dash, width=2.5, silent=True)
        for value, label, name in ((truth_kv, "True mean", "truth"), (limit_kv, "Limit", "limit"))
        if value is not None
    ]


def laboratories(results: pd.DataFrame, truth_kv: float | None, limit_kv: float | None, dark: bool) -> Drawing:
    """Every laboratory's mean, a column of points for each design; truth and limit as lines."""
    colours, looks = theme.palette(dark), theme.cues(["mean", "spread", "limit", "truth"], dark)
    designs = list(dict.fromkeys(results["design"]))
    place = {d: i + 1 for i, d in enumerate(designs)}
    x = results["design"].map(place).to_numpy(dtype=float)
    # Spread the points sideways by their laboratory number: where a point stands in its column means nothing.
    x = x + 0.32 * (np.modf(results["laboratory"].to_numpy(dtype=float) * 0.618033988749895)[0] * 2 - 1)
    kv = results["mean_kv"].to_numpy(dtype=float)
    fails = kv < limit_kv if limit_kv is not None else np.zeros(len(kv), dtype=bool)
    passes = ~fails & np.isfinite(kv)
    numbers, names = results["laboratory"].to_numpy(dtype=float), results["design"].to_numpy()

    def told(some: np.ndarray) -> dict[str, Any]:
        return {"Laboratory": numbers[some], "Fillings × breakdowns": names[some].tolist(), "Mean (kV)": kv[some]}

    good = ("Passes", colours.good) if limit_kv is not None else ("Mean of one laboratory", looks["mean"].colour)
    layers = [
        points(x[passes], kv[passes], good[1], good[0], size=7, fill_alpha=0.55, line_alpha=0.7, about=told(passes)),
        points(x[fails], kv[fails], colours.wrong, "Fails" if limit_kv is not None else "", marker="square", size=7,
               fill_alpha=0.55, line_alpha=0.7, about=told(fails)),
        *_levels(max(len(designs), 1) + 0.6, truth_kv, limit_kv, looks, 0.4),
    ]  # fmt: skip
    ticks = [(float(i), d) for d, i in place.items()] or [(1.0, "hidden")]
    return Drawing([
        Plot(layers, "Fillings × breakdowns on each", "Reported mean (kV)",
             x_range=(0.4, max(len(designs), 1) + 0.6), x_ticks=ticks)
    ])  # fmt: skip
