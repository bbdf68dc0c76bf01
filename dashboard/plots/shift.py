"""Plots of the shift page: intervals against the reference, and the shift over the whole distribution."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dashboard import theme
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import band, box, line, points, spans
from methods.columns import level_text

#: From so many rows on marks and lines are the thinner, the more there are.
_MANY = 16


@dataclass(frozen=True)
class Bar:
    """One row of an interval plot: a label, an estimate with its limits (nan: not known), and its look."""

    label: str
    value: float
    low: float
    high: float
    cue: theme.Cue


def intervals(bars: Sequence[Bar], xlabel: str, margin: float | None, dark: bool) -> Drawing:
    """Each level's estimate with its limits, from top to bottom; zero line, band of agreement where there is one."""
    colours = theme.palette(dark)
    top = len(bars) - 0.5
    layers: list[Layer] = []
    if margin is not None:
        layers.append(box(-margin, -0.5, margin, top, colours.good))
    layers.append(spans(0, -0.5, 0, top, colours.line, width=1.5))
    thin = min(1.0, _MANY / len(bars)) if bars else 1.0
    for row, bar in zip(rows(len(bars)), bars, strict=True):
        known = bool(np.isfinite([bar.low, bar.high]).all())
        ends = (bar.low, row, bar.high, row) if known else ([], [], [], [])
        about = {"Level": [bar.label], xlabel: np.array([bar.value]), "from": np.array([bar.low]),
                 "to": np.array([bar.high])}  # fmt: skip
        layers.append(
            spans(*ends, bar.cue.colour, width=1 + 3 * thin, about=about if known else dict.fromkeys(about, []))
        )
        there = bool(np.isfinite(bar.value))
        layers.append(
            points([bar.value] if there else [], [row] if there else [], bar.cue.colour, marker=bar.cue.marker,
                   size=4 + 9 * thin, about=about if there else dict.fromkeys(about, []))
        )  # fmt: skip
    ticks = [(float(row), bar.label) for row, bar in zip(rows(len(bars)), bars, strict=True)]
    return Drawing([Plot(layers, xlabel, "", y_range=(-0.5, top), y_ticks=ticks)])


def of_shift(
    found: Any, looks: Mapping[str, theme.Cue], unit: str = "percent", margin: float | None = None, dark: bool = False
) -> Drawing:
    """The shifts of a :class:`methods.shifts.Shift`: the reference, then each level, in ``percent`` or ``kv``."""
    name = level_text(found.reference)
    bars = [Bar(f"{name} (reference)", 0.0, np.nan, np.nan, looks[name])]
    bars += [
        Bar(
            label, getattr(s, f"difference_{unit}"), getattr(s, f"low_{unit}"), getattr(s, f"high_{unit}"), looks[label]
        )
        for s in found.shifts
        for label in [level_text(s.level)]
    ]
    return intervals(bars, f"Shift against {name} ({'%' if unit == 'percent' else 'kV'})", margin, dark)


def rows(n: int) -> list[int]:
    """The y positions of ``n`` rows, the first on top."""
    return list(range(n - 1, -1, -1))


def height(n: int) -> int:
    """Pixels for ``n`` rows and the axis under them."""
    return 110 + 46 * min(n, 8) + 26 * max(n - 8, 0)


def whole(curves: Sequence[Any], looks: Mapping[str, theme.Cue], names: Sequence[str], dark: bool) -> Drawing:
    """Shift in per cent at each percentile, with the band that holds for all percentiles at once.

    ``curves`` are :class:`methods.shifts.LevelPercentiles`, ``names`` their levels as text.
    """
    layers: list[Layer] = [line([0, 100], [0, 0], theme.palette(dark).line, width=1.5, silent=True)]
    for level, name in zip(curves, names, strict=True):
        cue = looks[name]
        p = np.array([100 * point.p for point in level.curve])
        low, high, value = (
            np.array([getattr(point, field) for point in level.curve], dtype=float)
            for field in ("band_low_percent", "band_high_percent", "difference_percent")
        )
        about = {"Level": [name] * len(p), "Percentile (%)": p, "Shift (%)": value, "from": low, "to": high}
        layers.append(band(p, low, high, cue.colour, of=name))
        layers.append(line(p, value, cue.colour, name, dash=cue.dash, about=about))
    return Drawing([Plot(layers, "Percentile of the breakdowns (%)", "Shift (%)")])
