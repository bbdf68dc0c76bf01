"""The small parts that pages are made of: text, notices, explained controls, tables with their download.

Whatever comes from a file passes through here and is escaped here.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from typing import Any

import numpy as np
import pandas as pd
import panel as pn
import param

from dashboard import frame_styles, part_styles, plain, theme
from dashboard.actions import Fold, Upload
from dashboard.controls import Amount, Choice, Several, Tick, Words
from methods.result import Caution

TEXT_CSS = [part_styles.text_css()]

#: Kinds of warning that are shown in full above a page's plot; further ones are one click away.
MOST_KINDS = 2


def nothing() -> Any:
    """A context that does nothing."""
    return nullcontext()


def escaped(text: Any) -> str:
    """Text that may hold anything, made safe to stand in HTML."""
    return html.escape(str(text), quote=True)


def unbroken(text: str) -> str:
    """Numbers kept on one line with their unit."""
    return re.sub(r"(?<=\d) (?=(?:%|kV|mm|mg/kg|min|minutes|s|L)\b|%)", "\u00a0", text)


def raw(markup: str, **params: Any) -> plain.Markup:
    """A piece of markup that this program wrote, in the type and colours of the theme."""
    params = {"sizing_mode": "stretch_width", "margin": 0, **params}
    return plain.Markup(markup, stylesheets=TEXT_CSS, **params)


class Text(pn.viewable.Viewer):
    """One element of escaped text that can change: a heading, the answering sentence, a caption.

    ``live`` has screen readers say the new text when it changes.
    """

    text = param.String("", doc="What is shown.")

    def __init__(self, tag: str, text: str = "", style: str = "", *, live: bool = False, **params: Any) -> None:
        self._tag, self._style, self._live = tag, style, live
        super().__init__(text=text, **params)
        self._pane = raw(self._markup(), visible=bool(text))

    def _markup(self) -> str:
        role = ' role="status" aria-live="polite"' if self._live else ""
        name = f' class="{self._style}"' if self._style else ""
        return f"<{self._tag}{name}{role}>{unbroken(escaped(self.text))}</{self._tag}>"

    @param.depends("text", watch=True)
    def _changed(self) -> None:
        self._pane.param.update(object=self._markup(), visible=bool(self.text))

    def __panel__(self) -> Any:
        return self._pane


class Answer(Text):
    """The sentence that answers the page's question: two lines of it, the rest unfolds."""

    #: Characters that two lines hold on the narrowest desk.
    TWO_LINES = 205
    TWO_LARGE_LINES = 150

    def __init__(self, text: str = "", *, large: bool = False) -> None:
        self._large = large  # for a room
        super().__init__("div", text, live=True)

    def _split(self, room: int) -> tuple[str, str]:
        """As many statements as have room, one at least, and the rest."""
        told = re.split(r"(?<=[.?!])\s+(?=[A-Z0-9±])", self.text)
        lead = told[0]
        for i, one in enumerate(told[1:], 1):
            if len(lead) + 1 + len(one) > room - (10 if i < len(told) - 1 else 0):
                return lead, " ".join(told[i:])
            lead = f"{lead} {one}"
        return lead, ""

    def _markup(self) -> str:
        lead, rest = self._split(self.TWO_LARGE_LINES if self._large else self.TWO_LINES)
        said = f"<p>{_shown(lead)}</p>"
        if rest:
            more = '<span class="more"></span>'
            said = f"<details><summary>{_shown(lead)} {more}</summary><p>{_shown(rest)}</p></details>"
        size = " large" if self._large else ""
        return f'<div class="answer{size}" role="status" aria-live="polite">{said}</div>'


def _shown(text: str) -> str:
    return unbroken(escaped(text))


def heading(text: str, level: int = 2, **params: Any) -> plain.Markup:
    """A heading of this level."""
    return raw(f"<h{level}>{escaped(text)}</h{level}>", **params)


def hint(text: str, **params: Any) -> plain.Markup:
    """The one-line explanation that stands under a control or a table."""
    return raw(f'<p class="hint">{escaped(text)}</p>' if text else "", visible=bool(text), **params)


def notice(text: str, title: str = "", kind: str = "") -> plain.Markup:
    """A boxed remark: ``kind`` is empty (caution), ``wrong`` or ``calm``."""
    lead = f"<b>{escaped(title)}</b> " if title else ""
    return raw(f'<p class="notice {kind}" role="note">{lead}{escaped(text)}</p>')


def cautions(found: Sequence[Caution]) -> str:
    """Markup of the cautions of a result, in words, as :mod:`methods` orders them: the gravest first.

    Of each kind the first is shown and its like are behind a summary; so are the kinds beyond :data:`MOST_KINDS`.
    """
    by_code: dict[str, list[str]] = {}
    for caution in found:
        texts = by_code.setdefault(caution.code, [])
        if caution.text not in texts:
            texts.append(caution.text)
    shown = [_notice(code, texts) for code, texts in by_code.items()]
    rest = shown[MOST_KINDS:]
    if len(rest) > 1:
        remarks = f"<summary>{len(rest)} more remarks</summary>{''.join(rest)}"
        return "".join(shown[:MOST_KINDS]) + f'<details class="notice calm">{remarks}</details>'
    return "".join(shown)


#: Where a sentence ends and another begins; not within brackets.
_SENTENCE = re.compile(r"(?<=[^\s.]{2}[.:])\s+(?=[A-Z])(?![^()]*\))")


def caution_line(found: Sequence[Caution]) -> str:
    """Markup of the gravest caution in one line, with the count of the others; all of them in full unfold."""
    texts = list(dict.fromkeys((c.code, c.text) for c in found))
    if not texts:
        return ""
    count = f'<span class="count">{len(texts) - 1} more</span>' if len(texts) > 1 else ""
    first = _SENTENCE.split(texts[0][1], maxsplit=1)[0]  # the rest unfolds
    line = f'<span class="line">{unbroken(escaped(first))}</span>'
    by_code: dict[str, list[str]] = {}
    for code, text in texts:
        by_code.setdefault(code, []).append(text)
    rest = "".join(_notice(code, told) for code, told in by_code.items())
    return f'<details class="cautions"><summary><b aria-hidden="true">!</b>{line}{count}</summary>{rest}</details>'


def _notice(code: str, texts: Sequence[str]) -> str:
    first = f'<p class="notice" role="note" data-code="{escaped(code)}">{_shown(texts[0])}</p>'
    if len(texts) == 1:
        return first
    more = "".join(f"<p>{_shown(t)}</p>" for t in texts[1:])
    return f'{first}<details class="notice more"><summary>{len(texts) - 1} more of this kind</summary>{more}</details>'


def column(*objects: Any, gap: int = 0, **params: Any) -> plain.Stack:
    """Things under each other, ``gap`` px apart: as wide as the page unless a width is given.

    A plain column: one of the kit's own costs the server and the browser several times as much, and there are dozens.
    """
    return _stack(plain.Stack, objects, gap, {} if "width" in params else {"sizing_mode": "stretch_width"}, params)


def row(*objects: Any, gap: int = 0, **params: Any) -> plain.Line:
    """Things beside each other, ``gap`` px apart."""
    return _stack(plain.Line, objects, gap, {}, params)


def _stack(kind: Any, objects: Sequence[Any], gap: int, usual: dict[str, Any], params: dict[str, Any]) -> Any:
    rules = {"max-height": "none"}  # bokeh's own rule keeps a page from being higher than the window
    if gap:
        rules["gap"] = f"{gap}px"
    return kind(*objects, **{"margin": 0, **usual, **params, "styles": {**rules, **params.get("styles", {})}})


def stage(*objects: Any) -> plain.Stack:
    """The plot and its controls: beside each other where there is room."""
    return plain.Stack(
        *objects,
        stylesheets=[frame_styles.stage_css()],
        margin=0,
        sizing_mode="stretch_width",
        styles={"max-height": "none"},
    )


def explained(control: Any, text: str = "", width: int = 240) -> Any:
    """A control with its one-line explanation under it."""
    if isinstance(control, (Amount, Choice, Several, Tick, Upload, Words)):  # they bring a line for it
        control.param.update(hint=text, max_width=width)
        return control
    control.sizing_mode = "stretch_width"
    control.margin = 0
    line = hint(text)
    # At most so wide, never wider than the page: a fixed width would also be the least one.
    return column(control, line, max_width=width, gap=4)


class Folded(pn.viewable.Viewer):
    """Sections behind their headings. What is in one is made when it is first opened: most never are, and every
    control costs time in the server and in the browser.

    Parameters
    ----------
    *sections : (str, callable)
        Heading, and what makes the contents.
    """

    def __init__(self, *sections: tuple[str, Callable[[], Any]], level: int = 2, **params: Any) -> None:
        super().__init__()
        self._makers: list[Callable[[], Any] | None] = [make for _, make in sections]
        self._bodies = [column(visible=False, styles={"padding": "4px 0 16px"}) for _ in sections]
        self._heads = [Fold(title, level=level) for title, _ in sections]
        for index, head in enumerate(self._heads):
            head.param.watch(lambda event, index=index: self._opened(index, event.new), "open")
        pairs = zip(self._heads, self._bodies, strict=True)
        self._view = column(*[part for pair in pairs for part in pair], **params)

    def __panel__(self) -> Any:
        return self._view

    def open(self, index: int = 0) -> None:
        """Open a section, as a press on its heading does."""
        self._heads[index].open = True

    def _opened(self, index: int, is_open: bool) -> None:
        make = self._makers[index]
        if is_open and make is not None:
            self._bodies[index].objects = [make()]
            self._makers[index] = None  # only once it is there: what failed is tried again
        self._bodies[index].visible = is_open


def wrap(*objects: Any, gap: int = theme.SPACE["l"], **params: Any) -> plain.Wrap:
    """Things side by side that move under each other where the page is narrow."""
    return _stack(plain.Wrap, objects, gap, {"sizing_mode": "stretch_width"}, params)


def file_name(name: str, ending: str) -> str:
    """A plain file name for a download."""
    return re.sub(r"[^A-Za-z0-9_-]+", "_", name).strip("_") + ending


def after_plots(act: Callable[[], None]) -> None:
    """Act once what changed so far is on its way to the browser, so that a table does not keep a plot waiting.

    Where no browser listens (a program, a notebook cell that is being run) it is done at once.
    """
    document = pn.state.curdoc
    if document is None or document.session_context is None:
        act()
    else:
        document.add_next_tick_callback(act)


def when_loaded(work: Callable[[], Any]) -> None:
    """Start work that a page begins by itself once the browser has the page.

    Before that, what the work changes can be lost: the browser then shows a job that never ends.
    """
    if pn.state.loaded:
        pn.state.execute(work, schedule=True)
    else:
        pn.state.onload(work)


def once_loaded(act: Callable[[], None]) -> None:
    """Act once the browser has the document; where no browser listens, at once."""
    document = pn.state.curdoc
    if document is None or document.session_context is None or pn.state.loaded:
        act()
    else:
        pn.state.onload(lambda: after_plots(act))


def as_frame(value: Any) -> pd.DataFrame:
    """A result table as a frame: a frame itself, or a sequence of frozen dataclasses or dicts."""
    if isinstance(value, pd.DataFrame):
        return value
    rows = [v if isinstance(v, dict) else {k: getattr(v, k) for k in v.__dataclass_fields__} for v in value]
    return pd.DataFrame(rows)


def finite(value: Any) -> bool:
    """Whether a number is there."""
    return value is not None and bool(np.isfinite(value))
