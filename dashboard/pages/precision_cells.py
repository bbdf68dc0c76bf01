"""Controls of the precision page: leaving a cell out with a reason, and the user's own band."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import panel as pn
import panel_material_ui as pmui

from dashboard import parts
from dashboard.study import Exclusion
from methods.errors import InputError

#: Rows of the band's table.
BAND_ROWS = 8
_HEADS = {"mean_kv": "Mean (kV)", "low": "Low (%)", "high": "High (%)"}


class CellExclusions(pn.viewable.Viewer):
    """Choose a cell, say why, leave it out; and take it back."""

    def __init__(self, leave: Callable[[Mapping[str, str], str], None], back: Callable[[int], None]) -> None:
        super().__init__()
        self._leave, self._back = leave, back
        self._where: Mapping[str, Mapping[str, str]] = {}
        self._cell = pmui.Select(label="Cell", size="small", options=[])
        self._reason = pmui.TextInput(label="Reason", size="small")
        self._press = pmui.Button(label="Leave out", icon="remove_circle_outline", variant="outlined", size="small")
        self._press.on_click(self._pressed)
        self._word = parts.Text("p", "", "hint", live=True)
        self._list = pmui.Column(sizing_mode="stretch_width", margin=0)
        self._view = pmui.Column(
            parts.hint("A flag is no reason. A broken instrument, a mixed-up sample or another procedure is one."),
            parts.wrap(
                parts.explained(self._cell, "One laboratory at one level.", width=300),
                parts.explained(self._reason, "Kept in the study and shown with the result.", width=300),
                self._press,
            ),
            self._word, self._list, sizing_mode="stretch_width", margin=0, sx={"gap": "8px"},
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
        button = pmui.Button(label="Take back", icon="undo", variant="text", size="small", width=130)
        button.on_click(lambda _: self._back(index))
        return pmui.Row(text, button, sizing_mode="stretch_width", margin=0)

    def _pressed(self, _event: Any) -> None:
        where = self._where.get(self._cell.value)
        if where is None:
            return
        try:
            self._leave(where, self._reason.value_input or self._reason.value or "")
        except InputError as error:
            self._word.text = str(error)
            return
        self._reason.param.update(value="", value_input="")
        self._word.text = "Left out. It can be taken back below."


class Band(pn.viewable.Viewer):
    """A small table of points that the user reads off a chart in their own copy of a standard."""

    def __init__(self, points: Sequence[str], changed: Callable[[list[str]], None]) -> None:
        super().__init__()
        self._tell = changed
        editor = {"type": "number", "min": 0}
        self._grid = pn.widgets.Tabulator(
            _rows(points), titles=_HEADS, show_index=False, editors=dict.fromkeys(_HEADS, editor), width=340,
            layout="fit_columns", sortable=False, selectable=False, margin=0, stylesheets=parts.TEXT_CSS,
        )  # fmt: skip
        self._grid.on_edit(lambda _: self._edited())
        clear = pmui.Button(label="Clear the band", icon="delete_outline", variant="text", size="small")
        clear.on_click(lambda _: self._tell([]))
        self._view = pmui.Column(
            parts.hint(
                "Points of the chart in your own copy: at each mean the lowest and highest SD in % of the mean that "
                "it expects. Two complete rows or more draw the band; double-click a cell to type."
            ),
            self._grid, clear, sizing_mode="stretch_width", margin=0, sx={"gap": "8px"},
        )  # fmt: skip

    def __panel__(self) -> Any:
        return self._view

    def offer(self, points: Sequence[str]) -> None:
        """Bring the table to these points."""
        if _points(self._grid.value) != list(points):
            self._grid.value = _rows(points)

    def _edited(self) -> None:
        found = _points(self._grid.value)
        if len(found) != 1:  # one point is a band in the making
            self._tell(found)


def _rows(points: Sequence[str]) -> pd.DataFrame:
    known = [[float(v) for v in p.split(":")] for p in points if _complete(p)]
    blank = [[np.nan] * 3] * max(BAND_ROWS - len(known), 1)
    return pd.DataFrame([*known, *blank], columns=list(_HEADS), dtype=float)


def _complete(point: str) -> bool:
    try:
        return len([float(v) for v in point.split(":")]) == 3
    except ValueError:
        return False


def _points(table: pd.DataFrame) -> list[str]:
    rows = table[list(_HEADS)].apply(pd.to_numeric, errors="coerce").dropna()
    return [":".join(f"{v:g}" for v in row) for row in rows.itertuples(index=False)]


def band_of(points: Sequence[str]) -> pd.DataFrame | None:
    """The band as methods take it, shares of the mean as fractions; None where none was typed."""
    rows = [[float(v) for v in p.split(":")] for p in points if _complete(p)]
    if not rows:
        return None
    table = pd.DataFrame(rows, columns=list(_HEADS))
    return table.assign(low=table["low"] / 100, high=table["high"] / 100).sort_values("mean_kv", ignore_index=True)
