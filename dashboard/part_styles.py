"""Style sheets of what pages are made of: text and tables, controls, buttons, the sheet of a file."""

from __future__ import annotations

from dashboard.frame_styles import NARROW
from dashboard.theme import CSS, FOCUS, FONT, SPACE, TYPE


def text_css() -> str:
    """Rules of the text that pages show: headings, the answering sentence, explanations, captions."""
    return f"""
:host {{ font-family: {FONT}; color: {CSS["ink"]}; font-size: {TYPE["body"]}px; line-height: 1.5; }}
h1 {{ font-size: {TYPE["h1"]}px; font-weight: 600; line-height: 1.3; margin: 0; }}
h2 {{ font-size: {TYPE["h2"]}px; font-weight: 500; line-height: 1.3; margin: {SPACE["m"]}px 0 0; }}
.top {{ display: flex; align-items: baseline; gap: 12px; min-width: 0; }}
.top .question {{ margin: 0; max-width: none; flex: 1; min-width: 0; font-size: 14px; white-space: nowrap;
  overflow: hidden; text-overflow: ellipsis; }}
h3 {{ font-size: {TYPE["body"]}px; font-weight: 600; margin: {SPACE["s"]}px 0 0; }}
p {{ margin: 0; max-width: 75ch; }}
p + p {{ margin-top: {SPACE["s"]}px; }}
ul {{ margin: 0; padding-left: 1.2em; max-width: 80ch; }}
a {{ color: {CSS["primary"]}; }}
.question {{ color: {CSS["muted"]}; margin-top: {SPACE["xs"]}px; }}
.answer {{ font-size: {TYPE["lead"]}px; line-height: 26px; font-weight: 500; min-height: 26px;
  border-left: 4px solid {CSS["primary"]}; padding-left: 12px; font-variant-numeric: tabular-nums; }}
.answer.large {{ font-size: 25px; line-height: 32px; min-height: 32px; }}
.answer p {{ max-width: none; }}
.answer summary {{ list-style: none; }}
.answer summary::-webkit-details-marker {{ display: none; }}
.answer .more {{ color: {CSS["primary"]}; font-size: 14px; font-weight: 600; white-space: nowrap; }}
.answer .more::after {{ content: "more ▸"; }} .answer [open] .more::after {{ content: "▾"; }}
@media ({NARROW}) {{
  .answer.large {{ font-size: 21px; line-height: 28px; }}
  .plot-head .caption {{ display: none; }} .caption .phone {{ display: inline; }}
  .top {{ flex-wrap: wrap; }} .top .question {{ flex-basis: 100%; white-space: normal; }}
}}
.cautions {{ font-size: 14px; line-height: 24px; }}
.cautions > summary {{ display: flex; align-items: baseline; gap: {SPACE["s"]}px; min-width: 0;
  border-left: 4px solid {CSS["caution"]}; padding-left: 12px; list-style: none; }}
.cautions > summary::-webkit-details-marker {{ display: none; }}
.cautions b {{ color: {CSS["caution"]}; }}
.cautions .line {{ flex: 0 1 auto; min-width: 0; white-space: nowrap; overflow: hidden; text-overflow: ellipsis; }}
@media (max-width: 599.95px) {{ .cautions .line {{ white-space: normal; line-height: 1.4; }} }}
.cautions .count {{ flex: none; color: {CSS["primary"]}; font-weight: 600; }}
.cautions > summary::after {{ content: "▸"; flex: none; color: {CSS["primary"]}; }}
.cautions[open] > summary::after {{ content: "▾"; }}
.cautions[open] .line, .cautions[open] .count {{ visibility: hidden; }}
.cautions .notice {{ line-height: 1.45; margin-top: {SPACE["xs"]}px; }}
.plot-head {{ display: flex; align-items: baseline; gap: 12px; }}
.plot-head h2 {{ margin: 0; font-size: {TYPE["body"]}px; font-weight: 600; flex: none; max-width: 100%; }}
.plot-head .caption {{ flex: 1; min-width: 0; white-space: nowrap; overflow: hidden; text-overflow: ellipsis;
  max-width: none; }}
.caption .phone {{ display: none; }}
.hint {{ color: {CSS["muted"]}; font-size: {TYPE["small"]}px; line-height: 1.4; margin: 0; max-width: 60ch; }}
footer .hint, .hint.caption {{ max-width: 110ch; }}
.rows {{ list-style: none; padding: 0; max-width: none; font-size: 14px; line-height: 1.35; }}
.silent {{ position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }}
.notice {{ max-width: 120ch; font-size: 14px; border-left: 4px solid {CSS["caution"]};
  padding: {SPACE["xs"]}px {SPACE["m"]}px; }}
.notice.wrong {{ border-color: {CSS["wrong"]}; }}
.notice.calm {{ border-color: {CSS["rule"]}; }}
.notice b {{ font-weight: 600; }}
dl {{ margin: 0; max-width: 80ch; }} dt {{ font-weight: 600; margin-top: {SPACE["s"]}px; }} dd {{ margin: 0; }}
details > summary {{ cursor: pointer; }}
progress {{ width: 100%; height: 6px; accent-color: {CSS["primary"]}; }}
hr {{ border: none; border-top: 1px solid {CSS["rule"]}; margin: 0; }}
.head {{ display: flex; flex-wrap: wrap; justify-content: space-between; align-items: end; gap: {SPACE["s"]}px; }}
.save {{ font-size: {TYPE["small"]}px; text-decoration: none; padding: {SPACE["xs"]}px {SPACE["s"]}px; }}
button.save {{ background: none; border: none; color: {CSS["primary"]}; cursor: pointer; font-family: inherit; }}
.save:hover {{ text-decoration: underline; }}
.save::before {{ content: "↓"; padding-right: 0.4em; }}
.help {{ border-top: 1px solid {CSS["rule"]}; padding-top: {SPACE["m"]}px; }}
.help summary {{ font-size: {TYPE["h2"]}px; font-weight: 500; }}
.help summary h2 {{ display: inline; margin: 0; }}
.help p {{ margin-top: {SPACE["s"]}px; }}
.scroll {{ overflow-x: auto; max-width: 100%; }}
table {{ border-collapse: separate; border-spacing: 0; min-width: min(100%, 480px); font-size: 14px; line-height: 1.35;
  background: {CSS["surface"]}; font-variant-numeric: tabular-nums; }}
th, td {{ padding: 7px {SPACE["m"]}px 7px 12px; text-align: left; vertical-align: top; white-space: nowrap;
  border-bottom: 1px solid {CSS["rule"]}; }}
thead th {{ font-weight: 600; vertical-align: bottom; border-bottom-width: 2px; white-space: normal;
  text-wrap: balance; }}
th button {{ font: inherit; color: inherit; background: none; border: none; padding: 0; margin: 0; text-align: inherit;
  cursor: pointer; }}
th button:hover {{ text-decoration: underline; }}
th[aria-sort="ascending"] button::after {{ content: " ▲"; }}
th[aria-sort="descending"] button::after {{ content: " ▼"; }}
th.rest, td.rest {{ display: none; }}
button.more {{ font: inherit; font-size: {TYPE["small"]}px; color: {CSS["primary"]}; background: none; border: none;
  padding: {SPACE["xs"]}px 0; cursor: pointer; }}
tr[data-row] {{ cursor: pointer; }}
tr[aria-selected="true"], tr[aria-selected="true"] td:first-child {{
  background: color-mix(in srgb, {CSS["primary"]} 18%, {CSS["surface"]}) !important; }}
tr[aria-selected="true"] td:first-child {{ box-shadow: inset 4px 0 {CSS["primary"]}; }}
th.number, td.number {{ text-align: right; }}
td.long {{ white-space: normal; min-width: 34ch; max-width: 60ch; }}
tbody tr:hover {{ background: {CSS["ground"]}; }}
/* The first column says what a row is: it stays while the others are scrolled. */
th:first-child, td:first-child {{ position: sticky; left: 0; background: {CSS["surface"]}; }}
tbody tr:hover td:first-child {{ background: {CSS["ground"]}; }}
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
    ink, muted, primary = CSS["ink"], CSS["muted"], CSS["primary"]
    surface = CSS["surface"]
    return f"""
:host {{ font-family: {FONT}; color: {ink}; font-size: {TYPE["body"]}px; line-height: 1.4; }}
.control {{ position: relative; margin: 0; padding: 0; border: none; min-width: 0; }}
.control > label:not(.tick), legend {{ display: block; padding: 0 18px 0 0; margin-bottom: 2px;
  font-size: {TYPE["small"]}px; line-height: 18px; font-weight: 500; }}
.hint {{ position: fixed; inset: auto; box-sizing: content-box; margin: 0; padding: {SPACE["s"]}px 10px;
  border: 1px solid {muted}; border-radius: 6px; background: {surface}; color: {ink}; font-size: {TYPE["small"]}px;
  box-shadow: 0 4px 14px rgb(0 0 0 / 25%); pointer-events: none; }}
.hint.wrong {{ color: {CSS["wrong"]}; }}
.ask {{ position: absolute; top: 1px; right: 0; width: 16px; height: 16px; border-radius: 50%; text-align: center;
  font-size: 11px; line-height: 16px; color: {muted}; cursor: help; }}
.ask.at-tick {{ top: 7px; }}
fieldset > .ask {{ top: -19px; }}
.ask:hover {{ background: {CSS["rule"]}; color: {ink}; }}
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
.list label:hover {{ background: {CSS["ground"]}; }}
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
.buttons input:checked + span {{ background: {primary}; border-color: {primary}; color: {CSS["on_primary"]}; }}
.buttons input:disabled + span {{ opacity: 0.6; }}
.buttons label:hover input:enabled:not(:checked) + span,
select:hover:enabled, summary:hover, textarea:hover:enabled, input[type="number"]:hover:enabled,
input[type="text"]:hover:enabled {{ border-color: {primary}; }}
:focus-visible, .buttons input:focus-visible + span {{ outline: 3px solid {primary}; outline-offset: 2px; }}
@media (forced-colors: active) {{ .buttons input:checked + span {{ outline: 3px solid Highlight; }} }}
"""


def action_css() -> str:
    """Rules of what is pressed."""
    ink, muted, primary, surface = CSS["ink"], CSS["muted"], CSS["primary"], CSS["surface"]
    return f"""
:host {{ font-family: {FONT}; color: {ink}; font-size: 14px; line-height: 1.4; }}
button, .drop > label {{ display: inline-block; box-sizing: border-box; min-height: 32px; padding: 5px 14px;
  font: inherit; font-weight: 500; text-align: center; border: 1px solid {muted}; border-radius: 6px;
  background: {surface}; color: {primary}; cursor: pointer; transition: background-color 0.12s, border-color 0.12s; }}
button:hover:enabled, .drop > label:hover {{ border-color: {primary}; background: {CSS["ground"]}; }}
button.main, .drop > label.main {{ background: {primary}; border-color: {primary}; color: {CSS["on_primary"]}; }}
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
  border-width: 1px 0 0; border-color: {CSS["rule"]}; border-radius: 0; background: none; color: {ink}; }}
.fold button:hover:enabled {{ background: none; border-color: {CSS["rule"]}; color: {primary}; }}
.fold button::before {{ content: ""; position: absolute; left: 6px; top: 13px; width: 7px; height: 7px;
  border: solid {muted}; border-width: 0 2px 2px 0; transform: rotate(-45deg); }}
.fold button[aria-expanded="true"]::before {{ transform: rotate(45deg); }}
@media print {{ button, .drop, .turn {{ display: none; }} .fold button {{ display: block; }} }}
{FOCUS}
@media (prefers-reduced-motion: reduce) {{ * {{ transition: none !important; }} }}
"""


def _tint(name: str, percent: int) -> str:
    return f"color-mix(in srgb, {CSS[name]} {percent}%, {CSS['surface']})"


def grid_css() -> str:
    """Rules of a sheet that is shown as it stands in its file: what a cell was taken for is a tint and a letter."""
    ink, muted, primary, surface = CSS["ink"], CSS["muted"], CSS["primary"], CSS["surface"]
    return f"""
:host {{ font-family: {FONT}; color: {ink}; font-size: {TYPE["small"]}px; line-height: 1.35; }}
.sheet {{ overflow: auto; width: fit-content; max-width: 100%; max-height: 460px;
  border: 1px solid {CSS["rule"]}; border-radius: 6px;
  background: {surface}; }}
table {{ border-collapse: separate; border-spacing: 0; font-variant-numeric: tabular-nums; user-select: none; }}
th, td {{ padding: 0; border: solid {CSS["rule"]}; border-width: 0 1px 1px 0; }}
td {{ position: relative; box-sizing: border-box; min-width: 62px; max-width: 190px; height: 27px;
  padding: 3px 8px 3px 20px; white-space: nowrap; overflow: hidden; text-overflow: ellipsis; cursor: cell; }}
td i {{ position: absolute; left: 5px; top: 4px; font-style: normal; font-size: 10px; font-weight: 600;
  color: {muted}; }}
th {{ position: sticky; z-index: 1; background: {CSS["ground"]}; }}
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
th.in button {{ color: {CSS["on_primary"]}; background: {primary}; }}
td:focus-visible, th button:focus-visible {{ outline: 3px solid {primary}; outline-offset: -3px; }}
.legend {{ display: flex; flex-wrap: wrap; gap: {SPACE["xs"]}px {SPACE["m"]}px; margin: 0 0 {SPACE["s"]}px; padding: 0;
  list-style: none; }}
.legend b {{ display: inline-block; min-width: 18px; margin-right: 6px; padding: 1px 3px; text-align: center;
  font-size: 11px; border: 1px solid {CSS["rule"]}; border-radius: 3px; text-decoration: none; }}
@media print {{ .sheet {{ max-height: none; overflow: visible; }} }}
{FOCUS}
"""
