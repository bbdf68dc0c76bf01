"""Distributions over each other: steps, densities, probability scales, boxes with single readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import holoviews as hv
import numpy as np
import pandas as pd

from dashboard import theme, words
from dashboard.plots.curves import Curve
from methods import scatter

KV = "Breakdown voltage (kV)"
SHARE = "Share that breaks down at or below"
DENSITY = "Density (per kV)"

Looks = Callable[[Curve], theme.Cue]


def steps(curves: Sequence[Curve], look: Looks) -> hv.Overlay:
    """Empirical distribution (Kaplan-Meier where there are withstands), fitted curve and its band."""
    return _distribution(curves, look, lambda p: p, lambda c: c.steps, "Share", SHARE, curve=True)


def scale(curves: Sequence[Curve], look: Looks, family: str) -> hv.Overlay:
    """The same on the probability scale of a family, on which that family is a straight line."""
    overlay = _distribution(
        curves, look, lambda p: scatter.probability_position(p, family), lambda c: c.points, "Position", SHARE,
        curve=False,
    )  # fmt: skip
    return overlay.opts(logx=bool(scatter.log_voltage(family)))


def _distribution(
    curves: Sequence[Curve], look: Looks, height: Callable[[Any], Any], data: Callable[[Curve], pd.DataFrame],
    name: str, label: str, *, curve: bool,
) -> hv.Overlay:  # fmt: skip
    dims = {"kdims": [hv.Dimension("kV", label=KV)], "vdims": [hv.Dimension(name, label=label)]}
    layers: list[Any] = [_band(c, look(c).colour, height, dims) for c in curves]
    for c in curves:
        cue = look(c)
        layers.append(
            hv.Curve((c.fitted["kv"], height(c.fitted["probability"])), **dims).opts(
                color=cue.colour, line_dash=cue.dash, line_width=1.5
            )
        )
        at = data(c)
        pairs = (at["kv"], height(at["probability"]))
        if curve:
            drawn = hv.Curve(pairs, label=_legend(c), **dims).opts(
                color=cue.colour, line_width=2.5, interpolation="steps-post", line_dash=cue.dash
            )
        else:
            drawn = hv.Scatter(pairs, label=_legend(c), **dims).opts(
                color=cue.colour, marker=cue.marker, size=7, fill_alpha=0.35
            )
        layers.append(drawn)
    layers += [_stood(c, look(c).colour, height, dims) for c in curves]
    return hv.Overlay(layers)


def _band(curve: Curve, colour: str, height: Callable[[Any], Any], dims: dict[str, Any]) -> hv.Polygons:
    fitted = curve.fitted.dropna(subset=["low", "high"]) if len(curve.fitted) else curve.fitted
    y = np.asarray(height(fitted["probability"]), dtype=float)
    x = np.concatenate([fitted["low"], fitted["high"][::-1]]) if len(fitted) else np.array([])
    shape = {"kV": x, dims["vdims"][0].name: np.concatenate([y, y[::-1]])}
    return hv.Polygons([shape] if len(x) else [], [*dims["kdims"], *dims["vdims"]]).opts(
        color=colour, fill_alpha=theme.BAND_ALPHA, line_alpha=0, show_legend=False
    )


def _stood(curve: Curve, colour: str, height: Callable[[Any], Any], dims: dict[str, Any]) -> hv.Scatter:
    lifted = np.asarray(height(curve.stood["probability"]), dtype=float)
    seen = np.isfinite(lifted)
    pairs = (curve.stood["kv"].to_numpy()[seen], lifted[seen])
    return hv.Scatter(pairs, **dims).opts(
        color=colour, marker=theme.WITHSTOOD_MARKER, size=13, line_width=2, show_legend=False
    )


def densities(curves: Sequence[Curve], look: Looks) -> hv.Overlay:
    """Kernel density of the readings, and the density of the fitted family, dotted."""
    dims = {"kdims": [hv.Dimension("kV", label=KV)], "vdims": [hv.Dimension("Density", label=DENSITY)]}
    layers: list[Any] = []
    for c in curves:
        cue = look(c)
        layers.append(hv.Area((c.density["kv"], c.density["density"]), **dims).opts(
            color=cue.colour, fill_alpha=theme.BAND_ALPHA, line_alpha=0))  # fmt: skip
        layers.append(hv.Curve((c.density["kv"], c.density["density"]), label=_legend(c), **dims).opts(
            color=cue.colour, line_width=2.5, line_dash=cue.dash))  # fmt: skip
        layers.append(hv.Curve((c.fitted["kv"], c.fitted["density"]), **dims).opts(
            color=cue.colour, line_width=1.5, line_dash="dotted"))  # fmt: skip
    return hv.Overlay(layers)


def boxes(curves: Sequence[Curve], look: Looks) -> hv.Overlay:
    """Quartiles (from the Kaplan-Meier curve where there are withstands), extremes, and single readings."""
    layers: list[Any] = []
    corners = ["x0", "y0", "x1", "y1"]
    for i, c in enumerate(curves):
        colour, points = look(c).colour, _jittered(c, i)
        broke, stood = points[~points["withstood"]], points[points["withstood"]]
        has = [1] if c.box else []
        layers += [
            hv.Segments([(_q(c, "low"), i, _q(c, "high"), i) for _ in has], corners).opts(color=colour, line_width=1.5),
            hv.Rectangles([(_q(c, "0.25"), i - 0.28, _q(c, "0.75"), i + 0.28) for _ in has], corners).opts(
                color=colour, fill_alpha=theme.BAND_ALPHA, line_color=colour
            ),
            hv.Segments([(_q(c, "0.5"), i - 0.28, _q(c, "0.5"), i + 0.28) for _ in has], corners).opts(
                color=colour, line_width=3
            ),
            hv.Points((broke["kV"], broke["row"]), ["x0", "y0"]).opts(color=colour, size=4, alpha=0.7),
            hv.Points((stood["kV"], stood["row"]), ["x0", "y0"]).opts(
                color=colour, marker=theme.WITHSTOOD_MARKER, size=12, line_width=2
            ),
        ]
    axes = {"x0": hv.Dimension("x0", label=KV), "y0": hv.Dimension("y0", label=" ")}
    return hv.Overlay(layers).redim(**axes).opts(xlabel=KV, ylabel="", show_legend=False)


def _q(curve: Curve, name: str) -> float:
    return curve.box.get(name, float("nan"))


def _jittered(curve: Curve, row: int) -> pd.DataFrame:
    """Single readings beside each other: the offset is for the eye only and the same every time."""
    n = len(curve.strip)
    offset = 0.2 * (2 * np.modf(np.arange(n) * 0.6180339887)[0] - 1)
    return pd.DataFrame({"kV": curve.strip["kv"], "row": row + offset, "withstood": curve.strip["withstood"]})


def panels(curves: Sequence[Curve], draw: Callable[[Sequence[Curve]], hv.Overlay]) -> hv.Layout:
    """One panel for each level of the first factor, for when one plot cannot tell so many curves apart."""
    first = dict.fromkeys(c.levels[0] if c.levels else "" for c in curves)
    out = []
    for level in first:
        mine = [c for c in curves if (c.levels[0] if c.levels else "") == level]
        out.append(draw(mine).opts(title=level))
    return hv.Layout(out)


def _legend(curve: Curve) -> str:
    return f"{curve.label} (n = {words.number(curve.n)})"
