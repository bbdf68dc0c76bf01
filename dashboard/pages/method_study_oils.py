"""Two methods on the same oils: how far they agree, and which of several tells oils apart better."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dashboard import words
from dashboard.pages.base import Empty, Figure
from dashboard.pages.method_study_view import View
from methods.answers.agreement import agreement, sensitivity
from methods.errors import InputError
from methods.result import Caution

COUNTS = {"result": "as reported", "filling": "a filling's mean", "breakdown": "one breakdown"}


def results(page: Any) -> Any:
    """The choice of what counts as one result."""
    choice = page.choice(
        "counts",
        "A result is",
        COUNTS,
        "What the method reports: the mean of one filling, or of as many as it prescribes.",
    )
    choice.max_width = 280
    return choice


def needs_methods(view: View) -> None:
    """Say what is missing where there are no two levels to set beside each other.

    Raises
    ------
    Empty
    """
    if not view.study.by or view.study.by == "sample" or len(view.study.present(view.study.by)) < 2:
        raise Empty(
            "There are no two methods to set beside each other.",
            "Choose under “Compare by” what separates them (method, electrode, laboratory …), with the same oils "
            "tested by each. The demo programme has eight ways of testing.",
            lacks="method",
        )


@dataclass(frozen=True)
class Agreed:
    """Agreement with the curves of its plots, and a prediction where one was asked for."""

    found: Any
    points: pd.DataFrame
    lines: pd.DataFrame
    band: pd.DataFrame
    predicted: Any
    refused: str


class OilAgreement(View):
    KEY = "agreement"
    QUESTION = "How far the second method lies from the first on the same oil, and how far oils differ in that."

    def controls(self) -> Sequence[Any]:
        page = self.page
        return [
            self.chooser("first", "First", "The method to start from.", 220),
            self.chooser("second", "Second", "The method set beside it.", 220),
            page.choice("scale", "Differences in", {"kv": "kV", "percent": "%"}, "% suits differences that grow."),
            results(page),
            page.number("reading", "First reads (kV)", "On a new oil, or as an old limit: what may the second read?",
                        step=5),
        ]  # fmt: skip

    def result(self) -> Agreed:
        needs_methods(self)
        present = list(self.study.present(self.study.by))
        most = self.study.reference if self.study.reference in present else self.most_rows()
        first = self.offer("first", present, most)
        second = self.offer("second", [p for p in present if p != first])
        settings = (self.study.by, first, second, self.page.result_is, self.study.confidence)
        found = self.page.kept("agreement", lambda: self._compare(first, second), *settings)
        predicted, refused = None, ""
        if self.page.reading:
            try:
                predicted = found.predict(self.page.reading)
            except InputError as error:
                refused = str(error)
        scale = self.page.scale
        curves = self.page.kept("agreement curves", lambda: self._curves(found, scale), *settings, scale)
        points, lines, band = curves
        return Agreed(found, points, lines, band, predicted, refused)

    def _curves(self, found: Any, scale: str) -> tuple[Any, ...]:
        from methods.agreement.agreement_curves import differences, line_points, prediction_band

        return differences(found, relative=scale == "percent"), line_points(found), prediction_band(found)

    def _compare(self, first: str, second: str) -> Any:
        from methods.agreement import compare_methods

        return compare_methods(
            self.study.selection, by=self.study.by, first=first, second=second, result=self.page.result_is,
            confidence=self.study.confidence,
        )  # fmt: skip

    def _limits(self, result: Agreed) -> tuple[Any, str]:
        percent = self.page.scale == "percent"
        return (result.found.relative, "%") if percent else (result.found.absolute, "kV")

    def sentence(self, result: Agreed) -> str:
        said = agreement(result.found, self._limits(result)[1]).sentence
        if result.predicted is not None:
            said += f" {result.predicted.sentence}"
        return said

    def cautions(self, result: Agreed) -> Sequence[Caution]:
        out = list(result.found.cautions)
        if result.predicted is not None:
            out += result.predicted.cautions
        return [*out, *([Caution("refused", result.refused)] if result.refused else [])]

    def figures(self) -> Sequence[Figure]:
        def key(result: Agreed) -> Any:
            found = result.found
            return (found.first, found.second, found.samples, len(result.band) > 0, self.page.scale)

        return [
            Figure("Difference against mean", self._draw_difference, self._describe_difference, key=key, height=380),
            Figure("One method against the other", self._draw_lines, self._describe_lines, key=key, height=380),
        ]  # fmt: skip

    def _draw_difference(self, result: Agreed) -> Any:
        from dashboard.plots import method_study as plots

        limits, unit = self._limits(result)
        return plots.agreement(result.points, limits, list(result.points["sample"]), unit, self.dark)

    def _describe_difference(self, result: Agreed) -> str:
        limits, unit = self._limits(result)
        what = "single results" if result.found.single_results else "what was compared"
        return (
            f"{result.found.second} less {result.found.first}. Lines: mean {words.signed(limits.bias)} {unit} and "
            f"limits {words.signed(limits.lower)} and {words.signed(limits.upper)} {unit} for {what}; shaded "
            "and, at the right edge, upright: how surely each line is known."
        )

    def _draw_lines(self, result: Agreed) -> Any:
        from dashboard.plots import method_study as plots

        found = result.found
        return plots.association(found.pairs, result.lines, result.band, (found.first, found.second), self.dark)

    def _describe_lines(self, result: Agreed) -> str:
        found = result.found
        if found.deming is None:
            return "Too few oils for a line between the methods; the dotted line is that of equal readings."
        d, new = found.deming, "shaded: one new oil" if len(result.band) else "too few oils for what a new one may read"
        return (
            f"Deming line: {found.second} = {words.number(d.intercept)} + {words.number(d.slope)} × {found.first}, "
            f"slope {words.number(d.slope_low)} to {words.number(d.slope_high)}; {new}. It is an "
            f"{found.statement}."
        )

    def tables(self, result: Agreed) -> Mapping[str, tuple[str, pd.DataFrame]]:
        return {t.name: (t.title, t.frame) for t in agreement(result.found).tables}


class TellingApart(View):
    KEY = "apart"
    QUESTION = "Signal between oils over noise of a result, for a result and for an hour on the bench."

    def controls(self) -> Sequence[Any]:
        return [results(self.page)]

    def result(self) -> Any:
        needs_methods(self)
        return self.page.kept("apart", self._found, self.study.by, self.page.result_is, self.study.confidence)

    def _found(self) -> Any:
        from methods.agreement import discrimination
        from methods.procedures import minutes_of

        by = self.study.by
        minutes = minutes_of(self.study.table, by, self.page.result_is)
        return discrimination(
            self.study.selection, by=by, minutes=minutes, result=self.page.result_is, confidence=self.study.confidence
        )

    def sentence(self, result: Any) -> str:
        return sensitivity(result).sentence

    def figures(self) -> Sequence[Figure]:
        from dashboard.plots import scatter as bars

        return [
            Figure(
                "Signal over noise", self._draw, self._describe,
                key=lambda r: (r.ranked_by, tuple(r.methods["method"])), ticks=lambda r: bars.ticks(self._rows(r)),
                height=lambda r: bars.height(len(r.methods)),
            )
        ]  # fmt: skip

    def _rows(self, result: Any) -> list[Any]:
        from dashboard.plots.scatter import Row

        looks, key = self.page.looks(self.study.by), result.ranked_by
        return [
            Row(str(m["method"]), m[key], m[f"{key}_low"], m[f"{key}_high"], looks.get(str(m["method"]), self.cue()))
            for m in result.methods.to_dict("records")
        ]

    def _draw(self, result: Any) -> Any:
        from dashboard.plots import scatter as bars

        hourly = result.ranked_by == "per_hour"
        label = (
            "Spread between oils over scatter of an hour's results"
            if hourly
            else "Spread between oils over scatter of a result"
        )
        return bars.intervals(self._rows(result), label, start=0.0, dark=self.dark)

    def _describe(self, result: Any) -> str:
        more = (
            "per bench hour" if result.ranked_by == "per_hour" else "per result; no bench time is known for all of them"
        )
        return f"Best first, {more}, with limits. At 1 the oils differ as much as results on one oil do."

    def tables(self, result: Any) -> Mapping[str, tuple[str, pd.DataFrame]]:
        return {t.name: (t.title, t.frame) for t in sensitivity(result).tables}
