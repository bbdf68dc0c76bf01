"""Gap law and rate of rise: the voltage as a power of one factor, with limits, lack of fit and predictions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from dashboard import words
from dashboard.pages.base import Figure
from dashboard.pages.method_study_view import View
from methods.answers import laws as answers
from methods.columns import group_name
from methods.errors import InputError, NotEstimable
from methods.result import Caution


@dataclass(frozen=True)
class Answer:
    """All laws, the one that is shown, its curves, and what was predicted or refused."""

    laws: Sequence[Any]
    law: Any
    lines: Mapping[str, pd.DataFrame]
    beyond: Mapping[str, pd.DataFrame]
    band: pd.DataFrame | None
    single: tuple[Any, pd.DataFrame] | None = None
    predicted: Any = None
    refused: str = ""


class _Power(View):
    """What both laws share."""

    COLUMN = ""
    AXIS = ""

    def _laws(self) -> Sequence[Any]:
        raise NotImplementedError

    def _span(self, law: Any) -> tuple[float, float]:
        """How far the curve is drawn."""
        return law.fit.levels[0], law.fit.levels[-1]

    def _chosen_law(self) -> tuple[Sequence[Any], Any]:
        laws = self.page.kept(self.KEY, self._laws, self.study.confidence)
        usable = {group_name(law.group): law for law in laws if law.fit is not None}
        most = max(usable, key=lambda name: (len(usable[name].fit.levels), usable[name].units))
        return laws, usable[self.offer("law", list(usable), most)]

    def _curves(self, law: Any) -> tuple[Any, ...]:
        """Each oil's law over the data and beyond, the band where there is one oil, and the single readings."""
        return self.page.kept(
            f"{self.KEY} curves", lambda: self._drawn(law), group_name(law.group), self.study.confidence
        )

    def _drawn(self, law: Any) -> tuple[Any, ...]:
        oils = list(law.fit.oils["oil"])
        inside, beyond = (
            {oil: law.fit.curve(low, high, oil=oil) for oil in oils}
            for low, high in ((law.fit.levels[0], law.fit.levels[-1]), self._span(law))
        )
        return inside, beyond, beyond[oils[0]] if len(oils) == 1 else None, self._single(law)

    def _single(self, law: Any) -> tuple[Any, pd.DataFrame] | None:
        """The readings behind the means, where they are not too many to be seen."""
        from dashboard.plots import readings
        from methods.laws.power_fit import oil_names

        table = self.study.table
        mine = table[self.COLUMN].notna() & (table["outcome"] != "withstood")
        for column, level in law.group.items():
            mine &= table[column].isna() if level is None else table[column] == level
        at = mine.to_numpy().nonzero()[0]
        named = oil_names(table.iloc[at])
        known = named.isin(law.fit.oils["oil"]).to_numpy()
        at, named = at[known], named[known]
        if not 0 < len(at) <= readings.MOST:
            return None
        rows = pd.DataFrame({"x": table[self.COLUMN].iloc[at], "kv": table["kv"].iloc[at], "oil": named})
        return readings.told(table, self.study.places, at), rows.reset_index(drop=True)

    def figures(self) -> Sequence[Figure]:
        return [
            Figure(
                f"Voltage against {self.AXIS.split(' (')[0].lower()}, both logarithmic", self._draw, self._describe,
                key=lambda r: group_name(r.law.group), height=400,
            )
        ]  # fmt: skip

    def _draw(self, result: Answer) -> Any:
        from dashboard.plots import method_study as plots

        return plots.power(
            result.law.fit.points, self.COLUMN, result.lines, result.beyond, result.band, self.AXIS, self.dark,
            result.single,
        )  # fmt: skip

    def _describe(self, result: Answer) -> str:
        fit = result.law.fit
        oils = words.plural(len(fit.oils), "oil")
        tail = "; the band holds the mean of one new filling" if result.band is not None else ""
        small = ", the small ones single readings" if result.single is not None else ""
        return (
            f"{group_name(result.law.group)}: {oils}, {words.plural(fit.units, fit.unit)}. Points are means{small}; "
            f"lines the law of each oil, dotted beyond the data{tail}."
        )

    def cautions(self, result: Answer) -> Sequence[Caution]:
        out = list(result.law.cautions)
        if result.refused:
            out.append(Caution("refused", result.refused))
        if result.predicted is not None:
            out += result.predicted.cautions
        return out


class GapLaw(_Power):
    KEY = "gap"
    QUESTION = (
        "The exponent of the gap, and what it says of another gap. Needs two gaps of one electrode, better three."
    )
    COLUMN = "gap_mm"
    AXIS = "Gap (mm)"

    def controls(self) -> Sequence[Any]:
        return [
            self.chooser("law", "Group", "One electrode, stirring and rate of rise at a time."),
            self.page.number(
                "at_gap", "Predict at gap (mm)", "Empty: not asked; far beyond the data is refused.", step=0.5
            ),
        ]

    def _laws(self) -> Sequence[Any]:
        from methods.laws import gap_laws

        return gap_laws(self.study.selection, confidence=self.study.confidence)

    def _span(self, law: Any) -> tuple[float, float]:
        from methods.laws.gap_law import REACH

        return law.fit.levels[0] / REACH, law.fit.levels[-1] * REACH

    def result(self) -> Answer:
        laws, law = self._chosen_law()
        plain = Answer(laws, law, *self._curves(law))
        if not self.page.at_gap:
            return plain
        try:
            return replace(plain, predicted=law.predict(self.page.at_gap))
        except InputError as error:
            return replace(plain, refused=str(error))

    def sentence(self, result: Answer) -> str:
        return answers.gap_sentence(result.law, result.predicted)

    def tables(self, result: Answer) -> Mapping[str, tuple[str, pd.DataFrame]]:
        asked = {self.page.at_gap: result.predicted or result.refused} if self.page.at_gap else {}
        predicted = {list(result.laws).index(result.law): asked} if asked else None
        return {t.name: (t.title, t.frame) for t in answers.gap(result.laws, predicted).tables}


class RateOfRise(_Power):
    KEY = "rate"
    QUESTION = "The life exponent n, and the shift that it predicts between two rates of rise."
    COLUMN = "rise_kv_s"
    AXIS = "Rate of rise (kV/s)"

    def controls(self) -> Sequence[Any]:
        return [
            self.chooser("law", "Group", "One electrode, gap and stirring at a time."),
            self.page.number("rate_from", "From (kV/s)", step=0.5), self.page.number("rate_to", "To (kV/s)", step=0.5),
        ]  # fmt: skip

    def _laws(self) -> Sequence[Any]:
        from methods.laws import rate_laws

        return rate_laws(self.study.selection, confidence=self.study.confidence)

    def result(self) -> Answer:
        from methods.laws import rate_shift

        laws, law = self._chosen_law()
        plain = Answer(laws, law, *self._curves(law))
        if law.n != law.n:
            return plain
        try:
            shift = rate_shift(self.page.rate_from, self.page.rate_to, law.n, n_low=law.n_low, n_high=law.n_high)
        except (InputError, NotEstimable) as error:
            return replace(plain, refused=str(error))
        return replace(plain, predicted=shift)

    def cautions(self, result: Answer) -> Sequence[Caution]:
        return [*result.law.cautions, *([Caution("refused", result.refused)] if result.refused else [])]

    def sentence(self, result: Answer) -> str:
        return answers.rate_sentence(result.law, result.predicted)

    def tables(self, result: Answer) -> Mapping[str, tuple[str, pd.DataFrame]]:
        shifts = {list(result.laws).index(result.law): result.predicted} if result.predicted is not None else None
        return {t.name: (t.title, t.frame) for t in answers.rate(result.laws, shifts).tables}
