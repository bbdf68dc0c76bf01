"""A question that stands below a page's own, with its answer, cautions and table: one series, one mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
import panel as pn

from dashboard import parts
from dashboard.tables import Table
from methods.result import Caution


class Aside(pn.viewable.Viewer):
    """The question, unseen until it is answered.

    Parameters
    ----------
    title, hint : str
        The question, and one line about it.
    *controls : viewable
        What it is asked about.
    table : (str, str)
        Name of the table's download, and what stands above the table.
    columns : mapping
        Headings and explanations of the page's own columns.
    """

    def __init__(
        self, title: str, hint: str, *controls: Any, table: tuple[str, str],
        columns: Mapping[str, tuple[str, str]],
    ) -> None:  # fmt: skip
        super().__init__()
        self._name, self._title = table
        self._columns = dict(columns)
        self.answer = parts.Text("p", "", "", live=True)
        self._notes = parts.raw("", visible=False)
        self._table = parts.column()
        self._view = parts.column(
            parts.heading(title), parts.hint(hint), parts.wrap(*controls), self.answer, self._notes, self._table, gap=8,
            visible=False,
        )  # fmt: skip

    def __panel__(self) -> Any:
        return self._view

    @property
    def visible(self) -> bool:
        """Whether it is on the page."""
        return bool(self._view.visible)

    def tell(self, answer: str, cautions: Sequence[Caution] = (), frame: pd.DataFrame | None = None) -> None:
        """Give the answer, or in its place why there is none."""
        self.answer.text = answer
        notes = parts.cautions(cautions)
        self._notes.param.update(object=notes, visible=bool(notes))
        self._table.objects = (
            [] if frame is None else [Table(self._name, self._title, frame, self._columns).__panel__()]
        )
        self._view.visible = True

    def hide(self) -> None:
        """Take it off the page: there is nothing to ask about."""
        self._view.visible = False
