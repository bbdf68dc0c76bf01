"""Which method: whole procedures beside each other on the same oils, and how surely one is the best."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from functools import partial
from typing import Any

import pandas as pd
import param

from dashboard import theme, words
from dashboard.pages.base import Empty, Figure, StudyPage
from dashboard.pages.choose_words import HELP
from dashboard.pages.records_words import for_the_page
from methods.answers.choose import choose as choose_answer
from methods.answers.heads import OWN
from methods.errors import NotEstimable
from methods.result import Caution

#: Criterion -> (label, what a higher weight asks for).
_WEIGHTS = {
    "precision": ("Precision weighs", "Small scatter of one reported result."),
    "time": ("Time weighs", "Few bench minutes for the half-width wanted."),
    "oil": ("Oil weighs", "Little oil for the half-width wanted."),
    "discrimination": ("Telling oils apart weighs", "One result tells these oils apart."),
    "history": ("Link to history weighs", "The procedure that past results were taken by."),
}


class Page(StudyPage):
    """Which procedure to choose."""

    TITLE = "Which method"
    QUESTION = "Which procedure gives most for its bench time on these oils, and how sure is that?"
    HELP = HELP
    FOLLOWS = ("confidence",)
    ASKS = True
    INPUTS = ("half_width", "precision", "time", "oil", "discrimination", "history", "link")
    COLUMNS = OWN["choose"]

    half_width = param.Number(10.0, bounds=(0.5, 90), softbounds=(2, 30), doc="Half-width wanted for an oil's mean, %.")
    precision = param.Number(1.0, bounds=(0, 10), softbounds=(0, 5), doc=_WEIGHTS["precision"][1])
    time = param.Number(1.0, bounds=(0, 10), softbounds=(0, 5), doc=_WEIGHTS["time"][1])
    oil = param.Number(0.0, bounds=(0, 10), softbounds=(0, 5), doc=_WEIGHTS["oil"][1])
    discrimination = param.Number(1.0, bounds=(0, 10), softbounds=(0, 5), doc=_WEIGHTS["discrimination"][1])
    link = param.Number(
        1.0, bounds=(0, 10), softbounds=(0, 5), doc="Weight of the link to history, where a procedure is named for it."
    )
    history = param.String("", doc="The procedure that past results were taken by; empty: none.")

    def controls(self) -> Sequence[Any]:
        self._history = self.chooser(
            "history", "Past results by", "Keeps the link to history; none counts for nothing."
        )
        self.study.param.watch(self._settle, ["files", "fingerprint"])
        self._settle()
        fields = [
            self.number(name, label, text, step=0.5, sliding=True)
            for name, (label, text) in _WEIGHTS.items() if name != "history"
        ]  # fmt: skip
        text = "For the mean of one oil."
        wanted = self.number("half_width", "Half-width wanted (± %)", text, step=1, sliding=True)
        return [wanted, *fields, self._history, self.number("link", *_WEIGHTS["history"], step=0.5, sliding=True)]

    def _settle(self, *_: Any) -> None:
        names = self._names()
        self.offer(self._history, {"none": "", **{n: n for n in names}}, self.history if self.history in names else "")

    def _names(self) -> list[str]:
        from methods.procedures import name_procedures

        table = self.study.table
        if not len(table):
            return []
        return self.kept("names", lambda: sorted(set(name_procedures(table).names)))

    def result(self) -> Any:
        weights = {
            "precision": self.precision, "time": self.time, "oil": self.oil, "discrimination": self.discrimination,
            "history": self.link if self.history in self._names() else 0.0,
        }  # fmt: skip
        history = self.history if self.history in self._names() else None
        settings = (self.half_width, self.study.confidence, history, self.study.result, *weights.values())
        try:
            return self.kept("choice", self._job(weights, history), *settings)
        except NotEstimable as why:  # no weight and no half-width can change that; the way on is a page away
            said, alone = for_the_page(str(why)), len(self._names()) < 2
            if alone:
                way, more = ("records", "Open another file"), "Run sheet plans a comparison from the start."
            else:
                way, more = ("bench_plan", "Plan these tests"), "Run sheet writes down such tests."
            raise Empty("These records cannot answer it.", f"{said} {more}", way=way, controls=False) from why

    def _job(self, weights: Mapping[str, float], history: str | None) -> Callable[[], Any]:
        from methods.choosing import choose

        return partial(
            choose, self.study.selection, half_width=self.half_width / 100, confidence=self.study.confidence,
            weights=weights, history=history, result=self.study.result,
        )  # fmt: skip

    def sentence(self, result: Any) -> str:
        return str(result.sentence)

    def cautions(self, result: Any) -> Sequence[Caution]:
        return list(result.cautions)

    def figures(self) -> Sequence[Figure]:
        return [Figure("What bench minutes buy", self.draw, self.describe, key=self._shape)]

    def _shape(self, result: Any) -> Hashable:
        return tuple(r.procedure for r in result.procedures)

    def draw(self, result: Any) -> Any:
        from dashboard.plots import choose as plots

        looks = self.looks("procedure")
        names = [r.procedure for r in result.procedures]
        if not set(names) <= set(looks):
            looks = theme.cues(names, self.dark)
        return plots.minutes_against_width(result.procedures, result.plans, result.half_width_percent, looks, self.dark)

    def describe(self, result: Any) -> str:
        best = next(r for r in result.procedures if r.procedure == result.best)
        return (
            "Each line is a procedure, from two fillings on; its mark is the plan that meets the half-width wanted, "
            "the larger the likelier that procedure is the best, "
            f"with {100 * result.confidence:g} % limits from the uncertainty of its scatter. {best.procedure} takes "
            f"{words.number(best.bench_minutes)} minutes."
        )

    def tables(self, result: Any) -> Mapping[str, tuple[str, pd.DataFrame]]:
        return {t.name: (t.title, t.frame) for t in choose_answer(result).tables}
