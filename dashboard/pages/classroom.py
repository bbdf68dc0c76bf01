"""Classroom: one virtual test, breakdown by breakdown, and a hundred virtual laboratories at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
import param

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.pages.base import Figure, StudyPage
from dashboard.plots import classroom as plots
from methods.answers.heads import OWN
from methods.classroom import MOST_TAKEN, Class, VirtualTest, hidden_oil, laboratories, virtual_test, wetness_at
from methods.protocols import recognise
from methods.result import Caution
from methods.simulate import SETTINGS, Bench, setting
from methods.water import relative_saturation

_OWN = "own numbers"
_MOST_SEED = 9999


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
    FOLLOWS = ("confidence",)
    INPUTS = (
        "setting", "water_mg_kg", "temperature_c", "mean_kv", "between", "within", "correlation", "trend", "low",
        "ceiling_kv", "per_filling", "taken", "seed", "count", "laboratory", "limit_kv", "challenge", "number_of_oil",
    )  # fmt: skip
    HELP = (
        "Every voltage on this page is **invented**: drawn by a seeded generator, so that everyone who types the same "
        "settings and class number sees the same numbers. Send the address of the page to share them.\n\n"
        "* **Mean so far** and its band are what a bench computes after each breakdown: Student's *t* on the "
        "breakdowns, as if they were independent.\n"
        "* **Between fillings** is what refilling the cell changes. A single filling cannot show it: the band "
        "shrinks around that filling's own mean, and the truth may lie outside.\n"
        "* **Covers** counts how often a laboratory's interval holds the true mean. *Pooled* treats all breakdowns "
        "as independent; *fillings* uses only the means of fillings.\n"
        "* **Water**: what counts is the relative saturation, water over what the oil can dissolve at that "
        "temperature. The fall of the voltage with it is an illustration (from memory), not a law.\n"
        "* A **ceiling** reached without breakdown is not a value. Once it happens there is no mean to show."
    )
    COLUMNS: Mapping[str, tuple[str, str]] = OWN["classroom"]

    setting = param.Selector(
        default="60156 spherical stirred", objects=[*(s.name for s in SETTINGS), _OWN],
        doc="How the oil is tested; or type the oil's figures yourself.",
    )  # fmt: skip
    water_mg_kg = param.Number(10.0, bounds=(0, 200), softbounds=(0, 80), doc="Water in a mineral oil, mg/kg.")
    temperature_c = param.Number(20.0, bounds=(0, 100), doc="Cell temperature; warm oil dissolves more water.")
    mean_kv = param.Number(
        60.0, bounds=(1, 200), softbounds=(20, 100), doc="The true mean that nobody at a bench ever sees."
    )
    between = param.Number(5.0, bounds=(0, 60), softbounds=(0, 25), doc="CoV from one filling to the next, %.")
    within = param.Number(15.0, bounds=(0, 60), softbounds=(0, 40), doc="CoV of single breakdowns on one filling, %.")
    correlation = param.Number(0.0, bounds=(-0.8, 0.9), doc="How much a breakdown takes after the one before.")
    trend = param.Number(0.0, bounds=(-10, 10), doc="Change from one breakdown to the next, %: conditioning or ageing.")
    low = param.Number(0.0, bounds=(0, 60), doc="Share of low breakdowns (fibres, particles), %.")
    ceiling_kv = param.Number(None, allow_None=True, bounds=(0, 200), doc="Highest voltage of the set, kV.")
    per_filling = param.Integer(6, bounds=(1, 30), doc="Breakdowns on each filling.")
    taken = param.Integer(0, bounds=(0, MOST_TAKEN), doc="Breakdowns taken so far.")
    seed = param.Integer(1, bounds=(0, _MOST_SEED), doc="Class number: the same number gives the same breakdowns.")
    count = param.Integer(100, bounds=(10, 2000), doc="How many virtual laboratories test the oil.")
    laboratory = param.Number(0.0, bounds=(0, 50), softbounds=(0, 20), doc="CoV of the laboratories' own levels, %.")
    limit_kv = param.Number(
        None,
        allow_None=True,
        bounds=(0, 200),
        softbounds=(10, 100),
        doc="A limit to pass or fail by, kV; empty: none.",
    )
    challenge = param.Boolean(False, doc="An oil that nobody knows; guess its mean, then reveal it.")
    number_of_oil = param.Integer(
        1, bounds=(0, _MOST_SEED), doc="Number of the hidden oil; the whole class types the same."
    )
    revealed = param.Boolean(False, doc="Whether the truth of the challenge is shown.")

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
        self._arrange()
        return [
            self.select("setting", "Tested as"),
            self.switch("challenge", "Challenge: hide the oil"),
            *self._groups.values(),
            self._slider("limit_kv", "Limit (kV)", 1),
        ]  # fmt: skip

    def folded(self) -> Sequence[tuple[str, Callable[[], Sequence[Any]]]]:
        return [
            ("The bench", lambda: [
                self.number("per_filling", "Breakdowns per filling"), self.number("seed", "Class number"),
            ]),
            ("Many laboratories", lambda: [
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
        def button(label: str, press: Any, look: str = "plain") -> Any:
            return Press(label, lambda _: press(), look=look)

        self._reveal = button("Reveal the oil", lambda: setattr(self, "revealed", True))
        self._reveal.visible = self.challenge
        row = parts.wrap(
            button("Take one", lambda: self._take(1), "main"),
            button("Finish the filling", self._finish_filling),
            button("Five fillings more", lambda: self._take(5 * self.per_filling)),
            button("Start again", self._start_again),
            self._reveal,
            gap=8,
        )
        return row

    def _take(self, more: int) -> None:
        self.taken = min(self.taken + more, MOST_TAKEN)

    def _start_again(self) -> None:
        self.param.update(taken=0, revealed=False)

    def _finish_filling(self) -> None:
        self._take(self.per_filling - self.taken % self.per_filling)

    @param.depends("setting", "challenge", watch=True)
    def _arrange(self) -> None:
        """Show the controls that count: the water of a known setting, one's own figures, or the hidden oil's number."""
        shown = "hidden" if self.challenge else "own" if self.setting == _OWN else "water"
        for name, group in getattr(self, "_groups", {}).items():
            group.visible = name == shown
        if hasattr(self, "_reveal"):
            self._reveal.visible = self.challenge

    @param.depends("challenge", "number_of_oil", "setting", "seed", watch=True)
    def _hide_again(self) -> None:
        self.revealed = False

    @param.depends("revealed", watch=True)
    def _shown_truth(self) -> None:
        self._study_changed()

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
        protocol = None if self._item is None else recognise(self._item.method, self._item.edition)
        confidence = self.study.confidence
        test = virtual_test(
            bench, self.taken, breakdowns_per_filling=self.per_filling, protocol=protocol, confidence=confidence,
            rng=self.seed,
        )  # fmt: skip
        settings = (bench, self.count, self.laboratory, self.limit_kv, confidence, self.seed)
        group = self.kept(
            "class",
            lambda: laboratories(
                replace(bench), count=self.count, laboratory_cov=self.laboratory / 100, limit_kv=self.limit_kv or None,
                confidence=confidence, rng=self.seed,
            ),
            *settings,
        )  # fmt: skip
        return Lesson(bench, saturation, test, group, [*test.cautions, *group.cautions])

    @property
    def _open(self) -> bool:
        return self.revealed or not self.challenge

    def sentence(self, result: Lesson) -> str:
        test, truth = result.test, result.bench.true_mean_kv
        spread = result.group.summary.set_index("design")["spread_percent"]
        start = ""
        if result.saturation is not None:
            start = f"The oil is at {100 * result.saturation:.0f} % relative saturation. "
        if not test.taken:
            if not self._open:
                return "The oil is hidden. Take breakdowns, guess its true mean, then reveal it."
            return (
                f"{start}Take the first breakdown. Meanwhile {self.count} virtual laboratories report: their means "
                f"scatter by {words.number(spread.get('1 × 6'), 2)} % (SD) with one filling of six, "
                f"by {words.number(spread.get('3 × 2'), 2)} % with three fillings of two."
            )
        so_far = f"After {words.plural(test.taken, 'breakdown')} on {words.plural(test.fillings, 'filling')}: "
        if test.mean_kv is None:
            return f"{start}{so_far}no mean can be given, since the ceiling was reached."
        body = f"mean {words.number(test.mean_kv)} kV"
        if test.low_kv is not None:
            body += (
                f", between {words.number(test.low_kv)} and {words.number(test.high_kv)} kV as the bench computes it"
            )
        if not self._open:
            return f"{start}{so_far}{body}. What is the oil's true mean? Guess, then reveal it."
        if test.covers is None:
            return f"{start}{so_far}{body}; the true mean is {words.number(truth)} kV."
        inside = "inside" if test.covers else "outside"
        return f"{start}{so_far}{body}; the true mean, {words.number(truth)} kV, lies {inside}."

    def figures(self) -> Sequence[Figure]:
        return [
            Figure("The test as it grows", self._draw_test, self._describe_test, key=self._layers, height=360),
            Figure(
                "The same oil at many laboratories",
                self._draw_class,
                self._describe_class,
                key=self._layers,
                height=400,
            ),
        ]

    def _layers(self, result: Lesson) -> tuple[bool, ...]:
        truth = result.bench.true_mean_kv if self._open else None
        return plots.layers_of(result.test.table, truth, self.limit_kv or None)

    def _draw_test(self, result: Lesson) -> Any:
        truth = result.bench.true_mean_kv if self._open else None
        return plots.growing(result.test.table, result.test.running, truth, self.limit_kv or None, self.dark)

    def _describe_test(self, result: Lesson) -> str:
        if not result.test.taken:
            return "No breakdown taken yet."
        kv = result.test.table["kv"]
        return (
            f"{words.plural(len(kv), 'reading')} from {words.number(kv.min())} to {words.number(kv.max())} kV in the "
            "order in which they came, with the mean so far and its interval."
        )

    def _draw_class(self, result: Lesson) -> Any:
        # A hundred laboratories would give a hidden oil away.
        results = result.group.results if self._open else result.group.results.head(0)
        truth = result.bench.true_mean_kv if self._open else None
        return plots.laboratories(results, truth, self.limit_kv or None, self.dark)

    def _describe_class(self, result: Lesson) -> str:
        if not self._open:
            return "Shown once the oil is revealed: a hundred laboratories would give it away."
        rows = [
            f"{r.design}: {words.number(r.lowest_kv)} to {words.number(r.highest_kv)} kV"
            for r in result.group.summary.itertuples()
        ]
        return (
            f"Means of {self.count} virtual laboratories for each design, lowest to highest: " + "; ".join(rows) + "."
        )

    def tables(self, result: Lesson) -> Mapping[str, tuple[str, pd.DataFrame]]:
        summary = result.group.summary[
            ["design", "laboratories", "no_mean", "mean_of_means_kv", "sd_of_means_kv", "spread_percent", "lowest_kv",
             "highest_kv", "pooled_covers", "fillings_covers", "passes"]
        ]  # fmt: skip
        found = {"classroom_designs": ("What each design buys", summary)} if self._open else {}
        if len(result.test.verdicts):
            verdicts = result.test.verdicts.assign(step=[words.step(s) for s in result.test.verdicts["step"]])
            found["classroom_rule"] = ("The consistency rule on each full filling", verdicts)
        if result.test.taken:
            found["classroom_breakdowns"] = ("Breakdowns taken", result.test.table)
        if self._open:
            found["classroom_laboratories"] = ("Every virtual laboratory", result.group.results)
        return found
