"""Result tables: headings with units, sensible digits, what the columns mean, and their CSV.

A table of the browser's own reads, prints and tells assistive technology what it is by itself. Long ones are shown
page by page, in the order that is asked for.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
import panel as pn
import param

from dashboard import parts, words
from dashboard.actions import Save, Turn
from dashboard.first_columns import first_columns
from dashboard.jobs import aside
from dashboard.table_view import TableView
from dashboard.turns import by_turns
from methods.answers.files import table_file

#: Texts longer than this may break into lines, but not into a column of single words.
_LONG = 28
#: How the arrow keys and a press on a heading are told of to who cannot see them.
_DIRECTIONS = {True: "ascending", False: "descending"}


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
    study : Study, optional
        Whose selection is marked and changed, where rows of the table are readings.
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
        study: Any = None,
        **params: Any,
    ) -> None:
        super().__init__(frame=frame, **params)
        self._study, self._rows = study, np.array([], dtype=int)
        self._order: tuple[str, bool] | None = None  # column, and whether the lowest come first
        self._sorted: tuple[pd.DataFrame, tuple[str, bool] | None, np.ndarray] | None = None
        self._unfolded = False
        self._exact, self._waits = exact, False
        self._name, self._title = name, title
        self._own, self._digits, self._size = columns or {}, digits, page_size
        self._text = TableView(self._pressed, stylesheets=parts.TEXT_CSS, sizing_mode="stretch_width", margin=0)
        self._pager: _Pager | None = None
        self._meaning = parts.raw(self._glossary())
        self._view = parts.column(self._text, self._meaning, gap=8)
        self._lay()
        if study is not None:
            study.param.watch(self._mark, "selected")

    def __panel__(self) -> Any:
        return self._view

    # ------------------------------------------------------------- what is shown

    def _lay(self) -> None:
        """Show the table, or the page of it that is asked for."""
        long = len(self.frame) > self._size
        if long and self._pager is None:
            save = Save("Download CSV", parts.file_name(self._name, ".csv"), lambda: self._file("csv"))
            self._pager = _Pager(self._size, save, self._show)
            self._view.insert(1, self._pager.view)
        if long and self._pager is not None:
            self._pager.offer(len(self.frame))
        if self._pager is not None:
            self._pager.view.visible = long
        self._show()

    def _show(self) -> None:
        long = self._pager is not None and len(self.frame) > self._size
        places = self._places()
        if long and self._pager is not None:
            places = self._pager.part(places)
        save = _BOOK if long else _link(self._name, self._file("csv")) + _BOOK
        title = f'<div class="head"><h2>{parts.escaped(self._title)}</h2><span>{save}</span></div>'
        self._text.object = title + self._markup(self.frame.iloc[places], places)

    def _file(self, kind: str) -> bytes:
        """The whole table as a file, with every digit, whatever the screen rounds."""
        return table_file(kind, self.frame, self._title, self._own)

    def _places(self) -> np.ndarray:
        """The rows of the frame in the order that is asked for, sorted once: there may be a million."""
        if self._order is None or self._order[0] not in self.frame:
            return np.arange(len(self.frame))
        if self._sorted is None or self._sorted[0] is not self.frame or self._sorted[1] != self._order:
            column, rising = self._order
            by = self.frame[column].reset_index(drop=True)
            by = by if pd.api.types.is_numeric_dtype(by) else by.astype("str")
            places = by.sort_values(ascending=rising, kind="stable").index.to_numpy()
            self._sorted = self.frame, self._order, places
        return self._sorted[2]

    # ------------------------------------------------------------- what is pressed

    def _pressed(
        self,
        sort: int | None = None,
        more: bool = False,
        row: int | None = None,
        several: bool = False,
        take: str = "",
    ) -> None:
        """A heading: its lowest first, its highest, as given. The button: further columns. A row: selected. A file."""
        if take:
            name = parts.file_name(self._name, f".{take}")
            aside(lambda: self._file(take), lambda made: self._text.give(name, made))
            return
        if row is not None:
            self._select(row, several)
            return
        if more:
            self._unfolded = not self._unfolded
        elif sort is not None and 0 <= sort < len(self.frame.columns):
            column = str(self.frame.columns[sort])
            steps = [None, (column, True), (column, False)]
            self._order = steps[(steps.index(self._order) + 1) % 3 if self._order in steps else 1]
            if self._pager is not None:
                self._pager.begin()
        self._show()

    def select_by(self, rows: np.ndarray) -> None:
        """Say which row of the study each row of the frame is (−1: none): rows can be selected from now on."""
        if not np.array_equal(rows, self._rows):
            self._rows = np.asarray(rows, dtype=int)
            self._show()

    def _select(self, row: int, several: bool) -> None:
        if self._study is None or row not in self._rows:
            return
        chosen = list(self._study.selected)
        if several:
            chosen = [r for r in chosen if r != row] if row in chosen else [*chosen, row]
        else:
            chosen = [] if chosen == [row] else [row]
        self._study.selected = chosen

    def _mark(self, *_: Any) -> None:
        if len(self._rows):
            self._text.marked = [int(r) for r in self._study.selected]

    def _headings(self) -> dict[str, str]:
        return {c: words.heading(c, self._own) for c in self.frame.columns}

    def _markup(self, part: pd.DataFrame, places: np.ndarray) -> str:
        right = [pd.api.types.is_numeric_dtype(d) and not pd.api.types.is_bool_dtype(d) for d in part.dtypes]
        headings, written = self._headings(), self._written(part)
        longest = [max((len(t) for t in texts), default=0) for texts in written.values()]
        first = first_columns(self._name, list(headings.values()), [str(c) for c in headings], longest)
        looks = [_look(r, rest=not f and not self._unfolded) for r, f in zip(right, first, strict=True)]
        head = "".join(
            f'<th scope="col"{look} aria-sort="{self._direction(str(c))}" '
            f'title="{parts.escaped(words.explanation(c, self._own))}">'
            f'<button type="button" data-sort="{at}">{parts.escaped(h)}</button></th>'
            for at, ((c, h), look) in enumerate(zip(headings.items(), looks, strict=True))
        )
        columns = [
            [_cell(text, r, not f and not self._unfolded) for text in texts]
            for texts, r, f in zip(written.values(), right, first, strict=True)
        ]
        body = "".join(
            f"<tr{self._row(at, k)}>{''.join(row)}</tr>"
            for k, (at, row) in enumerate(zip(places, zip(*columns, strict=True), strict=True))
        )
        rest = first.count(False)
        more = "Fewer columns" if self._unfolded else f"{words.plural(rest, 'more column')}"
        opened = str(self._unfolded).lower()
        button = f'<button type="button" class="more" data-more aria-expanded="{opened}">{more}</button>'
        # What scrolls must be reachable by keyboard.
        return (
            f'<div class="scroll" role="region" tabindex="0" aria-label="{parts.escaped(self._title)}">'
            f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>{button if rest else ''}"
        )

    def _direction(self, column: str) -> str:
        return _DIRECTIONS[self._order[1]] if self._order is not None and self._order[0] == column else "none"

    def _row(self, at: int, k: int) -> str:
        """What a row that can be selected carries; Tab leads to the first, the arrows from one to the next."""
        if at >= len(self._rows) or self._rows[at] < 0:
            return ""
        marked = str(int(self._rows[at]) in self._study.selected).lower()
        return f' data-row="{self._rows[at]}" tabindex="{-1 if k else 0}" aria-selected="{marked}"'

    def _written(self, part: pd.DataFrame) -> dict[str, list[str]]:
        """What stands in each cell, by column."""
        out: dict[str, list[str]] = {}
        for key, column in part.items():
            name, values = str(key), column.tolist()
            if pd.api.types.is_float_dtype(column.dtype):
                out[name] = ["–" if v is pd.NA else self._number(name, v) for v in values]
            else:
                out[name] = [words.cell(name, v) for v in values]
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
            by_turns(self._filling())

    def _filling(self) -> Iterator[None]:
        self._waits = False
        self._lay()
        self._meaning.object = self._glossary()
        yield


class _Pager:
    """Below a long table: which page, and its download."""

    def __init__(self, size: int, save: Any, show: Any) -> None:
        self._size, self._tell = size, show
        self._busy = False
        self._pages = Turn()
        self._where = parts.raw("")
        self._pages.param.watch(self._asked, "value")
        self.view = parts.column(self._where, parts.wrap(self._pages, save, gap=16), gap=8)

    def offer(self, rows: int) -> None:
        """Bring the control to so many rows, staying on its page where there is one."""
        count = -(-rows // self._size)
        self._busy = True
        try:
            self._pages.param.update(count=count, value=min(self._pages.value, count - 1))
        finally:
            self._busy = False

    def begin(self) -> None:
        """Go to the first page."""
        self._busy = True
        self._pages.value = 0
        self._busy = False

    def _asked(self, _event: Any) -> None:
        if not self._busy:
            self._tell()

    def part(self, places: np.ndarray) -> np.ndarray:
        """Those of the page that is asked for."""
        first = self._pages.value * self._size
        last = min(first + self._size, len(places))
        rows = f"Rows {words.number(first + 1)} to {words.number(last)} of {words.number(len(places))}."
        self._where.object = f'<p class="hint" role="status">{rows}</p>'
        return places[first:last]


#: What saves the table as a workbook, which is made when it is asked for.
_BOOK = '<button type="button" class="save" data-take="xlsx" title="Download XLSX">XLSX</button>'


def _link(name: str, contents: bytes) -> str:
    """The table itself in the link that saves it: nothing to ask the server for."""
    data = base64.b64encode(contents).decode("ascii")
    file = parts.escaped(parts.file_name(name, ".csv"))
    return f'<a class="save" download="{file}" href="data:text/csv;charset=utf-8;base64,{data}">Download CSV</a>'


def _look(number: bool, text: str = "", rest: bool = False) -> str:
    names = [n for n, so in (("number", number), ("long", not number and len(text) > _LONG), ("rest", rest)) if so]
    return f' class="{" ".join(names)}"' if names else ""


def _cell(text: str, number: bool, rest: bool) -> str:
    return f"<td{_look(number, text, rest)}>{parts.unbroken(parts.escaped(text))}</td>"
