"""What is selected: the readings that were marked on a plot or in a table, and leaving them out with a reason."""

from __future__ import annotations

from typing import Any

import numpy as np
import panel as pn
import param

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.controls import Words
from dashboard.plots.readings import told
from dashboard.study import Study
from methods.errors import InputError

#: Readings that are shown one by one; of more the first.
MOST_SHOWN = 2
#: Readings that can be left out at a time: each is an exclusion of its own, with its reason.
MOST_LEFT_OUT = 200


class Tray(pn.viewable.Viewer):
    """At the foot of the window while something is selected, whichever page is in front."""

    study: Study = param.ClassSelector(class_=Study, constant=True, doc="The session's state.")  # type: ignore[assignment]

    def __init__(self, study: Study, **params: Any) -> None:
        super().__init__(study=study, **params)
        self._view = parts.column(
            visible=False, gap=6, css_classes=["tray"],
            styles={
                "position": "sticky", "bottom": "0", "z-index": "25", "padding": "8px 12px", "width": "auto",
                "background": "var(--surface)", "border": "1px solid var(--muted)", "border-radius": "8px 8px 0 0",
                "box-shadow": "0 -4px 16px rgb(0 0 0 / 25%)",
            },
        )  # fmt: skip
        study.param.watch(self._changed, "selected")

    def _fill(self) -> None:
        """Make what stands in it, when something is selected for the first time."""
        study = self.study
        self._rows = parts.raw("")
        self._reason = Words("Leave out, because …", example="stirrer stopped", max_width=300)
        self._out = Press("Leave out", lambda _: self._leave_out(), look="main")
        self._word = parts.Text("p", "", "hint", live=True)
        turn = parts.row(
            Press("‹", lambda _: study.step(-1), more="The reading below in voltage"),
            Press("›", lambda _: study.step(1), more="The reading above in voltage"),
            Press("Clear", lambda _: setattr(study, "selected", []), look="quiet"), gap=6,
        )  # fmt: skip
        act = parts.row(self._reason, self._out, turn, gap=8, styles={"align-items": "end", "flex-wrap": "wrap"})
        self._view.objects = [self._rows, act, self._word]

    def __panel__(self) -> Any:
        return self._view

    def _changed(self, *_: Any) -> None:
        rows = self.study.selected
        with pn.io.hold():
            self._view.visible = bool(rows)
            if rows:
                if not len(self._view):
                    self._fill()
                self._word.text = ""
                self._rows.object = self._markup(rows)

    def _markup(self, rows: list[int]) -> str:
        whole = self.study.everything
        said = told(whole, np.arange(len(whole)), rows[:MOST_SHOWN])
        lines = []
        for i in range(len(said.rows)):
            cells = [_cell(name, str(values[i])) for name, values in said.about.items() if str(values[i])]
            lines.append(f"<li>{parts.unbroken(parts.escaped(' · '.join(cells)))}</li>")
        more = f" The first {MOST_SHOWN}:" if len(rows) > MOST_SHOWN else ""
        title = f"{words.plural(len(rows), 'reading')} selected.{more}"
        return f'<div role="status"><b>{title}</b><ul class="rows">{"".join(lines)}</ul></div>'

    def _leave_out(self) -> None:
        rows = list(self.study.selected)
        try:
            if len(rows) > MOST_LEFT_OUT:
                raise InputError(
                    f"{len(rows)} readings are too many to leave out at a time: {MOST_LEFT_OUT} at most. Filter by "
                    "level on the Records page instead."
                )
            self.study.leave_out(rows, self._reason.value)
        except InputError as error:
            self._word.text = str(error)
            return
        self._reason.value = ""


def _cell(name: str, text: str) -> str:
    """One cell of a reading, as people say it."""
    if name == "kV":
        return f"{text} kV"
    return f"{name.lower()} {text}" if name in ("Filling", "Order", "Remark") else text
