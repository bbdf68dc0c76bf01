"""Check oil: the same oil tested again and again under one procedure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
import param

from dashboard import words
from dashboard.pages.base import Empty, Figure, StudyPage
from methods.answers import answer
from methods.answers.heads import OWN

#: What the page calls the rules that are asked together -> their keys.
RULES = {"limits alone": ("1",), "and runs": ("1", "2", "5", "6"), "all eight": tuple("12345678")}
_HELP = """
A **check oil** is tested again and again by one procedure; what moves is then the test set, its electrodes or the
person, not the oil. A *result* is the mean of one filling.

**Individuals**: the limits stand three standard deviations from the centre; the standard deviation comes from the
moving range, the distance of each result from the one before. **Mean and SD**: the limits come from the scatter within
fillings, which is right only where fillings do not differ; a caution says when they do.

The **rules** are patterns that seldom come by chance (L. S. Nelson, 1984; ISO 7870-2 names tests of this kind). More
rules find small shifts sooner and warn more often for nothing: the table's note says how often. They are kept in a file
that can be edited; check them against your own copy of the standard.

The **electrode log** (polished, conditioned, gap reset) comes from the archive:
`gapshift archive mark 2025-03-02 polished`.
"""


class Page(StudyPage):
    """The chart of one oil under one procedure."""

    TITLE = "Check oil"
    QUESTION = "Does the same oil still read as it did?"
    HELP = _HELP
    FOLLOWS = ()
    INPUTS = ("oil", "chart", "baseline", "rules")
    COLUMNS = OWN["check_oil"]
    PICTURE = True

    oil = param.String("", doc="The oil and its procedure: those that were tested at least three times.")
    chart: param.Selector[str] = param.Selector(
        default="individuals", objects=["individuals", "mean_and_sd"], doc="What the limits of results come from."
    )
    baseline = param.Integer(
        None, bounds=(3, 100_000), allow_None=True, doc="Make the limits of the first results only; empty: of all."
    )
    rules: param.Selector[str] = param.Selector(
        default="and runs", objects=list(RULES), doc="Which patterns count as a warning."
    )

    #: The oils that were found when the numbers were last made.
    _named: Sequence[str] = ()

    def controls(self) -> Sequence[Any]:
        self._choose = self.chooser("oil", "Oil and procedure", "", 300)
        self.param.watch(self._settle, ["oil"])
        self._settle()
        named = {"individuals": "individuals", "mean_and_sd": "mean and SD"}
        return [
            self._choose,
            self.choice("chart", "Limits from", named),
            self.choice("rules", "Rules"),
            self.number("baseline", "Limits from the first"),
        ]

    def _cases(self) -> dict[str, pd.DataFrame]:
        from methods.control import cases

        return cases(self.study.selection)

    def _settle(self, *_: Any) -> None:
        found = self._named
        options = {"the most tested": "", **{name: name for name in found}}
        self.offer(self._choose, options, self.oil if self.oil in options.values() else "")

    def result(self) -> Any:
        found = self.kept("cases", self._cases)
        if not found:
            raise Empty(
                "No oil was tested three times under one procedure.",
                "Open the results of a check oil, or an archive of them: each filling is one result.",
            )
        self._named = list(found)
        self._settle()
        name = self.oil if self.oil in found else next(iter(found))
        return self.kept("chart", lambda: self._charted(name, found[name]), name, self.chart, self.baseline, self.rules)

    def _charted(self, name: str, table: pd.DataFrame) -> Any:
        from methods.control import check_oil

        logs = [f.records.marks for f in self.study.files if len(f.records.marks)]
        marks = pd.concat(logs, ignore_index=True) if logs else None
        return check_oil(
            table, chart=self.chart, baseline=self.baseline, rules=RULES[self.rules], marks=marks, name=name
        )  # fmt: skip

    def sentence(self, result: Any) -> str:
        return answer(result).sentence

    def figures(self) -> Sequence[Figure]:
        return [
            Figure("Results in the order of the tests", self._draw, self._describe),
            Figure("What scatters", self._draw_scatter, self._describe_scatter, height=300),
        ]

    def _draw(self, result: Any) -> Any:
        from dashboard.plots import check_oil as plots

        return plots.results(result, self.dark)

    def _draw_scatter(self, result: Any) -> Any:
        from dashboard.plots import check_oil as plots

        return plots.scatter(result, self.dark)

    def _describe(self, result: Any) -> str:
        return f"{result.oil}: each mark is the mean of a filling. Shaded: the limits; dashed: the centre."

    def _describe_scatter(self, result: Any) -> str:
        if result.chart == "individuals":
            return (
                f"Moving range of results: mean {words.number(result.mean_range_kv, 2)} kV, upper limit "
                f"{words.number(result.range_high_kv, 2)} kV."
            )
        return f"Standard deviation within fillings: mean {words.number(result.mean_sd_kv, 2)} kV."

    def tables(self, result: Any) -> Mapping[str, tuple[str, pd.DataFrame]]:
        return {t.name: (t.title, t.frame) for t in answer(result).tables}
