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
_NAMES = (
    "ink", "muted", "primary", "on_primary", "rule", "surface", "ground", "good", "caution", "wrong", "bar", "on_bar",
)  # fmt: skip
_CSS = {name: f"var(--{name.replace('_', '-')}, {getattr(LIGHT, name)})" for name in _NAMES}

#: Where the keyboard is.
FOCUS = f":focus-visible {{ outline: 3px solid {_CSS['primary']}; outline-offset: 2px; }}"


def _properties(colours: Palette) -> str:
    return " ".join(f"--{name.replace('_', '-')}: {getattr(colours, name)};" for name in _NAMES)


def palette_css(dark: bool = False) -> str:
    """The colours of a part that stands without the frame, with its ground."""
    scheme = "dark" if dark else "light"
    return f":host {{ {_properties(palette(dark))} color-scheme: {scheme}; background: {palette(dark).ground}; }}"


def sign() -> str:
    """The dashboard's sign in the browser's tab: two electrodes and the gap between them."""
    drawn = "M3 9a5 5 0 0 1 0 14zM29 9a5 5 0 0 0 0 14z"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" rx="6" '
        f'fill="{LIGHT.bar}"/><path d="{drawn}" fill="{LIGHT.on_bar}"/><path d="M11 16l3-3 3 5 4-3" fill="none" '
        f'stroke="{DARK.caution}" stroke-width="2"/></svg>'
    )


#: Where the menu lies over the page instead of beside it.
_NARROW = "max-width: 599.95px"
_BAR_PX, _SIDE_PX = 44, 208


def frame_css() -> str:
    """Rules of the page frame: where bar, menu and page are, its colours in each theme, and what paper shows."""
    return f"""
:host {{ {_properties(LIGHT)} color-scheme: light; display: grid !important;
  grid-template: {_BAR_PX}px 1fr / {_SIDE_PX}px minmax(0, 1fr); min-height: 100vh;
  background: {_CSS["ground"]}; color: {_CSS["ink"]}; }}
:host([data-theme="dark"]) {{ {_properties(DARK)} color-scheme: dark; }}
:host([data-menu="closed"]) {{ grid-template-columns: 0 minmax(0, 1fr); }}
.main {{ padding: 10px {SPACE["m"]}px {SPACE["l"]}px !important; box-sizing: border-box; }}
.head {{ grid-column: 1 / -1; position: sticky; top: 0; z-index: 40; width: auto; }}
.side {{ grid-row: 2; position: sticky; top: {_BAR_PX}px; height: calc(100vh - {_BAR_PX}px); width: {_SIDE_PX}px;
  box-sizing: border-box; overflow: hidden auto; padding: {SPACE["s"]}px 0 {SPACE["l"]}px;
  background: {_CSS["surface"]}; border-right: 1px solid {_CSS["rule"]}; }}
.main {{ grid-row: 2; grid-column: 2; width: auto; min-width: 0; }}
:host([data-menu="closed"]) .side {{ display: none; }}
@media ({_NARROW}) {{
  :host {{ grid-template-columns: 0 minmax(0, 1fr); }}
  .side {{ display: none; position: fixed; left: 0; z-index: 30; box-shadow: 0 0 24px rgb(0 0 0 / 40%); }}
  :host([data-menu="open"]) .side {{ display: flex; }}
}}
@media print {{
  :host, :host([data-theme="dark"]) {{ {_properties(LIGHT)} color-scheme: light; display: block !important;
    background: none; }}
  :host([data-theme="dark"]) {{ --plots-on-paper: invert(1) hue-rotate(180deg); }}
  .head, .side {{ display: none !important; }}
}}
"""


def head_css() -> str:
    """Rules of the bar across the top."""
    return f"""
:host {{ font-family: {FONT}; }}
header {{ position: relative; display: flex; align-items: center; gap: {SPACE["s"]}px; height: {_BAR_PX}px;
  box-sizing: border-box; padding: 0 {SPACE["m"]}px 0 {SPACE["s"]}px; background: {_CSS["bar"]};
  color: {_CSS["on_bar"]}; }}
.name {{ flex: 1; font-size: 21px; font-weight: 500; letter-spacing: 0.02em; }}
.bare {{ display: grid; place-items: center; width: 40px; height: 40px; padding: 0; border: none; border-radius: 50%;
  background: none; color: inherit; cursor: pointer; }}
.bare:hover {{ background: rgb(255 255 255 / 15%); }}
:focus-visible {{ outline: 3px solid {_CSS["on_bar"]}; outline-offset: -3px; }}
.sign, svg {{ display: block; width: 24px; height: 24px; }}
svg {{ fill: none; stroke: currentColor; stroke-width: 2; stroke-linecap: round; }}
.skip {{ position: absolute; left: {SPACE["s"]}px; top: -100px; z-index: 1; padding: {SPACE["s"]}px {SPACE["m"]}px;
  background: {_CSS["surface"]}; color: {_CSS["primary"]}; border: none; border-radius: 6px; font: inherit;
  font-size: {TYPE["body"]}px; }}
.skip:focus {{ top: 7px; outline-color: {_CSS["primary"]}; }}
.work {{ position: absolute; left: 0; right: 0; bottom: -3px; height: 3px; overflow: hidden; }}
.work::after {{ content: ""; position: absolute; inset: 0; width: 30%; background: {_CSS["primary"]};
  animation: work 1.2s ease-in-out infinite; }}
@keyframes work {{ from {{ left: -30%; }} to {{ left: 100%; }} }}
@media (prefers-reduced-motion: reduce) {{ .work::after {{ animation: none; width: 100%; opacity: 0.6; }} }}
"""


def page_css() -> str:
    """Rules of the document around the frame: its ground, and the bar that stands there until the page comes."""
    return f"""
html, body {{ margin: 0; background: {LIGHT.ground}; color: {LIGHT.ink}; font-family: {FONT}; }}
body {{ font-variant-numeric: tabular-nums; }}
html[data-theme="dark"] body {{ background: {DARK.ground}; color: {DARK.ink}; }}
#coming {{ position: absolute; inset: 0 0 auto; height: {_BAR_PX}px; display: flex; align-items: center;
  gap: {SPACE["l"]}px; padding-left: 56px; box-sizing: border-box; background: {LIGHT.bar}; color: {LIGHT.on_bar};
  font-size: {TYPE["body"]}px; }}
html[data-theme="dark"] #coming {{ background: {DARK.bar}; color: {DARK.on_bar}; }}
#coming b {{ font-size: 21px; font-weight: 500; letter-spacing: 0.02em; }}
#coming.failed span {{ font-weight: 600; }}
@media print {{ html, body, html[data-theme] body {{ background: none; color: {LIGHT.ink}; }} }}
"""


def text_css() -> str:
    """Rules of the text that pages show: headings, the answering sentence, explanations, captions."""
    return f"""
:host {{ font-family: {FONT}; color: {_CSS["ink"]}; font-size: {TYPE["body"]}px; line-height: 1.5; }}
h1 {{ font-size: {TYPE["h1"]}px; font-weight: 600; line-height: 1.3; margin: 0; }}
h2 {{ font-size: {TYPE["h2"]}px; font-weight: 500; line-height: 1.3; margin: {SPACE["m"]}px 0 0; }}
.top {{ display: flex; align-items: baseline; gap: 12px; min-width: 0; }}
.top .question {{ margin: 0; max-width: none; flex: 1; min-width: 0; font-size: 14px; white-space: nowrap;
  overflow: hidden; text-overflow: ellipsis; }}
h3 {{ font-size: {TYPE["body"]}px; font-weight: 600; margin: {SPACE["s"]}px 0 0; }}
p {{ margin: 0; max-width: 75ch; }}
p + p {{ margin-top: {SPACE["s"]}px; }}
ul {{ margin: 0; padding-left: 1.2em; max-width: 80ch; }}
a {{ color: {_CSS["primary"]}; }}
.question {{ color: {_CSS["muted"]}; margin-top: {SPACE["xs"]}px; }}
.answer {{ font-size: {TYPE["lead"]}px; line-height: 26px; font-weight: 500; min-height: 26px;
  border-left: 4px solid {_CSS["primary"]}; padding-left: 12px; font-variant-numeric: tabular-nums; }}
.answer.large {{ font-size: 25px; line-height: 32px; min-height: 32px; }}
.answer p {{ max-width: none; }}
.answer summary {{ list-style: none; }}
.answer summary::-webkit-details-marker {{ display: none; }}
.answer .more {{ color: {_CSS["primary"]}; font-size: 14px; font-weight: 600; white-space: nowrap; }}
.answer .more::after {{ content: "more ▸"; }} .answer [open] .more::after {{ content: "▾"; }}
@media ({_NARROW}) {{
  .answer.large {{ font-size: 21px; line-height: 28px; }}
  .plot-head .caption {{ display: none; }} .caption .phone {{ display: inline; }}
  .top {{ flex-wrap: wrap; }} .top .question {{ flex-basis: 100%; white-space: normal; }}
}}
.cautions {{ font-size: 14px; line-height: 24px; }}
.cautions > summary {{ display: flex; align-items: baseline; gap: {SPACE["s"]}px; min-width: 0;
  border-left: 4px solid {_CSS["caution"]}; padding-left: 12px; list-style: none; }}
.cautions > summary::-webkit-details-marker {{ display: none; }}
.cautions b {{ color: {_CSS["caution"]}; }}
.cautions .line {{ flex: 0 1 auto; min-width: 0; white-space: nowrap; overflow: hidden; text-overflow: ellipsis; }}
@media (max-width: 599.95px) {{ .cautions .line {{ white-space: normal; line-height: 1.4; }} }}
.cautions .count {{ flex: none; color: {_CSS["primary"]}; font-weight: 600; }}
.cautions > summary::after {{ content: "▸"; flex: none; color: {_CSS["primary"]}; }}
.cautions[open] > summary::after {{ content: "▾"; }}
.cautions[open] .line, .cautions[open] .count {{ visibility: hidden; }}
.cautions .notice {{ line-height: 1.45; margin-top: {SPACE["xs"]}px; }}
.plot-head {{ display: flex; align-items: baseline; gap: 12px; }}
.plot-head h2 {{ margin: 0; font-size: {TYPE["body"]}px; font-weight: 600; flex: none; max-width: 100%; }}
.plot-head .caption {{ flex: 1; min-width: 0; white-space: nowrap; overflow: hidden; text-overflow: ellipsis;
  max-width: none; }}
.caption .phone {{ display: none; }}
.hint {{ color: {_CSS["muted"]}; font-size: {TYPE["small"]}px; line-height: 1.4; margin: 0; max-width: 60ch; }}
footer .hint, .hint.caption {{ max-width: 110ch; }}
.rows {{ list-style: none; padding: 0; max-width: none; font-size: 14px; line-height: 1.35; }}
.silent {{ position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }}
.notice {{ max-width: 120ch; font-size: 14px; border-left: 4px solid {_CSS["caution"]};
  padding: {SPACE["xs"]}px {SPACE["m"]}px; }}
.notice.wrong {{ border-color: {_CSS["wrong"]}; }}
.notice.calm {{ border-color: {_CSS["rule"]}; }}
.notice b {{ font-weight: 600; }}
dl {{ margin: 0; max-width: 80ch; }} dt {{ font-weight: 600; margin-top: {SPACE["s"]}px; }} dd {{ margin: 0; }}
details > summary {{ cursor: pointer; }}
progress {{ width: 100%; height: 6px; accent-color: {_CSS["primary"]}; }}
hr {{ border: none; border-top: 1px solid {_CSS["rule"]}; margin: 0; }}
.head {{ display: flex; flex-wrap: wrap; justify-content: space-between; align-items: end; gap: {SPACE["s"]}px; }}
.save {{ font-size: {TYPE["small"]}px; text-decoration: none; padding: {SPACE["xs"]}px {SPACE["s"]}px; }}
button.save {{ background: none; border: none; color: {_CSS["primary"]}; cursor: pointer; font-family: inherit; }}
.save:hover {{ text-decoration: underline; }}
.save::before {{ content: "↓"; padding-right: 0.4em; }}
.help {{ border-top: 1px solid {_CSS["rule"]}; padding-top: {SPACE["m"]}px; }}
.help summary {{ font-size: {TYPE["h2"]}px; font-weight: 500; }}
.help summary h2 {{ display: inline; margin: 0; }}
.help p {{ margin-top: {SPACE["s"]}px; }}
.scroll {{ overflow-x: auto; max-width: 100%; }}
table {{ border-collapse: separate; border-spacing: 0; min-width: min(100%, 480px); font-size: 14px; line-height: 1.35;
  background: {_CSS["surface"]}; font-variant-numeric: tabular-nums; }}
th, td {{ padding: 7px {SPACE["m"]}px 7px 12px; text-align: left; vertical-align: top; white-space: nowrap;
  border-bottom: 1px solid {_CSS["rule"]}; }}
thead th {{ font-weight: 600; vertical-align: bottom; border-bottom-width: 2px; white-space: normal;
  text-wrap: balance; }}
th button {{ font: inherit; color: inherit; background: none; border: none; padding: 0; margin: 0; text-align: inherit;
  cursor: pointer; }}
th button:hover {{ text-decoration: underline; }}
th[aria-sort="ascending"] button::after {{ content: " ▲"; }}
th[aria-sort="descending"] button::after {{ content: " ▼"; }}
th.rest, td.rest {{ display: none; }}
button.more {{ font: inherit; font-size: {TYPE["small"]}px; color: {_CSS["primary"]}; background: none; border: none;
  padding: {SPACE["xs"]}px 0; cursor: pointer; }}
tr[data-row] {{ cursor: pointer; }}
tr[aria-selected="true"], tr[aria-selected="true"] td:first-child {{
  background: color-mix(in srgb, {_CSS["primary"]} 18%, {_CSS["surface"]}) !important; }}
tr[aria-selected="true"] td:first-child {{ box-shadow: inset 4px 0 {_CSS["primary"]}; }}
th.number, td.number {{ text-align: right; }}
td.long {{ white-space: normal; min-width: 34ch; max-width: 60ch; }}
tbody tr:hover {{ background: {_CSS["ground"]}; }}
/* The first column says what a row is: it stays while the others are scrolled. */
th:first-child, td:first-child {{ position: sticky; left: 0; background: {_CSS["surface"]}; }}
tbody tr:hover td:first-child {{ background: {_CSS["ground"]}; }}
@media print {{
  .scroll {{ overflow: visible; }}
  .save {{ display: none; }}
  table {{ font-size: 9px; }}
  th, td, td.long {{ position: static !important; white-space: normal; padding: 3px 5px; min-width: 0; }}
}}
{FOCUS}
"""


def control_css() -> str:
    """Rules of choices and fields: label above, explanation below, edges that reach a contrast of 3:1."""
    ink, muted, primary = _CSS["ink"], _CSS["muted"], _CSS["primary"]
    surface = _CSS["surface"]
    return f"""
:host {{ font-family: {FONT}; color: {ink}; font-size: {TYPE["body"]}px; line-height: 1.4; }}
.control {{ position: relative; margin: 0; padding: 0; border: none; min-width: 0; }}
.control > label:not(.tick), legend {{ display: block; padding: 0 18px 0 0; margin-bottom: 2px;
  font-size: {TYPE["small"]}px; line-height: 18px; font-weight: 500; }}
.hint {{ position: fixed; inset: auto; box-sizing: content-box; margin: 0; padding: {SPACE["s"]}px 10px;
  border: 1px solid {muted}; border-radius: 6px; background: {surface}; color: {ink}; font-size: {TYPE["small"]}px;
  box-shadow: 0 4px 14px rgb(0 0 0 / 25%); pointer-events: none; }}
.hint.wrong {{ color: {_CSS["wrong"]}; }}
.ask {{ position: absolute; top: 1px; right: 0; width: 16px; height: 16px; border-radius: 50%; text-align: center;
  font-size: 11px; line-height: 16px; color: {muted}; cursor: help; }}
.ask.at-tick {{ top: 7px; }}
fieldset > .ask {{ top: -19px; }}
.ask:hover {{ background: {_CSS["rule"]}; color: {ink}; }}
.frame {{ position: relative; }}
.frame::after {{ content: ""; position: absolute; right: 12px; top: 10px; width: 7px; height: 7px;
  border: solid {muted}; border-width: 0 2px 2px 0; transform: rotate(45deg); pointer-events: none; }}
select, summary, textarea, input[type="number"], input[type="text"] {{ appearance: none; box-sizing: border-box;
  width: 100%; height: 32px; padding: 0 28px 0 10px; font: inherit; font-size: 14px; color: inherit;
  background: {surface}; border: 1px solid {muted}; border-radius: 6px; white-space: nowrap; overflow: hidden;
  text-overflow: ellipsis;
  cursor: pointer; }}
summary {{ display: block; line-height: 30px; }}
input[type="number"], input[type="text"], textarea {{ padding-right: 10px; cursor: text;
  font-variant-numeric: tabular-nums; }}
textarea {{ height: auto; padding-top: 8px; padding-bottom: 8px; white-space: pre; resize: vertical; }}
::placeholder {{ color: {muted}; opacity: 1; }}
.tick {{ display: flex; align-items: center; gap: 8px; min-height: 30px; cursor: pointer; }}
.tick input {{ width: 18px; height: 18px; margin: 0; flex: none; accent-color: {primary}; cursor: pointer; }}
.tick span {{ font-size: 14px; font-weight: 500; }}
.slide {{ display: flex; align-items: center; gap: {SPACE["s"]}px; height: 32px; }}
.slide input[type="range"] {{ flex: 1; min-width: 0; height: 24px; margin: 0; accent-color: {primary};
  cursor: pointer; }}
.slide input.idle {{ opacity: 0.55; }}
.slide input[type="number"] {{ flex: none; width: 66px; padding: 0 2px 0 {SPACE["s"]}px; }}
.slide input[type="number"]::placeholder {{ font-size: 11px; }}
summary::-webkit-details-marker {{ display: none; }}
option {{ color: {ink}; background: {surface}; }}
select:disabled, input:disabled, textarea:disabled, summary[aria-disabled="true"] {{ opacity: 0.6; cursor: default; }}
.list {{ position: absolute; z-index: 20; left: 0; min-width: 100%; box-sizing: border-box; max-height: 300px;
  overflow: auto; margin-top: {SPACE["xs"]}px; padding: {SPACE["xs"]}px 0; background: {surface};
  border: 1px solid {muted}; border-radius: 6px; box-shadow: 0 4px 14px rgb(0 0 0 / 25%); }}
.list label {{ display: flex; align-items: center; gap: 10px; padding: 7px {SPACE["m"]}px 7px 12px; cursor: pointer;
  white-space: nowrap; }}
.list label:hover {{ background: {_CSS["ground"]}; }}
.list input {{ width: 17px; height: 17px; margin: 0; accent-color: {primary}; flex: none; }}
.list input:disabled + span {{ opacity: 0.6; }}
.buttons {{ display: flex; flex-wrap: wrap; }}
.buttons label {{ position: relative; flex: 1 1 auto; margin: 0 -1px -1px 0; cursor: pointer; }}
.buttons input {{ position: absolute; inset: 0; width: 100%; height: 100%; margin: 0; opacity: 0;
  pointer-events: none; }}
.buttons span {{ display: block; box-sizing: border-box; min-height: 32px; padding: 6px {SPACE["s"]}px;
  text-align: center; border: 1px solid {muted}; background: {surface}; font-size: {TYPE["small"]}px; }}
.buttons label:first-child span {{ border-radius: 6px 0 0 6px; }}
.buttons label:last-child span {{ border-radius: 0 6px 6px 0; }}
.buttons input:checked + span {{ background: {primary}; border-color: {primary}; color: {_CSS["on_primary"]}; }}
.buttons input:disabled + span {{ opacity: 0.6; }}
.buttons label:hover input:enabled:not(:checked) + span,
select:hover:enabled, summary:hover, textarea:hover:enabled, input[type="number"]:hover:enabled,
input[type="text"]:hover:enabled {{ border-color: {primary}; }}
:focus-visible, .buttons input:focus-visible + span {{ outline: 3px solid {primary}; outline-offset: 2px; }}
@media (forced-colors: active) {{ .buttons input:checked + span {{ outline: 3px solid Highlight; }} }}
"""


def action_css() -> str:
    """Rules of what is pressed."""
    ink, muted, primary, surface = _CSS["ink"], _CSS["muted"], _CSS["primary"], _CSS["surface"]
    return f"""
:host {{ font-family: {FONT}; color: {ink}; font-size: 14px; line-height: 1.4; }}
button, .drop > label {{ display: inline-block; box-sizing: border-box; min-height: 32px; padding: 5px 14px;
  font: inherit; font-weight: 500; text-align: center; border: 1px solid {muted}; border-radius: 6px;
  background: {surface}; color: {primary}; cursor: pointer; transition: background-color 0.12s, border-color 0.12s; }}
button:hover:enabled, .drop > label:hover {{ border-color: {primary}; background: {_CSS["ground"]}; }}
button.main, .drop > label.main {{ background: {primary}; border-color: {primary}; color: {_CSS["on_primary"]}; }}
button.main:hover:enabled, .drop > label.main:hover {{ filter: brightness(1.12); background: {primary}; }}
button.quiet {{ border-color: transparent; background: none; padding: 8px; }}
button.quiet:hover:enabled {{ text-decoration: underline; border-color: transparent; background: none; }}
button.save::before {{ content: "↓"; padding-right: 0.4em; }}
button:disabled {{ opacity: 0.55; cursor: default; }}
.hint {{ color: {muted}; font-size: {TYPE["small"]}px; margin: {SPACE["xs"]}px 0 0; max-width: 60ch; }}
.drop {{ position: relative; }}
.drop.main {{ padding: {SPACE["m"]}px; border: 1px dashed {muted}; border-radius: 6px; }}
.drop.main span {{ display: inline-block; padding-left: 12px; color: {muted}; }}
.drop input {{ position: absolute; width: 1px; height: 1px; opacity: 0; }}
.drop.over {{ outline: 2px dashed {primary}; outline-offset: 4px; }}
.drop input:focus-visible + label {{ outline: 3px solid {primary}; outline-offset: 2px; }}
.take {{ display: flex; gap: 2px; }}
.take button {{ min-height: 22px; padding: 0 5px; font-size: 12px; color: {muted}; }}
.take.main {{ gap: {SPACE["s"]}px; align-items: center; font-weight: 500; }}
.take.main button {{ min-height: 32px; padding: 5px 14px; font-size: 14px; color: {primary};
  border: 1px solid {muted}; border-radius: 6px; background: {surface}; }}
.take.busy {{ opacity: 0.5; }}
.turn {{ display: flex; align-items: center; gap: {SPACE["xs"]}px; }}
.turn button {{ min-width: 38px; padding: 4px; font-size: 18px; line-height: 1; }}
.where {{ padding: 0 {SPACE["s"]}px; white-space: nowrap; font-variant-numeric: tabular-nums; }}
.fold {{ margin: 0; font-size: {TYPE["h2"]}px; font-weight: 500; }}
h3.fold {{ font-size: {TYPE["body"]}px; }}
.fold button {{ position: relative; width: 100%; padding: 6px 0 6px 26px; text-align: left; font-weight: inherit;
  border-width: 1px 0 0; border-color: {_CSS["rule"]}; border-radius: 0; background: none; color: {ink}; }}
.fold button:hover:enabled {{ background: none; border-color: {_CSS["rule"]}; color: {primary}; }}
.fold button::before {{ content: ""; position: absolute; left: 6px; top: 13px; width: 7px; height: 7px;
  border: solid {muted}; border-width: 0 2px 2px 0; transform: rotate(-45deg); }}
.fold button[aria-expanded="true"]::before {{ transform: rotate(45deg); }}
@media print {{ button, .drop, .turn {{ display: none; }} .fold button {{ display: block; }} }}
{FOCUS}
@media (prefers-reduced-motion: reduce) {{ * {{ transition: none !important; }} }}
"""


def legend_css() -> str:
    """Rules of the legend of a plot."""
    return f"""
:host {{ font-family: {FONT}; color: {_CSS["ink"]}; font-size: {TYPE["small"]}px; }}
.legend {{ display: flex; flex-wrap: wrap; gap: 0 {SPACE["s"]}px; }}
@media (min-width: 900px) {{
  :host(.many) .legend {{ flex-direction: column; flex-wrap: nowrap; height: 100%; overflow-y: auto; }}
  :host(.many) button:first-child {{ margin-top: auto; }}
  :host(.many) button:last-child {{ margin-bottom: auto; }}
  :host(.many) button {{ flex: none; height: auto; min-height: 24px; white-space: normal; text-align: left; }}
}}
button {{ display: inline-flex; align-items: center; gap: 5px; height: 24px; padding: 0 6px 0 2px; border: none;
  border-radius: 4px; background: none; color: inherit; font: inherit; cursor: pointer; white-space: nowrap; }}
button:hover {{ background: {_CSS["rule"]}; }}
button[aria-pressed="true"] {{ font-weight: 600; background: {_CSS["rule"]}; }}
button.away {{ color: {_CSS["muted"]}; }}
button.away svg {{ opacity: 0.4; }}
svg {{ width: 28px; height: 16px; flex: none; }}
{FOCUS}
"""


def plot_css() -> str:
    """Rules of a main plot and its legend: above it, or where the lines are many beside it."""
    return f"""
@media (min-width: 900px) {{
  :host(.many) {{ flex-direction: row-reverse !important; gap: {SPACE["xs"]}px; background: {_CSS["surface"]}; }}
  :host(.many) .names {{ flex: none !important; width: max-content !important; max-width: 206px; }}
  :host(.many) .canvas {{ flex: 1 1 0 !important; width: auto !important; min-width: 0; }}
}}
@media (max-width: 899.95px) {{ :host {{ height: auto !important; }} .canvas {{ min-height: 60vh; }} }}
"""


#: Heights of what stands above a page's plot: bar, head, sentence, caution, and around the canvas its own head.
_ABOVE_PX = 220


def stage_css() -> str:
    """Rules of a page's first screen: the plot, whole, and beside it the controls that change it."""
    return f"""
:host {{ display: grid !important; grid-template-columns: minmax(0, 1fr) 236px; column-gap: {SPACE["m"]}px;
  align-items: start; }}
.plot {{ width: auto; min-width: 0; }}
.beside {{ width: auto; min-width: 0; }}
@media (max-width: 899.95px) {{
  :host {{ grid-template-columns: minmax(0, 1fr); row-gap: {SPACE["m"]}px; }}
  .plot {{ --most: 60vh; }}
}}
"""


#: Height of the canvas of a page's main plot.
PLOT_HEIGHT = f"max(280px, min(var(--most, 100vh), calc(100vh - {_ABOVE_PX}px - var(--more-above, 0px))))"


def menu_css() -> str:
    """Rules of the list of pages."""
    return f"""
:host {{ font-family: {FONT}; color: {_CSS["ink"]}; font-size: 14px; }}
ul {{ list-style: none; margin: 0; padding: 0 0 {SPACE["s"]}px; border-bottom: 1px solid {_CSS["rule"]}; }}
a {{ display: flex; align-items: center; gap: 10px; padding: 5px {SPACE["s"]}px 5px 12px; color: inherit;
  text-decoration: none; border-left: 4px solid transparent; }}
a:hover {{ background: {_CSS["ground"]}; }}
a[aria-current] {{ font-weight: 600; border-color: {_CSS["primary"]}; background: {_CSS["ground"]}; }}
a:focus-visible {{ outline: 3px solid {_CSS["primary"]}; outline-offset: -3px; }}
svg {{ width: 22px; height: 22px; flex: none; fill: none; stroke: currentColor; stroke-width: 1.7;
  stroke-linecap: round; stroke-linejoin: round; }}
"""


def _tint(name: str, percent: int) -> str:
    return f"color-mix(in srgb, {_CSS[name]} {percent}%, {_CSS['surface']})"


def grid_css() -> str:
    """Rules of a sheet that is shown as it stands in its file: what a cell was taken for is a tint and a letter."""
    ink, muted, primary, surface = _CSS["ink"], _CSS["muted"], _CSS["primary"], _CSS["surface"]
    return f"""
:host {{ font-family: {FONT}; color: {ink}; font-size: {TYPE["small"]}px; line-height: 1.35; }}
.sheet {{ overflow: auto; width: fit-content; max-width: 100%; max-height: 460px;
  border: 1px solid {_CSS["rule"]}; border-radius: 6px;
  background: {surface}; }}
table {{ border-collapse: separate; border-spacing: 0; font-variant-numeric: tabular-nums; user-select: none; }}
th, td {{ padding: 0; border: solid {_CSS["rule"]}; border-width: 0 1px 1px 0; }}
td {{ position: relative; box-sizing: border-box; min-width: 62px; max-width: 190px; height: 27px;
  padding: 3px 8px 3px 20px; white-space: nowrap; overflow: hidden; text-overflow: ellipsis; cursor: cell; }}
td i {{ position: absolute; left: 5px; top: 4px; font-style: normal; font-size: 10px; font-weight: 600;
  color: {muted}; }}
th {{ position: sticky; z-index: 1; background: {_CSS["ground"]}; }}
thead th {{ top: 0; z-index: 2; }}
th:first-child {{ left: 0; }}
thead th:first-child {{ z-index: 3; }}
th button {{ display: block; box-sizing: border-box; width: 100%; min-width: 40px; min-height: 27px; padding: 2px 8px;
  font: inherit; font-weight: 600; color: {muted}; background: none; border: none; cursor: pointer; }}
th button:hover {{ color: {primary}; text-decoration: underline; }}
[data-hue="primary"] {{ background: {_tint("primary", 20)}; }}
[data-hue="good"] {{ background: {_tint("good", 16)}; }}
[data-hue="caution"] {{ background: {_tint("caution", 20)}; }}
[data-hue="wrong"] {{ background: {_tint("wrong", 22)}; }}
[data-hue="ink"] {{ background: {_tint("ink", 10)}; font-weight: 600; }}
[data-hue="none"] {{ color: {muted}; }}
[data-hue="out"] {{ color: {muted}; text-decoration: line-through; }}
td i, [data-hue="out"] i {{ text-decoration: none; }}
td[aria-selected="true"] {{ box-shadow: inset 0 0 0 2px {primary}; }}
th.in button {{ color: {_CSS["on_primary"]}; background: {primary}; }}
td:focus-visible, th button:focus-visible {{ outline: 3px solid {primary}; outline-offset: -3px; }}
.legend {{ display: flex; flex-wrap: wrap; gap: {SPACE["xs"]}px {SPACE["m"]}px; margin: 0 0 {SPACE["s"]}px; padding: 0;
  list-style: none; }}
.legend b {{ display: inline-block; min-width: 18px; margin-right: 6px; padding: 1px 3px; text-align: center;
  font-size: 11px; border: 1px solid {_CSS["rule"]}; border-radius: 3px; text-decoration: none; }}
@media print {{ .sheet {{ max-height: none; overflow: visible; }} }}
{FOCUS}
"""
