"""Classroom: one virtual test, breakdown by breakdown, laboratories that report one after the other, a guessed oil."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
import panel as pn
import param

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.pages.base import Figure, StudyPage
from dashboard.pages.classroom_guesses import GuessField
from dashboard.pages.classroom_lesson import STEPS
from dashboard.pages.classroom_words import HELP, of_laboratories, of_test
from dashboard.plots import classroom as plots
from methods.answers.heads import OWN
from methods.classroom import (
    DESIGNS,
    MOST_TAKEN,
    Class,
    VirtualTest,
    hidden_oil,
    laboratories,
    reported_design,
    virtual_test,
    wetness_at,
)
from methods.protocols import recognise
from methods.result import Caution
from methods.simulate import SETTINGS, Bench, setting
from methods.water import relative_saturation

_OWN = "own numbers"
_MOST_SEED = 9999
#: Milliseconds between two steps while it plays.
PACES = {"slow": 2500, "steady": 1000, "fast": 250}
_FREE = ""
#: The design by which the method of the setting reports one result.
_REPORTED = ""


@dataclass(frozen=True)
class Lesson:
    """What the page shows: the oil, the test so far, the class."""

    bench: Bench
    saturation: float | None
    test: VirtualTest
    group: Class
    cautions: list[Caution]


class Page(StudyPage):
    TITLE = "Classroom"
    QUESTION = "How far can five or six breakdowns be trusted? Invented oils, drawn in front of the class."
    NEEDS_RECORDS = False
    LARGE = True
    FOLLOWS = ("confidence",)
    INPUTS = (
        "lesson", "view", "design", "setting", "water_mg_kg", "temperature_c", "mean_kv", "between", "within",
        "correlation", "trend", "low", "ceiling_kv", "per_filling", "taken", "reported", "seed", "count", "laboratory",
        "limit_kv", "challenge", "number_of_oil", "pace",
    )  # fmt: skip
    HELP = HELP
    COLUMNS: Mapping[str, tuple[str, str]] = OWN["classroom"]

    lesson: param.Selector[str] = param.Selector(
        default=_FREE, objects=[_FREE, *STEPS], doc="Sets the page for a step of a lesson of 45 minutes."
    )
    view: param.Selector[str] = param.Selector(
        default="test", objects=["test", "laboratories"],
        doc="One test as it grows, or many laboratories that test the same oil.",
    )  # fmt: skip
    design: param.Selector[str] = param.Selector(
        default=_REPORTED,
        objects=[_REPORTED, *(f"{k} × {n}" for k, n in DESIGNS)],
        doc="How each laboratory tests the oil.",
    )
    pace: param.Selector[str] = param.Selector(default="steady", objects=list(PACES), doc="How fast it plays.")
    playing = param.Boolean(False, doc="Whether breakdowns or laboratories come by themselves.")
    setting: param.Selector[str] = param.Selector(
        default="60156 spherical stirred", objects=[*(s.name for s in SETTINGS), _OWN],
        doc="How the oil is tested; or type the oil's figures yourself.",
    )  # fmt: skip
    water_mg_kg = param.Number(25.0, bounds=(0, 200), softbounds=(0, 80), doc="Water in a mineral oil, mg/kg.")
    temperature_c = param.Number(20.0, bounds=(0, 100), doc="Cell temperature; warm oil dissolves more water.")
    mean_kv = param.Number(
        55.0, bounds=(1, 200), softbounds=(20, 100), doc="The true mean that nobody at a bench ever sees."
    )
    between = param.Number(5.0, bounds=(0, 60), softbounds=(0, 25), doc="CoV from one filling to the next, %.")
    within = param.Number(15.0, bounds=(0, 60), softbounds=(0, 40), doc="CoV of single breakdowns on one filling, %.")
    correlation = param.Number(0.0, bounds=(-0.8, 0.9), doc="How much a breakdown takes after the one before.")
    trend = param.Number(0.0, bounds=(-10, 10), doc="Change from one breakdown to the next, %: conditioning or ageing.")
    low = param.Number(0.0, bounds=(0, 60), doc="Share of low breakdowns (fibres, particles), %.")
    ceiling_kv = param.Number(None, allow_None=True, bounds=(0, 200), doc="Highest voltage of the set, kV.")
    per_filling = param.Integer(
        None, allow_None=True, bounds=(1, 30), doc="Breakdowns on each filling; empty: as the method prescribes."
    )
    taken = param.Integer(1, bounds=(0, MOST_TAKEN), doc="Breakdowns taken so far.")
    reported = param.Integer(1, bounds=(1, 2000), doc="Laboratories that have reported so far.")
    seed = param.Integer(1, bounds=(0, _MOST_SEED), doc="Class number: the same number gives the same breakdowns.")
    count = param.Integer(100, bounds=(10, 2000), doc="How many virtual laboratories test the oil.")
    laboratory = param.Number(0.0, bounds=(0, 50), softbounds=(0, 20), doc="CoV of the laboratories' own levels, %.")
    limit_kv = param.Number(
        50.0, allow_None=True, bounds=(0, 200), softbounds=(10, 100),
        doc="A limit of the lesson's own, kV, to pass or fail by; empty: none.",
    )  # fmt: skip
    challenge = param.Boolean(False, doc="An oil that nobody knows; guess its mean, then reveal it.")
    number_of_oil = param.Integer(
        1, bounds=(0, _MOST_SEED), doc="Number of the hidden oil; the whole class types the same."
    )
    revealed = param.Boolean(False, doc="Whether the truth is shown.")

    def __init__(self, study: Any, **params: Any) -> None:
        self._guesses = GuessField()
        self._player: Any = None
        super().__init__(study, **params)
        named = [n for n in self.INPUTS if n != "lesson" and (f"{self.KEY}.{n}" in study.inputs or n in params)]
        if self.lesson and not named:  # a link that names the step alone
            self.param.update(**STEPS[self.lesson].settings)
        self._guesses.param.watch(lambda _: self._study_changed(), "found")
        self.param.watch(self._play, ["playing", "pace"])

    # ------------------------------------------------------------- controls

    def controls(self) -> Sequence[Any]:
        mineral = [
            self._slider("water_mg_kg", "Water (mg/kg)", 0.5),
            self._slider("temperature_c", "Temperature (°C)", 1),
        ]
        own = [
            self._slider("mean_kv", "True mean (kV)", 1), self._slider("between", "Between fillings (%)", 0.5),
            self._slider("within", "Within a filling (%)", 0.5),
        ]  # fmt: skip
        hidden = [self.number("number_of_oil", "Number of the hidden oil")]
        self._groups = {name: parts.column(*those, gap=8) for name, those in
                        (("water", mineral), ("own", own), ("hidden", hidden))}  # fmt: skip
        self._design = self.choice("design", "Fillings × breakdowns of each", {_REPORTED: "as the method"})
        self._arrange()
        steps = {_FREE: "free", **{k: f"{s.title} ({s.minutes} min)" for k, s in STEPS.items()}}
        return [
            self.select("lesson", "Lesson of 45 minutes", steps),
            self.choice("view", "Show", {"test": "one test", "laboratories": "laboratories"}),
            self._design,
            self._slider("limit_kv", "Limit (kV)", 1),
            self._guesses.__panel__(),
            self.choice("pace", "Pace"),
        ]  # fmt: skip

    def folded(self) -> Sequence[tuple[str, Callable[[], Sequence[Any]]]]:
        return [
            ("The oil", lambda: [
                self.select("setting", "Tested as"), self.switch("challenge", "Hide the oil: a numbered one"),
                *self._groups.values(),
            ]),
            ("The bench", lambda: [
                self.number("per_filling", "Breakdowns per filling"), self.number("seed", "Class number"),
                self.number("count", "Virtual laboratories"),
                self._slider("laboratory", "Between laboratories (%)", 0.5),
            ]),
            ("Faults of the oil and the set", lambda: [
                self.number("correlation", "Lag-1 correlation", step=0.1), self.number("trend", "Trend (%)", step=0.5),
                self.number("low", "Low breakdowns (%)", step=1), self.number("ceiling_kv", "Ceiling (kV)", step=5),
            ]),
        ]  # fmt: skip

    def above(self) -> Sequence[Any]:
        """The buttons that draw stand directly above the plot that grows."""
        return [self._buttons()]

    def _slider(self, name: str, label: str, step: float) -> Any:
        return self.number(name, label, step=step, sliding=True)

    def _buttons(self) -> Any:
        def button(label: str, press: Any, look: str = "plain", more: str = "") -> Any:
            return Press(label, lambda _: press(), look=look, more=more)

        self._one = button("Take one", lambda: self._take(1), "main", "One breakdown more")
        self._next = button("Next laboratory", lambda: self._report(1), "main", "One laboratory more")
        self._start = button("▶ Play", lambda: setattr(self, "playing", True), more="They come by themselves")
        self._pause = button("❚❚ Pause", lambda: setattr(self, "playing", False), more="Stop them")
        self._finish = button("Finish the filling", self._finish_filling)
        self._five = button("Five fillings more", lambda: self._take(5 * self._each))
        self._all = button("All of them", lambda: self._report(self.count), more="All laboratories report")
        self._reveal = button("Reveal the truth", lambda: setattr(self, "revealed", True))
        again = button("Start again", self._start_again)
        self._arrange()
        return parts.wrap(
            self._one, self._next, self._start, self._pause, self._finish, self._five, self._all, self._reveal, again,
            gap=8,
        )  # fmt: skip

    def _take(self, more: int) -> None:
        self.taken = min(self.taken + more, MOST_TAKEN)

    def _report(self, more: int) -> None:
        self.reported = min(self.reported + more, self.count)

    def _start_again(self) -> None:
        self.param.update(taken=1, reported=1, revealed=False, playing=False)

    def _finish_filling(self) -> None:
        self._take(self._each - self.taken % self._each)

    @property
    def _laboratories(self) -> bool:
        return bool(self.view == "laboratories")

    # ------------------------------------------------------------- playing

    def _play(self, *_: Any) -> None:
        """Let them come by themselves, at the pace that is chosen, or stop."""
        if self._player is not None:
            self._player.stop()
            self._player = None
        if self.playing:
            self._player = pn.state.add_periodic_callback(self.step, period=PACES[self.pace])
        else:  # what came meanwhile goes into the address
            for name in ("taken", "reported"):
                self.study.put(self.KEY, name, getattr(self, name), default=self.param[name].default)

    def step(self) -> None:
        """One breakdown, or one laboratory, more; at the last one it stops, and when another page is shown."""
        if self.study.page not in (self.KEY, "") and pn.state.curdoc is not None:
            self.playing = False
            return
        if self._laboratories:
            self._report(1)
            self.playing = self.playing and self.reported < self.count
        else:
            self._take(1)
            self.playing = self.playing and self.taken < MOST_TAKEN

    def _input_set(self, *events: Any) -> None:
        if self.playing and all(event.name in ("taken", "reported") for event in events):
            self._study_changed()  # not each of a hundred into the browser's history
        else:
            super()._input_set(*events)

    @param.depends("lesson", watch=True)
    def _begin(self) -> None:
        """Set the page for a step of the lesson."""
        if self.lesson:
            self.param.update(playing=False, revealed=False, **STEPS[self.lesson].settings)
            self._guesses.clear()

    @param.depends("setting", "challenge", "view", "playing", "revealed", watch=True)
    def _arrange(self) -> None:
        """Show the controls that count: the water of a known setting, one's own figures, or the hidden oil's number."""
        shown = "hidden" if self.challenge else "own" if self.setting == _OWN else "water"
        for name, group in getattr(self, "_groups", {}).items():
            group.visible = name == shown
        if hasattr(self, "_design"):
            self._design.visible = self._laboratories
        if hasattr(self, "_reveal"):
            for button in (self._one, self._finish, self._five):
                button.visible = not self._laboratories
            self._next.visible = self._all.visible = self._laboratories
            self._start.visible, self._pause.visible = not self.playing, self.playing
            self._reveal.visible = not self.revealed

    @param.depends("challenge", "number_of_oil", "setting", "seed", watch=True)
    def _hide_again(self) -> None:
        self.revealed = False

    @param.depends("revealed", watch=True)
    def _shown_truth(self) -> None:
        self._study_changed()

    @property
    def _protocol(self) -> Any:
        return None if self._item is None else recognise(self._item.method, self._item.edition)

    @property
    def _each(self) -> int:
        """Breakdowns on each filling."""
        return int(self.per_filling or reported_design(self._protocol)[1])

    @property
    def _item(self) -> Any:
        return None if self.setting == _OWN else setting(self.setting)

    def _bench(self) -> tuple[Bench, float | None]:
        """The oil on the bench, and its relative saturation where water decides."""
        if self.challenge:
            return hidden_oil(self.number_of_oil, self._item or setting("60156 spherical stirred")), None
        if self._item is None:
            return Bench(
                self.mean_kv, self.between / 100, self.within / 100, self.correlation, self.trend / 100,
                self.low / 100, self.ceiling_kv or None,
            ), None  # fmt: skip
        saturation = float(relative_saturation(self.water_mg_kg, self.temperature_c))
        return self._item.bench(wetness_at(saturation)), saturation

    def result(self) -> Lesson:
        bench, saturation = self._bench()
        protocol, confidence = self._protocol, self.study.confidence
        test = virtual_test(
            bench, self.taken, breakdowns_per_filling=self._each, protocol=protocol, confidence=confidence,
            rng=self.seed,
        )  # fmt: skip
        method = None if protocol is None else protocol.key
        settings = (bench, self.count, self.laboratory, self.limit_kv, confidence, self.seed, method)
        group = self.kept(
            "class",
            lambda: laboratories(
                replace(bench), protocol=protocol, count=self.count, laboratory_cov=self.laboratory / 100,
                limit_kv=self.limit_kv or None, confidence=confidence, rng=self.seed,
            ),
            *settings,
        )  # fmt: skip
        return Lesson(bench, saturation, test, group, [*test.cautions, *group.cautions])

    def _truth(self, result: Lesson) -> float | None:
        """The true mean, once it was asked for."""
        return result.bench.true_mean_kv if self.revealed else None

    def _shown(self, result: Lesson) -> pd.DataFrame:
        """The laboratories that have reported, by the design that is looked at."""
        every = result.group.results
        return every[every["design"] == self._looked_at(result)].head(self.reported)

    def _looked_at(self, result: Lesson) -> str:
        """The design that is looked at: by default the one by which the method reports a result."""
        return self.design or result.group.design

    def sentence(self, result: Lesson) -> str:
        truth = self._truth(result)
        self._guesses.tell(truth)
        winners = "" if truth is None else self._guesses.winners(truth)
        if self._laboratories:
            said = of_laboratories(
                self._shown(result), self.count, self._looked_at(result), self.limit_kv or None, truth
            )
            return f"{said} Nearest: {winners}." if winners else said
        return of_test(result.test, truth, winners, self.limit_kv or None)

    def cautions(self, result: Lesson) -> Sequence[Caution]:
        """Those of what is in sight: the laboratories' once they are shown."""
        return result.group.cautions if self._laboratories else result.test.cautions

    def figures(self) -> Sequence[Figure]:
        return [
            Figure(
                "What is measured", self._draw_main, self._describe_main,
                key=lambda result: (self.view, self.revealed, self.limit_kv is None),
            ),
            Figure(
                "The same oil by every design", self._draw_class, self._describe_class,
                key=lambda result: (self.revealed, self.limit_kv is None), height=400,
            ),
        ]  # fmt: skip

    def _draw_main(self, result: Lesson) -> Any:
        truth, limit = self._truth(result), self.limit_kv or None
        guesses = self._guesses.found.scored(truth)
        if self._laboratories:
            every = result.group.results
            whole = every[every["design"] == self._looked_at(result)]["mean_kv"]
            return plots.reporting(self._shown(result), whole, self.count, truth, limit, guesses, self.dark)
        return plots.growing(result.test.table, result.test.running, truth, limit, self.dark, guesses)

    def _describe_main(self, result: Lesson) -> str:
        if self._laboratories:
            kv = self._shown(result)["mean_kv"]
            return (
                f"Means of {words.plural(len(kv), 'laboratory', 'laboratories')} in the order in which they reported."
            )
        if not result.test.taken:
            return "No breakdown taken yet."
        kv = result.test.table["kv"]
        if len(kv) == 1:
            return f"One reading, {words.number(kv.iloc[0])} kV."
        return (
            f"{words.plural(len(kv), 'reading')} from {words.number(kv.min())} to {words.number(kv.max())} kV in the "
            "order in which they came, with the mean so far and its interval."
        )

    def _draw_class(self, result: Lesson) -> Any:
        # A hundred laboratories would give a hidden oil away.
        results = result.group.results if self.revealed else result.group.results.head(0)
        return plots.laboratories(results, self._truth(result), self.limit_kv or None, self.dark)

    def _describe_class(self, result: Lesson) -> str:
        if not self.revealed:
            return "Shown once the truth is revealed: a hundred laboratories would give it away."
        rows = [
            f"{r.design}: {words.number(r.lowest_kv)} to {words.number(r.highest_kv)} kV"
            for r in result.group.summary.itertuples()
        ]
        return (
            f"Means of {self.count} virtual laboratories for each design, lowest to highest: " + "; ".join(rows) + "."
        )

    def tables(self, result: Lesson) -> Mapping[str, tuple[str, pd.DataFrame]]:
        found = {}
        if self._guesses.found.guesses:
            found["classroom_guesses"] = ("Guesses", self._guesses.found.scored(self._truth(result)))
        if self._laboratories:
            shown = self._shown(result)[["laboratory", "mean_kv", "sd_kv", "passes"]]
            found["classroom_reported"] = ("Laboratories that have reported", shown)
        summary = result.group.summary[
            ["design", "laboratories", "no_mean", "mean_of_means_kv", "sd_of_means_kv", "spread_percent", "lowest_kv",
             "highest_kv", "pooled_covers", "fillings_covers", "passes"]
        ]  # fmt: skip
        if self.revealed:
            found["classroom_designs"] = ("What each design buys", summary)
        if len(result.test.verdicts):
            verdicts = result.test.verdicts.assign(step=[words.step(s) for s in result.test.verdicts["step"]])
            found["classroom_rule"] = ("The consistency rule on each full filling", verdicts)
        if result.test.taken:
            found["classroom_breakdowns"] = ("Breakdowns taken", result.test.table)
        if self.revealed:
            found["classroom_laboratories"] = ("Every virtual laboratory", result.group.results)
        return found
