"""Stressed oil: the weakest-link prediction of the shift between two geometries, beside the observed shift."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dashboard import words
from dashboard.pages.base import Empty, Figure
from dashboard.pages.method_study_view import View
from methods.errors import InputError
from methods.result import Caution


@dataclass(frozen=True)
class Answer:
    """The comparison, or why there is none, and the stress of every geometry that the records hold."""

    shift: Any
    refused: str
    stress: pd.DataFrame
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
        reachable = [p for p in pairs if p in set(stress["group"])]
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

    def _stress(self, pairs: Mapping[str, tuple[str, float]]) -> tuple[pd.DataFrame, tuple[str, ...]]:
        from methods.laws import stressed

        rows, beyond = [], []
        for label, (electrode, gap) in pairs.items():
            try:
                s = stressed(electrode, gap, fraction=self.page.fraction / 100)
            except InputError as error:
                beyond.append(f"{label}: {error}")
                continue
            rows.append({"group": label, "enhancement": s.enhancement, "midplane_percent": s.midplane_percent,
                         "area_mm2": s.area_mm2, "volume_mm3": s.volume_mm3, "mark": s.mark})  # fmt: skip
        names = ["group", "enhancement", "midplane_percent", "area_mm2", "volume_mm3", "mark"]
        return pd.DataFrame(rows, columns=names), tuple(beyond)

    def sentence(self, result: Answer) -> str:
        s = result.shift
        if s is None:
            return result.refused
        one, two = (f"{g.electrode} at {g.gap_mm:g} mm" for g in (s.first, s.second))
        spans = {"area": (s.predicted_low, s.predicted_high), "volume": (s.by_volume_low, s.by_volume_high)}
        fits = [name for name, (low, high) in spans.items() if s.observed_low <= high and s.observed_high >= low]
        verdict = "The stressed oil may explain it" if fits else "The stressed oil alone does not explain it"
        if len(fits) == 1:
            verdict = f"The stressed {fits[0]} may explain it, the {'volume' if fits == ['area'] else 'area'} does not"
        return (
            f"From {one} to {two} the weakest link lets expect {words.number(s.predicted, 3)} times the voltage "
            f"({words.number(s.predicted_low, 3)} to {words.number(s.predicted_high, 3)}) by the stressed area, "
            f"{words.number(s.predicted_by_volume, 3)} ({words.number(s.by_volume_low, 3)} to "
            f"{words.number(s.by_volume_high, 3)}) by its volume; observed "
            f"{words.number(s.observed, 3)} times ({words.number(s.observed_low, 3)} to "
            f"{words.number(s.observed_high, 3)}). {verdict}."
        )

    def cautions(self, result: Answer) -> Sequence[Caution]:
        out = list(result.shift.cautions) if result.shift is not None else []
        return [*out, *(Caution("out_of_reach", text) for text in result.out_of_reach)]

    def figures(self) -> Sequence[Figure]:
        from dashboard.plots import scatter as bars

        return [
            Figure(
                "Second over first", self._draw, self._describe, key=lambda r: len(self._rows(r)),
                ticks=lambda r: bars.ticks(self._rows(r)), height=lambda r: bars.height(max(len(self._rows(r)), 1)),
            )
        ]  # fmt: skip

    def _rows(self, result: Answer) -> list[Any]:
        from dashboard.plots.scatter import Row

        s = result.shift
        if s is None:
            return []
        nan = float("nan")
        main = f"Predicted, field ≥ {self.page.fraction:g} % of peak"
        rows = [
            Row("Observed", s.observed, s.observed_low, s.observed_high, self.cue(0)),
            Row(f"{main}: area", s.predicted, s.predicted_low, s.predicted_high, self.cue(1)),
            Row(f"{main}: volume", s.predicted_by_volume, s.by_volume_low, s.by_volume_high, self.cue(1)),
        ]  # fmt: skip
        for c in s.criteria.itertuples():
            label = c.criterion.replace("%", " %")
            if label not in main:
                said = f"Predicted, {label}".replace(" of peak", "")
                rows.append(Row(f"{said}: area", c.ratio, nan, nan, self.cue(2)))
                rows.append(Row(f"{said}: volume", c.ratio_by_volume, nan, nan, self.cue(2)))
        return rows

    def _draw(self, result: Answer) -> Any:
        from dashboard.plots import scatter as bars

        return bars.intervals(self._rows(result), "Voltage of second over first", reference=1.0, dark=self.dark)

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
            out["criteria"] = ("Prediction by criterion", result.shift.criteria)
        if len(result.stress):
            out["stress"] = ("Oil under stress at each geometry of these records", result.stress)
        return out
