"""Result tables: headings with units, sensible digits, what the columns mean, and their CSV.

A table of the browser's own reads, prints and tells assistive technology what it is by itself. Long ones are shown
page by page, in the order that is asked for.
"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
import pandas as pd
import panel as pn
import param

from dashboard import parts, words
from dashboard.actions import Turn
from dashboard.controls import Choice

#: Texts longer than this may break into lines, but not into a column of single words.
_LONG = 28
#: An order, by the number of its column and whether the highest come first; the first is that of the table itself.
_AS_GIVEN = ""


class Table(pn.viewable.Viewer):
    """One result table.

    The frame that is shown is rounded for reading, unless it is ``exact``; the download has every digit.

    Parameters
    ----------
    name, title : str
        Of the download, and what stands above.
    frame : DataFrame
        As ``methods`` gave it.
    columns : dict, optional
        Headings and explanations of the page's own columns.
    page_size : int
        Rows that are shown at once.
    digits : int
        Significant digits.
    exact : bool
        Show numbers as they are.
    """

    frame = param.DataFrame(doc="The table as methods gave it.")

    def __init__(
        self,
        name: str,
        title: str,
        frame: pd.DataFrame,
        columns: dict[str, tuple[str, str]] | None = None,
        page_size: int = 25,
        digits: int = 3,
        exact: bool = False,
        **params: Any,
    ) -> None:
        super().__init__(frame=frame, **params)
        self._exact, self._waits = exact, False
        self._name, self._title = name, title
        self._own, self._digits, self._size = columns or {}, digits, page_size
        self._text = parts.raw("")
        self._pager: _Pager | None = None
        self._meaning = parts.raw(self._glossary())
        self._view = parts.column(self._text, self._meaning, gap=8)
        self._lay()

    def __panel__(self) -> Any:
        return self._view

    # ------------------------------------------------------------- what is shown

    def _lay(self) -> None:
        """Show the table, or the page of it that is asked for."""
        long = len(self.frame) > self._size
        if long and self._pager is None:
            save = parts.download(self._name, lambda: self.frame)
            self._pager = _Pager(self._size, save, self._show)
            self._view.insert(1, self._pager.view)
        if long and self._pager is not None:
            self._pager.offer(self.frame, self._headings())
        if self._pager is not None:
            self._pager.view.visible = long
        self._show()

    def _show(self) -> None:
        long = self._pager is not None and len(self.frame) > self._size
        part = self._pager.part(self.frame) if long and self._pager is not None else self.frame
        save = "" if long else _link(self._name, self.frame)
        title = f'<div class="head"><h2>{parts.escaped(self._title)}</h2>{save}</div>'
        self._text.object = title + self._markup(part)

    def _headings(self) -> dict[str, str]:
        return {c: words.heading(c, self._own) for c in self.frame.columns}

    def _markup(self, part: pd.DataFrame) -> str:
        right = [pd.api.types.is_numeric_dtype(d) and not pd.api.types.is_bool_dtype(d) for d in part.dtypes]
        head = "".join(
            f'<th scope="col"{_look(r)} title="{parts.escaped(words.explanation(c, self._own))}">'
            f"{parts.escaped(h)}</th>"
            for (c, h), r in zip(self._headings().items(), right, strict=True)
        )
        columns = [
            [_cell(text, r) for text in texts] for texts, r in zip(self._written(part).values(), right, strict=True)
        ]
        body = "".join(f"<tr>{''.join(row)}</tr>" for row in zip(*columns, strict=True))
        # What scrolls must be reachable by keyboard.
        return (
            f'<div class="scroll" role="region" tabindex="0" aria-label="{parts.escaped(self._title)}">'
            f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
        )

    def _written(self, part: pd.DataFrame) -> dict[str, list[str]]:
        """What stands in each cell, by column."""
        out = {}
        for name, column in part.items():
            values = column.tolist()
            if pd.api.types.is_bool_dtype(column.dtype):
                out[name] = [words.cell(str(name), v) for v in values]
            elif pd.api.types.is_float_dtype(column.dtype):
                out[name] = ["–" if v is pd.NA else self._number(str(name), v) for v in values]
            else:
                out[name] = [words.cell(str(name), v) for v in values]
        return out

    def _number(self, name: str, value: float) -> str:
        if not np.isfinite(value):
            return "–"
        if self._exact or (name == "order" and value == int(value)):
            return f"{value:.10g}"
        return words.cell(name, value, self._digits)

    def _glossary(self) -> str:
        rows = [(h, words.explanation(c, self._own)) for c, h in self._headings().items()]
        entries = "".join(f"<dt>{parts.escaped(h)}</dt><dd>{parts.escaped(e)}</dd>" for h, e in rows if e)
        return f'<details class="hint"><summary>What the columns mean</summary><dl>{entries}</dl></details>'

    # ------------------------------------------------------------- another frame

    @param.depends("frame", watch=True)
    def _changed(self) -> None:
        if not self._waits:  # the table takes the frame that is there when its turn comes
            self._waits = True
            parts.after_plots(self._fill)

    def _fill(self) -> None:
        self._waits = False
        with pn.io.hold():
            self._lay()
            self._meaning.object = self._glossary()


class _Pager:
    """Below a long table: which page, in which order, and its download."""

    def __init__(self, size: int, save: Any, show: Any) -> None:
        self._size, self._tell = size, show
        self._busy = False
        self._sorted: tuple[pd.DataFrame, str, Any] | None = None  # of which frame, in which order, the places
        self._pages = Turn()
        self._order = Choice("In order of", {"the table": _AS_GIVEN}, value=_AS_GIVEN)
        self._where = parts.raw("")
        for control, name in ((self._pages, "value"), (self._order, "value")):
            control.param.watch(self._asked, name)
        self.view = parts.column(self._where, parts.wrap(self._pages, self._order, save, gap=16), gap=8)

    def offer(self, frame: pd.DataFrame, headings: dict[str, str]) -> None:
        """Bring the controls to a frame, staying on its page where it has one."""
        options = {"the table": _AS_GIVEN}
        for at, (column, heading) in enumerate(headings.items()):
            if pd.api.types.is_numeric_dtype(frame[column]) and frame[column].dtype != bool:
                options |= {f"{heading}, lowest first": f"{at}+", f"{heading}, highest first": f"{at}-"}
            else:
                options[heading] = f"{at}+"
        count = -(-len(frame) // self._size)
        self._busy = True
        try:
            kept = self._order.value if self._order.value in options.values() else _AS_GIVEN
            self._order.param.update(options=options, value=kept)
            self._pages.param.update(count=count, value=min(self._pages.value, count - 1))
        finally:
            self._busy = False

    def _asked(self, event: Any) -> None:
        if not self._busy:
            if event.obj is self._order and self._pages.value:
                self._busy = True
                self._pages.value = 0
                self._busy = False
            self._tell()

    def part(self, frame: pd.DataFrame) -> pd.DataFrame:
        """The rows of the page that is asked for."""
        order, first = self._order.value, (self._pages.value) * self._size
        places = self._places(frame, order) if order else np.arange(len(frame))
        last = min(first + self._size, len(frame))
        rows = f"Rows {words.number(first + 1)} to {words.number(last)} of {words.number(len(frame))}."
        self._where.object = f'<p class="hint" role="status">{rows}</p>'
        return frame.iloc[places[first:last]]

    def _places(self, frame: pd.DataFrame, order: str) -> np.ndarray:
        """The rows in an order, sorted once for all its pages: there may be a million."""
        if self._sorted is None or self._sorted[0] is not frame or self._sorted[1] != order:
            by = frame.iloc[:, int(order[:-1])].reset_index(drop=True)
            by = by if pd.api.types.is_numeric_dtype(by) else by.astype("str")
            places = by.sort_values(ascending=order[-1] == "+", kind="stable").index.to_numpy()
            self._sorted = frame, order, places
        return self._sorted[2]


def _link(name: str, frame: pd.DataFrame) -> str:
    """The table itself in the link that saves it: nothing to ask the server for."""
    data = base64.b64encode(parts.csv_text(frame).encode("utf-8-sig")).decode("ascii")
    file = parts.escaped(parts.file_name(name, ".csv"))
    return f'<a class="save" download="{file}" href="data:text/csv;charset=utf-8;base64,{data}">Download CSV</a>'


def _look(number: bool, text: str = "") -> str:
    return ' class="number"' if number else ' class="long"' if len(text) > _LONG else ""


def _cell(text: str, number: bool) -> str:
    return f"<td{_look(number, text)}>{parts.unbroken(parts.escaped(text))}</td>"
