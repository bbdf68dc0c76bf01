"""Run sheet: a comparison, the tests that are missing, or a round as a sheet for the bench, and what it promises."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from typing import Any

import pandas as pd
import param

from dashboard import parts, words
from dashboard.actions import Take
from dashboard.controls import Several
from dashboard.pages.base import Empty, Figure, StudyPage
from dashboard.pages.bench_plan_words import EXAMPLE, HELP, KINDS
from methods.answers import answer
from methods.answers.heads import OWN
from methods.errors import InputError
from methods.result import Caution

STUDY, MISSING, ROUND = KINDS


class Page(StudyPage):
    """Plans to carry out."""

    TITLE = "Run sheet"
    QUESTION = "Which fillings, in which order, make the comparison as sure as it is wanted?"
    HELP = HELP
    NEEDS_RECORDS = False
    FOLLOWS = ("confidence",)
    INPUTS = (
        "kind", "oils", "procedures", "typed", "half_width", "bench_hours", "fillings", "assurance", "cov",
        "between_cov", "laboratories", "results", "gamma", "procedure", "seed", "fully_random",
    )  # fmt: skip
    COLUMNS = OWN["bench_plan"]

    kind: param.Selector[str] = param.Selector(default=STUDY, objects=list(KINDS), doc="What is planned.")
    oils = param.String("", doc="Oils to test, commas between; empty: those of the records.")
    procedures = param.List([], item_type=str, doc="Procedures of the records that are compared; none: all.")
    typed = param.String("", doc="Methods, semicolons between; empty: the records' procedures.")
    half_width = param.Number(10.0, allow_None=True, bounds=(0.5, 90), doc="Wanted for every shift, ± %.")
    bench_hours = param.Number(None, allow_None=True, bounds=(0.1, 2000), doc="At hand in all; empty: not asked.")
    fillings = param.Integer(None, allow_None=True, bounds=(1, 200), doc="Fixed beforehand; empty: as many as needed.")
    assurance = param.Number(80.0, bounds=(5, 99), doc="Chance with which the width is kept, %.")
    cov = param.Number(None, allow_None=True, bounds=(0.1, 90), doc="Scatter within a filling, %; empty: the records'.")
    between_cov = param.Number(
        None, allow_None=True, bounds=(0, 90), doc="Scatter between fillings, %; empty: the records'."
    )
    laboratories = param.Integer(8, bounds=(2, 200), doc="How many take part.")
    results = param.Integer(2, bounds=(2, 20), doc="Results of each laboratory on each oil.")
    gamma = param.Number(2.0, bounds=(1, 20), doc="Expected s_R over s_r.")
    procedure = param.String("", doc="The method that all laboratories use; empty: the first of the records.")
    seed = param.Integer(0, bounds=(0, 2**31 - 1), doc="Of the order; another seed gives another order.")
    fully_random = param.Boolean(False, doc="Every filling of a block in random order.")

    def controls(self) -> Sequence[Any]:
        self._several = Several("Procedures", none="all of the records", max_width=240)
        self._several.param.watch(lambda event: setattr(self, "procedures", list(event.new)), "value")
        study = [
            parts.explained(self._several, "Those that are compared."),
            self.text_field("typed", "Or methods", f"Semicolons between, such as {EXAMPLE}"),
            self.number("half_width", "Half-width wanted (± %)", "Of every shift, averaged over the oils.", step=1),
            self.number("bench_hours", "Bench hours at hand", step=1),
        ]
        round_ = [
            self.number("laboratories", "Laboratories"), self.number("results", "Results each"),
            self.number("gamma", "s_R over s_r, expected", step=0.1),
            self.text_field("procedure", "Method of all"),
        ]  # fmt: skip
        self._fields = {STUDY: study, MISSING: [], ROUND: round_}
        self.param.watch(self._settle, "kind")
        self.study.param.watch(self._settle, ["files", "fingerprint"])
        self._settle()
        return [
            self.select("kind", "Plan", KINDS, "What the sheet is for."),
            self.text_field("oils", "Oils", "Commas between; empty: those of the records."), *study, *round_,
        ]  # fmt: skip

    def folded(self) -> Sequence[tuple[str, Callable[[], Sequence[Any]]]]:
        return [("Fillings, scatter, order …", lambda: [
            self.number("fillings", "Fillings of each"), self.number("assurance", "Kept with (%)", step=1),
            self.number("cov", "Within a filling (%)", step=0.5),
            self.number("between_cov", "Between fillings (%)", step=0.5),
            self.number("seed", "Seed of the order"), self.switch("fully_random", "Fully random within a block"),
        ])]  # fmt: skip

    def above(self) -> Sequence[Any]:
        self._take = Take("The sheet to fill in", ["xlsx", "csv"], self._sheet, told=True)
        return [self._take]

    def _settle(self, *_: Any) -> None:
        for kind, fields in self._fields.items():
            for field in fields:
                field.visible = kind == self.kind
        names = self._names()
        self._several.param.update(options=names, value=[n for n in self.procedures if n in names])
        self._fields[STUDY][0].visible = self.kind == STUDY and bool(names)

    def _names(self) -> list[str]:
        from methods.procedures import name_procedures

        table = self.study.table
        return self.kept("names", lambda: sorted(set(name_procedures(table).names))) if len(table) else []

    def _oils(self) -> list[str]:
        said = [o.strip() for o in self.oils.split(",") if o.strip()]
        if said or not len(self.study.table):
            return said
        return [str(o) for o in self.study.table["sample"].dropna().unique()]

    def result(self) -> Any:
        settings = tuple(tuple(v) if isinstance(v, list) else v for v in (getattr(self, n) for n in self.INPUTS))
        try:
            return self.kept("plan", self._plan, *settings, self.study.confidence)
        except InputError as error:
            raise Empty("There is no such plan yet.", str(error)) from error

    def _plan(self) -> Any:
        from methods.studies import plan_missing, plan_round, plan_study

        records = bool(len(self.study.table))
        if self.kind == MISSING:
            if not records:
                raise InputError("Open records first: what is missing follows from them.")
            return plan_missing(self.study.selection, fillings=self.fillings or 2, rng=self.seed)
        oils = self._oils()
        if not oils:
            raise InputError("Name the oils that are to be tested, commas between.")
        confidence = self.study.confidence
        if self.kind == ROUND:
            method = self.procedure.strip() or (self._names() or [""])[0]
            if not method:
                raise InputError("Name the method that all laboratories use, such as ASTM D1816 2 mm.")
            return plan_round(
                self.laboratories, oils, self._of_records(method), results=self.results, gamma=self.gamma,
                confidence=confidence, rng=self.seed,
            )  # fmt: skip
        typed = [p.strip() for p in self.typed.split(";") if p.strip()]
        data = self.study.selection if records and not typed else None
        if data is None and not typed:
            raise InputError(f"Name two methods, a semicolon between, such as {EXAMPLE}; or open records of them.")
        return plan_study(
            oils, typed or self.procedures, data=data, half_width=_share(self.half_width), cov=_share(self.cov),
            between_cov=_share(self.between_cov), confidence=confidence, assurance=self.assurance / 100,
            fillings=self.fillings, bench_hours=self.bench_hours, fully_random=self.fully_random, rng=self.seed,
        )  # fmt: skip

    def _of_records(self, name: str) -> Any:
        """A procedure of the records as what it sets; any other name as it stands."""
        from methods.procedures import FIELDS, name_procedures

        if name not in self._names():
            return name
        found = name_procedures(self.study.table)
        row = found.fields.iloc[found.names.index(name)]
        return {"procedure": name, **{f: row[f] for f in FIELDS if pd.notna(row[f])}}

    def _sheet(self, kind: str) -> tuple[str, bytes]:
        from methods.studies import sheet_bytes

        plan = self.result()
        about = [plan.sentence, f"Order drawn with seed {plan.seed}."]
        return f"run_sheet.{kind}", sheet_bytes(plan.sheet, kind, about)

    def _showing(self, result: Any) -> Iterator[None]:
        yield from super()._showing(result)
        self._take.visible = True

    def _say(self, what: Any) -> None:
        super()._say(what)
        self._take.visible = False

    def sentence(self, result: Any) -> str:
        return str(result.sentence)

    def cautions(self, result: Any) -> Sequence[Caution]:
        return list(result.cautions)

    def figures(self) -> Sequence[Figure]:
        return [Figure("What more tests buy", self.draw, self.describe, key=self._shape)]

    def _shape(self, result: Any) -> Hashable:
        return (type(result).__name__, len(result.sheet) if self.kind == MISSING else 0, getattr(result, "fillings", 0))

    def draw(self, result: Any) -> Any:
        from dashboard.plots import bench_plan as plots

        return plots.plan(result, self.dark)

    def describe(self, result: Any) -> str:
        runs = words.plural(result.sheet["run"].nunique(), "filling")
        text = f"{runs}, {words.plural(len(result.sheet), 'breakdown')} to fill in; order of seed {result.seed}."
        more = {
            STUDY: " Half-width of the shift between the two procedures that are known least.",
            MISSING: " Each mark is a filling, in the order of the bench.",
            ROUND: " s_r and s_R at one oil, with limits at the confidence chosen.",
        }
        return text + more[_kind(result)]

    def tables(self, result: Any) -> Mapping[str, tuple[str, pd.DataFrame]]:
        return {t.name: (t.title, t.frame) for t in answer(result).tables}


def _share(percent: float | None) -> float | None:
    return None if percent is None else percent / 100


def _kind(result: Any) -> str:
    return {"StudyPlan": STUDY, "MissingPlan": MISSING}.get(type(result).__name__, ROUND)
