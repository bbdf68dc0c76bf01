"""Designs side by side with the records' own scatter, and families at the low end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dashboard import words
from dashboard.levels import texts
from dashboard.pages.base import Empty, Figure
from dashboard.pages.method_study_view import View, selection
from dashboard.pages.method_study_words import FAMILY_NAMES
from methods.columns import FACTORS, HELD, OIL
from methods.errors import InputError
from methods.result import Caution

#: Levels held fixed, so that what is left is how fillings and breakdowns of one test scatter.
ONE_TEST = FACTORS


def _named(family: Any) -> str:
    return FAMILY_NAMES.get(str(family), str(family))


class Designs(View):
    KEY = "design"
    QUESTION = "The same number of breakdowns on one filling or on several, with the scatter of these records."

    def controls(self) -> Sequence[Any]:
        return [
            self.chooser("level", "Scatter of", "The level of the compared factor whose scatter is taken.", 260),
            self.page.number("total", "Breakdowns in all", "Spread over fillings in every even way."),
        ]

    def result(self) -> Any:
        study, level = self.study, ""
        if study.by and len(study.present(study.by)) > 1:
            level = self.offer("level", list(study.present(study.by)), study.reference or self.most_rows())
        return self.page.kept("design", lambda: self._table(level), study.by, level, self.page.total, study.confidence)

    def _table(self, level: str) -> Any:
        from methods.consistency import protocols_of
        from methods.planning.design_table import design_table
        from methods.scatter import components

        table, total, confidence = self.level_rows(level), self.page.total, self.study.confidence
        held = [c for c in ONE_TEST if c in table.columns and table[c].nunique(dropna=False) > 1]
        found = components(selection(table), fixed=held, factors=["filling"], confidence=confidence)
        known = {p.key: p for p in protocols_of(table)[1] if p is not None}
        protocol = next(iter(known.values())) if len(known) == 1 else None
        ways = [(k, total // k) for k in range(1, total + 1) if total % k == 0]
        return design_table(found, ways, protocol=protocol, confidence=confidence)

    def sentence(self, result: Any) -> str:
        rows = result.designs
        one = rows.iloc[0]
        # The design in the middle: several fillings, several breakdowns on each.
        inner = rows[(rows["fillings"] > 1) & (rows["breakdowns_per_filling"] > 1)]
        other = (inner if len(inner) else rows.iloc[1:]).iloc[-1]
        limits = (
            f" ({words.number(other['gain_low'], 3)} to {words.number(other['gain_high'], 3)})"
            if (other["gain_low"] == other["gain_low"] and other["gain_high"] == other["gain_high"])
            else ""
        )
        said = (
            f"{other['design']} knows the mean to {words.number(other['standard_error_kv'], 2)} kV (standard error), "
            f"{one['design']} to {words.number(one['standard_error_kv'], 2)} kV: "
            f"{words.number(other['gain'], 3)} times as well{limits}"
        )
        if other["minutes"] == other["minutes"]:
            said += f", for {words.number(other['minutes'] - one['minutes'], 2)} more minutes on the bench"
        return said + ". " + "One filling alone cannot show how fillings differ."

    def figures(self) -> Sequence[Figure]:
        from dashboard.plots import scatter as bars

        return [
            Figure(
                "Gain against one filling", self._draw, self._describe, key=lambda r: tuple(r.designs["design"]),
                ticks=lambda r: bars.ticks(self._rows(r)), height=lambda r: bars.height(len(r.designs)),
            )
        ]  # fmt: skip

    def _rows(self, result: Any) -> list[Any]:
        from dashboard.plots.scatter import Row

        return [Row(r.design, r.gain, r.gain_low, r.gain_high, self.cue(0)) for r in result.designs.itertuples()]

    def _draw(self, result: Any) -> Any:
        from dashboard.plots import scatter as bars

        label = "Times as well known as with one filling"
        return bars.intervals(self._rows(result), label, reference=1.0, dark=self.dark)

    def _describe(self, result: Any) -> str:
        return (
            f"Fillings × breakdowns on each; limits from those of the scatter. Filling to filling "
            f"{words.number(result.between_kv, 2)} kV, breakdown to breakdown {words.number(result.within_kv, 2)} kV."
        )

    def tables(self, result: Any) -> Mapping[str, tuple[str, pd.DataFrame]]:
        known = result.designs.drop(columns=["fillings", "breakdowns_per_filling", "breakdowns"])
        return {"designs": ("What each design buys", known.dropna(axis=1, how="all"))}


@dataclass(frozen=True)
class Tail:
    """The families on one oil under one condition."""

    name: str
    low: pd.DataFrame
    middle: pd.DataFrame
    curves: Mapping[str, pd.DataFrame]
    points: pd.DataFrame
    single: Any
    n: int


class Families(View):
    KEY = "family"
    QUESTION = "Where the families agree, where they part, and whether these readings can tell them apart."

    def controls(self) -> Sequence[Any]:
        return [
            self.chooser("condition", "One condition", "One oil, tested in one way: no family fits a mixture.", 380),
            self.page.choice("low", "Low end at", None, "The percentile that must not be undercut."),
        ]  # fmt: skip

    def _conditions(self) -> dict[str, pd.DataFrame]:
        """Label -> rows of each oil and condition with ten readings or more, most readings first."""
        table = self.study.table
        columns = [
            c
            for c in dict.fromkeys(("sample", *HELD, *OIL))
            if c in table.columns and table[c].nunique(dropna=False) > 1
        ]
        if not columns:
            return {"all records": table} if len(table) >= 10 else {}
        written = pd.DataFrame({c: texts(table[c]) for c in columns})
        telling: list[str] = []
        for column in columns:  # what a column before it says already is not said again
            if not telling or written.groupby([*telling, column]).ngroups > written.groupby(telling).ngroups:
                telling.append(column)
        label = written[telling].agg(" · ".join, axis=1)
        sizes = label.value_counts()
        chosen = [name for name in sizes.index if sizes[name] >= 10][:60]
        return {str(name): table[(label == name).to_numpy()] for name in chosen}

    def result(self) -> Tail:
        found = self.page.kept("conditions", self._conditions)
        if not found:
            raise Empty(
                "No oil has ten readings under one condition.",
                "Fewer cannot begin to show a family. Take more, or open a file that has them.",
            )
        name = self.offer("condition", list(found))
        return self.page.kept("tail", lambda: self._tail(name, found[name]), name, self.page.low, self.study.confidence)

    def _tail(self, name: str, rows: pd.DataFrame) -> Tail:
        from dashboard.plots.readings import told
        from methods.records.table import withstood
        from methods.scatter import compare_families
        from methods.scatter.compare import low_end_curves

        kv, gone = rows["kv"].to_numpy(dtype=float), withstood(rows)
        p, confidence = float(self.page.low.split()[0]) / 100, self.study.confidence
        low = compare_families(kv, gone, p=p, confidence=confidence)
        middle = compare_families(kv, gone, p=0.5, confidence=confidence)
        if low["kv"].isna().all():
            raise InputError(f"No family could be fitted: {low['error'].iloc[0]}")
        order = [f for f in low["family"] if low.set_index("family").loc[f, "error"] == ""]
        curves, points = low_end_curves(kv, gone, order)
        single = told(self.study.table, self.study.places, rows.index.to_numpy()[points["row"].to_numpy(dtype=int)])
        return Tail(name, low, middle, curves, points, single, len(rows))

    def _near(self, result: Tail) -> pd.DataFrame:
        """The families that the readings cannot tell apart."""
        return result.low[result.low["delta"] < 2]

    def sentence(self, result: Tail) -> str:
        near = self._near(result)
        ranked = near.sort_values("kv", kind="stable")
        lowest, highest = ranked.iloc[0], ranked.iloc[-1]
        names = {f: _named(f) for f in near["family"]}
        middle = result.middle.set_index("family")["kv"]
        if len(near) == 1:
            others = result.low[result.low["family"].isin(["normal", "weibull"]) & (result.low["delta"] >= 2)]
            other = others.iloc[0] if len(others) else None
            tail = (
                ""
                if other is None
                else (
                    f"; {FAMILY_NAMES[other['family']]} would say {words.number(other['kv'], 3)} kV, though at 50 % "
                    f"they say {words.number(middle[lowest['family']], 2)} and "
                    f"{words.number(middle[other['family']], 2)} kV"
                )
            )
            return (
                f"{result.name}: {names[lowest['family']]} describes these {result.n} readings best; "
                f"{self.page.low} break down below {words.number(lowest['kv'], 3)} kV "
                f"({words.number(lowest['low'], 3)} to {words.number(lowest['high'], 3)}){tail}."
            )
        return (
            f"{result.name}: at {self.page.low} the family matters, {words.number(lowest['kv'], 3)} kV "
            f"({names[lowest['family']]}) or {words.number(highest['kv'], 3)} kV ({names[highest['family']]}), and "
            f"{result.n} readings cannot tell which; at 50 % it is {words.number(middle[lowest['family']], 3)} or "
            f"{words.number(middle[highest['family']], 3)} kV."
        )

    def cautions(self, result: Tail) -> Sequence[Caution]:
        gone = result.low[result.low["error"] != ""]
        out = [Caution("not_fitted", f"{_named(r.family)}: {r.error}") for r in gone.itertuples()]
        if float(self.page.low.split()[0]) / 100 * result.n < 1:
            out.append(Caution("beyond", (
                f"{result.n} readings hold none so low as {self.page.low}: every figure there is the family's word, "
                "not the oil's."
            )))  # fmt: skip
        return out

    def figures(self) -> Sequence[Figure]:
        return [Figure("The low end under each family", self._draw, self._describe, height=420)]

    def _draw(self, result: Tail) -> Any:
        from dashboard.plots import method_study as plots

        named = {_named(f): line for f, line in result.curves.items()}
        return plots.tails(named, result.points, result.single, self.dark)

    def _describe(self, result: Tail) -> str:
        told = [f"{_named(r.family)} {words.number(r.kv, 3)} kV" for r in result.low.itertuples() if not r.error]
        return f"Share of readings below each voltage, logarithmic. At {self.page.low}: {', '.join(told)}, best first."

    def tables(self, result: Tail) -> Mapping[str, tuple[str, pd.DataFrame]]:
        middle = result.middle.set_index("family")["kv"]
        names = ["family", "aicc", "delta", "weight", "kv", "low", "high"]
        table = result.low[names].assign(median_kv=result.low["family"].map(middle))
        table["family"] = [_named(f) for f in table["family"]]
        return {"families": (f"Families, best first, and their voltage at {self.page.low}", table)}
