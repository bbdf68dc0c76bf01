"""Filtering by level, and leaving readings out with a reason."""

from __future__ import annotations

from typing import Any

import panel as pn
import param

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.cache import remember
from dashboard.controls import Choice, Several, Words
from dashboard.exclusions import filling_key
from dashboard.levels import level_text
from dashboard.study import Study
from methods.columns import LABELS
from methods.errors import InputError
from methods.records.table import filling_codes

#: Beyond this many rows, single fillings are not listed: filter first.
MOST_LISTED = 20_000


class Filters(pn.viewable.Viewer):
    """One choice of levels for each factor that has two or more."""

    study: Study = param.ClassSelector(class_=Study, constant=True)  # type: ignore[assignment]

    def __init__(self, study: Study, **params: Any) -> None:
        super().__init__(study=study, **params)
        self._view = parts.column(gap=12)
        self._choices: dict[str, Any] = {}
        self._busy = False
        self._lay()
        study.param.watch(self._lay, ["files"])
        study.param.watch(self._follow, ["filters"])

    def __panel__(self) -> Any:
        return self._view

    def _lay(self, *_: Any) -> None:
        study = self.study
        self._choices = {}
        for column in study.factors:
            levels = list(study.levels(column))
            kept = list(study.filters.get(column, []))
            choice = Several(words.heading(column), levels, value=kept, none="all", max_width=250)
            choice.param.watch(lambda event, column=column: self._set(column, event.new), "value")
            self._choices[column] = choice
        clear = Press("Keep all again", lambda _: setattr(study, "filters", {}), look="quiet")
        line = "Only the chosen levels stay; an empty choice keeps all. Every page follows."
        self._view.objects = [parts.hint(line), parts.wrap(*self._choices.values(), gap=16), clear]

    def _set(self, column: str, levels: list[str]) -> None:
        if self._busy:
            return
        left = {c: v for c, v in self.study.filters.items() if c != column}
        self.study.filters = {**left, column: list(levels)} if levels else left

    def _follow(self, *_: Any) -> None:
        self._busy = True
        try:
            for column, choice in self._choices.items():
                choice.value = list(self.study.filters.get(column, []))
        finally:
            self._busy = False


class Exclude(pn.viewable.Viewer):
    """Choose a filling, or one breakdown of it, give the reason, and leave it out; each can be taken back."""

    study: Study = param.ClassSelector(class_=Study, constant=True)  # type: ignore[assignment]

    def __init__(self, study: Study, **params: Any) -> None:
        super().__init__(study=study, **params)
        self._rows: dict[str, Any] = {}
        self._filling = Choice("Filling", look="search")
        self._reading = Choice("Breakdown")
        self._reason = Words("Reason", example="stirrer stopped")
        self._button = Press("Leave out", self._leave_out, look="main")
        self._word = parts.Text("p", "", "hint", live=True)
        self._list = parts.column()
        self._filling.param.watch(self._list_readings, "value")
        self._settle()
        study.param.watch(self._settle, ["fingerprint"])

    def __panel__(self) -> Any:
        return parts.column(
            parts.hint("What is left out enters no number. Give a reason that holds without the value itself."),
            parts.wrap(
                parts.explained(self._filling, "One filling of the cell.", width=380),
                parts.explained(self._reading, "All of the filling, or one of its readings.", width=220),
                parts.explained(self._reason, "Kept with the study and the report.", width=300),
                gap=16,
            ),
            parts.row(self._button, self._word, gap=12), self._list, gap=12,
        )  # fmt: skip

    def _settle(self, *_: Any) -> None:
        study = self.study
        few = len(study.table) <= MOST_LISTED
        if few:
            self._rows = remember(("fillings", study.fingerprint), lambda: _fillings(study.table))
        else:
            self._rows = {}
        for control in (self._filling, self._reading, self._reason, self._button):
            control.disabled = not self._rows
        if not few:
            self._word.text = f"Filter to {words.number(MOST_LISTED)} readings or fewer to leave single ones out."
        names = list(self._rows)
        value = self._filling.value if self._filling.value in self._rows else (names[0] if names else None)
        self._filling.param.update(options=names, value=value)
        self._list_readings()
        self._list.objects = [self._entry(i, x) for i, x in enumerate(study.exclusions)]

    def _list_readings(self, *_: Any) -> None:
        part = self._rows.get(self._filling.value)
        options: dict[str, Any] = {"the whole filling": ""}
        if part is not None:
            for row in part.to_dict("records"):
                sign = "> " if row["outcome"] == "withstood" else ""
                at = level_text(row["order"])
                options[f"{at}: {sign}{words.number(row['kv'])} kV"] = f"{at}|{level_text(row['kv'])}"
        self._reading.param.update(options=options, value="")

    def _entry(self, index: int, exclusion: Any) -> Any:
        named = [f"{words.heading(c)} {t}" for c, t in exclusion.where.items() if c != "file"]
        text = parts.raw(f"<p>{parts.escaped(', '.join(named))}: <b>{parts.escaped(exclusion.reason)}</b></p>")
        back = Press("Take back", lambda _: self._take_back(index), look="quiet")
        return parts.row(text, back, sizing_mode="stretch_width")

    def _take_back(self, index: int) -> None:
        self.study.take_back(index)
        self._word.text = "Taken back."

    def _leave_out(self, _event: Any) -> None:
        part = self._rows.get(self._filling.value)
        if part is None:
            return
        where = filling_key(part.iloc[0].to_dict())
        if self._reading.value:
            order, kv = self._reading.value.split("|")
            where |= {"order": order, "kv": kv}
        try:
            self.study.exclude(where, self._reason.value)
        except InputError as error:
            self._word.text = str(error)
            return
        self._reason.value = ""
        self._word.text = "Left out. It can be taken back below."


def _fillings(table: Any) -> dict[str, Any]:
    """The fillings of the table by a label that says which is which."""
    out: dict[str, Any] = {}
    telling = [c for c in LABELS if c in table.columns and (c == "filling" or table[c].nunique() > 1)]
    for _, part in table.groupby(filling_codes(table, by=["file"] if "file" in table else ()), sort=False):
        row = part.iloc[0]
        bits = [f"filling {level_text(row[c])}" if c == "filling" else level_text(row[c]) for c in telling]
        label = " · ".join(b for b in bits if b != "not given")
        out[label if label not in out else f"{label} ({len(out) + 1})"] = part
    return out
