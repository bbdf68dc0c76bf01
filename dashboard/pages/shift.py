"""Shift: how far the results move from level to level, and how surely."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import param

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.cache import known
from dashboard.controls import Several
from dashboard.jobs import Progress, Runner
from dashboard.levels import level_text
from dashboard.pages import glance
from dashboard.pages.base import Empty, Figure, StudyPage
from dashboard.pages.shift_more import PROVED, RESAMPLES, Counted, Design, Whole
from dashboard.pages.shift_words import BORROW, COLUMNS, HELP, LIQUIDS, MODELS, PAIRS
from methods.answers import answer
from methods.columns import QUANTITIES
from methods.procedures import parts_of
from methods.records.saturation import SATURATION
from methods.result import Caution


@dataclass(frozen=True)
class Answer:
    """What the page shows."""

    shift: Any
    equivalence: Any
    pairs: Any
    pairs_refused: str
    others: Any = None
    others_refused: str = ""


class Page(StudyPage):
    """Shift of each level against the reference."""

    TITLE = "Shift"
    QUESTION = "How far do results move between the levels, and how surely?"
    HELP = HELP
    READINGS = True
    FOLLOWS = ("by", "reference", "confidence")
    INPUTS = (
        "scale",
        "model",
        "factors",
        "covariates",
        "liquid",
        "ratio",
        "margin",
        "pairs",
        "others",
        "within",
        "borrow",
    )
    COLUMNS = COLUMNS

    scale: param.Selector[str] = param.Selector(
        default="percent", objects=["percent", "kv"], doc="Unit of the plot's axis."
    )
    model: param.Selector[str] = param.Selector(
        default="filling_means", objects=list(MODELS), doc="What the comparison is computed with."
    )
    factors = param.List([], item_type=str, doc="Other factors whose effects the mixed model takes out.")
    covariates = param.List([], item_type=str, doc="Quantities that the mixed model takes out as straight lines.")
    liquid: param.Selector[str] = param.Selector(
        default="", objects=list(LIQUIDS), doc="Whose solubility gives the relative saturation."
    )
    ratio = param.Boolean(False, doc="Compare on the logarithm: suits scatter that grows with the voltage.")
    margin = param.Number(
        None,
        allow_None=True,
        bounds=(0, 50),
        softbounds=(0, 20),
        doc="Largest shift that would not matter, % of the reference; empty: not asked.",
    )
    borrow: param.Selector[str] = param.Selector(
        default="", objects=list(BORROW), doc="Whose scatter serves a level with one filling."
    )
    others = param.Boolean(False, doc="Rank tests and tests over all levels, oil by oil.")
    pairs: param.Selector[str] = param.Selector(
        default="none", objects=list(PAIRS), doc="Every pair of levels, not only the reference."
    )
    within = param.List([], item_type=str, doc="Compare only tests in which these are equal, as the oil always is.")

    # ------------------------------------------------------------- controls

    def controls(self) -> Sequence[Any]:
        self._many = {
            "within": Several("Hold equal", none="the oil only"),
            "factors": Several("Take out the effect of", none="the oil only"),
            "covariates": Several("Take out as a line", none="nothing"),
        }
        for name, widget in self._many.items():
            widget.param.watch(lambda event, name=name: self._chosen(name, event.new), "value")
        self._taken_out = parts.explained(self._many["factors"], "Effects that the mixed model estimates and removes.")
        self._lines = parts.explained(
            self._many["covariates"], "Water, temperature, relative saturation: one straight line for all levels."
        )
        self._fit = parts.column(
            Runner("Fit the mixed model", self._ask_model, lambda _: self.refresh(), "Up to half a minute."),
            visible=False, width=260,
        )  # fmt: skip
        self._to_tests = Press("Plan the missing tests", lambda _: self._plan_tests(), visible=False)
        self.study.param.watch(self._settle, ["by", "files"])
        self.param.watch(self._settle, ["within", "factors", "covariates", "model", "liquid"])
        self._settle()
        return [
            self.choice("scale", "Axis in", {"percent": "%", "kv": "kV"}),
            self.number("margin", "Agreement within ± (%)", "Largest shift that would not matter; empty: not asked. "
                        "Choose it before looking at the results.", step=0.5, sliding=True),
            parts.explained(self._many["within"], "Compare only tests in which these are equal, as the oil always is."),
            self._fit, self._to_tests,
        ]  # fmt: skip

    def folded(self) -> Sequence[tuple[str, Callable[[], Sequence[Any]]]]:
        return [("How it is computed", lambda: [
            self.select("model", "Computed with", MODELS, "The mixed model can take out the effect of other factors."),
            self._taken_out, self._lines,
            self.select("liquid", "Water dissolves as in", LIQUIDS, "For the relative saturation: the file's fluid "
                        "says, unless you do."),
            self.select("borrow", "One filling borrows", BORROW, "Scatter between fillings that a level with one "
                        "filling cannot show."),
            self.switch("ratio", "As a ratio (log kV)", "Suits scatter that grows with the voltage."),
            self.select("pairs", "Also every pair", PAIRS, "With a correction for looking at many pairs."),
        ]), ("Other tests", lambda: [
            self.switch("others", "Ranks and analysis of variance", "Hodges–Lehmann, Welch, Kruskal–Wallis and "
                        "Brown–Forsythe on filling means, oil by oil."),
        ])]  # fmt: skip

    def _settle(self, *_: Any) -> None:
        others = {words.heading(f): f for f in self.study.factors if f not in (*parts_of(self.study.by), "sample")}
        lines = {words.heading(q): q for q in self._quantities()}
        for name, widget in self._many.items():
            options = lines if name == "covariates" else others
            chosen = [f for f in getattr(self, name) if f in options.values()]
            widget.param.update(options=options, value=chosen)
        self._taken_out.visible = self.model == "mixed"
        self._lines.visible = self.model == "mixed" and bool(lines)

    def _wet(self) -> pd.DataFrame:
        """The table with the relative saturation of the chosen liquid."""
        from methods.records.saturation import with_saturation

        return with_saturation(self.study.table, self.liquid or None)

    def _quantities(self) -> list[str]:
        if not len(self.study.table):
            return []
        table = self._wet()
        there = [q for q in QUANTITIES if q in table.columns and table[q].nunique() > 1]
        return sorted(there, key=lambda q: q != SATURATION)

    def _chosen(self, name: str, value: Sequence[str]) -> None:
        if list(value) != list(getattr(self, name)):
            setattr(self, name, list(value))

    # ------------------------------------------------------------- numbers

    def _held(self, name: str = "within") -> list[str]:
        return [w for w in getattr(self, name) if w not in parts_of(self.study.by) and w in self.study.table.columns]

    def _settings(self) -> tuple[Any, ...]:
        return (self.study.by, self.study.reference, self.study.confidence, tuple(self._held()))

    def result(self) -> Answer:
        study = self.study
        if not study.by:
            raise Empty(
                "These records have no factor with two levels.",
                "Open a file in which something was varied (electrode, gap, stirring, laboratory …), or one more file "
                "of the other method, on the Records page.",
                lacks="electrode",
            )
        if len(study.present(study.by)) < 2:
            there = words.listed(study.present(study.by)) or "nothing"
            raise Empty(
                f"Only one level of {words.factor(study.by)} is left: {there}.",
                "Choose another factor under “Compare by”, or widen the filters on the Records page.",
            )
        settings = self._settings()
        glance.prepared(self)
        shift = self._shift()
        agree = (
            self.kept("equivalence", self._equivalence, self.margin, self.borrow, *settings) if self.margin else None
        )
        pairs, refused = self.kept("pairs", self._pairs, self.pairs, *settings) if self.pairs != "none" else (None, "")
        others, why = self.kept("others", self._others, *settings) if self.others else (None, "")
        return Answer(shift, agree, pairs, refused, others, why)

    def _history(self) -> Any:
        """The tests that the filters leave out, where they lend their scatter."""
        if self.borrow != "aside":
            return None
        if not len(self.study.set_aside):
            raise Empty(
                "No tests are filtered out that could lend their scatter.",
                "Open the earlier tests beside these, and filter to the new ones on the Records page.",
            )
        return self.study.set_aside

    def _common(self) -> dict[str, Any]:
        return {"confidence": self.study.confidence, "within": self._held()}

    def _model_settings(self) -> tuple[Any, ...]:
        mixed = self.model == "mixed"
        factors = tuple(self._held("factors")) if mixed else ()
        lines = tuple(q for q in self.covariates if q in self._quantities()) if mixed else ()
        return (self.model, self.ratio, factors, lines, self.liquid, self.borrow, *self._settings())

    def _shift_job(self) -> Callable[[], Any]:
        from methods.shifts import shift

        study = self.study
        model, ratio, factors, lines, liquid, _, *_ = self._model_settings()
        return partial(
            shift, study.selection, study.by, reference=study.reference_value, model=model, factors=factors, log=ratio,
            covariates=lines, liquid=liquid or None, history=self._history(), **self._common(),
        )  # fmt: skip

    def _shift(self) -> Any:
        slow = self.model == "mixed" and bool((self.study.table["outcome"] == "withstood").any())
        ready = known(self._key("shift", *self._model_settings()))
        self._fit.visible = slow and not ready
        if slow and not ready:
            raise Empty(
                "The mixed model is not fitted yet.",
                "Press “Fit the mixed model” above: with withstood readings it takes up to half a minute.",
            )
        return self.kept("shift", self._shift_job(), *self._model_settings())

    def _equivalence(self) -> Any:
        from methods.shifts import equivalence

        study = self.study
        return equivalence(
            study.selection,
            study.by,
            margin=(self.margin or 0) / 100,
            reference=study.reference_value,
            history=self._history(),
            **self._common(),
        )

    def _others(self) -> tuple[Any, str]:
        from methods.errors import NotEstimable
        from methods.shifts import other_tests

        study = self.study
        try:
            return other_tests(study.selection, study.by, reference=study.reference_value, **self._common()), ""
        except NotEstimable as error:
            return None, str(error)

    def _pairs(self) -> tuple[Any, str]:
        from methods.errors import NotEstimable
        from methods.shifts import all_pairs

        try:
            return all_pairs(self.study.selection, self.study.by, procedure=self.pairs, **self._common()), ""
        except NotEstimable as error:
            return None, str(error)

    def _plan_tests(self) -> None:
        """To the sheet of the tests that would take apart what changes together."""
        self.study.put("bench_plan", "kind", "missing", default="study")
        self.study.page = "bench_plan"

    # ------------------------------------------------------------- longer work

    def _key(self, name: str, *settings: Any) -> Hashable:
        """The key under which :meth:`kept` and a job keep a result."""
        return (self.KEY, name, self.study.fingerprint, settings)

    def _ask_model(self) -> tuple[Any, Hashable]:
        """The mixed model as a job: with withstood series it takes its time."""
        compute = self._shift_job()
        return (lambda progress: compute()), self._key("shift", *self._model_settings())

    def _ask_whole(self) -> tuple[Any, Hashable]:
        from methods.shifts import percentile_shift

        study, common = self.study, self._common()
        selection, by, reference = study.selection, study.by, study.reference_value

        def work(progress: Progress) -> Any:
            return percentile_shift(
                selection, by, reference=reference, repetitions=RESAMPLES,
                progress=lambda done: progress.step(done, 1.0), **common,
            )  # fmt: skip

        return work, self._key("percentiles", *self._settings())

    def _ask_proof(self) -> tuple[Any, Hashable]:
        from methods.shifts import prove_shift

        study, within = self.study, self._held()
        selection, by, reference, confidence = study.selection, study.by, study.reference_value, study.confidence
        log, history = self.ratio, self._history()

        def work(progress: Progress) -> Any:
            return prove_shift(
                selection, by, reference=reference, confidence=confidence, within=within, log=log, history=history,
                repetitions=PROVED, progress=progress.step,
            )  # fmt: skip

        return work, self._key("proof", log, self.borrow, *self._settings())

    def _ask_design(self) -> tuple[Any, Hashable]:
        from methods.shifts import confounding

        selection = self.study.selection
        return (lambda progress: confounding(selection)), self._key("confounding")

    def extras(self) -> Sequence[Any]:
        self._told: set[str] = set()
        whole = Whole(self._ask_whole, self.looks, lambda: self._told, dark=self.dark)
        self._more = [whole, Design(self._ask_design), Counted(self._ask_proof)]
        return self._more

    @param.depends("dark", watch=True)
    def _repaint_more(self) -> None:
        for section in self._more:
            section.dark = self.dark

    def _showing(self, result: Answer) -> Iterator[None]:
        yield from super()._showing(result)
        self._to_tests.visible = any(c.code == "confounded" for c in result.shift.cautions)
        self._told = {w.text for w in result.shift.cautions}
        for section in self._more:
            section.__panel__().visible = True
            section.update()

    def _say(self, what: Any) -> None:
        super()._say(what)
        for section in self._more:
            section.__panel__().visible = False

    # ------------------------------------------------------------- what is shown

    def sentence(self, result: Answer) -> str:
        asked = [result.shift, *([result.equivalence] if result.equivalence is not None else [])]
        return " ".join(answer(r).sentence for r in asked)

    def cautions(self, result: Answer) -> Sequence[Caution]:
        found = list(result.shift.cautions)
        if result.pairs_refused:
            found.insert(0, Caution("pairs_refused", result.pairs_refused))
        if result.others_refused:
            found.insert(0, Caution("others_refused", result.others_refused))
        for more in (result.pairs, result.others):
            if more is not None:
                found += [w for w in more.cautions if w not in found]
        return found

    def figures(self) -> Sequence[Figure]:
        return [
            Figure("Shift of each level", self.draw, self.describe, key=self._shape, height=self._height),
            glance.figure(self),
            Figure(
                "Against water and temperature",
                self._draw_state,
                self._describe_state,
                key=lambda result: next(iter(self._quantities()), ""),
                shown=lambda result: bool(self._quantities()),
            ),
        ]

    def _draw_state(self, result: Answer) -> Any:
        from dashboard.plots import saturation as plots
        from dashboard.plots.readings import told
        from methods.procedures import with_factor

        there = self._quantities()
        if not there:
            return plots.empty()
        column = there[0]
        table = with_factor(self._wet(), result.shift.by)[0]
        said = told(table, self.study.places, plots.rows_of(table, column))
        looks = self.looks(result.shift.by)
        lines = plots.drawn_of(result.shift, column)
        return plots.against(table, said, column, result.shift.by, lambda name: looks[name], lines)

    def _describe_state(self, result: Answer) -> str:
        there = self._quantities()
        if not there:
            return "The records hold no water content or temperature that varies."
        column = there[0]
        text = f"Each reading against {words.factor(column)}, by {words.factor(result.shift.by)}."
        if column == SATURATION:
            text += " Saturation from water, temperature and the liquid's solubility (constants from memory)."
        lacking = int(self._wet()[column].isna().sum())
        return text + (f" {words.plural(lacking, 'reading')} without it." if lacking else "")

    def _unit(self) -> str:
        return "percent" if self.ratio else self.scale

    def _shape(self, result: Answer) -> Hashable:
        names = (level_text(result.shift.reference), *(level_text(s.level) for s in result.shift.shifts))
        return (self._unit(), names, bool(self._band(result)))

    def _height(self, result: Answer) -> int:
        from dashboard.plots import shift as plots

        return plots.height(len(result.shift.shifts) + 1)

    def _band(self, result: Answer) -> float | None:
        return self.margin if result.equivalence is not None and self._unit() == "percent" else None

    def draw(self, result: Answer) -> Any:
        from dashboard.plots import shift as plots

        looks = self.looks(result.shift.by)
        return plots.of_shift(result.shift, looks, self._unit(), self._band(result), self.dark)

    def describe(self, result: Answer) -> str:
        r = result.shift
        text = f"Each level's mean against {level_text(r.reference)} (the line at zero), with {100 * r.confidence:g} % "
        text += "limits."
        if self._band(result):
            text += f" Shaded: agreement within ± {self.margin:g} %."
        elif result.equivalence is not None:
            text += " The margin of agreement is drawn on the % axis."
        missing = [level_text(s.level) for s in r.shifts if not np.isfinite(s.difference_percent)]
        ends = [(s.low_percent, s.high_percent) for s in r.shifts if np.isfinite(s.low_kv)]
        if self.scale == "percent" and ends and not np.isfinite(ends).any():
            text += " In percent the data set none: choose kV."
        return text + (f" Not comparable: {words.listed(missing)}." if missing else "")

    def tables(self, result: Answer) -> Mapping[str, tuple[str, pd.DataFrame]]:
        asked = [r for r in (result.equivalence, result.pairs, result.others) if r is not None]
        first, *rest = answer(result.shift).tables
        made = [first, *(t for r in asked for t in answer(r).tables), *rest]
        return {t.name: (t.title, t.frame) for t in made}
