"""Distributions over each other: steps, densities, probability scales, boxes with single readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from dashboard import theme, words
from dashboard.plots import readings
from dashboard.plots.curves import Curve
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.readings import Told
from methods import scatter

KV = "Breakdown voltage (kV)"
SHARE = "Share at or below"
DENSITY = "Density (per kV)"

Looks = Callable[[Curve], theme.Cue]
Height = Callable[[Any], Any]


def steps(curves: Sequence[Curve], look: Looks, said: Told) -> Plot:
    """Empirical distribution (Kaplan-Meier where there are withstands), fitted curve and its band; readings below."""
    layers = [_bands(curves, look, lambda p: p), *_fits(curves, look, lambda p: p)]
    for c in curves:
        cue = look(c)
        x, y = _stepped(c.steps["kv"].to_numpy(), c.steps["probability"].to_numpy())
        drawn = {"line_color": cue.colour, "line_width": 2.5, "line_dash": cue.dash}
        layers.append(Layer("line", {"x": x, "y": y}, _legend(c), drawn))
    layers.append(_stood(curves, look, lambda p: p))
    strips, low = _strips(curves, look, said, -0.02, 1.0)
    return Plot([*layers, strips], KV, SHARE, x_range=_reach(curves), y_range=(low, 1.03), y_bounds=(0.0, 1.0))


def scale(curves: Sequence[Curve], look: Looks, said: Told, family: str) -> Plot:
    """The same on the probability scale of a family, on which that family is a straight line."""

    def height(p: Any) -> Any:
        return scatter.probability_position(p, family)

    layers = [_bands(curves, look, height), *_fits(curves, look, height)]
    ends = [0.0, 1.0]
    for c in curves:
        cue, y = look(c), np.asarray(height(c.points["probability"]), dtype=float)
        data = {"x": c.points["kv"].to_numpy(dtype=float), "y": y, "colour": [cue.colour] * len(y)}
        about = {KV: data["x"], SHARE: c.points["probability"].to_numpy(dtype=float)}
        layers.append(Layer("marks", data, _legend(c), {"marker": cue.marker, "size": 7, "fill_alpha": 0.35}, about))
        ends += [float(v) for v in (np.nanmin(y), np.nanmax(y))] if np.isfinite(y).any() else []
    layers.append(_stood(curves, look, height))
    bottom, top = min(ends), max(ends)
    strips, low = _strips(curves, look, said, bottom - 0.03 * (top - bottom), top - bottom)
    return Plot(
        [*layers, strips], KV, SHARE, log_x=bool(scatter.log_voltage(family)),
        x_range=_reach(curves, log=bool(scatter.log_voltage(family))),
        y_range=(low, top + 0.04 * (top - bottom)), y_bounds=(bottom - 0.01 * (top - bottom), top),
    )  # fmt: skip


def densities(curves: Sequence[Curve], look: Looks, said: Told) -> Plot:
    """Kernel density of the readings, and the density of the fitted family, dotted; readings below."""
    areas: dict[str, list[Any]] = {"xs": [], "ys": [], "colour": []}
    shaded: list[str] = []
    lines: list[Layer] = []
    for c in curves:
        cue, x, y = look(c), c.density["kv"].to_numpy(dtype=float), c.density["density"].to_numpy(dtype=float)
        if len(x):
            _add(areas, np.r_[x[0], x, x[-1]], np.r_[0.0, y, 0.0], cue.colour)
            shaded.append(_legend(c))
        if not len(x):
            x = y = np.array([np.nan])  # nothing to draw, but the legend still shows whose colour it is
        drawn = {"line_color": cue.colour, "line_width": 2.5, "line_dash": cue.dash}
        lines.append(Layer("line", {"x": x, "y": y}, _legend(c), drawn))
    fits: dict[str, list[Any]] = {"xs": [], "ys": [], "colour": [], "dash": []}
    fitted: list[str] = []
    for c in curves:
        if len(c.fitted):
            fitted.append(_legend(c))
            _add(fits, _array(c.fitted["kv"]), _array(c.fitted["density"]), look(c).colour)
            fits["dash"].append("dotted")
    shade = Layer("bands", areas, look={"fill_alpha": theme.BAND_ALPHA}, of=shaded)
    top = max([0.0, *(float(np.nanmax(y)) for y in (*areas["ys"], *fits["ys"]))]) or 1.0
    strips, low = _strips(curves, look, said, -0.02 * top, top)
    drawn_fits = Layer("lines", fits, look={"line_width": 2, "line_dash": "dotted"}, of=fitted)
    return Plot([shade, *lines, drawn_fits, strips], KV, DENSITY, y_range=(low, 1.06 * top), y_bounds=(0.0, top))


def boxes(curves: Sequence[Curve], look: Looks, said: Told) -> Plot:
    """Quartiles (from the Kaplan-Meier curve where there are withstands), extremes, and single readings."""
    seen = [(i, c, look(c).colour) for i, c in enumerate(curves) if c.box]
    colours = [colour for _, _, colour in seen]
    rows = np.array([float(i) for i, _, _ in seen])
    q = {name: np.array([c.box[name] for _, c, _ in seen]) for name in ("low", "0.25", "0.5", "0.75", "high")}
    reach = Layer("segments", {"x0": q["low"], "y0": rows, "x1": q["high"], "y1": rows, "colour": colours},
                  look={"line_width": 1.5})  # fmt: skip
    quarters = {"left": q["0.25"], "bottom": rows - 0.28, "right": q["0.75"], "top": rows + 0.28, "colour": colours}
    middle = {"x0": q["0.5"], "y0": rows - 0.28, "x1": q["0.5"], "y1": rows + 0.28, "colour": colours}
    about = {"Level": [c.label for _, c, _ in seen]} | {
        name: q[key] for name, key in (("25 % (kV)", "0.25"), ("median (kV)", "0.5"), ("75 % (kV)", "0.75"))
    }
    strips, _ = _strips(curves, look, said, 0.0, 0.0)
    layers = [
        reach,
        Layer("bars", quarters, look={"fill_alpha": theme.BAND_ALPHA}, about=about),
        Layer("segments", middle, look={"line_width": 3}),
        strips,
    ]
    return Plot(layers, KV, "", y_range=(-0.6, len(curves) - 0.4))


def _strips(curves: Sequence[Curve], look: Looks, said: Told, top: float, span: float) -> tuple[Layer, float]:
    """Single readings, a line for each curve below ``top``, and how low they reach; without a ``span`` on the rows."""
    step = span * min(0.045, 0.36 / max(len(curves), 1))
    x, y, colour, marker, of = [np.array([])], [np.array([])], [], [], []
    for i, c in enumerate(curves):
        n, cue = len(c.strip), look(c)
        away = readings.aside(n)
        x.append(c.strip["kv"].to_numpy(dtype=float))
        y.append(top - (i + 0.6 + 0.28 * away) * step if span else i + 0.2 * away)
        colour += [cue.colour] * n
        marker += [theme.WITHSTOOD_MARKER if s else "circle" for s in c.strip["withstood"]]
        of += [_legend(c)] * n
    made = readings.layer(
        said_of(said, rows_of(curves)), np.concatenate(x), np.concatenate(y), colour, marker, of, size=5 if span else 6
    )
    return made, top - (len(curves) + 0.4) * step


def rows_of(curves: Sequence[Curve]) -> np.ndarray[Any, Any]:
    """The rows of the table whose readings are drawn, curve after curve."""
    return np.concatenate([np.array([], dtype=int), *(c.strip["row"].to_numpy(dtype=int) for c in curves)])


def said_of(said: Told, rows: np.ndarray[Any, Any]) -> Told:
    """What is told of these rows of the table, in their order."""
    place = {int(at): i for i, at in enumerate(said.at)}
    return said.some([place[int(r)] for r in rows])


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


def _reach(curves: Sequence[Curve], log: bool = False) -> tuple[float, float] | None:
    """The voltages that are shown: readings and limits, but of limits that hardly know the oil no more than twice the
    spread of the readings on either side; None: as the layers are."""
    read = np.concatenate([np.array([]), *(c.strip["kv"].to_numpy(dtype=float) for c in curves)])
    if not len(read) or log and read.min() <= 0:
        return None
    ends = np.concatenate([read, *(_array(c.fitted[n]) for c in curves for n in ("low", "high", "kv"))])
    ends = ends[np.isfinite(ends) & (ends > 0)]
    value = np.log if log else np.asarray
    low, high = float(value(read.min())), float(value(read.max()))
    most = 2 * max(high - low, 0.1 if log else 0.1 * high)
    low, high = max(float(value(ends.min())), low - most), min(float(value(ends.max())), high + most)
    margin = 0.04 * (high - low) or (0.05 if log else 0.05 * high)  # all alike: room on either side
    if log:
        return float(np.exp(low - margin)), float(np.exp(high + margin))
    return max(low - margin, -margin), high + margin


def beyond(curves: Sequence[Curve]) -> bool:
    """Whether some limits go on beyond what is shown."""
    shown = _reach(curves)
    return shown is not None and any(
        bool((_array(c.fitted["low"]) < shown[0]).any() or (_array(c.fitted["high"]) > shown[1]).any()) for c in curves
    )


def _bands(curves: Sequence[Curve], look: Looks, height: Height) -> Layer:
    columns: dict[str, list[Any]] = {"xs": [], "ys": [], "colour": []}
    of = []
    for c in curves:
        low, high = _array(c.fitted["low"]), _array(c.fitted["high"])
        inside = np.isfinite(low) & np.isfinite(high)
        if inside.any():
            y = _array(height(_array(c.fitted["probability"])[inside]))
            low, high = low[inside], high[inside]
            _add(columns, np.r_[low, high[::-1]], np.r_[y, y[::-1]], look(c).colour)
            of.append(_legend(c))
    return Layer("bands", columns, look={"fill_alpha": theme.BAND_ALPHA}, of=of)


def _fits(curves: Sequence[Curve], look: Looks, height: Height) -> list[Layer]:
    """The fitted curves; each tells its voltage at a share, with limits."""
    out = []
    for c in curves:
        cue, share = look(c), _array(c.fitted["probability"])
        about = {"Fit": [c.label] * len(share), "Share": share, "kV": _array(c.fitted["kv"]),
                 "from kV": _array(c.fitted["low"]), "to kV": _array(c.fitted["high"])}  # fmt: skip
        data = {"x": about["kV"], "y": _array(height(share)) if len(share) else share}
        drawn = {"line_color": cue.colour, "line_width": 1.5, "line_dash": cue.dash}
        out.append(Layer("line", data, look=drawn, about=about, of=_legend(c)))
    return out


def _stood(curves: Sequence[Curve], look: Looks, height: Height) -> Layer:
    x, y, colour, of = [np.array([])], [np.array([])], [], []
    for c in curves:
        lifted = _array(height(c.stood["probability"]))
        seen = np.isfinite(lifted)
        x.append(c.stood["kv"].to_numpy(dtype=float)[seen])
        y.append(lifted[seen])
        colour += [look(c).colour] * int(seen.sum())
        of += [_legend(c)] * int(seen.sum())
    drawn = {"marker": theme.WITHSTOOD_MARKER, "size": 13, "line_width": 2}
    data = {"x": np.concatenate(x), "y": np.concatenate(y), "colour": colour}
    return Layer("marks", data, look=drawn, about={"Withstood at (kV)": data["x"], "Level": of}, of=of)


def _legend(curve: Curve) -> str:
    return f"{curve.label} (n = {words.number(curve.n)})"
