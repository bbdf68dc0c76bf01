"""Plots of the method-study page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots import readings
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import band, box, line, points, spans
from dashboard.plots.readings import Told
from dashboard.plots.scatter import Row, intervals


def _columns(frame: pd.DataFrame, *names: str) -> list[np.ndarray[Any, Any]]:
    return [frame[name].to_numpy(dtype=float) for name in names]


def trips(curves: pd.DataFrame, names: Mapping[str, str], own_cov: float, dark: bool) -> Drawing:
    """Probability that each rule asks for more against the true CoV, in per cent; the user's own CoV as a line."""
    colours, looks = theme.palette(dark), theme.cues(list(names), dark)
    layers: list[Layer] = []
    for key in dict.fromkeys(curves["rule"]):
        x, y = _columns(curves[curves["rule"] == key], "cov_percent", "probability_percent")
        about = {"Rule": [names[key]] * len(x), "True CoV (%)": x, "Asks for more (%)": y}
        layers.append(line(x, y, looks[key].colour, names[key], dash=looks[key].dash, about=about))
    if np.isfinite(own_cov):
        layers.append(line([own_cov] * 2, [0, 100], colours.line, "These records", dash="dotted", width=2, silent=True))
    plot = Plot(layers, "True coefficient of variation (%)", "Asks for more (%)", x_range=(0, 42), y_range=(-1, 101),
                y_bounds=(0, 100))  # fmt: skip
    return Drawing([plot])


def power(
    means: pd.DataFrame,
    column: str,
    lines: Mapping[str, pd.DataFrame],
    beyond: Mapping[str, pd.DataFrame],
    confidence_band: pd.DataFrame | None,
    xlabel: str,
    dark: bool,
    single: tuple[Told, pd.DataFrame] | None = None,
) -> Drawing:
    """Means against gap or rate on logarithmic axes, each oil's law, and the band for one new filling.

    ``lines`` maps an oil to its curve over the data (``x, kv``), ``beyond`` to one that goes on, drawn dotted;
    ``confidence_band`` has ``x, band_low_kv, band_high_kv``. ``single`` are the readings behind the means: what is told
    of each, and ``x, kv, oil``.
    """
    colours, looks = theme.palette(dark), theme.cues(list(lines), dark)
    layers: list[Layer] = []
    if confidence_band is not None:
        far, bottom, top = _columns(confidence_band, "x", "band_low_kv", "band_high_kv")
        layers.append(band(far, bottom, top, colours.muted, "One new filling"))
    for oil, solid in lines.items():
        look, (x, kv), (far, dots) = looks[oil], _columns(solid, "x", "kv"), _columns(beyond[oil], "x", "kv")
        about = {"Oil": [oil] * len(x), xlabel: x, "Law (kV)": kv}
        layers.append(line(far, dots, look.colour, dash="dotted", width=1.5, of=oil, silent=True))
        layers.append(line(x, kv, look.colour, dash=look.dash, of=oil, about=about))
    if single is not None:
        said, rows = single
        of = [str(o) for o in rows["oil"]]
        x, kv = _columns(rows, "x", "kv")
        layers.append(
            readings.layer(said, x * np.exp(0.025 * readings.aside(len(x))), kv, [looks[o].colour for o in of],
                           ["circle"] * len(x), of, size=4, fill_alpha=0.35, line_alpha=0.4)
        )  # fmt: skip
    for oil in lines:
        look, (x, kv) = looks[oil], _columns(means[means["oil"] == oil], column, "kv")
        about = {"Oil": [oil] * len(x), xlabel: x, "Mean (kV)": kv}
        layers.append(points(x, kv, look.colour, oil, marker=look.marker, size=10, about=about))
    drawn = Drawing([Plot(layers, xlabel, "Voltage (kV)", log_x=True, log_y=True)])
    (left, right), (low, high) = drawn.ranges()
    return Drawing([
        Plot(layers, xlabel, "Voltage (kV)", log_x=True, log_y=True, x_range=(left, right), y_range=(low, high),
             x_ticks=log_ticks(left, right), y_ticks=log_ticks(low, high))
    ])  # fmt: skip


_STEPS = (
    0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80,
    100, 120, 150, 200, 300,
)  # fmt: skip


def log_ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Ticks of a logarithmic axis between these values, none closer to the next than can be read."""
    apart = (high / low) ** 0.045
    kept: list[float] = []
    for v in _STEPS:
        if low <= v <= high and (not kept or v >= kept[-1] * apart):
            kept.append(v)
    return [(float(v), f"{v:g}") for v in kept]


def agreement(found: pd.DataFrame, limits: Any, oils: Sequence[str], unit: str, dark: bool) -> Drawing:
    """Difference against mean, an oil a point; the bias with its band, the limits with their own at the right edge."""
    colours, looks = theme.palette(dark), theme.cues(list(oils), dark)
    x = found["mean_kv"].to_numpy(dtype=float)
    margin = 0.08 * max(float(np.ptp(x)), 1.0)
    left, right = float(x.min()) - margin, float(x.max()) + margin
    spread = max(abs(limits.upper - limits.bias), abs(limits.bias - limits.lower), 1e-9)
    lowest, highest = limits.bias - 3 * spread, limits.bias + 3 * spread
    layers: list[Layer] = [box(left, limits.bias_low, right, limits.bias_high, colours.primary)]
    difference, names = f"Difference ({unit})", ("Mean difference", "Lower limit", "Upper limit")

    def told(name: str, key: str) -> dict[str, Any]:
        ends = (getattr(limits, f"{key}{end}") for end in ("", "_low", "_high"))
        return {"": [name]} | {n: np.array([v]) for n, v in zip((difference, "from", "to"), ends, strict=True)}

    for name, key, place in zip(names[1:], ("lower", "upper"), (-0.004, 0.004), strict=True):
        at = right + place * (right - left)
        ends = max(getattr(limits, f"{key}_low"), lowest), min(getattr(limits, f"{key}_high"), highest)
        layers.append(spans(at, ends[0], at, ends[1], colours.caution, width=4, about=told(name, key)))
    layers.append(spans(left, 0, right, 0, colours.line, width=1))
    layers.append(spans(left, limits.bias, right, limits.bias, colours.primary, names[0], about=told(names[0], "bias")))
    held = "Limits that hold 95 % of differences"
    pairs = zip(told(names[1], "lower").items(), told(names[2], "upper").values(), strict=True)
    both = {n: np.array([*a, *b]) if n else [*a, *b] for (n, a), b in pairs}
    levels = [limits.lower, limits.upper]
    layers.append(
        spans([left] * 2, levels, [right] * 2, levels, colours.caution, held, width=2, dash="dashed", about=both)
    )
    for oil in oils:
        part, look = found[found["sample"] == oil], looks[oil]
        means, apart = _columns(part, "mean_kv", "difference")
        about = {"Oil": [oil] * len(means), "Mean of both (kV)": means, difference: apart}
        layers.append(points(means, apart, look.colour, oil, marker=look.marker, about=about))
    return Drawing([Plot(layers, "Mean of both methods (kV)", f"Second less first ({unit})")])


LINES = {"equal": "Equal readings", "deming": "Deming", "passing_bablok": "Passing–Bablok"}


def association(
    pairs: pd.DataFrame, lines: pd.DataFrame, new_oil: pd.DataFrame, names: tuple[str, str], dark: bool
) -> Drawing:
    """One method against the other, an oil a point; lines with error in both, and the band for one new oil."""
    colours, looks = theme.palette(dark), theme.cues(["oil", "deming", "passing_bablok"], dark)
    first, second = (f"{name} (kV)" for name in names)
    layers: list[Layer] = []
    if len(new_oil):
        x, y, low, high = _columns(new_oil, "first_kv", "second_kv", "low_kv", "high_kv")
        layers.append(band(x, low, high, looks["deming"].colour, "One new oil"))
    for kind in dict.fromkeys(lines["line"]):
        x, y = _columns(lines[lines["line"] == kind], "first_kv", "second_kv")
        look = looks.get(kind, theme.Cue(colours.line, "dotted", "circle"))
        name, equal = LINES.get(kind, kind), kind == "equal"
        about = {"Line": [name] * len(x), first: x, second: y}
        layers.append(line(x, y, look.colour, name, dash=look.dash, width=1.5 if equal else 2.5, about=about))
    x, y = _columns(pairs, "first_kv", "second_kv")
    about = {"Oil": pairs["sample"].astype(str).tolist(), first: x, second: y}
    layers.append(points(x, y, looks["oil"].colour, "One oil", about=about))
    return Drawing([Plot(layers, first, second)])


#: Ticks of the share that breaks down, in per cent.
SHARES = [(0.1, "0.1"), (0.5, "0.5"), (1, "1"), (5, "5"), (10, "10"), (50, "50")]


def tails(curves: Mapping[str, pd.DataFrame], shares: pd.DataFrame, single: Told, dark: bool) -> Drawing:
    """Share that breaks down against the voltage under each family, on a logarithmic scale that shows the low end.

    ``curves`` maps a family's name to ``kv, percent``; ``shares`` are the readings' plotting positions, and ``single``
    what is told of the same readings.
    """
    colours, looks = theme.palette(dark), theme.cues(list(curves), dark)
    kv, percent = _columns(shares, "kv", "percent")
    shown = np.flatnonzero(percent <= 60)
    n = len(shown)
    layers: list[Layer] = [
        readings.layer(single.some(shown.tolist()), kv[shown], percent[shown], [colours.muted] * n, ["circle"] * n,
                       "One reading", "One reading", size=7, fill_alpha=0.6)
    ]  # fmt: skip
    for name, curve in curves.items():
        x, y = _columns(curve, "kv", "percent")
        about = {"Family": [name] * len(x), "Voltage (kV)": x, "Breaks down below it (%)": y}
        layers.append(line(x, y, looks[name].colour, name, dash=looks[name].dash, about=about))
    return Drawing([
        Plot(layers, "Voltage (kV)", "Breaks down below it (%)", log_y=True, y_range=(0.08, 60), y_ticks=SHARES)
    ])  # fmt: skip


def law(found: Any, dark: bool) -> Drawing:
    """One gap or rate law (:class:`methods.laws.GapLaw`, ``RateLaw``): means, each oil's law, the band of one oil."""
    column, axis = ("gap_mm", "Gap (mm)") if hasattr(found, "gaps_mm") else ("rise_kv_s", "Rate of rise (kV/s)")
    fit = found.fit
    lines = {oil: fit.curve(fit.levels[0], fit.levels[-1], oil=oil) for oil in fit.oils["oil"]}
    alone = next(iter(lines.values())) if len(lines) == 1 else None
    return power(fit.points, column, lines, lines, alone, axis, dark)


def geometry_rows(shift: Any, dark: bool = False) -> list[Row]:
    """What was observed, and the predictions of a :class:`methods.laws.GeometryShift` by each criterion."""
    looks = list(theme.cues(["observed", "main", "others"], dark).values())
    main = f"Predicted, field ≥ {100 * shift.first.fraction:g} % of peak"
    rows = [
        Row("Observed", shift.observed, shift.observed_low, shift.observed_high, looks[0]),
        Row(f"{main}: area", shift.predicted, shift.predicted_low, shift.predicted_high, looks[1]),
        Row(f"{main}: volume", shift.predicted_by_volume, shift.by_volume_low, shift.by_volume_high, looks[1]),
    ]
    for c in shift.criteria.itertuples():
        label = c.criterion.replace("%", " %")
        if label not in main:
            said = f"Predicted, {label}".replace(" of peak", "")
            rows.append(Row(f"{said}: area", c.ratio, np.nan, np.nan, looks[2]))
            rows.append(Row(f"{said}: volume", c.ratio_by_volume, np.nan, np.nan, looks[2]))
    return rows


def geometry(shift: Any | None, dark: bool) -> Drawing:
    """The ratios of voltages, second over first, with limits; equal voltage is 1."""
    rows = [] if shift is None else geometry_rows(shift, dark)
    return intervals(rows, "Voltage of second over first", reference=1.0, dark=dark)
