"""Plots of the check-oil page: results with their limits, and beneath them what scatters."""

from __future__ import annotations

from typing import Any

import numpy as np

from dashboard import theme
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import band, line, points, spans
from methods.control import CheckOil

#: Of so few results each has its number on the axis.
_FEW = 12


def results(found: CheckOil, dark: bool = False) -> Drawing:
    """Results in the order of the tests, limits, what breaks a rule, and the electrode log as upright lines."""
    rows = found.points
    return _chart(found, "mean_kv", "Mean of a filling (kV)", rows["low_kv"], rows["high_kv"], found.centre_kv, dark,
                  judged=True)  # fmt: skip


def scatter(found: CheckOil, dark: bool = False) -> Drawing:
    """The moving range of results; or of the other chart the SD within fillings."""
    rows, zero = found.points, np.zeros(len(found.points))
    if found.chart == "individuals":
        return _chart(found, "moving_range_kv", "Moving range (kV)", zero, zero + found.range_high_kv,
                      found.mean_range_kv, dark)  # fmt: skip
    low, high = rows["sd_low_kv"], rows["sd_high_kv"]
    return _chart(found, "sd_kv", "SD within filling (kV)", low, high, found.mean_sd_kv, dark)


def _chart(
    found: CheckOil, column: str, label: str, low: Any, high: Any, centre: float, dark: bool, *, judged: bool = False
) -> Drawing:  # fmt: skip
    colours = theme.palette(dark)
    rows = found.points
    x, y = rows["result"].to_numpy(dtype=float), rows[column].to_numpy(dtype=float)
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    out = (rows["broken"] != "").to_numpy() if judged else (y > high) | (y < low)
    ends = np.array([0.5, len(rows) + 0.5])
    edge = np.r_[0.5, x[1:] - 0.5, len(rows) + 0.5]
    steps = np.repeat(edge, 2)[1:-1]
    reach = np.r_[y[np.isfinite(y)], low[np.isfinite(low)], high[np.isfinite(high)]]
    margin = 0.06 * float(np.ptp(reach) or 1.0)
    bottom, top = float(reach.min()) - margin, float(reach.max()) + margin
    about: dict[str, Any] = {
        "Result": x, "Tested on": [t if isinstance(t, str) else "–" for t in rows["tested_on"]], label: y,
        "Breakdowns": rows["breakdowns"].to_numpy(), "Rule": [b or "none broken" for b in rows["broken"]],
    }  # fmt: skip

    def some(keep: np.ndarray) -> dict[str, Any]:
        return {name: [v for v, k in zip(values, keep, strict=True) if k] for name, values in about.items()}

    known = np.isfinite(y)
    log = found.marks if "after_result" in found.marks else found.marks.iloc[:0]
    at = log["after_result"].to_numpy(dtype=float) + 0.5 if len(log) else np.array([])
    told = {"Electrode log": [f"{d} {w}" for d, w in zip(log["marked_on"], log["what"], strict=True)]}
    layers: list[Layer] = [
        band(steps, np.repeat(low, 2), np.repeat(high, 2), colours.line, "limits, 3 SD"),
        line(ends, [centre, centre], colours.line, "centre", dash="dashed", width=1.5, silent=True),
        spans(at, np.full(len(at), bottom), at, np.full(len(at), top), colours.marks[3],
              "electrode log" if len(at) else "", width=2, dash="dotted", about=told),
        line(x[known], y[known], colours.marks[0], width=1.5, silent=True),
        points(x[known & ~out], y[known & ~out], colours.marks[0], "result", about=some(known & ~out)),
        points(x[known & out], y[known & out], colours.wrong, "breaks a rule" if out.any() else "", marker="diamond",
               size=14, about=some(known & out)),
    ]  # fmt: skip
    few = [(float(v), f"{v:g}") for v in x] if len(x) <= _FEW else None
    return Drawing([Plot(layers, "Result, in the order of the tests", label, x_ticks=few,
                         x_range=(0.5, len(rows) + 0.5),
                         y_range=(max(bottom, -margin) if low.min() >= 0 else bottom, top))])  # fmt: skip
