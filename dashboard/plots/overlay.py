"""Distributions over each other: steps, densities, probability scales, boxes with single readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from dashboard import theme, words
from dashboard.plots.curves import Curve
from dashboard.plots.layers import Drawing, Layer, Plot
from methods import scatter

KV = "Breakdown voltage (kV)"
SHARE = "Share at or below"
DENSITY = "Density (per kV)"

Looks = Callable[[Curve], theme.Cue]
Height = Callable[[Any], Any]


def steps(curves: Sequence[Curve], look: Looks) -> Plot:
    """Empirical distribution (Kaplan-Meier where there are withstands), fitted curve and its band."""
    layers = [_bands(curves, look, lambda p: p), _fits(curves, look, lambda p: p)]
    for c in curves:
        cue = look(c)
        x, y = _stepped(c.steps["kv"].to_numpy(), c.steps["probability"].to_numpy())
        drawn = {"line_color": cue.colour, "line_width": 2.5, "line_dash": cue.dash}
        layers.append(Layer("line", {"x": x, "y": y}, _legend(c), drawn))
    layers.append(_stood(curves, look, lambda p: p))
    return Plot(layers, KV, SHARE, y_range=(-0.03, 1.03))


def scale(curves: Sequence[Curve], look: Looks, family: str) -> Plot:
    """The same on the probability scale of a family, on which that family is a straight line."""

    def height(p: Any) -> Any:
        return scatter.probability_position(p, family)

    layers = [_bands(curves, look, height), _fits(curves, look, height)]
    for c in curves:
        cue, y = look(c), np.asarray(height(c.points["probability"]), dtype=float)
        data = {"x": c.points["kv"].to_numpy(dtype=float), "y": y, "colour": [cue.colour] * len(y)}
        layers.append(Layer("marks", data, _legend(c), {"marker": cue.marker, "size": 7, "fill_alpha": 0.35}))
    layers.append(_stood(curves, look, height))
    return Plot(layers, KV, SHARE, log_x=bool(scatter.log_voltage(family)))


def densities(curves: Sequence[Curve], look: Looks) -> Plot:
    """Kernel density of the readings, and the density of the fitted family, dotted."""
    areas: dict[str, list[Any]] = {"xs": [], "ys": [], "colour": []}
    lines: list[Layer] = []
    for c in curves:
        cue, x, y = look(c), c.density["kv"].to_numpy(dtype=float), c.density["density"].to_numpy(dtype=float)
        if len(x):
            _add(areas, np.r_[x[0], x, x[-1]], np.r_[0.0, y, 0.0], cue.colour)
        if not len(x):
            x = y = np.array([np.nan])  # nothing to draw, but the legend still shows whose colour it is
        drawn = {"line_color": cue.colour, "line_width": 2.5, "line_dash": cue.dash}
        lines.append(Layer("line", {"x": x, "y": y}, _legend(c), drawn))
    fits: dict[str, list[Any]] = {"xs": [], "ys": [], "colour": [], "dash": []}
    for c in curves:
        if len(c.fitted):
            _add(fits, _array(c.fitted["kv"]), _array(c.fitted["density"]), look(c).colour)
            fits["dash"].append("dotted")
    shade = Layer("bands", areas, look={"fill_alpha": theme.BAND_ALPHA})
    top = max([0.0, *(float(np.nanmax(y)) for y in (*areas["ys"], *fits["ys"]))]) or 1.0
    return Plot(
        [shade, *lines, Layer("lines", fits, look={"line_width": 2, "line_dash": "dotted"})],
        KV,
        DENSITY,
        y_range=(0.0, 1.06 * top),
    )


def boxes(curves: Sequence[Curve], look: Looks) -> Plot:
    """Quartiles (from the Kaplan-Meier curve where there are withstands), extremes, and single readings."""
    seen = [(i, c, look(c).colour) for i, c in enumerate(curves) if c.box]
    colours = [colour for _, _, colour in seen]
    rows = np.array([float(i) for i, _, _ in seen])
    q = {name: np.array([c.box[name] for _, c, _ in seen]) for name in ("low", "0.25", "0.5", "0.75", "high")}
    reach = Layer("segments", {"x0": q["low"], "y0": rows, "x1": q["high"], "y1": rows, "colour": colours},
                  look={"line_width": 1.5})  # fmt: skip
    quarters = {"left": q["0.25"], "bottom": rows - 0.28, "right": q["0.75"], "top": rows + 0.28, "colour": colours}
    middle = {"x0": q["0.5"], "y0": rows - 0.28, "x1": q["0.5"], "y1": rows + 0.28, "colour": colours}
    layers = [
        reach,
        Layer("bars", quarters, look={"fill_alpha": theme.BAND_ALPHA}),
        Layer("segments", middle, look={"line_width": 3}),
        _strips(curves, look, False, {"marker": "circle", "size": 4, "fill_alpha": 0.7, "line_alpha": 0.7}),
        _strips(curves, look, True, {"marker": theme.WITHSTOOD_MARKER, "size": 12, "line_width": 2}),
    ]
    return Plot(layers, KV, "", y_range=(-0.6, len(curves) - 0.4))


def _strips(curves: Sequence[Curve], look: Looks, withstood: bool, drawn: dict[str, Any]) -> Layer:
    """Single readings beside each other: the offset is for the eye only and the same every time."""
    x, y, colour = [np.array([])], [np.array([])], []
    for i, c in enumerate(curves):
        mine = c.strip["withstood"].to_numpy(dtype=bool) == withstood
        offset = 0.2 * (2 * np.modf(np.arange(len(mine)) * 0.6180339887)[0] - 1)
        x.append(c.strip["kv"].to_numpy(dtype=float)[mine])
        y.append(i + offset[mine])
        colour += [look(c).colour] * int(mine.sum())
    return Layer("marks", {"x": np.concatenate(x), "y": np.concatenate(y), "colour": colour}, look=drawn)


def panels(curves: Sequence[Curve], draw: Callable[[Sequence[Curve]], Plot]) -> Drawing:
    """One panel for each level of the first factor, for when one plot cannot tell so many curves apart."""
    first = dict.fromkeys(c.levels[0] if c.levels else "" for c in curves)
    out = []
    for level in first:
        plot = draw([c for c in curves if (c.levels[0] if c.levels else "") == level])
        named = [layer.label for layer in plot.layers if layer.label]
        if len(named) == 1:  # the title says it, and a legend of one line would say it again
            plain = [replace(layer, label="") for layer in plot.layers]
            out.append(replace(plot, layers=plain, title=named[0]))
        else:
            out.append(replace(plot, title=level))
    return Drawing(out)


def _stepped(x: np.ndarray[Any, Any], y: np.ndarray[Any, Any]) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Corners of the steps, from 0 at the lowest voltage."""
    return np.repeat(np.asarray(x, dtype=float), 2), np.repeat(np.r_[0.0, np.asarray(y, dtype=float)], 2)[1:-1]


def _array(column: Any) -> np.ndarray[Any, Any]:
    return np.asarray(column, dtype=float)


def _add(columns: dict[str, list[Any]], x: np.ndarray[Any, Any], y: np.ndarray[Any, Any], colour: str) -> None:
    columns["xs"].append(x)
    columns["ys"].append(y)
    columns["colour"].append(colour)


def _bands(curves: Sequence[Curve], look: Looks, height: Height) -> Layer:
    columns: dict[str, list[Any]] = {"xs": [], "ys": [], "colour": []}
    for c in curves:
        low, high = _array(c.fitted["low"]), _array(c.fitted["high"])
        inside = np.isfinite(low) & np.isfinite(high)
        if inside.any():
            y = _array(height(_array(c.fitted["probability"])[inside]))
            low, high = low[inside], high[inside]
            _add(columns, np.r_[low, high[::-1]], np.r_[y, y[::-1]], look(c).colour)
    return Layer("bands", columns, look={"fill_alpha": theme.BAND_ALPHA})


def _fits(curves: Sequence[Curve], look: Looks, height: Height) -> Layer:
    columns: dict[str, list[Any]] = {"xs": [], "ys": [], "colour": [], "dash": []}
    for c in curves:
        if len(c.fitted):
            _add(columns, _array(c.fitted["kv"]), _array(height(c.fitted["probability"])), look(c).colour)
            columns["dash"].append(look(c).dash)
    return Layer("lines", columns, look={"line_width": 1.5})


def _stood(curves: Sequence[Curve], look: Looks, height: Height) -> Layer:
    x, y, colour = [np.array([])], [np.array([])], []
    for c in curves:
        lifted = _array(height(c.stood["probability"]))
        seen = np.isfinite(lifted)
        x.append(c.stood["kv"].to_numpy(dtype=float)[seen])
        y.append(lifted[seen])
        colour += [look(c).colour] * int(seen.sum())
    drawn = {"marker": theme.WITHSTOOD_MARKER, "size": 13, "line_width": 2}
    return Layer("marks", {"x": np.concatenate(x), "y": np.concatenate(y), "colour": colour}, look=drawn)


def _legend(curve: Curve) -> str:
    return f"{curve.label} (n = {words.number(curve.n)})"
