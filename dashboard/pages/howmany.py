"""How many: breakdowns and fillings for the certainty that is wanted."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
import panel as pn
import param

from dashboard import parts, words
from dashboard.cache import known, remember
from dashboard.jobs import Progress, Runner
from dashboard.pages.aside import Aside
from dashboard.pages.base import Empty, Figure, StudyPage
from dashboard.pages.howmany_start import Start, safely, scatter_table
from dashboard.pages.howmany_words import COLUMNS, FAMILIES, GOALS, HELP, INTERVALS, RULES
from methods.answers import answer
from methods.answers.heads import OWN
from methods.errors import InputError
from methods.result import Caution

#: Numbers of fillings that get a line in the plot.
LINES = (1, 2, 3, 5)
#: Most breakdowns in all that the plot goes to, and most on one filling that a line is drawn for.
MOST_DRAWN, MOST_ON_ONE = 5000, 100
#: Breakdowns on each filling at which the table behind the plot gives the curves.
COMMON = (1, 2, 3, 5, 6, 10, 15, 30)
_TYPED, _RECORDS = "typed", "records"


@dataclass(frozen=True)
class Answer:
    """What the page shows."""

    start: Start
    plan: Any
    curve: pd.DataFrame
    here: Any
    usual: Any
    assured: Any
    step: Any
    step_refused: str


class Page(StudyPage):
    """Plans."""

    TITLE = "How many"
    QUESTION = "How many breakdowns, on how many fillings, for the certainty that is wanted?"
    HELP = HELP
    NEEDS_RECORDS = False
    FOLLOWS = ("confidence",)
    INPUTS = (
        "goal", "source", "within", "between", "mean_kv", "half_width", "difference", "p", "family", "limit_kv", "rule",
        "margin", "power", "risk", "assurance", "interval", "fillings", "per_filling", "protocol", "series",
        "filling_minutes", "breakdown_minutes",
    )  # fmt: skip
    COLUMNS = COLUMNS

    goal: param.Selector[str] = param.Selector(default="mean", objects=list(GOALS), doc="What the tests are for.")
    source: param.Selector[str] = param.Selector(
        default=_RECORDS, objects=[_RECORDS, _TYPED], doc="Where the scatter is taken from."
    )
    within = param.Number(
        15.0, bounds=(0.1, 100), softbounds=(1, 40), doc="CoV of single breakdowns on one filling, %."
    )
    between = param.Number(5.0, bounds=(0, 100), softbounds=(0, 25), doc="CoV from one filling to the next, %.")
    mean_kv = param.Number(
        None, allow_None=True, bounds=(0, 500), doc="Mean expected, kV; empty: that of the records, or 60 kV."
    )
    half_width = param.Number(10.0, bounds=(0.1, 100), softbounds=(1, 30), doc="Wanted: the mean ± so many %.")
    difference = param.Number(
        10.0, bounds=(0.1, 100), softbounds=(1, 30), doc="Smallest difference worth finding, % of the mean."
    )
    p = param.Number(1.0, bounds=(0.01, 50), doc="Percentile, % of the breakdowns that lie below.")
    family: param.Selector[str] = param.Selector(
        default="normal", objects=list(FAMILIES), doc="Family; with fillings, normal only."
    )
    limit_kv = param.Number(50.0, bounds=(0.1, 500), softbounds=(10, 100), doc="Limit that the oil is judged by, kV.")
    rule: param.Selector[str] = param.Selector(default="simple", objects=list(RULES), doc="When an oil passes.")
    margin = param.Number(
        10.0, bounds=(0.1, 100), softbounds=(1, 30), doc="Largest difference that would not matter, %."
    )
    power = param.Number(80.0, bounds=(5, 99.9), softbounds=(50, 99), doc="Wanted chance of finding it, %.")
    risk = param.Number(5.0, bounds=(0.1, 49), doc="Accepted chance of the wrong verdict, %.")
    assurance = param.Number(
        None,
        allow_None=True,
        bounds=(0, 99.9),
        softbounds=(50, 99),
        doc="Wanted chance of so narrow an interval, %; empty: not asked.",
    )
    interval: param.Selector[str] = param.Selector(
        default="bench", objects=list(INTERVALS), doc="Which interval has to be so narrow."
    )
    fillings = param.Integer(
        None, allow_None=True, bounds=(0, 1000), doc="Fix the number of fillings; empty leaves it open."
    )
    per_filling = param.Integer(
        None, allow_None=True, bounds=(0, 100), doc="Fix the breakdowns on each; empty leaves it open."
    )
    protocol = param.String("", doc="Test method whose times and cell are taken; empty: that of the records.")
    filling_minutes = param.Number(
        None,
        allow_None=True,
        bounds=(0, 240),
        doc="Minutes to empty, rinse, fill and rest; empty: the method's, or 10.",
    )
    breakdown_minutes = param.Number(
        None, allow_None=True, bounds=(0, 60), doc="Minutes of a breakdown with its pause; empty: the method's, or 1.5."
    )
    series = param.String("", doc="The oil and condition for which to stop or go on.")

    # ------------------------------------------------------------- controls

    def controls(self) -> Sequence[Any]:
        self._fields = {
            "typed": [
                self.number("within", "Within a filling (%)", step=0.5, sliding=True),
                self.number("between", "Between fillings (%)", step=0.5, sliding=True),
            ],
            "mean": [
                self.number("half_width", "Half-width (± %)", step=0.5, sliding=True),
                self.number("assurance", "Assurance (%)", step=1, sliding=True),
            ],
            "difference": [self.number("difference", "Difference (%)", step=0.5, sliding=True)],
            "percentile": [self.number("p", "Percentile (%)", step=1), self.select("family", "Family", FAMILIES)],
            "decision": [self.number("limit_kv", "Limit (kV)", step=1, sliding=True),
                         self.select("rule", "Passes if", RULES),
                         self.number("risk", "Risk (%)", step=1)],
            "equivalence": [self.number("margin", "Margin (± %)", step=0.5, sliding=True)],
            "power": [self.number("power", "Found with (%)", step=1, sliding=True)],
            "interval": [self.select("interval", "Goes by", INTERVALS)],
        }  # fmt: skip
        self._reader = Runner(
            "Take the scatter from the records", self._ask_pilot, lambda _: self.refresh(),
            "Withstood readings make it slow: up to half a minute.",
        )  # fmt: skip
        self._reading = parts.explained(parts.column(self._reader), width=280)
        text = "Its waits, pauses, ramps and cell give minutes and oil."
        self._protocols = self.chooser("protocol", "Bench times by", text)
        self._settle()
        self.param.watch(self._settle, ["goal", "source", "protocol"])
        self.study.param.watch(self._settle, "files")
        return [
            self.select("goal", "Plan for", GOALS, "What the tests are for."),
            self.choice("source", "Scatter", {_RECORDS: "from the records", _TYPED: "typed"}),
            *self._fields["typed"], self._reading, *self._fields["mean"], *self._fields["difference"],
            *self._fields["percentile"], *self._fields["decision"], *self._fields["equivalence"],
            *self._fields["power"],
        ]  # fmt: skip

    def folded(self) -> Sequence[tuple[str, Callable[[], Sequence[Any]]]]:
        return [("Numbers that are fixed", lambda: [
            self.number("fillings", "Fillings"), self.number("per_filling", "Breakdowns on each"),
            self.number("mean_kv", "Mean (kV)", step=1), *self._fields["interval"], self._protocols,
            self.number("filling_minutes", "A filling (min)", step=1),
            self.number("breakdown_minutes", "A breakdown (min)", step=0.5),
        ])]  # fmt: skip

    def _settle(self, *_: Any) -> None:
        """Show the fields that count for this goal."""
        goal, records = self.goal, bool(len(self.study.table))
        shown = {
            "typed": self.source == _TYPED or not records, "mean": goal in ("mean", "percentile"),
            "power": goal in ("difference", "equivalence"), "interval": goal in ("mean", "decision"),
        }  # fmt: skip
        for name, fields in self._fields.items():
            for field in fields:
                field.visible = shown.get(name, goal == name)
        self._fields["mean"][1].visible = goal == "mean"
        from methods.protocols import load

        named = {p.designation: key for key, p in load().items() if p.breakdowns_per_filling.value}
        first = "that of the records" if records else "none"
        self.offer(self._protocols, {first: "", **named}, self.protocol if self.protocol in named.values() else "")

    # ------------------------------------------------------------- scatter

    def _pilot_key(self) -> Hashable:
        return (self.KEY, "pilot", self.study.fingerprint, ())

    def _ask_pilot(self) -> tuple[Any, Hashable]:
        from methods.planning.pilot_data import pilot

        selection = self.study.selection
        return (lambda progress: safely(pilot, selection, progress)), self._pilot_key()

    def _start(self) -> Start:
        mean = self.mean_kv or None
        if self.source == _RECORDS and len(self.study.table):
            key = self._pilot_key()
            found = remember(key, lambda: None) if known(key) else None
            if found is None:
                self._begin(key)
            elif isinstance(found, str):
                return self._typed(mean, Caution("no_pilot", f"{found} The plan goes by the scatter typed here."))
            else:
                from methods.planning.standing import coefficients

                c = coefficients(found)
                between = c.between_cov
                return Start(
                    c.cov, between, mean or c.mean_kv, c.serial_correlation, "these records",
                    (c.cov_upper, c.between_cov_upper), tuple(found.cautions),
                )  # fmt: skip
            waiting = Caution("reading", "The scatter of the records is being read; until it is there, the plan starts "
                              f"from {self.within:g} % within and {self.between:g} % between fillings.")  # fmt: skip
            return self._typed(mean, waiting)
        return self._typed(mean)

    def _typed(self, mean: float | None, *found: Caution) -> Start:
        return Start(self.within / 100, self.between / 100, mean, 0.0, "typed here", cautions=found)

    _begun: Hashable = None

    def _begin(self, key: Hashable) -> None:
        """Start reading the scatter by itself, once for each selection, where there is a session to tell."""
        if self._begun != key and pn.state.curdoc is not None and not self._reader.running:
            self._begun = key
            parts.when_loaded(self._reader.run)

    # ------------------------------------------------------------- plans

    def result(self) -> Answer:
        from methods.planning import curve

        start, confidence = self._start(), self.study.confidence
        records = bool(len(self.study.table))
        self._reading.visible = self.source == _RECORDS and records and start.source == "typed here"
        for field in self._fields["typed"]:
            field.visible = start.source == "typed here"
        here = self.kept("standing", self._standing) if records else None
        try:
            plan = self._plan(start, here)
        except InputError as error:
            raise Empty("There is no such plan.", str(error)) from error
        most = max(30, min(MOST_DRAWN, int(1.4 * getattr(plan, "breakdowns", 30))))
        lines = tuple(
            sorted({*LINES, *([plan.fillings] if self.goal == "mean" and plan.fillings <= MOST_DRAWN else [])})
        )
        table = curve(
            start.cov, start.between_cov, mean=start.mean_kv, confidence=confidence, fillings=lines, most=most,
            serial_correlation=start.serial_correlation,
        )  # fmt: skip
        table = table[table["breakdowns_per_filling"] <= MOST_ON_ONE]
        step, refused = self._step() if records else (None, "")
        usual = self._usual(start, here, plan)
        sure = self._assured(start, here)
        return Answer(start, plan, table, self._here(start, here), usual, sure, step, refused)

    def _standing(self) -> Any:
        from methods.planning.standing import standing

        return standing(self.study.selection)

    def _method(self, here: Any) -> Any:
        """What gives minutes and oil: times typed here, the protocol chosen, else that of the records; None: usual."""
        from methods.planning.bench_cost import bench_times
        from methods.protocols import recognise
        from methods.protocols.bench import for_liquid

        typed = bench_times(self.filling_minutes or None, self.breakdown_minutes or None)
        if typed is not None:
            return typed
        text = self.protocol or (here.method if here is not None else None)
        found = recognise(text) if text else None
        return for_liquid(found, here.fluids) if found is not None and here is not None else found

    def _scatter(self, start: Start, *, serial: bool = True) -> dict[str, Any]:
        out: dict[str, Any] = {"cov": start.cov, "between_cov": start.between_cov}
        if serial:
            out["serial_correlation"] = start.serial_correlation
        return out

    def _plan(self, start: Start, here: Any) -> Any:
        from methods.planning import plan

        fixed: dict[str, Any] = {
            "fillings": self.fillings or None, "breakdowns_per_filling": self.per_filling or None,
            "protocol": self._method(here),
        }  # fmt: skip
        level: dict[str, Any] = {"confidence": self.study.confidence}
        mean: dict[str, Any] = {"mean": start.mean_kv}
        both = self.fillings and self.per_filling
        if self.goal == "mean":
            return self._mean(start, fixed)
        if self.goal == "difference":
            return plan.difference(
                difference=self.difference / 100,
                power=self.power / 100,
                **self._scatter(start),
                **fixed,
                **level,
                **mean,
            )
        if self.goal == "equivalence":
            return plan.equivalence(
                margin=self.margin / 100, power=self.power / 100, confidence=self.study.confidence,
                **self._scatter(start), **fixed, **mean,
            )  # fmt: skip
        if self.goal == "percentile":
            return self.kept(
                "percentile",
                lambda: plan.percentile(
                    p=self.p / 100, half_width=None if both else self.half_width / 100, family=self.family,
                    **self._scatter(start, serial=False), **fixed, **level, **mean,
                ),
                start, self.p, self.half_width, self.family, self.fillings, self.per_filling, self._method(here),
                self.study.confidence,
            )  # fmt: skip
        return plan.decision(
            limit=self.limit_kv, risk=self.risk / 100, rule=self.rule, interval=self.interval, **fixed, **level,
            mean=start.mean_kv or 60.0, **self._scatter(start, serial=False),
        )  # fmt: skip

    def _mean(self, start: Start, fixed: dict[str, Any]) -> Any:
        from methods.planning import plan

        sure = self.assurance / 100 if self.assurance and self.interval == "bench" else None
        return plan.mean(
            half_width=self.half_width / 100, assurance=sure, interval=self.interval, **self._scatter(start),
            **fixed, confidence=self.study.confidence, mean=start.mean_kv,
        )  # fmt: skip

    def _here(self, start: Start, here: Any) -> Any:
        """What a typical series of the records gives at this scatter."""
        from methods.planning import plan

        if here is None:
            return None
        return plan.mean(
            **self._scatter(start), fillings=here.fillings, breakdowns_per_filling=here.breakdowns_per_filling,
            confidence=self.study.confidence, mean=start.mean_kv,
        )  # fmt: skip

    def _usual(self, start: Start, here: Any, cheapest: Any) -> Any:
        """The plan in fillings of as many breakdowns as those of the records: few benches change that number."""
        if self.goal != "mean" or here is None or self.fillings or self.per_filling:
            return None
        if here.breakdowns_per_filling in (1, cheapest.breakdowns_per_filling):
            return None
        try:
            return self._mean(start, {"breakdowns_per_filling": here.breakdowns_per_filling})
        except InputError:
            return None

    def _assured(self, start: Start, here: Any) -> Any:
        """The plan for the scatter that the records do not rule out."""
        from methods.planning import plan

        cov, between = start.uppers
        if self.goal != "mean" or cov is None:
            return None
        try:
            return plan.mean(
                cov, self.half_width / 100, between_cov=between, serial_correlation=start.serial_correlation,
                interval=self.interval, confidence=self.study.confidence,
                breakdowns_per_filling=self.per_filling or None, protocol=self._method(here),
            )  # fmt: skip
        except InputError:
            return None

    # ------------------------------------------------------------- stop or go on

    def _all_series(self) -> Any:
        from methods.planning.standing import series_of

        return [s for s in series_of(self.study.selection) if len(s.kv) > 1]

    def _step(self) -> tuple[Any, str]:
        from methods.planning import plan

        found = self.kept("series", self._all_series)
        names = [s.label for s in found]
        chosen = next((s for s in found if s.label == self.series), found[0] if found else None)
        self.offer(self._series, names, None if chosen is None else chosen.label)
        if chosen is None:
            return None, "There is no series of two breakdowns."
        if chosen.withstood:
            return (
                None,
                "This series holds withstood readings: they are no values, so its scatter cannot be had this way.",
            )
        try:
            return self.kept(
                "step",
                lambda: plan.next(chosen.kv, self.half_width / 100, fillings=chosen.filling,
                                  confidence=self.study.confidence),
                chosen.label, self.half_width, self.study.confidence,
            ), ""  # fmt: skip
        except InputError as error:
            return None, str(error)

    def extras(self) -> Sequence[Any]:
        self._series = self.chooser("series", "Oil and condition", "One oil under one condition.", 330)
        self._next = Aside(
            "Stop or go on?",
            "After the breakdowns that one series has: how many more give the half-width wanted.",
            self._series, table=("howmany_rules", "How honest the two ways to stop are"), columns=COLUMNS,
        )  # fmt: skip
        prover = Runner("Carry it out", self._ask_proof, self._proved, "2,000 invented benches, in seconds.")
        self._proof = Aside(
            "Does the plan deliver?",
            "The plan is carried out on invented oils of this scatter and judged as yours will be; counted is how "
            "often its limits hold the truth, and how often it gives what it promises.",
            prover, table=("howmany_proof", "Counted"), columns=OWN["decision"],
        )  # fmt: skip
        return [self._next, self._proof]

    def _ask_proof(self) -> tuple[Any, Hashable]:
        """The plan as it stands, carried out as a job."""
        from methods.prove_plans import prove_plan

        start, records = self._start(), bool(len(self.study.table))
        here = self.kept("standing", self._standing) if records else None
        if self.goal in ("mean", "decision") and self.interval == "known":
            raise InputError(
                "Counted are limits by the bench's own scatter: choose “Goes by: the bench's own interval”."
            )
        made = self._plan(start, here)

        def work(progress: Progress) -> Any:
            return made.sentence, prove_plan(made, cov=start.cov, between_cov=start.between_cov, progress=progress.step)

        return work, (self.KEY, "proof", made.sentence, start.cov, start.between_cov, self.study.confidence)

    def _proved(self, given: Any) -> None:
        self._proved_plan, found = given
        alone = Caution("independent", "Breakdowns of a filling are drawn without the correlation of neighbours.")
        notes = (alone,) if self._start().serial_correlation else ()
        self._proof.tell(found.sentence, notes, pd.DataFrame([vars(r) for r in found.rows]))

    _proved_plan = ""

    def _showing(self, result: Answer) -> Iterator[None]:
        yield from super()._showing(result)
        if self._proved_plan != result.plan.sentence or not self._proof.visible:
            self._proved_plan = ""
            self._proof.tell("")
        if result.step is not None:
            made = answer(result.step)
            self._next.tell(made.sentence, made.cautions, made.table("howmany_rules").frame)
        elif result.step_refused:
            self._next.tell(result.step_refused)
        else:
            self._next.hide()

    def _say(self, what: Any) -> None:
        super()._say(what)
        self._next.hide()
        self._proof.hide()

    # ------------------------------------------------------------- what is shown

    def sentence(self, result: Answer) -> str:
        plan, told = result.plan, [answer(result.plan).sentence]
        if result.usual is not None:
            u = result.usual
            told.append(
                f"In fillings of {u.breakdowns_per_filling}, as these records have: "
                f"{words.plural(u.fillings, 'filling')}, {words.plural(u.breakdowns, 'breakdown')}."
            )
        if result.assured is not None and result.assured.fillings > plan.fillings:
            a = result.assured
            told.append(
                f"These records know their own scatter only so well: {words.plural(a.fillings, 'filling')} of "
                f"{a.breakdowns_per_filling} are enough with 80 % certainty."
            )
        return " ".join(told)

    def cautions(self, result: Answer) -> Sequence[Caution]:
        own = [w for w in result.start.cautions if w.code in ("reading", "no_pilot", "between_unknown", "at_zero")]
        rest = [w for w in result.start.cautions if w not in own]
        return [*own, *result.plan.cautions, *rest]

    def figures(self) -> Sequence[Figure]:
        return [
            Figure("What more fillings and more breakdowns buy", self.draw, self.describe, key=self._shape, height=430)
        ]

    def _wanted(self) -> float:
        return self.half_width

    def _top(self, result: Answer) -> float:
        """The highest half-width shown: about three times what is wanted, so that it is not squeezed."""
        return max(20.0, min(100.0, 10 * round(0.3 * self._wanted() + 0.5)))

    def _marks(self, result: Answer) -> list[Any]:
        from dashboard.plots.howmany import Mark

        found = []
        rows = [("these records", result.here, "diamond")] if result.here is not None else []
        if self.goal == "mean":
            rows.append(("plan", result.plan, "star"))
        for label, row, marker in rows:
            width = row.half_width_percent if self.interval == "bench" else row.half_width_known_percent
            width = row.half_width_known_percent if width is None else width
            name = f"{label}: {row.fillings} × {row.breakdowns_per_filling}"
            found.append(Mark(name, f"{name}, ± {words.number(width, 3)} %", row.breakdowns, width, marker))
        return found

    def _shape(self, result: Answer) -> Hashable:
        """Everything that a legend says: when it changes, the plot is built anew."""
        return (
            tuple(dict.fromkeys(result.curve["fillings"])), self._wanted(), self._top(result),
            tuple(m.label for m in self._marks(result)),
        )  # fmt: skip

    def draw(self, result: Answer) -> Any:
        from dashboard.plots import howmany as plots

        return plots.curves(result.curve, self._wanted(), self._marks(result), self._top(result), self.dark)

    def describe(self, result: Answer) -> str:
        above = [m.label for m in self._marks(result) if m.half_width_percent > self._top(result)]
        text = (
            "Solid: the interval that the bench computes from its own fillings. Dashed: if the scatter is known from "
            f"history. What lies above ± {self._top(result):g} % is not drawn."
        )
        return text + (f" Above the plot: {'; '.join(above)}." if above else "")

    def tables(self, result: Answer) -> Mapping[str, tuple[str, pd.DataFrame]]:
        out = {t.name: (t.title, t.frame) for t in answer(result.plan).tables}
        out["howmany_scatter"] = ("Scatter that the plan starts from", scatter_table(result.start))
        common = result.curve[result.curve["breakdowns_per_filling"].isin(COMMON)]
        out["howmany_curve"] = ("The curves at common numbers", common.drop(columns=["half_width", "half_width_known"]))
        return out
