"""Stressed oil: the weakest-link prediction of the shift between two geometries, beside the observed shift."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dashboard import words
from dashboard.pages.base import Empty, Figure
from dashboard.pages.method_study_view import View
from methods.answers import Table, answer
from methods.answers.geometry import stress as stress_table
from methods.errors import InputError
from methods.result import Caution


@dataclass(frozen=True)
class Answer:
    """The comparison, or why there is none, and the stress of every geometry that the records hold."""

    shift: Any
    refused: str
    stress: Table
    out_of_reach: tuple[str, ...]


class Geometry(View):
    KEY = "geometry"
    QUESTION = (
        "Predicted from the oil under stress (weakest link), and observed on the same oils; each with its limits."
    )

    def controls(self) -> Sequence[Any]:
        return [
            self.chooser("geometry_one", "From", "Electrode and gap to start from.", 220),
            self.chooser("geometry_two", "To", "Electrode and gap to go to.", 220),
            self.page.number("fraction", "Stressed from (% of peak)", step=5),
        ]

    def _pairs(self) -> dict[str, tuple[str, float]]:
        """The electrodes and gaps of the records, by label."""
        rows = self.study.table[["electrode", "gap_mm"]].dropna().drop_duplicates().sort_values(["electrode", "gap_mm"])
        return {f"{e} at {g:g} mm": (str(e), float(g)) for e, g in rows.itertuples(index=False)}

    def result(self) -> Answer:
        pairs = self._pairs()
        if not pairs:
            raise Empty(
                "No row has electrode and gap.",
                "Name the columns on the Records page, or open the demo “Bench: gap, rate of rise, stirring”.",
                lacks="electrode",
            )
        stress, beyond = self._stress(pairs)
        reachable = [p for p in pairs if p in set(stress.frame["group"])]
        # The usual question first: one gap, two electrodes.
        first = self.offer("geometry_one", list(pairs), next((p for p in reachable if p.startswith("spherical")), ""))
        gap = pairs[first][1]
        rest = [p for p in pairs if p != first]
        same = next((p for p in rest if p in reachable and pairs[p][1] == gap), reachable[0] if reachable else "")
        second = self.offer("geometry_two", rest, same)
        if not second:
            return Answer(None, "The records hold one electrode and gap only; a shift needs two.", stress, beyond)
        settings = (first, second, self.page.fraction, self.study.confidence)
        found = self.page.kept("geometry", lambda: self._compare(pairs[first], pairs[second]), *settings)
        result, refused = found
        return Answer(result, refused, stress, beyond)

    def _compare(self, first: tuple[str, float], second: tuple[str, float]) -> tuple[Any, str]:
        from methods.laws import compare_geometry

        try:
            return compare_geometry(
                self.study.selection, first, second, fraction=self.page.fraction / 100, confidence=self.study.confidence
            ), ""
        except InputError as error:
            return None, str(error)

    def _stress(self, pairs: Mapping[str, tuple[str, float]]) -> tuple[Table, tuple[str, ...]]:
        from methods.laws import stressed

        found, beyond = {}, []
        for label, (electrode, gap) in pairs.items():
            try:
                found[label] = stressed(electrode, gap, fraction=self.page.fraction / 100)
            except InputError as error:
                beyond.append(f"{label}: {error}")
        return stress_table(found), tuple(beyond)

    def sentence(self, result: Answer) -> str:
        return result.refused if result.shift is None else answer(result.shift).sentence

    def cautions(self, result: Answer) -> Sequence[Caution]:
        out = list(result.shift.cautions) if result.shift is not None else []
        return [*out, *(Caution("out_of_reach", text) for text in result.out_of_reach)]

    def figures(self) -> Sequence[Figure]:
        from dashboard.plots import method_study as plots
        from dashboard.plots.scatter import height

        def rows(result: Answer) -> int:
            return 0 if result.shift is None else len(plots.geometry_rows(result.shift))

        return [
            Figure("Second over first", self._draw, self._describe, key=rows, height=lambda r: height(max(rows(r), 1)))
        ]

    def _draw(self, result: Answer) -> Any:
        from dashboard.plots import method_study as plots

        return plots.geometry(result.shift, self.dark)

    def _describe(self, result: Answer) -> str:
        s = result.shift
        if s is None:
            return "Nothing to compare."
        return (
            f"Ratios with limits, equal voltage at 1. Weibull shape {words.number(s.shape)} "
            f"({words.number(s.shape_low)} to {words.number(s.shape_high)}) from "
            f"{words.plural(s.breakdowns, 'breakdown')} on {words.plural(s.fillings, 'filling')}. "
            "The other criteria show what the choice of criterion is worth."
        )

    def tables(self, result: Answer) -> Mapping[str, tuple[str, pd.DataFrame]]:
        out = {}
        if result.shift is not None:
            out = {t.name: (t.title, t.frame) for t in answer(result.shift).tables}
        if len(result.stress.frame):
            out[result.stress.name] = (f"{result.stress.title} of these records", result.stress.frame)
        return out
