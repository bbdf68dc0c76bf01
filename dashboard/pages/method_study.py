"""Method study: what rules, gap, geometry, rate of rise and design do, and how two methods agree on the same oils."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib import import_module
from typing import Any

import pandas as pd
import panel as pn
import param

from dashboard import parts
from dashboard.pages.base import StudyPage
from dashboard.pages.method_study_words import COLUMNS, HELP, QUESTIONS
from methods.protocols.assumed import FAMILIES
from methods.result import Caution

#: Where the view of each question is.
_HOMES = {
    "rules": ("method_study_rules", "Rules"),
    "gap": ("method_study_laws", "GapLaw"),
    "rate": ("method_study_laws", "RateOfRise"),
    "geometry": ("method_study_geometry", "Geometry"),
    "agreement": ("method_study_oils", "OilAgreement"),
    "apart": ("method_study_oils", "TellingApart"),
    "design": ("method_study_design", "Designs"),
    "family": ("method_study_design", "Families"),
}


class Page(StudyPage):
    """A page with a question to choose."""

    TITLE = "Method study"
    QUESTION = "What do the choices in a test method do? Choose a question."
    HELP = HELP
    PICTURE = True
    FOLLOWS = ("by", "reference", "confidence")
    ASKS = True
    COLUMNS = COLUMNS
    INPUTS = (
        "question", "family", "between", "own_kind", "own_limit", "own_n", "own_more", "own_second", "judged_by", "law",
        "at_gap", "rate_from", "rate_to",
        "geometry_one", "geometry_two", "fraction", "first", "second", "scale", "reading", "counts", "level", "total",
        "condition", "low",
    )  # fmt: skip

    question: param.Selector[str] = param.Selector(
        default="rules", objects=list(QUESTIONS), doc="What the page answers."
    )
    family: param.Selector[str] = param.Selector(
        default="normal", objects=list(FAMILIES), doc="How the breakdowns of an oil are taken to fall."
    )
    between = param.Number(0.0, bounds=(0, 50), doc="How far fillings of the same oil differ, in % of the mean.")
    own_kind: param.Selector[str] = param.Selector(
        default="none", objects=["none", "range_percent", "cov_ceiling", "three_r"], doc="What the rule compares."
    )
    own_limit = param.Number(30.0, bounds=(0.1, 500), doc="In % of the mean, or the factor of the range.")
    own_n = param.Integer(5, bounds=(3, 100), doc="Breakdowns that your own rule judges.")
    own_more = param.Integer(5, bounds=(0, 100), doc="Breakdowns that are added when they fail; 0: none.")
    own_second = param.Number(
        None, allow_None=True, bounds=(0, 500), doc="Limit for all of them together, in % of the mean; empty: none."
    )
    judged_by = param.String("", doc="Rule by which all series are judged; empty: each by its method's.")
    law = param.String("", doc="Which of the groups is drawn.")
    at_gap = param.Number(None, allow_None=True, bounds=(0, 100), doc="Predict at this gap, mm; empty: not asked.")
    rate_from = param.Number(2.0, bounds=(0.01, 100), doc="Rate of rise to start from, kV/s.")
    rate_to = param.Number(0.5, bounds=(0.01, 100), doc="Rate of rise to go to, kV/s.")
    geometry_one = param.String("", doc="Electrode and gap to start from.")
    geometry_two = param.String("", doc="Electrode and gap to go to.")
    fraction = param.Number(90.0, bounds=(50, 99), doc="Oil counts as stressed from this share of the peak field, %.")
    first = param.String("", doc="The method to start from.")
    second = param.String("", doc="The method set beside it.")
    scale: param.Selector[str] = param.Selector(
        default="kv", objects=["kv", "percent"], doc="Differences in kV, or in % of the first."
    )
    reading = param.Number(
        None, allow_None=True, bounds=(0, 500), doc="A reading of the first on a new oil, kV; empty: not asked."
    )
    counts: param.Selector[str] = param.Selector(
        default="result", objects=["result", "filling", "breakdown"], doc="What counts as one result."
    )
    level = param.String("", doc="The level of the compared factor that is looked at.")
    total = param.Integer(6, bounds=(2, 60), doc="Breakdowns in all, however they are spread over fillings.")
    condition = param.String("", doc="One oil under one condition.")
    low: param.Selector[str] = param.Selector(
        default="1 %", objects=["0.1 %", "1 %", "5 %", "10 %"], doc="The low percentile in question."
    )

    def __init__(self, study: Any, **params: Any) -> None:
        self._views: dict[str, Any] = {}
        self._lives: dict[str, list[Any]] = {}
        super().__init__(study, **params)

    @property
    def result_is(self) -> str | int:
        """What counts as one result: what is chosen here, or what the method reports (the answer where none says)."""
        return self.study.result if self.counts == "result" else str(self.counts)

    # ------------------------------------------------------------- which question

    @property
    def view(self) -> Any:
        """The view of the question that is chosen."""
        if self.question not in self._views:
            module, name = _HOMES[self.question]
            self._views[self.question] = getattr(import_module(f"dashboard.pages.{module}"), name)(self)
        return self._views[self.question]

    def controls(self) -> Sequence[Any]:
        self._own_controls = parts.column(gap=8)
        self._own_extras = parts.column()
        choice = self.select("question", "Question", QUESTIONS, "Each has its own answer, plot and table.")
        return [choice, self._own_controls]

    def extras(self) -> Sequence[Any]:
        return [self._own_extras]

    def _arrange(self) -> None:
        """Put the chosen question's controls, plots and extras on the page."""
        key = self.question
        if getattr(self, "_arranged", None) == key:
            return
        view = self.view
        if key not in self._lives:
            from dashboard.plots.canvas import Live

            self._lives[key] = [
                Live(figure, self.study, dark=self.dark, main=i == 0) for i, figure in enumerate(view.figures())
            ]
            view.shown_controls = list(view.controls())
            view.shown_extras = list(view.extras())
        self._figures = self._lives[key]
        for live in self._figures:
            live.dark = self.dark
        self._own_controls.objects = [parts.hint(view.QUESTION), *view.shown_controls]
        self._own_extras.objects = view.shown_extras
        self._main.objects = self._figures[:1]
        self._body.objects = [*self._figures[1:], self._tables]
        self._arranged = key

    # ------------------------------------------------------------- as the frame asks

    def result(self) -> Any:
        with pn.io.hold():
            self._arrange()
        return self.view.result()

    def sentence(self, result: Any) -> str:
        return str(self.view.sentence(result))

    def tables(self, result: Any) -> Mapping[str, tuple[str, pd.DataFrame]]:
        found = self.view.tables(result)
        return {f"{self.question}_{name}": table for name, table in found.items()}

    def cautions(self, result: Any) -> Sequence[Caution]:
        return list(self.view.cautions(result))
