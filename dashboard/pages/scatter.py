"""Scatter: where it comes from, what the order does, what stands apart, and what the consistency rules say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import param

from dashboard import words
from dashboard.levels import texts
from dashboard.pages import scatter_words as said
from dashboard.pages.base import Figure, StudyPage
from dashboard.study import Selection
from methods.answers import Table
from methods.answers.components import LEVELS, component_name, span
from methods.answers.components import components as components_answer
from methods.answers.order import order as order_answer
from methods.answers.rules import judged
from methods.errors import InputError
from methods.records.table import filling_codes
from methods.result import Caution

#: The value of the level's selector for no choice among the levels.
ALL = "*"


@dataclass(frozen=True)
class Answer:
    """What the page shows for one level."""

    level: str
    fillings: int
    components: Any
    refused: str
    worth: tuple[int, float] | None
    order: Any
    points: pd.DataFrame
    said: Any
    line: pd.DataFrame
    outliers: Any
    judged: Any


class Page(StudyPage):
    """Scatter of one level at a time."""

    TITLE = "Scatter"
    QUESTION = "Where does the scatter come from, and are these series sound?"
    HELP = said.HELP
    READINGS = True
    FOLLOWS = ("by", "reference", "confidence")
    INPUTS = ("level", "alpha")
    COLUMNS = said.COLUMNS

    level = param.String("", doc="The level that is looked at.")
    alpha: param.Selector[str] = param.Selector(
        default="5 %", objects=["5 %", "1 %"], doc="How rarely a sound end value may be flagged."
    )

    # ------------------------------------------------------------- controls

    def controls(self) -> Sequence[Any]:
        text = "Scatter is looked at one level at a time: levels scatter differently."
        self._choose = self.chooser("level", "Look at", text, 300)
        self.study.param.watch(self._settle, ["by", "fingerprint", "reference"])
        self.param.watch(self._settle, ["level"])
        self._settle()
        return [
            self._choose,
            self.choice("alpha", "Flag at", None, "Level of the tests for values that stand apart: 1 % flags fewer."),
        ]

    def _settle(self, *_: Any) -> None:
        present = self.study.present(self.study.by)
        options = {"most fillings": "", **{p: p for p in present}, "all levels together": ALL}
        self.offer(self._choose, options, self.level if self.level in options.values() else "")

    # ------------------------------------------------------------- numbers

    def _part(self) -> tuple[str, pd.DataFrame, np.ndarray]:
        """The level that is looked at, as text, its rows, and their places in the selected table."""
        study, table = self.study, self.study.table
        present = study.present(study.by) if study.by else ()
        if len(present) < 2 or self.level == ALL:
            return "", table, np.arange(len(table))
        written = texts(table[study.by])
        if self.level in present:
            level = self.level
        elif study.reference in present:
            level = study.reference
        else:
            fillings = pd.Series(filling_codes(table)).groupby(written.to_numpy()).nunique()
            level = max(present, key=lambda p: int(fillings.get(p, 0)))
        mine = (written == level).to_numpy()
        return level, table[mine].reset_index(drop=True), np.flatnonzero(mine)

    def result(self) -> Answer:
        level, _, _ = self.kept("part", self._part, self.study.by, self.level, self.study.reference)
        settings = (self.study.by, level, self.study.confidence)
        return self.kept("answer", self._answer_for, *settings, self.alpha)

    def _answer_for(self) -> Answer:
        from dashboard.plots.readings import told
        from methods.consistency import judge_records
        from methods.scatter import components, order_effects
        from methods.scatter.component_table import worth_on_one_filling
        from methods.scatter.order_curve import order_points, trend_line
        from methods.scatter.outlier_table import flag_fillings

        level, table, places = self._part()
        data, confidence = Selection(table), self.study.confidence
        found, refused, worth = None, "", None
        try:
            found = components(data, confidence=confidence)
            number = int(table.groupby(filling_codes(table)).size().median())
            if number > 1 and any(c.factor == "filling" for c in found.components):
                worth = (number, worth_on_one_filling(found, number))
        except InputError as error:
            refused = str(error)
        order = order_effects(data, confidence=confidence)
        points = order_points(data)
        said = told(self.study.table, self.study.places, places[points["row"].to_numpy(dtype=int)])
        return Answer(
            level, order.fillings, found, refused, worth, order, points, said, trend_line(order),
            flag_fillings(data, confidence=1 - float(self.alpha.split()[0]) / 100),
            judge_records(data, confidence=confidence),
        )  # fmt: skip

    # ------------------------------------------------------------- what is said

    def sentence(self, result: Answer) -> str:
        where = f"{result.level}: " if result.level else ""
        if result.components is None:
            return f"{where}{result.refused}"
        told = components_answer(result.components, result.worth).sentence
        return f"{where}{told[0].lower() + told[1:] if where else told}"

    def cautions(self, result: Answer) -> Sequence[Caution]:
        found = list(result.components.cautions) if result.components is not None else []
        # The order's remark on pooled conditions says for the order what the first says for the scatter.
        found += [
            w for w in result.order.cautions if not (w.code == "withstood" and any(f.code == w.code for f in found))
        ]
        flags = result.outliers
        if flags.flagged:
            found.append(Caution("outliers", (
                f"{words.plural(flags.flagged, 'filling')} of {flags.tested} hold a value that stands apart; "
                f"by chance alone it may be up to {words.number(flags.by_chance, 2)}. Nothing was left out: look for a "
                "reason first."
            )))  # fmt: skip
        return found

    # ------------------------------------------------------------- plots

    def figures(self) -> Sequence[Figure]:
        return [
            Figure(
                "Sources of scatter", self._draw_sources, self._describe_sources, key=lambda r: len(self._rows(r)),
                height=lambda r: self._height(r),
            ),
            Figure("Voltage against order", self._draw_order, self._describe_order, key=self._order_key, height=380),
        ]  # fmt: skip

    def _rows(self, result: Answer) -> list[Any]:
        from dashboard.plots.scatter import component_rows

        return [] if result.components is None else component_rows(result.components, self.dark)

    def _height(self, result: Answer) -> int:
        from dashboard.plots import scatter as plots

        return plots.height(max(len(self._rows(result)), 1))

    def _draw_sources(self, result: Answer) -> Any:
        from dashboard.plots import scatter as plots

        return plots.components(self._rows(result), self.dark)

    def _describe_sources(self, result: Answer) -> str:
        if result.components is None:
            return "The scatter could not be divided; the sentence above says why."
        told = [
            f"{component_name(c.factor)} {words.number(c.sd, 2)} kV{span(c.low, c.high)}, {words.number(c.levels)} "
            f"{LEVELS.get(c.factor, 'levels')}"
            for c in result.components.components
            if c.sd == c.sd
        ]
        level = f"{self.study.confidence:.0%}".replace("%", " %")
        return f"Standard deviations with their {level} limits: {'; '.join(told)}. An arrow means: farther than drawn."

    def _order_key(self, result: Answer) -> Any:
        return (len(result.points) > 0, len(result.line) > 0, tuple(result.order.positions["order"]))

    def _draw_order(self, result: Answer) -> Any:
        from dashboard.plots import scatter as plots

        return plots.order(result.order.positions, result.line, self.dark, result.points, result.said)

    def _describe_order(self, result: Answer) -> str:
        return f"{order_answer(result.order).sentence} {words.plural(result.order.fillings, 'filling')}."

    # ------------------------------------------------------------- tables

    def tables(self, result: Answer) -> Mapping[str, tuple[str, pd.DataFrame]]:
        out: dict[str, tuple[str, pd.DataFrame]] = {}
        if result.components is not None:
            out["components"] = _table(components_answer(result.components).tables[0])
        out |= {t.name: _table(t) for t in order_answer(result.order).tables}
        out |= {t.name: _table(t) for t in judged(result.judged).tables if t.name != "judged"}
        if len(result.outliers.flags):
            out["outliers"] = ("Values that stand apart: flagged, kept", result.outliers.flags)
        return out

    def readings_of(self, name: str, frame: pd.DataFrame) -> np.ndarray | None:
        return self.study.rows_like(frame) if name == "outliers" else None


def _table(table: Table) -> tuple[str, pd.DataFrame]:
    return table.title, table.frame
