"""Decision: pass or fail against a limit of the same method, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import panel as pn
import param

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.cache import known
from dashboard.jobs import Progress, Runner
from dashboard.pages.aside import Aside
from dashboard.pages.base import Empty, Figure, StudyPage
from dashboard.pages.decision_words import CHECK, COLUMNS, FORMS, HELP, LIQUIDS, RULES, TYPED
from methods.answers import answer
from methods.answers.decision import decisions, telling_columns
from methods.errors import InputError
from methods.result import Caution

#: Where the scatter between fillings comes from when the oil's own few fillings hardly show it.
BORROW = {"": "from nowhere", "study": "from the other oils", "aside": "from tests filtered out"}
#: What may make the verdict none at all comes first.
GRAVEST = ("departs_from_method", "limit_method_unknown", "liquid_unknown")
#: Most cases that the plot shows; the table has them all.
MOST_DRAWN = 30
#: Most limits that are offered by a button each.
MOST_OFFERED = 8


@dataclass(frozen=True)
class Answer:
    """What the page shows."""

    found: Any
    limit: Any
    curves: pd.DataFrame
    budget: Any
    budget_refused: str


class Page(StudyPage):
    """Verdicts."""

    TITLE = "Decision"
    QUESTION = "Does the oil reach the limit of its method, and how sure is that?"
    HELP = HELP
    FOLLOWS = ("confidence",)
    ASKS = True
    INPUTS = (
        "limit", "limit_kv", "method", "liquid", "limit_stage", "limit_equipment", "stage", "equipment", "poor_kv",
        "rule", "risk", "between_kv", "borrow", "instrument_kv", "within", "between", "case", "voltmeter",
        "gap_tolerance", "exponent", "own_sources",
    )  # fmt: skip
    COLUMNS = COLUMNS

    limit = param.String("", doc="Key of the limit; empty: none, for none is applied unasked.")
    limit_kv = param.Number(50.0, bounds=(0.1, 500), softbounds=(10, 100), doc="The limit, kV.")
    method = param.String("", doc="Method for which it is written, such as IEC 60156 or ASTM D1816 2 mm.")
    liquid: param.Selector[str] = param.Selector(
        default="", objects=["", *LIQUIDS], doc="Liquid that a limit of your own is for."
    )
    limit_stage = param.String("", doc="Stage that a limit of your own is for, such as in service; empty: not said.")
    limit_equipment = param.String("", doc="Equipment that a limit of your own is for; empty: not said.")
    stage = param.String("", doc="Stage of these oils; a limit for another is refused.")
    equipment = param.String("", doc="Equipment that these oils are from; a limit for another is refused.")
    poor_kv = param.Number(
        None, allow_None=True, bounds=(0, 500), doc="Grades of your own: good above the limit, poor below this, kV."
    )
    rule: param.Selector[str] = param.Selector(default="simple", objects=list(RULES), doc="When an oil passes.")
    risk = param.Number(
        5.0, bounds=(0.1, 49), softbounds=(0.5, 25), doc="Accepted chance of a wrong pass, %, for the guard band."
    )
    between_kv = param.Number(
        None, allow_None=True, bounds=(0, 100), doc="SD between fillings from history, kV; empty: from the records."
    )
    borrow: param.Selector[str] = param.Selector(
        default="", objects=list(BORROW), doc="Where scatter between fillings is known from."
    )
    instrument_kv = param.Number(0.0, bounds=(0, 50), doc="Standard uncertainty of voltmeter and gap, kV.")
    within = param.Number(15.0, bounds=(0.1, 100), softbounds=(1, 40), doc="CoV within a filling, %, for the curves.")
    between = param.Number(5.0, bounds=(0, 100), softbounds=(0, 25), doc="CoV between fillings, %, for the curves.")
    case = param.String("", doc="The oil and condition whose budget is shown.")
    voltmeter = param.Number(
        None, allow_None=True, bounds=(0, 20), doc="Half-width of the voltmeter's calibration, % of the reading."
    )
    gap_tolerance = param.Number(None, allow_None=True, bounds=(0, 1), doc="Half-width of the gap setting, mm.")
    exponent = param.Number(
        None, allow_None=True, bounds=(0, 2), doc="Exponent of the gap law at this gap, your own; empty leaves it out."
    )

    own_sources = param.String("", doc=f"Sources of your own, with semicolons between: {'; '.join(FORMS)}.")

    # ------------------------------------------------------------- controls

    def controls(self) -> Sequence[Any]:
        self._limits = self.chooser("limit", "Limit", f"By document and edition; {CHECK}.", 330)
        self._own = [
            self.number("limit_kv", "Limit (kV)", step=1, sliding=True),
            self.text_field("method", "Written for method"),
            self.select("liquid", "For the liquid", {"": "not said"}),
            self.text_field("limit_stage", "For the stage"),
            self.text_field("limit_equipment", "For the equipment"),
            self.number("poor_kv", "Poor below (kV)", step=1),
        ]
        self._stages = self.chooser("stage", "Stage of these oils", "Not said: the verdict is with a caution.", 330)
        self._classes = self.chooser("equipment", "Their equipment", "Its class, as the limits have it.", 330)
        self._judge = Runner("Judge the records", self._ask, lambda _: self.refresh(), "A case takes up to a second.")
        self._judging = parts.column(self._judge, width=260, visible=False)
        self.study.param.watch(self._settle, ["fingerprint", "files"])
        self.param.watch(self._settle, ["limit", "limit_stage", "limit_equipment", "stage", "equipment"])
        self._settle()
        return [
            self._limits, *self._own, self._stages, self._classes,
            self.select("rule", "Passes if", RULES), self._judging,
            self.number("risk", "Risk (%)", step=0.5, sliding=True),
        ]  # fmt: skip

    def folded(self) -> Sequence[tuple[str, Callable[[], Sequence[Any]]]]:
        return [
            ("What the bench adds", lambda: [
                self.number("between_kv", "SD between fillings (kV)", step=0.5),
                self.select("borrow", "Borrow scatter", BORROW),
                self.number("instrument_kv", "Voltmeter and gap (kV)", step=0.1),
            ]),
            ("Scatter of the curves below", lambda: [
                self.number("within", "Within a filling (%)", step=0.5, sliding=True),
                self.number("between", "Between fillings (%)", step=0.5, sliding=True),
            ]),
        ]  # fmt: skip

    def _settle(self, *_: Any) -> None:
        """The limits that go with the records first, then the others (which are refused, and say why), then typed."""
        fitting, others = self._offered()
        options = {"choose a limit …": ""} if not self.limit else {}
        options |= {f"{self._named(x)}": x.key for x in fitting}
        options[f"typed: {self.limit_kv:g} kV" if self.limit == TYPED else "typed"] = TYPED
        options |= {f"another method: {self._named(x)}": x.key for x in others}
        self.offer(self._limits, options, self.limit if self.limit in options.values() else TYPED)
        for field in self._own:
            field.visible = self.limit == TYPED
        self._settle_stages(next((x for x in (*fitting, *others) if x.key == self.limit), None))

    def _settle_stages(self, entry: Any) -> None:
        """Stage and equipment of these oils can be said where the limit is for some; in the words of the documents."""
        from methods.protocols.fitting import known_stages

        typed = self.limit == TYPED
        wanted = {
            "stage": self.limit_stage if typed else getattr(entry, "stage", ""),
            "equipment": self.limit_equipment if typed else getattr(entry, "equipment", ""),
        }
        for (name, known_ones), control in zip(known_stages().items(), (self._stages, self._classes), strict=True):
            mine = getattr(self, name)
            options = list(dict.fromkeys(w for w in (wanted[name], mine, *known_ones) if w))
            control.visible = bool(wanted[name] or mine)
            self.offer(control, {"not said": "", **{w: w for w in options}}, mine)

    @staticmethod
    def _named(limit: Any) -> str:
        return f"{limit.title}: {limit.kv.value:g} kV by {limit.method.replace('_', ' ').upper()}" + (
            f", {limit.gap_mm:g} mm" if limit.gap_mm else ""
        )

    def _offered(self) -> tuple[list[Any], list[Any]]:
        from methods.protocols import comparable_limits, load_limits

        mine = {x.key: x for p in self._protocols() for x in comparable_limits(p)}
        every = [x for d in load_limits().values() for x in d.limits if x.kv.value is not None]
        return [x for x in every if x.key in mine], [x for x in every if x.key not in mine]

    def _protocols(self) -> list[Any]:
        from methods.protocols import recognise

        table = self.study.table
        if not len(table):
            return []
        cells = table[["method", "edition", "gap_mm"]].drop_duplicates().dropna(subset=["method"])
        found = [
            recognise(m, None if pd.isna(e) else e, gap_mm=None if pd.isna(g) else float(g))
            for m, e, g in cells.itertuples(index=False)
        ]
        return [p for p in found if p is not None]

    # ------------------------------------------------------------- numbers

    def _limit(self) -> dict[str, Any]:
        """The limit as ``methods`` takes it; none is applied that nobody chose."""
        if not self.limit:
            fitting = len(self._offered()[0])
            known = f"{words.plural(fitting, 'limit')} of documents go with these records" if fitting else (
                "No limit of a document goes with these records"
            )  # fmt: skip
            self._offer_limits()
            lacks = "" if len(self.study.table) and self.study.table["method"].notna().any() else "method"
            if lacks:
                known = "The records name no method, and a limit holds for its method only: name it on the sheet"
            raise Empty("Choose a limit.", f"None is applied unasked. {known}; or type one of your own.", lacks=lacks)
        if self.limit != TYPED:
            return {"limit": self.limit}
        return {
            "limit": self.limit_kv, "limit_method": self.method.strip() or None, "limit_liquid": self.liquid or None,
            "limit_stage": self.limit_stage.strip() or None, "limit_equipment": self.limit_equipment.strip() or None,
            "poor_below": self.poor_kv or None,
        }  # fmt: skip

    def _lenders(self) -> Any:
        """What lends scatter: the other oils, or the tests that the filters leave out."""
        if self.borrow != "aside":
            return self.borrow or None
        if not len(self.study.set_aside):
            raise Empty(
                "No tests are filtered out that could lend their scatter.",
                "Open the earlier tests beside these, and filter to the new ones on the Records page.",
            )
        return self.study.set_aside

    def _settings(self) -> dict[str, Any]:
        return {
            **self._limit(), "rule": self.rule, "confidence": self.study.confidence, "risk": self.risk / 100,
            "between_sd": self.between_kv or None, "instrument_kv": self.instrument_kv, "history": self.borrow or None,
            "result": self.study.result, "stage": self.stage or None, "equipment": self.equipment or None,
        }  # fmt: skip

    def _ask(self) -> tuple[Any, Hashable]:
        from methods.planning import decide_all

        selection, settings = self.study.selection, self._settings()
        lent = settings | {"history": self._lenders()}

        def work(progress: Progress) -> Any:
            try:
                return decide_all(selection, progress=progress.step, **lent)
            except InputError as error:
                return str(error)  # that too is the answer for these records

        return work, (self.KEY, "verdicts", self.study.fingerprint, tuple(settings.values()))

    _begun: Hashable = None

    def _verdicts(self) -> Any:
        """The verdicts; in a session they are computed off the event loop, and the page says so meanwhile."""
        work, key = self._ask()
        session = pn.state.curdoc is not None
        self._judging.visible = session and not known(key)
        if session and not known(key):
            if self._begun != key and not self._judge.running:
                self._begun = key
                parts.when_loaded(self._judge.run)
            raise Empty(
                "The records are being judged.",
                "Each oil and condition by itself. Press “Judge the records” if it was cancelled or settings changed.",
            )
        found = self.kept("verdicts", lambda: work(Progress()), *self._settings().values())
        if isinstance(found, str):
            raise Empty("There is no verdict.", found)
        return found

    def result(self) -> Answer:
        from methods.protocols import limit_for

        found = self._verdicts()
        entry = limit_for(self.limit) if self.limit != TYPED else None
        settings = (*self._settings().values(), self.within, self.between)
        curves = self.kept("curves", lambda: self._curves(found, entry), *settings)
        budget, refused = self._budget()
        return Answer(found, entry, curves, budget, refused)

    def _curves(self, found: Any, entry: Any) -> pd.DataFrame:
        """Operating characteristics of the methods that the limit is for, and of what the records hold typically."""
        from methods.planning import characteristics_by_protocol, operating_characteristic
        from methods.planning.standing import standing

        means = np.linspace(0.6 * found.limit_kv, 1.4 * found.limit_kv, 81)
        options = {"rule": self.rule, "confidence": self.study.confidence}
        cov, between = self.within / 100, self.between / 100
        here = standing(self.study.selection)
        tables: dict[tuple[int, int], tuple[str, pd.DataFrame]] = {}
        if entry is not None and self.rule != "guarded":
            by_protocol = characteristics_by_protocol(means, entry, cov, between, **options)
            series: Any = by_protocol.groupby(["fillings", "breakdowns_per_filling"])
            for (k, n), part in series:
                one = part[part["protocol"] == part["protocol"].iloc[0]]
                tables[int(k), int(n)] = (f"{k} × {n}: as the method prescribes", one)
        for k, n, why in (
            (here.fillings, here.breakdowns_per_filling, "as these records, typically"),
            (3, 5, "for comparison"), (5, 3, "for comparison"),
        ):  # fmt: skip
            if (k, n) in tables or (self.rule == "guarded" and k * n < 2):
                continue
            one = operating_characteristic(means, found.limit_kv, cov, between, n=n, k=k, **options)
            tables[k, n] = (f"{k} × {n}: {why}", one)
        return pd.concat([t.assign(design=name) for name, t in tables.values()], ignore_index=True)

    def _budget(self) -> tuple[Any, str]:
        from methods.planning.case_budget import budget_of

        found, chosen = self.kept("series", self._series), self._chosen_series()
        self.offer(self._cases, [s.label for s in found], chosen.label)
        bench: dict[str, Any] = {
            "confidence": self.study.confidence, "between_sd": self.between_kv or None, "own": self.own_sources,
            "result": self.study.result,
        }  # fmt: skip
        if self.borrow == "aside":
            from methods.scatter.history import scatter_history

            bench["history"] = self.kept("lent", lambda: scatter_history(self._lenders(), self.study.selection))
        if self.voltmeter:
            bench["voltmeter_percent"] = self.voltmeter
        gap = self._gap(chosen.label)
        if self.gap_tolerance and self.exponent and gap:
            bench |= {"gap_mm": gap, "gap_tolerance_mm": self.gap_tolerance, "exponent": self.exponent}
        try:
            return budget_of(chosen, **bench), ""
        except InputError as error:
            return None, str(error)

    def _series(self) -> Any:
        from methods.planning.standing import series_of

        return series_of(self.study.selection)

    def _gap(self, label: str) -> float | None:
        return next((s.gap_mm for s in self.kept("series", self._series) if s.label == label), None)

    # ------------------------------------------------------------- the budget, below the tables

    def extras(self) -> Sequence[Any]:
        self._cases = self.chooser("case", "Oil and condition", "One oil under one condition.", 330)
        self._part = Aside(
            "Uncertainty budget of one mean",
            "What adds to the uncertainty of the mean. Voltmeter, gap and your own sources count once you type them.",
            self._cases,
            self.number("voltmeter", "Voltmeter ± (%)", step=0.5),
            self.number("gap_tolerance", "Gap setting ± (mm)", step=0.01),
            self.number("exponent", "Gap exponent", step=0.1),
            self.text_field("own_sources", "Your own sources"),
            table=("decision_budget", "Sources"), columns=COLUMNS,
        )  # fmt: skip
        prover = Runner("Count", self._ask_proof, self._proved, "2,000 invented studies of this design, in seconds.")
        self._proof = Aside(
            "Do such limits hold?",
            "This oil's design, with the scatter found, is invented again and again with a known mean; counted is how "
            "often the limits hold it.",
            prover, table=("decision_proof", "Counted"), columns=COLUMNS,
        )  # fmt: skip
        self._fitting = parts.column(visible=False, gap=8)
        return [self._fitting, self._part, self._proof]

    def _take_limit(self, key: str, _: Any) -> None:
        self.limit = key

    def _offer_limits(self) -> None:
        """A button for each limit that goes with the records; of many the first of each document."""
        fitting = self._offered()[0]
        first = {x.title.split(",")[0]: x for x in reversed(fitting)}
        shown = fitting if len(fitting) <= MOST_OFFERED else [x for x in fitting if x in first.values()][:MOST_OFFERED]
        buttons = [Press(self._named(x), partial(self._take_limit, x.key)) for x in shown]
        typed = Press("A limit of your own", partial(self._take_limit, TYPED))
        rest = len(fitting) - len(shown)
        more = f"{rest} more stand in the list “Limit”." if rest else ""
        heads = [parts.heading("Limits that go with these records")] if shown else []
        self._fitting.objects = [*heads, *buttons, typed, parts.hint(more)]
        self._fitting.visible = True

    def _chosen_series(self) -> Any:
        found = self.kept("series", self._series)
        return next((s for s in found if s.label == self.case), next((s for s in found if not s.withstood), found[0]))

    def _ask_proof(self) -> tuple[Any, Hashable]:
        from methods.prove import prove_oil

        chosen, confidence = self._chosen_series(), self.study.confidence
        if chosen.withstood:
            raise InputError(
                f"{chosen.label}: with withstands the count takes minutes; the command line makes it (gapshift fit)."
            )

        def work(progress: Progress) -> Any:
            return chosen.label, prove_oil(
                chosen.kv, None, chosen.filling, confidence=confidence, percentiles=(), progress=progress.step
            )

        return work, (self.KEY, "proof", self.study.fingerprint, chosen.label, confidence)

    def _proved(self, given: Any) -> None:
        label, proof = given
        self._counted = label
        self._proof.tell(f"{label}: {proof.sentence}", (), pd.DataFrame([vars(r) for r in proof.rows]))

    _counted = ""

    def _showing(self, result: Answer) -> Iterator[None]:
        yield from super()._showing(result)
        self._fitting.visible = False
        if self._counted != self._chosen_series().label or not self._proof.visible:
            self._counted = ""
            self._proof.tell("")
        if result.budget is None:
            self._part.tell(result.budget_refused)
        else:
            made = answer(result.budget)
            self._part.tell(made.sentence, made.cautions, made.tables[0].frame)

    def _say(self, what: Any) -> None:
        super()._say(what)
        self._fitting.visible = not self.limit and bool(len(self.study.table))
        self._part.hide()
        self._proof.hide()

    # ------------------------------------------------------------- what is shown

    def sentence(self, result: Answer) -> str:
        return decisions(result.found).sentence

    def cautions(self, result: Answer) -> Sequence[Caution]:
        limit = result.limit
        edition = CHECK[:1].upper() + CHECK[1:] + "."
        if limit is not None:
            edition += (
                f" {limit.title}: {limit.kv.value:g} kV, edition {limit.edition}, known from: {limit.kv.mark}; a "
                f"result exactly on the limit: {limit.boundary}."
            )
        found = [Caution("check", edition)]
        for decision in result.found.decisions:
            found += [w for w in decision.cautions if w.code != "limit_from_document" and w not in found]
        return sorted(found, key=lambda w: w.code not in GRAVEST)  # the others stay in their order

    def _drawn(self, result: Answer) -> list[Any]:
        from dashboard.plots.decision import Case

        every = result.found.decisions
        made = [(name, d) for name, d in zip(telling_columns(every), every, strict=True) if d.mean_kv is not None]
        near = sorted(range(len(made)), key=lambda i: -(made[i][1].wrong_verdict_probability or 0))[:MOST_DRAWN]
        return [Case.of(*made[i]) for i in sorted(near)]

    def figures(self) -> Sequence[Figure]:
        return [
            Figure(
                "Means against the limit", self._draw_means, self._describe_means, key=self._shape, ticks=self._ticks,
                height=lambda r: 150 + 38 * max(len(self._drawn(r)), 3),
            ),
            Figure(
                "How often an oil passes", self._draw_curves, self._describe_curves,
                key=lambda r: (r.found.limit_kv, *dict.fromkeys(r.curves["design"])), height=360,
            ),
        ]  # fmt: skip

    def _shape(self, result: Answer) -> Hashable:
        return tuple((c.label, c.verdict) for c in self._drawn(result))

    def _ticks(self, result: Answer) -> Sequence[tuple[float, str]]:
        from dashboard.plots.shift import rows

        cases = self._drawn(result)
        return [(float(y), _cut(c.label)) for y, c in zip(rows(len(cases)), cases, strict=True)]

    def _draw_means(self, result: Answer) -> Any:
        from dashboard.plots import decision as plots

        return plots.means(self._drawn(result), result.found.limit_kv, self.dark)

    def _describe_means(self, result: Answer) -> str:
        drawn, made = len(self._drawn(result)), len(result.found.decisions)
        text = (
            f"Mean of each oil and condition with its interval ({100 * self.study.confidence:g} %); dashed: the limit, "
            f"{result.found.limit_kv:g} kV."
        )
        return text + (f" The {drawn} least sure of {made}." if drawn < made else "")

    def _draw_curves(self, result: Answer) -> Any:
        from dashboard.plots import decision as plots

        return plots.characteristics(result.curves, result.found.limit_kv, self.dark)

    def _describe_curves(self, result: Answer) -> str:
        return (
            f"Operating characteristic under the {self.rule} rule at {self.within:g} % scatter within and "
            f"{self.between:g} % between fillings. Left of the limit a pass is wrong, right of it a fail is."
        )

    def tables(self, result: Answer) -> Mapping[str, tuple[str, pd.DataFrame]]:
        out = {t.name: (t.title, t.frame) for t in decisions(result.found).tables}
        columns = ["design", "true_mean_kv", "pass_probability", "wrong_verdict_probability"]
        every = [i for i in range(len(result.curves)) if i % 81 % 10 == 0]
        out["decision_characteristic"] = ("How often an oil passes", result.curves.iloc[every][columns])
        return out


def _cut(label: str, most: int = 48) -> str:
    """A label that leaves the plot its room."""
    return label if len(label) <= most else f"{label[: most - 1]}…"
