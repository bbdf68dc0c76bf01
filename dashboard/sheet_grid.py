"""A sheet as it stands in its file: what each cell was taken for, and a selection that is made in it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
import param

from dashboard import part_styles
from dashboard.component import Component
from methods.columns import PLACE, PROCEDURE, known
from methods.records.places import letter

#: Rows and columns that are shown at once.
ROWS, COLUMNS = 60, 52
#: The longest text of a cell that is sent.
_LONGEST = 300


@dataclass(frozen=True)
class Kind:
    """What a cell can have been taken for: a letter, words, and a tint."""

    letter: str
    words: str
    hue: str


_READING = Kind("R", "reading", "primary")
_KINDS = {
    "breakdown": _READING,
    "withstood": Kind("W", "withstood", "primary"),
    "refused": Kind("!", "refused", "wrong"),
    "summary": Kind("S", "summary, no reading", "caution"),
    "heading": Kind("H", "heading", "ink"),
    "unit": Kind("U", "unit", "ink"),
    "title": Kind("T", "title", "ink"),
    "extra": Kind("O", "column of the file's own", "none"),
    "left_out": Kind("X", "left out", "out"),
    "filling": Kind("F", "filling or order", "good"),
    "order": Kind("F", "filling or order", "good"),
}
_OIL = Kind("N", "name of the oil", "good")
_HOW = Kind("C", "how it was tested", "good")
_MORE = Kind("M", "measured or noted beside it", "good")
_UNUSED = Kind("?", "not used", "none")
_UNREAD = Kind("", "not read yet", "")


def kind_of(role: str) -> Kind:
    """How a role of ``records.cells`` is shown."""
    column = known(role)
    if role in _KINDS:
        return _KINDS[role]
    if role == "context" or role in PROCEDURE or role in PLACE or role == "edition":
        return _HOW
    if column is not None and column.describes == "sample":
        return _OIL
    return _MORE if column is not None else _UNUSED


class SheetGrid(Component):
    """The cells of one sheet, part by part, and the place that is selected.

    A click selects a cell, a click on a row's number or a column's letter selects that; dragging, a click with the
    shift key, or the arrow keys with it, select up to there.
    """

    name_of = param.String(default="", doc="What the table is called for those who hear the page.")
    columns = param.List(default=[], doc="The letters of the columns.")
    lines = param.List(default=[], doc="For each row its number and its cells: text, letter, words, hue.")
    legend = param.List(default=[], doc="Letter, words, hue and count of the kinds that occur.")
    chosen = param.String(default="", doc="The place that is selected, such as B5:F9; the browser sets it.")

    SCRIPT = Path(__file__).with_suffix(".js")

    def __init__(self, **params: Any) -> None:
        super().__init__(
            stylesheets=[part_styles.grid_css()], **{"sizing_mode": "stretch_width", "margin": 0, **params}
        )

    def lay_out(self, sheet: Any, cells: pd.DataFrame, first: int = 0) -> None:
        """Show the rows from ``first`` on of a sheet, with what ``cells`` says became of its cells."""
        mine = cells[cells["sheet"] == sheet.name] if len(cells) else cells
        rows = list(zip(sheet.rows, sheet.cells, strict=True))[first : first + ROWS]
        width = min(max((len(r) for r in sheet.cells), default=1), COLUMNS)
        shown = set(n for n, _ in rows)
        here = mine[mine["row"].isin(shown)] if len(mine) else mine
        plain = _UNUSED if len(mine) else _UNREAD
        roles = {(c.row, c.column): (str(c.role), str(c.why)) for c in here.itertuples()}
        lines = []
        for number, row in rows:
            line = []
            for at in range(width):
                text = row[at].strip() if at < len(row) else ""
                role, why = roles.get((number, at + 1), ("", ""))
                kind = kind_of(role) if role else plain
                told = f"{kind.words}: {why}" if role and why else kind.words
                line.append([text[:_LONGEST], kind.letter, told, kind.hue] if text else ["", "", "", ""])
            lines.append([number, line])
        counts: dict[Kind, int] = {}
        for found, count in mine["role"].value_counts().items() if len(mine) else ():
            counts[kind_of(str(found))] = counts.get(kind_of(str(found)), 0) + int(count)
        legend = [[k.letter, k.words, k.hue, n] for k, n in counts.items()]
        self.param.update(
            columns=[letter(i) for i in range(width)], lines=lines, legend=legend, name_of=sheet.name or "the sheet"
        )
