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
    bar="#16414D", on_bar="#FFFFFF", primary="#1B6478", on_primary="#FFFFFF",
    good="#1B6E3C", caution="#8A5200", wrong="#B3261E",
    marks=("#7A3E9D", "#B37A00", "#333333", "#C51B7D", "#117733", "#D860F0"),
)  # fmt: skip

DARK = Palette(
    ground="#14181B", surface="#1B2024", ink="#E8ECEE", muted="#AEB9BE", line="#7F8B91", grid="#2C3439",
    bar="#0F2F38", on_bar="#F2F7F8", primary="#7CC4D6", on_primary="#0C2026",
    good="#7FD39B", caution="#F0B65A", wrong="#FF9A92",
    marks=("#6FA8FF", "#F0E442", "#D55E00", "#CC79A7", "#B8E986", "#A0A070"),
)  # fmt: skip

#: Beyond this many levels in one plot, colours and dashes no longer tell them apart: use small multiples.
MOST_LEVELS = len(LIGHT.marks)

DASHES: tuple[str, ...] = ("solid", "dashed", "dotdash", "dotted", "dashdot", "solid")
MARKERS: tuple[str, ...] = ("circle", "square", "triangle", "diamond", "inverted_triangle", "plus")

#: A withstand is not a value: wherever it is drawn it has this mark and no other mark has it.
WITHSTOOD_MARKER = "asterisk"

FONT = "Roboto, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
#: Type scale in px: the sentence that answers the page's question stands out most after the heading.
TYPE = {"small": 13, "body": 15, "lead": 20, "h2": 18, "h1": 26, "plot": 13}
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
    level keeps its colour when its neighbours are filtered away. Beyond :data:`MOST_LEVELS` the looks
    repeat, with the next dash.
    """
    marks = palette(dark).marks
    out = {}
    for i, level in enumerate(dict.fromkeys(levels)):
        turn = i // len(marks)
        out[level] = Cue(
            marks[i % len(marks)], DASHES[(i + turn) % len(DASHES)], MARKERS[(i + 2 * turn) % len(MARKERS)]
        )
    return out


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
    legend.click_policy = "none"


def _scheme(colours: Palette) -> dict[str, Any]:
    return {
        "palette": {
            "primary": {"main": colours.primary, "contrastText": colours.on_primary},
            "secondary": {"main": colours.muted, "contrastText": colours.surface},
            "success": {"main": colours.good},
            "warning": {"main": colours.caution},
            "error": {"main": colours.wrong},
            "info": {"main": colours.primary},
            "background": {"default": colours.ground, "paper": colours.surface},
            "text": {"primary": colours.ink, "secondary": colours.muted},
            "divider": colours.line if colours is DARK else colours.grid,
        },
        "typography": {
            "fontFamily": FONT,
            "fontSize": 14,
            "h1": {"fontSize": TYPE["h1"], "fontWeight": 500},
            "h2": {"fontSize": TYPE["h2"], "fontWeight": 500},
            "h3": {"fontSize": TYPE["body"], "fontWeight": 500},
            "button": {"textTransform": "none"},
        },
        "shape": {"borderRadius": 6},
        "components": {
            name: {"styleOverrides": {"root": _STILL | (_MENU if name == "MuiDrawer" else {})}}
            for name in ("MuiButtonBase", "MuiDrawer", "MuiCollapse", "MuiLinearProgress", "MuiTooltip", "MuiSwitch")
        },
    }


def components() -> dict[str, Any]:
    """The theme that panel-material-ui's components follow, light and dark."""
    return {"light": _scheme(LIGHT), "dark": _scheme(DARK)}


#: Colours in style sheets, as the custom properties that panel-material-ui keeps in step with the theme.
_CSS = {
    "ink": "var(--panel-on-background-color)",
    "muted": "var(--panel-on-secondary-color)",
    "primary": "var(--panel-primary-color)",
    "on_primary": "var(--mui-palette-primary-contrastText, Canvas)",
    "rule": "var(--divider-color)",
    "surface": "var(--panel-surface-color)",
    "ground": "var(--panel-background-color)",
    "caution": "var(--mui-palette-warning-main)",
    "wrong": "var(--danger-bg-color)",
}

#: Where the keyboard is.
FOCUS = f":focus-visible {{ outline: 3px solid {_CSS['primary']}; outline-offset: 2px; }}"

#: The menu that lies over the page; see :func:`page_css` for when it stays away.
_MENU = {"&.MuiDrawer-modal": {"display": "var(--menu-over-page, flex) !important"}}

_STILL = {
    "@media (prefers-reduced-motion: reduce)": {
        "&, & *": {"animation": "none !important", "transition": "none !important"}
    }
}


def frame_rules() -> dict[str, Any]:
    """Rules of the page frame (``sx``): the bar's colour, and what paper shows."""
    flow = {"height": "auto !important", "overflow": "visible !important", "display": "block !important"}
    return {
        "& .header": {"backgroundColor": LIGHT.bar, "color": LIGHT.on_bar, "boxShadow": "none"},
        ".mui-dark & .header, &.mui-dark .header": {"backgroundColor": DARK.bar},
        "& .header .title": {"fontSize": "1.35rem", "fontWeight": 500, "letterSpacing": "0.02em"},
        "@media print": {
            **flow,
            "& .header, & nav": {"display": "none !important"},
            "& .main, & .main-content, & .main > div": {**flow, "margin": "0 !important"},
        },
    }


def page_css() -> str:
    """Rules of the whole document: type, and printing all of it instead of one screenful."""
    return f"""
body {{ font-family: {FONT}; font-variant-numeric: tabular-nums; }}
{FOCUS}
main:focus {{ outline: none; }}
#skip-link {{ position: fixed; left: {SPACE["s"]}px; top: -100px; z-index: 5000; padding: {SPACE["s"]}px {SPACE["m"]}px;
  background: {LIGHT.surface}; color: {LIGHT.primary}; border: none; border-radius: 6px; font-size: {TYPE["body"]}px; }}
#skip-link:focus {{ top: {SPACE["s"]}px; }}
/* While the page is being drawn, what is there already can be read and used: a small ring in the corner is enough. */
#loader:not(.error) {{ background: none; pointer-events: none; align-items: flex-end; justify-content: flex-end;
  padding: {SPACE["l"]}px; box-sizing: border-box; }}
#loader .spinner {{ width: 28px; height: 28px; border: 3px solid {LIGHT.grid}; border-top-color: {LIGHT.primary}; }}
/* On a phone the menu lies over the page: it stays away until the page has closed it. */
@media (max-width: 599.95px) {{ html:not([data-menu-settled]) {{ --menu-over-page: none; }} }}
@media print {{
  html, body {{ height: auto !important; overflow: visible !important; }}
  #skip-link {{ display: none; }}
}}
"""


def text_css() -> str:
    """Rules of the text that pages show: headings, the answering sentence, explanations, captions."""
    return f"""
:host {{ font-family: {FONT}; color: {_CSS["ink"]}; font-size: {TYPE["body"]}px; line-height: 1.5; }}
h1 {{ font-size: {TYPE["h1"]}px; font-weight: 500; line-height: 1.25; margin: 0; }}
h2 {{ font-size: {TYPE["h2"]}px; font-weight: 500; line-height: 1.3; margin: {SPACE["m"]}px 0 0; }}
h3 {{ font-size: {TYPE["body"]}px; font-weight: 600; margin: {SPACE["s"]}px 0 0; }}
p {{ margin: 0; max-width: 75ch; }}
p + p {{ margin-top: {SPACE["s"]}px; }}
ul {{ margin: 0; padding-left: 1.2em; max-width: 80ch; }}
a {{ color: {_CSS["primary"]}; }}
.question {{ color: {_CSS["muted"]}; margin-top: {SPACE["xs"]}px; }}
.answer {{ font-size: {TYPE["lead"]}px; line-height: 1.4; font-weight: 500; max-width: 60ch;
  border-left: 4px solid {_CSS["primary"]}; padding-left: {SPACE["m"]}px; font-variant-numeric: tabular-nums; }}
.hint {{ color: {_CSS["muted"]}; font-size: {TYPE["small"]}px; line-height: 1.4; margin: 0; max-width: 60ch; }}
footer .hint, .hint.caption {{ max-width: 110ch; }}
.silent {{ position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }}
.notice {{ max-width: 120ch; font-size: 14px; border-left: 4px solid {_CSS["caution"]};
  padding: {SPACE["xs"]}px {SPACE["m"]}px; }}
.notice.wrong {{ border-color: {_CSS["wrong"]}; }}
.notice.calm {{ border-color: {_CSS["rule"]}; }}
.notice b {{ font-weight: 600; }}
dl {{ margin: 0; max-width: 80ch; }} dt {{ font-weight: 600; margin-top: {SPACE["s"]}px; }} dd {{ margin: 0; }}
details > summary {{ cursor: pointer; }}
hr {{ border: none; border-top: 1px solid {_CSS["rule"]}; margin: 0; }}
.head {{ display: flex; flex-wrap: wrap; justify-content: space-between; align-items: end; gap: {SPACE["s"]}px; }}
.save {{ font-size: {TYPE["small"]}px; text-decoration: none; padding: {SPACE["xs"]}px {SPACE["s"]}px; }}
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
thead th {{ font-weight: 600; vertical-align: bottom; border-bottom-width: 2px; }}
th.number, td.number {{ text-align: right; }}
td.long {{ white-space: normal; min-width: 34ch; max-width: 60ch; }}
tbody tr:hover {{ background: {_CSS["ground"]}; }}
/* The first column says what a row is: it stays while the others are scrolled. */
th:first-child, td:first-child {{ position: sticky; left: 0; background: {_CSS["surface"]}; }}
tbody tr:hover td:first-child {{ background: {_CSS["ground"]}; }}
@media print {{ .scroll {{ overflow: visible; }} th:first-child, td:first-child {{ position: static; }} }}
{FOCUS}
"""


def control_css() -> str:
    """Rules of the choices: label above, explanation below, edges that reach a contrast of 3:1."""
    ink, muted, primary = _CSS["ink"], _CSS["muted"], _CSS["primary"]
    surface = "var(--panel-surface-color, Canvas)"
    return f"""
:host {{ font-family: {FONT}; color: {ink}; font-size: {TYPE["body"]}px; line-height: 1.4; }}
.control {{ margin: 0; padding: 0; border: none; min-width: 0; }}
.control > label, legend {{ display: block; padding: 0; margin-bottom: {SPACE["xs"]}px; font-size: {TYPE["small"]}px;
  font-weight: 500; }}
.hint {{ color: {muted}; font-size: {TYPE["small"]}px; margin: {SPACE["xs"]}px 0 0; max-width: 60ch; }}
.frame {{ position: relative; }}
.frame::after {{ content: ""; position: absolute; right: 14px; top: 13px; width: 7px; height: 7px;
  border: solid {muted}; border-width: 0 2px 2px 0; transform: rotate(45deg); pointer-events: none; }}
select, summary, input[type="number"] {{ appearance: none; box-sizing: border-box; width: 100%; height: 38px;
  padding: 0 32px 0 12px; font: inherit; color: inherit; background: {surface};
  border: 1px solid {muted}; border-radius: 6px; white-space: nowrap; overflow: hidden; text-overflow: ellipsis;
  cursor: pointer; }}
summary {{ display: block; line-height: 36px; }}
input[type="number"] {{ padding-right: 12px; cursor: text; font-variant-numeric: tabular-nums; }}
summary::-webkit-details-marker {{ display: none; }}
option {{ color: {ink}; background: {surface}; }}
select:disabled, input:disabled, summary[aria-disabled="true"] {{ opacity: 0.6; cursor: default; }}
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
.buttons span {{ display: block; box-sizing: border-box; min-height: 38px; padding: 8px 12px; text-align: center;
  border: 1px solid {muted}; background: {surface}; font-size: 14px; }}
.buttons label:first-child span {{ border-radius: 6px 0 0 6px; }}
.buttons label:last-child span {{ border-radius: 0 6px 6px 0; }}
.buttons input:checked + span {{ background: {primary}; border-color: {primary}; color: {_CSS["on_primary"]}; }}
.buttons input:disabled + span {{ opacity: 0.6; }}
.buttons label:hover input:enabled:not(:checked) + span,
select:hover:enabled, summary:hover, input[type="number"]:hover:enabled {{ border-color: {primary}; }}
:focus-visible, .buttons input:focus-visible + span {{ outline: 3px solid {primary}; outline-offset: 2px; }}
@media (forced-colors: active) {{ .buttons input:checked + span {{ outline: 3px solid Highlight; }} }}
"""


def menu_css() -> str:
    """Rules of the list of pages."""
    return f"""
:host {{ font-family: {FONT}; color: {_CSS["ink"]}; font-size: 14px; }}
ul {{ list-style: none; margin: 0; padding: 0 0 {SPACE["s"]}px; border-bottom: 1px solid {_CSS["rule"]}; }}
a {{ display: flex; align-items: center; gap: 10px; padding: 7px {SPACE["m"]}px 7px 12px; color: inherit;
  text-decoration: none; border-left: 4px solid transparent; }}
a:hover {{ background: {_CSS["ground"]}; }}
a[aria-current] {{ font-weight: 600; border-color: {_CSS["primary"]}; background: {_CSS["ground"]}; }}
a:focus-visible {{ outline: 3px solid {_CSS["primary"]}; outline-offset: -3px; }}
svg {{ width: 22px; height: 22px; flex: none; fill: none; stroke: currentColor; stroke-width: 1.7;
  stroke-linecap: round; stroke-linejoin: round; }}
"""
