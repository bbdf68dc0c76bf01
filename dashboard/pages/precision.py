"""Precision: how far results of one laboratory and of several may differ, and which laboratory stands out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
import param

from dashboard import parts, words
from dashboard.exclusions import Exclusion
from dashboard.levels import texts
from dashboard.pages.base import Empty, Figure, StudyPage
from dashboard.pages.precision_cells import Band, CellExclusions, band_of
from dashboard.pages.precision_words import COLUMNS, HELP
from dashboard.study import Selection
from methods.answers import answer
from methods.answers.precision import relation_words
from methods.errors import InputError, NotEstimable
from methods.records.rounds import level_label
from methods.result import Caution

LABORATORY = "laboratory"


@dataclass(frozen=True)
class Answer:
    """What the page shows."""

    precision: Any
    chart: pd.DataFrame
    curves: Mapping[str, tuple[Any, Any]]
    band: pd.DataFrame | None
    band_refused: str
    ratio: Any = None


class Page(StudyPage):
    """A precision experiment."""

    TITLE = "Precision"
    QUESTION = "How far may results differ within and between laboratories, and which laboratory stands out?"
    HELP = HELP
    FOLLOWS = ("confidence",)
    ASKS = True
    INPUTS = ("level", "counts", "band", "first", "second")
    COLUMNS = COLUMNS

    level = param.String("", doc="What makes a level.")
    first = param.String("", doc="A procedure whose precision is compared; empty: none.")
    second = param.String("", doc="The procedure that it is compared with.")
    counts: param.Selector[str] = param.Selector(
        default="result", objects=["result", "filling", "breakdown"], doc="What counts as one result."
    )
    band = param.List([], item_type=str, doc="Points of the user's own band: mean, low and high in %, with colons.")

    # ------------------------------------------------------------- controls

    def controls(self) -> Sequence[Any]:
        text = "Precision is given for each level: an oil, or a way of testing."
        self._level = self.chooser("level", "Levels are", text, 300)
        self._first = self.chooser("first", "Compare", "A procedure whose s_r and s_R are set against another's.", 300)
        self._second = self.chooser("second", "with", "The other, on the same oils.", 300)
        self.study.param.watch(self._settle, ["files", "fingerprint"])
        self.param.watch(self._settle, ["level", "first"])
        self._settle()
        counts = self.choice(
            "counts", "A result is",
            {"result": "as the method reports", "filling": "a filling's mean", "breakdown": "one breakdown"},
            "The mean of one filling, or of as many as the method prescribes.",
        )  # fmt: skip
        counts.max_width = 280
        return [self._level, counts, self._first, self._second]

    def _settle(self, *_: Any) -> None:
        others = {words.heading(f): f for f in self.study.factors if f != LABORATORY}
        options = {"the oil, split by procedure": "", **others, "the procedure alone": "condition"}
        self.offer(self._level, options, self.level if self.level in options.values() else "")
        names = self._procedures()
        first = self.first if self.first in names else ""
        rest = [n for n in names if n != first]
        self._first.visible = len(names) > 1
        self._second.visible = bool(first)
        self.offer(self._first, {"no other procedure": "", **{n: n for n in names}}, first)
        self.offer(self._second, rest, self.second if self.second in rest else (rest[0] if rest else None))

    @property
    def _result(self) -> str | int:
        """What counts as one result: what is chosen here, or what the method reports (the answer where none says)."""
        return self.study.result if self.counts == "result" else str(self.counts)

    def _procedures(self) -> list[str]:
        from methods.procedures import name_procedures

        table = self.study.table
        return self.kept("names", lambda: sorted(set(name_procedures(table).names))) if len(table) else []

    def _ratio(self) -> Any:
        """The two procedures' precision side by side, with the curves of each; None where none is asked for."""
        names = self._procedures()
        if self.first not in names or len(names) < 2:
            return None
        second = self.second if self.second in names and self.second != self.first else ""
        second = second or next(n for n in names if n != self.first)

        def compute() -> Any:
            from methods.interlab import compare_precision
            from methods.interlab.relation import spread_curves

            table, _, own = self._table()
            whole = [(x.where[LABORATORY], "*", x.reason) for x in own if set(x.where) == {LABORATORY}]
            try:
                found = compare_precision(
                    Selection(table), first=self.first, second=second, result=self._result, exclude=whole,
                    confidence=self.study.confidence,
                )  # fmt: skip
            except InputError as error:
                return str(error)
            sides = (found.first_precision, found.second_precision)
            return found, [(n, p, spread_curves(p)) for n, p in zip((found.first, found.second), sides, strict=True)]

        reasons = tuple(x.reason for x in self.study.exclusions)
        return self.kept("ratio", compute, self.first, second, self._result, self.study.confidence, reasons)

    def extras(self) -> Sequence[Any]:
        self._cells = CellExclusions(self._leave_out, self._take_back)
        self._band = Band(self.band, lambda found: setattr(self, "band", found))
        self.param.watch(lambda event: self._band.offer(event.new), "band")
        return [
            parts.Folded(
                ("Leave a cell out, with a reason", self._cells.__panel__),
                ("Your own band for scatter against mean", self._band.__panel__),
            ).__panel__()
        ]

    # ------------------------------------------------------------- numbers

    def _columns(self, table: pd.DataFrame) -> tuple[str, ...]:
        """The columns that make a level."""
        from methods.columns import HELD
        from methods.interlab.cells import default_levels, split_levels

        if not len(table):
            return ()
        if self.level == "condition":
            held = [c for c in HELD if c in table.columns and table[c].notna().any()]
            return split_levels(table, LABORATORY, held)
        named = [self.level] if self.level in table.columns else default_levels(table, LABORATORY)
        return split_levels(table, LABORATORY, named)

    def _own_exclusions(self, columns: Sequence[str]) -> list[Exclusion]:
        """The study's exclusions that name a cell of this experiment."""
        names = {LABORATORY, *columns}
        return [x for x in self.study.exclusions if set(x.where) in (names, {LABORATORY})]

    def _table(self) -> tuple[pd.DataFrame, tuple[str, ...], list[Exclusion]]:
        """The rows before cells are left out, the level columns, and the exclusions that name cells."""
        columns = self._columns(self.study.left_by([]))
        own = self._own_exclusions(columns)
        rest = [x for x in self.study.exclusions if x not in own]
        return (self.study.left_by(rest) if own else self.study.table), columns, own

    def result(self) -> Answer:
        reasons = [x.reason for x in self.study.exclusions]
        table, columns, _ = self._table()
        laboratories: list[Any] = table[LABORATORY].dropna().unique().tolist() if LABORATORY in table.columns else []
        if len(laboratories) < 2:
            there = (
                f"Only one laboratory is named: {laboratories[0]}." if len(laboratories) else "No laboratory is named."
            )
            self._cells.offer({}, [])
            raise Empty(
                there,
                "Precision between laboratories needs results of the same oils from two or more, better eight. Open "
                "the other laboratories' files beside this one on the Records page, or the demo “Round: nine "
                "laboratories”. How far one laboratory's results scatter stands on the Scatter page.",
                lacks="laboratory",
            )
        settings = (self.level, self._result, self.study.confidence, tuple(reasons))
        found, curves, cells = self.kept("precision", self._compute, *settings)
        self._cells.offer(cells, [(x, x.where[LABORATORY], self.study.exclusions.index(x)) for x in
                                 self._own_exclusions(columns)])  # fmt: skip
        return replace(self._with_band(found, curves), ratio=self._ratio())

    def _compute(self) -> tuple[Any, Mapping[str, tuple[Any, Any]], Mapping[str, dict[str, str]]]:
        from methods.interlab import precision
        from methods.interlab.relation import spread_curves

        table, columns, own = self._table()
        cells = _cells(table, columns)
        by_where = {frozenset(where.items()): label for label, where in cells.items()}
        excluded = []
        whole = {x.where[LABORATORY]: x.reason for x in own if set(x.where) == {LABORATORY}}
        for x in own:
            if x.where[LABORATORY] in whole:
                continue
            label = by_where.get(frozenset(x.where.items()))
            if label is not None:
                excluded.append((*label, x.reason))
        excluded += [(lab, "*", reason) for lab, reason in whole.items()]
        try:
            found = precision(
                Selection(table), level=list(columns), result=self._result, exclude=excluded,
                confidence=self.study.confidence,
            )  # fmt: skip
        except NotEstimable as error:
            more = " You can take single breakdowns as results instead." if self.counts != "breakdown" else ""
            raise NotEstimable(f"{error}{more}") from error
        return (
            found,
            spread_curves(found),
            {
                **{f"{lab} · {level}": where for (lab, level), where in cells.items()},
                **{f"{lab} · at all levels": {LABORATORY: where[LABORATORY]} for (lab, _), where in cells.items()},
            },
        )

    def _with_band(self, found: Any, curves: Any) -> Answer:
        from methods.interlab import scatter_against_mean

        band = band_of(self.band)
        try:
            return Answer(found, scatter_against_mean(found.cells, band), curves, band, "")
        except InputError as error:
            return Answer(found, scatter_against_mean(found.cells), curves, None, str(error))

    def _leave_out(self, where: Mapping[str, str], reason: str) -> None:
        self.study.exclude(where, reason)

    def _take_back(self, index: int) -> None:
        self.study.take_back(index)

    # ------------------------------------------------------------- what is said

    def sentence(self, result: Answer) -> str:
        said = answer(result.precision).sentence
        if result.ratio is None:
            return said
        return result.ratio if isinstance(result.ratio, str) else str(result.ratio[0].sentence)

    def cautions(self, result: Answer) -> Sequence[Caution]:
        found = list(answer(result.precision).cautions)
        if isinstance(result.ratio, tuple):
            found = list(result.ratio[0].cautions)
        if result.band_refused:
            found.insert(min(len(result.precision.cautions), len(found)), Caution("band", result.band_refused))
        return found

    # ------------------------------------------------------------- plots

    def figures(self) -> Sequence[Figure]:
        def layers(result: Answer) -> Any:
            return (len(self._names(result)), result.band is not None)

        def labs(result: Answer) -> Any:
            return (*layers(result), tuple(dict.fromkeys(result.precision.cells["laboratory"])))

        return [
            Figure("Spread against the level", self._draw_spreads, self._describe_spreads, key=layers, height=360),
            Figure("Whose means stand apart: Mandel's h", lambda r: self._draw_mandel(r, "h"),
                   lambda r: self._describe_mandel(r, "h"), key=labs, height=340),
            Figure("Whose results scatter: Mandel's k", lambda r: self._draw_mandel(r, "k"),
                   lambda r: self._describe_mandel(r, "k"), key=labs, height=340),
            Figure("Two procedures against the level", self._draw_two, self._describe_two, height=380,
                   key=lambda r: (r.ratio[0].first, r.ratio[0].second) if isinstance(r.ratio, tuple) else None,
                   shown=lambda r: isinstance(r.ratio, tuple)),
            Figure("Scatter against mean", self._draw_chart, self._describe_chart, key=layers, height=360),
        ]  # fmt: skip

    def _draw_two(self, result: Answer) -> Any:
        from dashboard.plots import precision as plots

        return plots.two_methods(result.ratio[1] if isinstance(result.ratio, tuple) else (), self.dark)

    def _describe_two(self, result: Answer) -> str:
        if not isinstance(result.ratio, tuple):
            return "No two procedures are compared."
        return " ".join(
            f"{name}: {'; '.join(relation_words(p)) or 'three oils or more would show the relation'}."
            for name, p, _ in result.ratio[1]
        )

    def _names(self, result: Answer) -> list[str]:
        return [lv.level for lv in result.precision.levels if not lv.error]

    def _draw_spreads(self, result: Answer) -> Any:
        from dashboard.plots import precision as plots

        return plots.spreads(plots.levels_of(result.precision), result.curves, self.dark)

    def _describe_spreads(self, result: Answer) -> str:
        told = relation_words(result.precision)
        if not told:
            return "s_r and s_R of each level with their limits. Three levels or more would show how they depend on it."
        return f"Points with limits; lines are the relation to the level: {'; '.join(told)}."

    def _draw_mandel(self, result: Answer, statistic: str) -> Any:
        from dashboard.plots import precision as plots

        critical = {lv.level: getattr(lv, f"{statistic}_critical") for lv in result.precision.levels}
        return plots.mandel(result.precision.cells, self._names(result), statistic, critical, self.dark)

    def _describe_mandel(self, result: Answer, statistic: str) -> str:
        critical = {lv.level: getattr(lv, f"{statistic}_critical") for lv in result.precision.levels}
        over = []
        for cell in result.precision.cells.itertuples():
            value, limit = getattr(cell, statistic), critical.get(cell.level, {}).get("0.05", float("nan"))
            if abs(value) > limit:
                over.append(
                    f"{cell.laboratory} at {cell.level} ({words.number(value)}, 5 % line {words.number(limit)})"
                )
        if not critical or not any(critical.values()):
            return "Too few laboratories for critical lines."
        return f"Beyond the 5 % line: {'; '.join(over)}." if over else "No laboratory lies beyond the 5 % line."

    def _draw_chart(self, result: Answer) -> Any:
        from dashboard.plots import precision as plots

        return plots.chart(result.chart, self._names(result), result.band, self.dark)

    def _describe_chart(self, result: Answer) -> str:
        if result.band is None:
            return (
                "Each cell's SD against its mean. No band is shipped: type that of your own copy of the standard below."
            )
        count = result.chart["place"].value_counts()
        return ", ".join(f"{int(count[p])} {p}" for p in ("inside", "above", "below", "unknown") if p in count) + "."

    # ------------------------------------------------------------- tables

    def tables(self, result: Answer) -> Mapping[str, tuple[str, pd.DataFrame]]:
        out = {t.name: (t.title, t.frame) for t in answer(result.precision).tables}
        if isinstance(result.ratio, tuple):
            two = {t.name: (t.title, t.frame) for t in answer(result.ratio[0]).tables}
            out = {**{n: two[n] for n in two if n != "relations"}, **out}
        if result.band is not None:
            title, cells = out["cells"]
            places = result.chart[["level", "laboratory", "place"]]
            out["cells"] = (title, cells.merge(places, on=["level", "laboratory"], how="left"))
        return out


def _cells(table: pd.DataFrame, columns: Sequence[str]) -> dict[tuple[str, str], dict[str, str]]:
    """(laboratory, level) as the experiment writes them -> the cells of the table that name it, as text."""
    names = [LABORATORY, *columns]
    rows = table[names].drop_duplicates()
    rows = rows[rows[LABORATORY].notna()]
    written = pd.DataFrame({n: texts(rows[n]) for n in names})
    out = {}
    for (_, row), (_, text) in zip(rows.iterrows(), written.iterrows(), strict=True):
        level = " / ".join(level_label(row[c]) for c in columns) or "all"
        out[level_label(row[LABORATORY]), level] = {n: str(text[n]) for n in names}
    return out
