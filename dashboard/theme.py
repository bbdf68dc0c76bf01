"""Type, spacing and colour: the only place where a colour is named.

Two palettes, one per theme. Text reaches a contrast of 4.5:1 and marks 3:1 on the surface they stand on
(WCAG 2.2, 1.4.3 and 1.4.11). The mark colours were chosen by simulating deuter-, prot- and tritanopia
(Machado, Oliveira & Fernandes, IEEE TVCG 15 (2009) 1291) and keeping the smallest CIELAB distance of any two
of them at 20 or more; dash and marker carry the same distinction a second time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Palette:
    """The colours of one theme, as ``#rrggbb``."""

    ground: str  # behind everything
    surface: str  # cards, plots, tables
    ink: str  # text
    muted: str  # secondary text, axis labels
    line: str  # axes and rules that carry meaning
    grid: str  # grid lines: decoration, no contrast wanted
    rule: str  # lines between the rows of a table and the parts of a page: decoration too
    bar: str  # the bar across the top
    on_bar: str
    primary: str  # buttons, links, the focused control
    on_primary: str
    good: str
    caution: str
    wrong: str
    marks: tuple[str, ...]  # levels, in order


LIGHT = Palette(
    ground="#F4F5F2", surface="#FFFFFF", ink="#1C2326", muted="#4F5B60", line="#7A868B", grid="#E3E7E8",
    rule="#DDE2E3",     bar="#16414D", on_bar="#FFFFFF", primary="#1B6478", on_primary="#FFFFFF",
    good="#1B6E3C", caution="#8A5200", wrong="#B3261E",
    marks=("#7A3E9D", "#B37A00", "#333333", "#C51B7D", "#117733", "#D860F0",
           "#0048FC", "#541800", "#FC2454", "#A884C0", "#3C0048", "#3C00A8"),
)  # fmt: skip

DARK = Palette(
    ground="#14181B", surface="#1B2024", ink="#E8ECEE", muted="#AEB9BE", line="#7F8B91", grid="#2C3439",
    rule="#38424A",     bar="#0F2F38", on_bar="#F2F7F8", primary="#7CC4D6", on_primary="#0C2026",
    good="#7FD39B", caution="#F0B65A", wrong="#FF9A92",
    marks=("#6FA8FF", "#F0E442", "#D55E00", "#CC79A7", "#B8E986", "#A0A070",
           "#A80CFC", "#FCB4F0", "#8454D8", "#487860", "#84FCCC", "#C03CA8"),
)  # fmt: skip

#: Of more curves in one plot the eye follows none: use small multiples.
MOST_LEVELS = 6

#: A legend of more lines names nothing that one could find in the plot again; the table does.
MOST_NAMED = 18

#: As many as there are colours, so that no look of twelve levels has a colour, dash or marker of another. Numbers are
#: lengths of strokes and of gaps.
DASHES: tuple[str, ...] = (
    "solid", "dashed", "dotdash", "dotted", "dashdot", "14 4",
    "2 6", "10 3 2 3 2 3", "4 4", "14 3 5 3", "8 8", "18 3 2 3",
)  # fmt: skip
MARKERS: tuple[str, ...] = (
    "circle", "square", "triangle", "diamond", "inverted_triangle", "plus",
    "hex", "star", "x", "square_pin", "triangle_pin", "y",
)  # fmt: skip

#: A withstand is not a value: wherever it is drawn it has this mark and no other mark has it.
WITHSTOOD_MARKER = "asterisk"

FONT = "Roboto, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
#: Type scale in px: the sentence that answers the page's question stands out most after the heading.
TYPE = {"small": 13, "body": 15, "lead": 18, "h2": 17, "h1": 20, "plot": 14}
#: Spacing in px.
SPACE = {"xs": 4, "s": 8, "m": 16, "l": 24, "xl": 40}
#: Ticks of a logarithmic axis: voltages, gaps, rates of rise.
LOG_TICKS = (0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 2.5, 3, 4, 5, 7, 10, 15, 20, 30, 40, 50, 60, 80, 100, 150, 200, 300)
#: Height of one line of a plot's legend, px.
LEGEND_LINE = 24
#: Share of a mark's colour in an uncertainty band.
BAND_ALPHA = 0.16


def palette(dark: bool = False) -> Palette:
    """The colours of the dark or the light theme."""
    return DARK if dark else LIGHT


@dataclass(frozen=True)
class Cue:
    """How one level looks in every plot: colour, and a dash and marker that say the same without it."""

    colour: str
    dash: str
    marker: str


def cues(levels: Sequence[str], dark: bool = False) -> dict[str, Cue]:
    """Give every level its look, by its place in the *complete* list of levels.

    Pass all levels that the records have (``study.levels(column)``), not those that a filter left: then a
    level keeps its colour when its neighbours are filtered away. From the thirteenth on colours come back, each with
    another dash and marker.
    """
    marks = palette(dark).marks
    out = {}
    for i, level in enumerate(dict.fromkeys(levels)):
        place = (i + 5 * (i // len(marks))) % len(marks)
        out[level] = Cue(marks[i % len(marks)], DASHES[place], MARKERS[place])
    return out


def on_paper(colour: str) -> str:
    """The light theme's colour for what has this colour in the dark one."""
    return _ON_PAPER.get(colour, colour)


_ON_PAPER = {
    dark: light
    for name in ("ink", "muted", "line", "grid", "primary", "good", "caution", "wrong")
    for dark, light in [(getattr(DARK, name), getattr(LIGHT, name))]
} | dict(zip(DARK.marks, LIGHT.marks, strict=True))


def style_plot(dark: bool = False, ticks: Sequence[tuple[float, str]] | None = None) -> Callable[[Any, Any], None]:
    """A HoloViews hook through which every plot passes: fonts, colours, grid, legend outside the data.

    ``ticks`` replaces the y axis's ticks by ``(position, label)`` pairs, for probability scales.
    """
    colours = palette(dark)

    def hook(plot: Any, element: Any) -> None:
        figure = plot.state
        if not hasattr(figure, "xaxis"):
            return
        figure.background_fill_color = colours.surface
        figure.border_fill_color = colours.surface
        figure.outline_line_color = None
        figure.title.text_color = colours.ink
        figure.title.text_font = FONT
        figure.title.text_font_size = f"{TYPE['body']}px"
        for axis in [*figure.xaxis, *figure.yaxis]:
            axis.axis_line_color = colours.line
            axis.major_tick_line_color = colours.line
            axis.minor_tick_line_color = None
            axis.major_label_text_color = colours.muted
            axis.axis_label_text_color = colours.ink
            axis.axis_label_text_font_style = "normal"
            for part in ("major_label", "axis_label"):
                setattr(axis, f"{part}_text_font", FONT)
                setattr(axis, f"{part}_text_font_size", f"{TYPE['plot']}px")
        if type(figure.x_scale).__name__ == "LogScale":
            for axis in figure.xaxis:
                axis.ticker = list(LOG_TICKS)
        for grid in figure.grid:
            grid.grid_line_color = colours.grid
        if ticks is not None:
            for axis in figure.yaxis:
                axis.ticker = [position for position, _ in ticks]
                axis.major_label_overrides = {position: label for position, label in ticks}
        for legend in figure.legend:
            _style_legend(legend, colours)
        figure.toolbar.autohide = True
        figure.toolbar.logo = None

    return hook


def _style_legend(legend: Any, colours: Palette) -> None:
    legend.background_fill_color = colours.surface
    legend.background_fill_alpha = 0.9
    legend.border_line_color = None
    legend.label_text_color = colours.ink
    legend.label_text_font = FONT
    legend.label_text_font_size = f"{TYPE['plot']}px"
    legend.glyph_width = 28  # long enough to tell a dash from a dot
    legend.padding = SPACE["xs"]
    legend.margin = 0  # below a plot it hangs out of it by so much
    legend.click_policy = "none"


#: Colours in style sheets: custom properties that the page frame sets for each theme. A part that is shown alone, as in
#: a cell of a notebook, has those of the light one.
NAMES = (
    "ink", "muted", "primary", "on_primary", "rule", "surface", "ground", "good", "caution", "wrong", "bar", "on_bar",
)  # fmt: skip
CSS = {name: f"var(--{name.replace('_', '-')}, {getattr(LIGHT, name)})" for name in NAMES}

#: Where the keyboard is.
FOCUS = f":focus-visible {{ outline: 3px solid {CSS['primary']}; outline-offset: 2px; }}"


def properties(colours: Palette) -> str:
    """The custom properties of one theme, as a style sheet declares them."""
    return " ".join(f"--{name.replace('_', '-')}: {getattr(colours, name)};" for name in NAMES)


def palette_css(dark: bool = False) -> str:
    """The colours of a part that stands without the frame, with its ground."""
    scheme = "dark" if dark else "light"
    return f":host {{ {properties(palette(dark))} color-scheme: {scheme}; background: {palette(dark).ground}; }}"


def sign() -> str:
    """The dashboard's sign in the browser's tab: two electrodes and the gap between them."""
    drawn = "M3 9a5 5 0 0 1 0 14zM29 9a5 5 0 0 0 0 14z"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" rx="6" '
        f'fill="{LIGHT.bar}"/><path d="{drawn}" fill="{LIGHT.on_bar}"/><path d="M11 16l3-3 3 5 4-3" fill="none" '
        f'stroke="{DARK.caution}" stroke-width="2"/></svg>'
    )
