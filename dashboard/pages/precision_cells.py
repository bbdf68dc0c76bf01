"""Controls of the precision page: leaving a cell out with a reason, and the user's own band."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import isfinite
from typing import Any

import pandas as pd
import panel as pn

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.controls import Choice, Words
from dashboard.exclusions import Exclusion
from methods.errors import InputError


class CellExclusions(pn.viewable.Viewer):
    """Choose a cell, say why, leave it out; and take it back."""

    def __init__(self, leave: Callable[[Mapping[str, str], str], None], back: Callable[[int], None]) -> None:
        super().__init__()
        self._leave, self._back = leave, back
        self._where: Mapping[str, Mapping[str, str]] = {}
        self._cell = Choice("Cell")
        self._reason = Words("Reason")
        self._press = Press("Leave out", self._pressed)
        self._word = parts.Text("p", "", "hint", live=True)
        self._list = parts.column()
        self._view = parts.column(
            parts.hint("A flag is no reason. A broken instrument, a mixed-up sample or another procedure is one."),
            parts.wrap(
                parts.explained(self._cell, "One laboratory at one level.", width=300),
                parts.explained(self._reason, "Kept in the study and shown with the result.", width=300),
                self._press,
            ),
            self._word, self._list, gap=8,
        )  # fmt: skip

    def __panel__(self) -> Any:
        return self._view

    def offer(self, cells: Mapping[str, Mapping[str, str]], out: Sequence[tuple[Exclusion, str, int]]) -> None:
        """Offer these cells (label -> what names them), and list those that are out with their place in the study."""
        gone = [dict(x.where) for x, _, _ in out]
        self._where = {label: where for label, where in cells.items() if dict(where) not in gone}
        options = list(self._where)
        if list(self._cell.options or []) != options:
            value = self._cell.value if self._cell.value in options else (options[0] if options else None)
            self._cell.param.update(options=options, value=value)
        self._press.disabled = not options
        self._list.objects = [self._entry(x, index) for x, _, index in out]

    def _entry(self, exclusion: Exclusion, index: int) -> Any:
        named = " · ".join(exclusion.where.values())
        text = parts.raw(f"<p>{parts.escaped(named)}: <b>{parts.escaped(exclusion.reason)}</b></p>")
        button = Press("Take back", lambda _: self._pressed_back(index), look="quiet")
        return parts.row(text, button, sizing_mode="stretch_width")

    def _pressed_back(self, index: int) -> None:
        self._back(index)
        self._word.text = "Taken back."

    def _pressed(self, _event: Any) -> None:
        where = self._where.get(self._cell.value)
        if where is None:
            return
        try:
            self._leave(where, self._reason.value)
        except InputError as error:
            self._word.text = str(error)
            return
        self._reason.value = ""
        self._word.text = "Left out. It can be taken back below."


class Band(pn.viewable.Viewer):
    """Points that the user reads off a chart in their own copy of a standard, one to a line."""

    def __init__(self, points: Sequence[str], changed: Callable[[list[str]], None]) -> None:
        super().__init__()
        self._tell = changed
        self._field = Words(
            "Mean (kV), low (%), high (%)", example="20  5  30\n80  3  12", lines=4, value=_lines(points)
        )
        self._wrong = parts.Text("p", "", "notice wrong", live=True)
        self._field.param.watch(lambda event: self._typed(event.new), "value")
        self._view = parts.column(
            parts.explained(
                self._field,
                "Points of the chart in your own copy, one to a line: at each mean the lowest and highest SD in % of "
                "the mean that it expects. Two points or more draw the band; rows copied from a spreadsheet do.",
                width=420,
            ),
            self._wrong, gap=8,
        )  # fmt: skip

    def __panel__(self) -> Any:
        return self._view

    def offer(self, points: Sequence[str]) -> None:
        """Bring the field to these points."""
        if _points(self._field.value)[0] != list(points):
            self._field.value = _lines(points)

    def _typed(self, text: str) -> None:
        found, wrong = _points(text or "")
        self._wrong.text = f"Not three numbers: {words.listed(wrong)}." if wrong else ""
        if not wrong and len(found) != 1:  # one point is a band in the making
            self._tell(found)


def _lines(points: Sequence[str]) -> str:
    return "\n".join("  ".join(p.split(":")) for p in points if _complete(p))


def _complete(point: str) -> bool:
    try:
        return [isfinite(float(v)) for v in point.split(":")] == [True] * 3
    except ValueError:
        return False


def _points(text: str) -> tuple[list[str], list[str]]:
    """The points of the lines, and the lines that are none; a comma is a decimal mark."""
    found, wrong = [], []
    for line in filter(None, map(str.strip, text.splitlines())):
        point = ":".join(line.replace(",", ".").replace(";", " ").split())
        if _complete(point):
            found.append(":".join(f"{float(v):g}" for v in point.split(":")))
        else:
            wrong.append(f"“{line}”")
    return found, wrong


def band_of(points: Sequence[str]) -> pd.DataFrame | None:
    """The band as methods take it, shares of the mean as fractions; None where none was typed."""
    rows = [[float(v) for v in p.split(":")] for p in points if _complete(p)]
    if not rows:
        return None
    table = pd.DataFrame(rows, columns=["mean_kv", "low", "high"])
    return table.assign(low=table["low"] / 100, high=table["high"] / 100).sort_values("mean_kv", ignore_index=True)
