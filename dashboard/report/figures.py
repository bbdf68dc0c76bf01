"""Pictures of a report: result tables to inline SVG, in the colours of the theme."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib import rc_context
from matplotlib.figure import Figure

from dashboard import theme
from dashboard.plots.curves import Curve
from dashboard.plots.printed import MARKERS, dashes

WIDTH_IN, HEIGHT_IN = 7.2, 3.6
_COLOURS = theme.palette(dark=False)
#: Fonts that are on most systems; text stays text, so that it can be searched and read aloud.
_STYLE = {
    "svg.fonttype": "none",
    "text.parse_math": False,  # a level may be called $x$
    "svg.hashsalt": "gapshift",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "sans-serif"],
    "font.size": 9,
    "axes.edgecolor": _COLOURS.line,
    "axes.labelcolor": _COLOURS.ink,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "grid.color": _COLOURS.grid,
    "xtick.color": _COLOURS.muted,
    "ytick.color": _COLOURS.muted,
    "text.color": _COLOURS.ink,
    "legend.frameon": False,
}


class Drawing(str):
    """An ``<svg>`` element as text, which can also give its picture in points."""

    __slots__ = ("figure",)
    figure: Figure

    def png(self, dots_per_inch: int = 200) -> bytes:
        """The same drawing as the bytes of a PNG file, on white."""
        buffer = io.BytesIO()
        with rc_context(_STYLE):
            self.figure.savefig(buffer, format="png", dpi=dots_per_inch, facecolor="white")
        return buffer.getvalue()


def _svg(figure: Figure, key: str) -> Drawing:
    """The figure as an ``<svg>`` element whose ids are its own within the page."""
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.S)
    text = re.sub(r'\bid="([^"]+)"', rf'id="{key}-\1"', text)
    text = re.sub(r'(xlink:href|href)="#([^"]+)"', rf'\1="#{key}-\2"', text)
    drawing = Drawing(re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", text))
    drawing.figure = figure
    return drawing


def _new(height: float = HEIGHT_IN, columns: int = 1, **options: Any) -> tuple[Figure, Any]:
    figure = Figure(figsize=(WIDTH_IN, height), layout="constrained")
    return figure, figure.subplots(1, columns, **options)


def _dash(cue: theme.Cue) -> Any:
    return dashes(cue.dash)


def overlay(curves: Sequence[Curve], looks: Mapping[str, theme.Cue], key: str, family: str) -> Drawing:
    """Step curves of the groups over each other, each with its fitted curve (thin) and its withstands (asterisks)."""
    with rc_context(_STYLE):
        figure, axes = _new()
        for curve in curves:
            cue = looks[curve.label]
            name = f"{curve.label} ({curve.n})"
            if len(curve.steps):
                axes.step(
                    curve.steps["kv"], 100 * curve.steps["probability"], where="post", color=cue.colour,
                    linestyle=_dash(cue), linewidth=1.9, label=name,
                )  # fmt: skip
            else:
                axes.plot([], [], color=cue.colour, linestyle=_dash(cue), label=f"{name}: all withstood")
            if len(curve.fitted):
                axes.plot(curve.fitted["kv"], 100 * curve.fitted["probability"], color=cue.colour, linewidth=0.8)
            if len(curve.stood):
                axes.plot(
                    curve.stood["kv"], 100 * curve.stood["probability"], "*", color=cue.colour, markersize=9,
                    linestyle="none",
                )  # fmt: skip
        axes.set(xlabel="Breakdown voltage (kV)", ylabel="Readings at or below (%)", ylim=(-2, 102))
        figure.legend(loc="outside right upper", title=f"thin: {family}" if family else None)
        return _svg(figure, key)


def intervals(rows: Sequence[tuple[str, float, float, float, theme.Cue]], key: str, xlabel: str) -> Drawing:
    """A row for each label with its value and limits, from top to bottom, and a line at zero."""
    with rc_context(_STYLE):
        figure, axes = _new(0.9 + 0.38 * max(len(rows), 2))
        axes.axvline(0, color=_COLOURS.ink, linewidth=1)
        for at, (_, value, low, high, cue) in enumerate(rows):
            if np.isfinite([low, high]).all():
                axes.plot([low, high], [at, at], color=cue.colour, linewidth=2)
            if np.isfinite(value):
                axes.plot([value], [at], marker=MARKERS.get(cue.marker, "o"), color=cue.colour, markersize=7)
        axes.set(xlabel=xlabel, ylim=(len(rows) - 0.4, -0.6))
        axes.set_yticks(range(len(rows)), [r[0] for r in rows])
        axes.tick_params(axis="y", colors=_COLOURS.ink)
        axes.grid(axis="y", visible=False)
        return _svg(figure, key)


def scatter_parts(rows: Sequence[tuple[str, float, float, float]], key: str) -> Drawing:
    """SD of each component with its limits, kV."""
    cue = theme.cues(["one"])["one"]
    with rc_context(_STYLE):
        figure, axes = _new(0.9 + 0.34 * max(len(rows), 2))
        for at, (_, sd, low, high) in enumerate(rows):
            if np.isfinite([low, high]).all():
                axes.plot([low, high], [at, at], color=cue.colour, linewidth=2)
            axes.plot([sd], [at], "o", color=cue.colour, markersize=6)
        axes.set(xlabel="Standard deviation (kV)", ylim=(len(rows) - 0.4, -0.6))
        axes.set_xlim(left=0)
        axes.set_yticks(range(len(rows)), [r[0] for r in rows])
        axes.tick_params(axis="y", colors=_COLOURS.ink)
        axes.grid(axis="y", visible=False)
        return _svg(figure, key)


def positions(parts: Sequence[tuple[str, pd.DataFrame]], looks: Mapping[str, theme.Cue], key: str) -> Drawing:
    """Mean deviation from the filling's mean at each place in the series, with one standard error each way."""
    with rc_context(_STYLE):
        figure, axes = _new(3.0)
        axes.axhline(0, color=_COLOURS.ink, linewidth=1)
        shift = np.linspace(-0.12, 0.12, len(parts)) if len(parts) > 1 else [0.0]
        for (label, frame), aside in zip(parts, shift, strict=True):
            cue = looks[label]
            x = frame["order"].to_numpy(dtype=float) + aside
            axes.plot(
                x, frame["deviation_kv"], color=cue.colour, linestyle=_dash(cue), label=label,
                marker=MARKERS.get(cue.marker, "o"), markersize=4,
            )  # fmt: skip
            axes.errorbar(
                x, frame["deviation_kv"], frame["standard_error_kv"], color=cue.colour, linewidth=1, linestyle="none"
            )
        axes.set(xlabel="Place of the breakdown in its filling", ylabel="Off the filling's mean (kV)")
        axes.xaxis.get_major_locator().set_params(integer=True)
        figure.legend(loc="outside right upper")
        return _svg(figure, key)


def mandel(cells: pd.DataFrame, statistic: str, critical: Sequence[float], key: str) -> Drawing:
    """Mandel's h or k by laboratory, one bar a level, with the critical values as lines."""
    levels, laboratories = list(dict.fromkeys(cells["level"])), list(dict.fromkeys(cells["laboratory"]))
    looks = theme.cues(levels)
    with rc_context(_STYLE):
        figure, axes = _new(3.0)
        width = 0.8 / len(levels)
        for i, level in enumerate(levels):
            part = cells[cells["level"] == level].set_index("laboratory")[statistic].reindex(laboratories)
            x = np.arange(len(laboratories)) + (i - (len(levels) - 1) / 2) * width
            axes.bar(x, part, width * 0.92, color=looks[level].colour, label=str(level))
        for value in critical:
            for sign in (1, -1) if statistic == "h" else (1,):
                axes.axhline(sign * value, color=_COLOURS.wrong, linewidth=1, linestyle="--")
        axes.axhline(0, color=_COLOURS.ink, linewidth=0.8)
        axes.set_xticks(range(len(laboratories)), laboratories, rotation=30, ha="right")
        axes.set(ylabel=f"Mandel's {statistic}")
        axes.grid(axis="x", visible=False)
        figure.legend(loc="outside right upper")
        return _svg(figure, key)


def spread(levels: pd.DataFrame, curves: Mapping[str, tuple[Any, Any]], key: str) -> Drawing:
    """s_r and s_R of each level against its mean, kV, with limits; a line for each relation."""
    looks = theme.cues(["s_r", "s_R"])
    with rc_context(_STYLE):
        figure, axes = _new(3.0)
        for kind in ("s_r", "s_R"):
            cue = looks[kind]
            low, high = levels[f"{kind}_low"], levels[f"{kind}_high"]
            axes.vlines(levels["mean"], low, high, color=cue.colour, linewidth=1)
            axes.plot(
                levels["mean"], levels[kind], MARKERS.get(cue.marker, "o"), color=cue.colour, markersize=6, label=kind
            )
            at, value = curves[kind]
            if np.isfinite(value).any():
                axes.plot(at, value, color=cue.colour, linestyle=_dash(cue), linewidth=1.4)
        axes.set(xlabel="Mean of the level (kV)", ylabel="Standard deviation (kV)")
        axes.set_ylim(bottom=0)
        figure.legend(loc="outside right upper")
        return _svg(figure, key)
