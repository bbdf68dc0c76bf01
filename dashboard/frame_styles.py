"""Style sheets of where things stand: the document, the frame with bar and menu, a page's first screen, its plot."""

from __future__ import annotations

from dashboard.theme import CSS, DARK, FOCUS, FONT, LIGHT, SPACE, TYPE, properties

#: Where the menu lies over the page instead of beside it.
NARROW = "max-width: 599.95px"
_BAR_PX, _SIDE_PX = 44, 208
#: Heights of what stands above a page's plot: bar, head, sentence, caution, and around the canvas its own head.
_ABOVE_PX = 220
#: Height of the canvas of a page's main plot.
PLOT_HEIGHT = f"max(280px, min(var(--most, 100vh), calc(100vh - {_ABOVE_PX}px - var(--more-above, 0px))))"


def frame_css() -> str:
    """Rules of the page frame: where bar, menu and page are, its colours in each theme, and what paper shows."""
    return f"""
:host {{ {properties(LIGHT)} color-scheme: light; display: grid !important;
  grid-template: {_BAR_PX}px 1fr / {_SIDE_PX}px minmax(0, 1fr); min-height: 100vh;
  background: {CSS["ground"]}; color: {CSS["ink"]}; }}
:host([data-theme="dark"]) {{ {properties(DARK)} color-scheme: dark; }}
:host([data-menu="closed"]) {{ grid-template-columns: 0 minmax(0, 1fr); }}
.main {{ padding: 10px {SPACE["m"]}px {SPACE["l"]}px !important; box-sizing: border-box; }}
.head {{ grid-column: 1 / -1; position: sticky; top: 0; z-index: 40; width: auto; }}
.side {{ grid-row: 2; position: sticky; top: {_BAR_PX}px; height: calc(100vh - {_BAR_PX}px); width: {_SIDE_PX}px;
  box-sizing: border-box; overflow: hidden auto; padding: {SPACE["s"]}px 0 {SPACE["l"]}px;
  background: {CSS["surface"]}; border-right: 1px solid {CSS["rule"]}; }}
.main {{ grid-row: 2; grid-column: 2; width: auto; min-width: 0; }}
:host([data-menu="closed"]) .side {{ display: none; }}
@media ({NARROW}) {{
  :host {{ grid-template-columns: 0 minmax(0, 1fr); }}
  .side {{ display: none; position: fixed; left: 0; z-index: 30; box-shadow: 0 0 24px rgb(0 0 0 / 40%); }}
  :host([data-menu="open"]) .side {{ display: flex; }}
}}
@media print {{
  :host, :host([data-theme="dark"]) {{ {properties(LIGHT)} color-scheme: light; display: block !important;
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
  box-sizing: border-box; padding: 0 {SPACE["m"]}px 0 {SPACE["s"]}px; background: {CSS["bar"]};
  color: {CSS["on_bar"]}; }}
.name {{ flex: 1; font-size: 21px; font-weight: 500; letter-spacing: 0.02em; }}
.bare {{ display: grid; place-items: center; width: 40px; height: 40px; padding: 0; border: none; border-radius: 50%;
  background: none; color: inherit; cursor: pointer; }}
.bare:hover {{ background: rgb(255 255 255 / 15%); }}
:focus-visible {{ outline: 3px solid {CSS["on_bar"]}; outline-offset: -3px; }}
.sign, svg {{ display: block; width: 24px; height: 24px; }}
svg {{ fill: none; stroke: currentColor; stroke-width: 2; stroke-linecap: round; }}
.skip {{ position: absolute; left: {SPACE["s"]}px; top: -100px; z-index: 1; padding: {SPACE["s"]}px {SPACE["m"]}px;
  background: {CSS["surface"]}; color: {CSS["primary"]}; border: none; border-radius: 6px; font: inherit;
  font-size: {TYPE["body"]}px; }}
.skip:focus {{ top: 7px; outline-color: {CSS["primary"]}; }}
.work {{ position: absolute; left: 0; right: 0; bottom: -3px; height: 3px; overflow: hidden; }}
.work::after {{ content: ""; position: absolute; inset: 0; width: 30%; background: {CSS["primary"]};
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
#away {{ position: fixed; inset: 0 0 auto; z-index: 1000; padding: 10px {SPACE["m"]}px; background: {LIGHT.wrong};
  color: {LIGHT.on_bar}; font-size: {TYPE["body"]}px; line-height: 1.4; }}
@media print {{ html, body, html[data-theme] body {{ background: none; color: {LIGHT.ink}; }} }}
"""


def menu_css() -> str:
    """Rules of the list of pages."""
    return f"""
:host {{ font-family: {FONT}; color: {CSS["ink"]}; font-size: 14px; }}
ul {{ list-style: none; margin: 0; padding: 0 0 {SPACE["s"]}px; border-bottom: 1px solid {CSS["rule"]}; }}
a {{ display: flex; align-items: center; gap: 10px; padding: 5px {SPACE["s"]}px 5px 12px; color: inherit;
  text-decoration: none; border-left: 4px solid transparent; }}
a:hover {{ background: {CSS["ground"]}; }}
a[aria-current] {{ font-weight: 600; border-color: {CSS["primary"]}; background: {CSS["ground"]}; }}
a:focus-visible {{ outline: 3px solid {CSS["primary"]}; outline-offset: -3px; }}
svg {{ width: 22px; height: 22px; flex: none; fill: none; stroke: currentColor; stroke-width: 1.7;
  stroke-linecap: round; stroke-linejoin: round; }}
"""


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


def plot_css() -> str:
    """Rules of a main plot and its legend: above it, or where the lines are many beside it."""
    return f"""
@media (min-width: 900px) {{
  :host(.many) {{ flex-direction: row-reverse !important; gap: {SPACE["xs"]}px; background: {CSS["surface"]}; }}
  :host(.many) .names {{ flex: none !important; width: max-content !important; max-width: 206px; }}
  :host(.many) .canvas {{ flex: 1 1 0 !important; width: auto !important; min-width: 0; }}
}}
@media (max-width: 899.95px) {{
  :host {{ height: auto !important; --panel-least: 150px; }}
  .canvas {{ min-height: 60vh; }}
}}
"""


def legend_css() -> str:
    """Rules of the legend of a plot."""
    return f"""
:host {{ font-family: {FONT}; color: {CSS["ink"]}; font-size: {TYPE["small"]}px; }}
.legend {{ display: flex; flex-wrap: wrap; gap: 0 {SPACE["s"]}px; }}
@media (min-width: 900px) {{
  :host(.many) .legend {{ flex-direction: column; flex-wrap: nowrap; height: 100%; overflow-y: auto; }}
  :host(.many) button:first-child {{ margin-top: auto; }}
  :host(.many) button:last-child {{ margin-bottom: auto; }}
  :host(.many) button {{ flex: none; height: auto; min-height: 24px; white-space: normal; text-align: left; }}
}}
button {{ display: inline-flex; align-items: center; gap: 5px; height: 24px; padding: 0 6px 0 2px; border: none;
  border-radius: 4px; background: none; color: inherit; font: inherit; cursor: pointer; white-space: nowrap; }}
button:hover {{ background: {CSS["rule"]}; }}
button[aria-pressed="true"] {{ font-weight: 600; background: {CSS["rule"]}; }}
button.away {{ color: {CSS["muted"]}; }}
button.away svg {{ opacity: 0.4; }}
svg {{ width: 28px; height: 16px; flex: none; }}
{FOCUS}
"""
