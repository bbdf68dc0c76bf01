"""A drawing for paper: as SVG and PNG at the size of a column or a page, and its data as a table."""

from __future__ import annotations

import io
from dataclasses import replace
from textwrap import fill
from typing import Any

import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots.layers import Drawing, Layer, Plot

#: Inches: the text width of a page, and a height that leaves room for a caption. Dots per inch of a PNG.
WIDTH_IN, HEIGHT_IN, DPI = 6.7, 4.2, 300
_DASHES: dict[str, Any] = {
    "solid": "-", "dashed": (0, (5, 2)), "dotdash": (0, (1, 2, 4, 2)), "dotted": (0, (1, 1.6)),
    "dashdot": (0, (6, 2, 2, 2)),
}  # fmt: skip
#: Every marker of the theme, in matplotlib's words.
MARKERS: dict[str, Any] = {
    "circle": "o", "square": "s", "triangle": "^", "diamond": "D", "inverted_triangle": "v", "plus": "P",
    "asterisk": (6, 2, 0), "star": "*", "hex": "h", "x": "x", "square_pin": (4, 1, 45), "triangle_pin": (3, 1, 0),
    "y": (3, 2, 180),
}  # fmt: skip
#: Pixels of a plot's height on the screen that are an inch on paper, and characters of a row's label up to which it
#: stays in one line.
PIXELS_PER_INCH, LONGEST_LABEL = 135, 34
#: Text stays text, in fonts that are on most systems, so that it can be searched and read aloud. A level may be called
#: $x$: no formulas.
STYLE: dict[Any, Any] = {
    "text.parse_math": False, "svg.fonttype": "none", "svg.hashsalt": "gapshift", "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "sans-serif"], "font.size": 9,
    "axes.spines.top": False, "axes.spines.right": False, "axes.axisbelow": True, "legend.frameon": False,
    "axes.edgecolor": theme.LIGHT.line, "axes.labelcolor": theme.LIGHT.ink, "text.color": theme.LIGHT.ink,
    "xtick.color": theme.LIGHT.line, "ytick.color": theme.LIGHT.line, "xtick.labelcolor": theme.LIGHT.muted,
    "ytick.labelcolor": theme.LIGHT.muted,
}  # fmt: skip


def taken(drawing: Drawing, ending: str, title: str = "", ticks: Any = None, height: int | None = None) -> bytes:
    """The drawing as a file: ``svg`` and ``png`` for paper, its data as ``csv`` and ``xlsx``."""
    if ending in ("svg", "png"):
        return picture(drawing, ending, title, ticks, height)
    from methods.answers.files import table_file

    first = drawing.plots[0] if drawing.plots else None
    own = {} if first is None else {"x": first.x_label, "y": first.y_label}
    return table_file(ending, table(drawing), title, own)


def picture(drawing: Drawing, ending: str, title: str = "", ticks: Any = None, height: int | None = None) -> bytes:
    """The drawing as the bytes of an ``svg`` or ``png``: see :func:`figure_of`."""
    from matplotlib import rc_context

    out = io.BytesIO()
    with rc_context(STYLE):
        made = figure_of(drawing, title, ticks, height)
        made.savefig(out, format=ending, dpi=DPI, metadata={"Date": None} if ending == "svg" else {})
    return out.getvalue()


def figure_of(
    drawing: Drawing, title: str = "", ticks: Any = None, height: int | None = None, width_in: float = WIDTH_IN
) -> Any:
    """The drawing as a figure of matplotlib, in the light theme's colours on white, with its legend.

    ``ticks`` are those of the y axis, as (position, label), where it has its own; ``height`` that of the screen, in
    pixels. Call it, and save the figure, under ``rc_context(STYLE)``.
    """
    from matplotlib.figure import Figure

    drawing = on_paper(drawing)
    count = len(drawing.plots)
    columns = int(np.ceil(np.sqrt(count)))
    rows = -(-count // columns)
    lines = drawing.legend()
    lines = lines if 1 < len(lines) <= theme.MOST_NAMED else []
    high = HEIGHT_IN if height is None else max(height / PIXELS_PER_INCH, 2.1) + 0.17 * -(-len(lines) // 3)
    figure = Figure(figsize=(width_in, high if rows == 1 else min(2.2 * rows, 9.0)), layout="constrained")
    axes = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True).ravel()
    (x_range, y_range) = drawing.ranges()
    for at, (ax, plot) in enumerate(zip(axes, drawing.plots, strict=False)):
        _draw(ax, plot, x_range, y_range, ticks, width_in / columns)
        if count > 1:
            ax.tick_params(labelleft=at % columns == 0, labelbottom=at + columns >= count)
            ax.set(xlabel="", ylabel="")
    if count > 1:
        figure.supxlabel(drawing.plots[0].x_label, fontsize=9)
        figure.supylabel(drawing.plots[0].y_label, fontsize=9)
    for ax in axes[count:]:
        ax.set_visible(False)
    if lines:
        handles = [_handle(line) for line in lines]
        figure.legend(handles=handles, loc="outside lower center", ncols=min(3, len(lines)), fontsize=8)
    if title:
        figure.suptitle(title, fontsize=10)
    return figure


def _draw(
    ax: Any, plot: Plot, x_range: tuple[float, float], y_range: tuple[float, float], ticks: Any, width_in: float
) -> None:
    if plot.log_x:
        ax.set_xscale("log")
    if plot.log_y:
        ax.set_yscale("log")
    ax.grid(color=theme.LIGHT.grid, linewidth=0.6)
    for layer in plot.layers:
        if len(next(iter(layer.data.values()))):
            _layer(ax, layer)
    ax.set(xlim=x_range, ylim=y_range, xlabel=plot.x_label, ylabel=plot.y_label)
    if plot.title:
        ax.set_title(plot.title, fontsize=9)
    logarithmic = [(v, f"{v:g}") for v in theme.LOG_TICKS]
    x_ticks, y_ticks = (
        own or (logarithmic if log else None)
        for own, log in ((plot.x_ticks, plot.log_x), (ticks or plot.y_ticks, plot.log_y))
    )
    for axis, wanted, (low, high) in ((ax.xaxis, x_ticks, x_range), (ax.yaxis, y_ticks, y_range)):
        if wanted is not None:
            there = [(at, label) for at, label in wanted if low <= at <= high]
            if len(there) <= 10:
                there = [(at, label if len(label) <= LONGEST_LABEL else fill(label, LONGEST_LABEL))
                         for at, label in there]  # fmt: skip
            size = 9 if len(there) <= 10 else 8 if len(there) <= 16 else 7
            axis.set_ticks([at for at, _ in there], [label for _, label in there])
            axis.set_minor_locator(_nothing())
            axis.set_tick_params(labelsize=size)
            if axis is ax.xaxis and sum(_width(label, size) for _, label in there) > 0.8 * width_in:
                for label in ax.get_xticklabels():
                    label.set(rotation=30, ha="right", rotation_mode="anchor")
    if y_ticks is None and plot.y_bounds is not None:
        ax.set_yticks([at for at in ax.get_yticks() if plot.y_bounds[0] - 1e-9 <= at <= plot.y_bounds[1] + 1e-9])


def _width(label: str, size: float) -> float:
    """About how wide a label is, in inches: a character is about six tenths as wide as the type is high."""
    return 0.6 * size / 72 * (max(map(len, label.split("\n"))) + 2)


def dashes(dash: str) -> Any:
    """A dash of the theme in matplotlib's words; lengths are pixels there and widths of the line here."""
    if dash[:1].isdigit():
        return (0, tuple(0.5 * float(v) for v in dash.split()))
    return _DASHES.get(dash, "-")


def on_paper(drawing: Drawing) -> Drawing:
    """The drawing in the light theme's colours, whichever it was drawn in."""

    def lighter(layer: Layer) -> Layer:
        data = {n: [theme.on_paper(c) for c in v] if n == "colour" else v for n, v in layer.data.items()}
        look = {n: theme.on_paper(v) if isinstance(v, str) else v for n, v in layer.look.items()}
        return replace(layer, data=data, look=look)

    return Drawing([replace(p, layers=[lighter(la) for la in p.layers]) for p in drawing.plots])


def _nothing() -> Any:
    from matplotlib.ticker import NullLocator

    return NullLocator()


def _layer(ax: Any, layer: Layer) -> None:
    data, look = layer.data, layer.look
    width = 0.7 * float(look.get("line_width", 1.5))
    dash = dashes(str(look.get("line_dash", "solid")))
    if layer.kind == "line":
        ax.plot(data["x"], data["y"], color=look["line_color"], linewidth=width, linestyle=dash)
    elif layer.kind == "lines":
        for x, y, colour, one in zip(data["xs"], data["ys"], data["colour"], data["dash"], strict=True):
            ax.plot(x, y, color=colour, linewidth=width, linestyle=dashes(one))
    elif layer.kind == "bands":
        for x, y, colour in zip(data["xs"], data["ys"], data["colour"], strict=True):
            ax.fill(x, y, color=colour, alpha=look.get("fill_alpha", theme.BAND_ALPHA), linewidth=0)
    elif layer.kind in ("marks", "readings"):
        _marks(ax, layer)
    elif layer.kind == "names":
        for x, y, text, colour in zip(*(data[n] for n in ("x", "y", "text", "colour")), strict=True):
            ax.annotate(text, (x, y), (0.7 * look["x_offset"], -0.7 * look["y_offset"]), textcoords="offset points",
                        color=colour, fontsize=8, ha=look["text_align"], va=look["text_baseline"])  # fmt: skip
    elif layer.kind == "segments":
        from matplotlib.collections import LineCollection

        ends = np.array([data[n] for n in ("x0", "y0", "x1", "y1")], dtype=float).T.reshape(-1, 2, 2)
        drawn = LineCollection(list(ends), colors=list(data["colour"]), linewidths=width, linestyles=[dash], zorder=2)
        ax.add_collection(drawn, autolim=False)
    else:
        for i, colour in enumerate(data["colour"]):
            left, bottom = float(data["left"][i]), float(data["bottom"][i])
            ax.bar(left, float(data["top"][i]) - bottom, float(data["right"][i]) - left, bottom, align="edge",
                   color=colour, alpha=look.get("fill_alpha", theme.BAND_ALPHA), linewidth=0)  # fmt: skip


def _marks(ax: Any, layer: Layer) -> None:
    data, look = layer.data, layer.look
    x, y = np.asarray(data["x"], dtype=float), np.asarray(data["y"], dtype=float)
    colours = np.asarray(data["colour"], dtype=object)
    kinds = np.asarray(data["marker"] if layer.kind == "readings" else [look.get("marker", "circle")] * len(x))
    for kind in dict.fromkeys(kinds.tolist()):
        mine = kinds == kind
        shape = MARKERS.get(kind, "o")
        if kind == "triangle" and "angle" in look:  # an arrow to what lies outside the plot
            shape = (3, 0, float(np.rad2deg(look["angle"])))
        ax.scatter(x[mine], y[mine], s=(0.62 * float(look.get("size", 6))) ** 2, c=list(colours[mine]),
                   marker=shape, alpha=look.get("fill_alpha", 1.0), linewidths=0.8, zorder=3)  # fmt: skip


def _handle(line: tuple[str, str, str, str, str]) -> Any:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    name, kind, colour, dash, marker = line
    if kind in ("bands", "bars"):
        return Patch(color=colour, alpha=0.3, label=name)
    if kind in ("marks", "readings"):
        return Line2D([], [], color=colour, marker=MARKERS.get(marker, "o"), linestyle="", label=name)
    return Line2D([], [], color=colour, linestyle=dashes(dash), linewidth=1.6, label=name)


def table(drawing: Drawing) -> pd.DataFrame:
    """What is drawn, a row a point: panel, line of the legend, kind of mark, its places and what is told of it."""
    out = []
    for plot in drawing.plots:
        for layer in plot.layers:
            part = _rows(layer)
            if len(part) and layer.kind != "names":
                part.insert(0, "mark", layer.kind)
                part.insert(0, "panel", plot.title)
                out.append(part)
    return pd.concat(out, ignore_index=True) if out else pd.DataFrame()


def _rows(layer: Layer) -> pd.DataFrame:
    of: Any = layer.of or layer.label
    if layer.kind in ("bands", "lines"):
        count = len(layer.data["xs"])
        names = [of] * count if isinstance(of, str) else list(of)
        shapes = zip(names, layer.data["xs"], layer.data["ys"], strict=True)
        parts = [pd.DataFrame({"legend": name, "x": x, "y": y}) for name, x, y in shapes]
        return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    names = [n for n in layer.data if n not in ("colour", "marker", "dash")]
    columns = {n: layer.data[n] for n in names} | {k or "name": v for k, v in layer.about.items()}
    part = pd.DataFrame(columns)
    part.insert(0, "legend", of if isinstance(of, str) else list(of))
    return part
