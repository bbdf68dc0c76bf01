"""What stands beside every page: the menu, and the choices that all pages share."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

import panel as pn
import param

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.controls import Choice, Several
from dashboard.menu import Menu
from dashboard.pages import entries, keys, page_class
from dashboard.study import Study
from dashboard.turns import by_turns
from methods.procedures import JOIN, PROCEDURE, parts_of

_CONFIDENCES = {"80 %": 0.80, "90 %": 0.90, "95 %": 0.95, "99 %": 0.99}


class Sidebar(pn.viewable.Viewer):
    """Menu and shared choices of one study."""

    study: Study = param.ClassSelector(class_=Study, constant=True)  # type: ignore[assignment]

    def __init__(self, study: Study, **params: Any) -> None:
        super().__init__(study=study, **params)
        self._menu = Menu(entries=[[e.key, e.label, e.sign] for e in entries()], page=study.page)
        self._by, self._reference, self._confidence = Choice("Compare by"), Choice("Reference"), Choice("Confidence")
        self._with = Several("Together with", none="nothing else", most=2)
        self._data = parts.raw("")
        self._filters = parts.column(width=184, gap=4)
        self._filtered: dict[str, list[str]] = {}
        self._settle()
        self._menu.param.watch(lambda event: self._set("page", event.new), "page")
        for widget, name in ((self._by, "by"), (self._reference, "reference"), (self._confidence, "confidence")):
            widget.param.watch(lambda event, name=name: self._set(name, event.new), "value")
        self._with.param.watch(self._joined, "value")
        shared = ["page", "files", "fingerprint", "by", "reference", "confidence"]
        study.param.watch(lambda *_: by_turns(self._settling()), shared)

    def __panel__(self) -> Any:
        return parts.column(
            self._menu,
            parts.column(
                parts.explained(self._by, "The factor whose levels are set against each other.", width=184),
                parts.explained(self._with, "Each combination becomes a level: electrode and gap, say.", width=184),
                parts.explained(self._reference, "The level that the others are measured from.", width=184),
                parts.explained(self._confidence, "How often intervals made this way hold the true value.", width=184),
                self._data, self._filters, margin=(0, 12), gap=8, width=184,
            ),
            gap=8,
        )  # fmt: skip

    def _set(self, name: str, value: Any) -> None:
        if value is not None and not self._busy and getattr(self.study, name) != value:
            setattr(self.study, name, value)

    def _joined(self, event: Any) -> None:
        """Several columns make one factor of their combinations."""
        if not self._busy and self.study.by:
            self._set("by", JOIN.join([parts_of(self.study.by)[0], *event.new]))

    _busy = False

    def _settling(self) -> Iterator[None]:
        self._settle()
        yield

    def _settle(self) -> None:
        """Bring the controls to the study."""
        study = self.study
        self._busy = True
        try:
            factors = {words.heading(f): f for f in study.factors}
            levels = study.levels(study.by)
            automatic = "most fillings" if levels else "–"
            confidences = dict(_CONFIDENCES)
            if study.confidence not in confidences.values():
                confidences[f"{study.confidence:.4g}"] = study.confidence
            with pn.io.hold():
                self._settle_choices()
                main, *others = parts_of(study.by) or (None,)
                self._by.param.update(options=factors, value=main, disabled=not factors)
                free = {label: f for label, f in factors.items() if f not in (main, PROCEDURE)}
                self._with.param.update(options={} if main == PROCEDURE else free, value=others)
                options = {automatic: "", **{v: v for v in levels}}
                shown = study.reference if study.reference in options.values() else ""
                self._reference.param.update(options=options, value=shown, disabled=not levels)
                self._confidence.param.update(options=confidences, value=study.confidence)
                self._data.object = self._summary()
                self._settle_filters()
                self._menu.page = study.page
        finally:
            self._busy = False

    def _settle_choices(self) -> None:
        """Only the choices that the page in front follows, and of the records only where it is about them."""
        page = page_class(self.study.page if self.study.page in keys() else entries()[0].key)
        whole = page.KEY == "records"  # where a study is set up
        self._by.visible = self._with.visible = whole or "by" in page.FOLLOWS
        self._reference.visible = whole or "reference" in page.FOLLOWS
        self._confidence.visible = whole or "confidence" in page.FOLLOWS
        self._data.visible = self._filters.visible = page.KEY != "classroom"

    def _settle_filters(self) -> None:
        """One button a filter: what is kept, and a click that takes the filter away."""
        if self._filtered == self.study.filters:
            return
        self._filtered = dict(self.study.filters)
        buttons = []
        for column, kept in self._filtered.items():
            shown = words.listed(kept) if len(kept) <= 2 else f"{len(kept)} levels"
            label = f"Only {words.heading(column).lower()}: {shown} ×"
            buttons.append(Press(label, partial(self._unfilter, column), more="Take this filter away"))
        self._filters.objects = buttons

    def _unfilter(self, column: str, _: Any = None) -> None:
        self.study.filters = {c: kept for c, kept in self.study.filters.items() if c != column}

    def _summary(self) -> str:
        study = self.study
        if not study.files:
            return '<p class="hint">No file is open.</p>'
        names = words.listed(f.name for f in study.files)
        lines = [f"{parts.escaped(names)}: {words.plural(len(study.table), 'reading')}"]
        if study.dataset:
            lines[0] += ", invented for the demo"
        hidden = len(study.everything) - len(study.table)
        if hidden:
            lines.append(f"{words.plural(hidden, 'reading')} filtered or left out")
        return "".join(f'<p class="hint">{line}.</p>' for line in lines)
