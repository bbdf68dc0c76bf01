"""What a consistency rule does: how often it fires on sound oil, and what following it does to the mean."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import pandas as pd

from dashboard import parts, words
from dashboard.cache import known, remember
from dashboard.jobs import Progress, Runner
from dashboard.pages.base import Figure
from dashboard.pages.method_study_view import View
from dashboard.pages.method_study_words import ASSUMED, FAMILY_NAMES
from methods.answers.rules import judged
from methods.result import Caution

OWN_KINDS = {
    "none": "no rule of your own", "range_percent": "range, % of the mean", "cov_ceiling": "CoV, %",
    "three_r": "factor × range against next-to-lowest",
}  # fmt: skip
#: Repetitions of each simulated point.
REPETITIONS = 20_000


@dataclass(frozen=True)
class Answer:
    """Curves, the user's own scatter and rates, and the simulated effect where it was asked for."""

    curves: pd.DataFrame
    missing: bool
    own: pd.DataFrame
    effect: pd.DataFrame | None
    cov: float
    judged: Any


def short(title: str) -> str:
    """The method that a rule belongs to; the whole title of one's own."""
    return title.split(":")[0]


class Rules(View):
    KEY = "rules"
    QUESTION = "How often it asks for more although nothing is wrong, and what that does to the reported mean."

    def controls(self) -> Sequence[Any]:
        page = self.page
        self._limit = page.number("own_limit", "Its limit", "In % of the mean, or the factor of the range.")
        self._size = page.number("own_n", "It judges", "So many breakdowns of a series.", step=1)
        self._more = page.number("own_more", "Then so many more", "Breakdowns that are added when it fails.", step=1)
        self._second = page.number("own_second", "Limit for all (%)", "For all of them together; empty: none.")
        page.param.watch(lambda _: self._settle(), "own_kind")
        self._by = page.chooser(
            "judged_by", "Judge the records by", "One rule for all series, or each by its method's."
        )
        self._settle()
        return [
            page.select("family", "Breakdowns fall", ASSUMED, "How the breakdowns of an oil are taken to fall."),
            page.number("between", "Between fillings (%)", "How far fillings of the same oil differ.", step=1),
            page.select("own_kind", "A rule of your own", OWN_KINDS, "Judged beside the known ones."),
            self._limit, self._size, self._more, self._second, self._by,
        ]  # fmt: skip

    def _settle(self) -> None:
        """The fields of a rule of one's own, and the rules to choose from."""
        from methods.protocols import load_rules

        own = self.page.own_kind != "none"
        for field in (self._limit, self._size, self._more, self._second):
            field.visible = own
        named = {r.title: key for key, r in load_rules().items() if r.usable and r.kind != "chart"}
        options = {"the rule of its method": "", **named, **({"the rule of your own": "own"} if own else {})}
        self.page.offer(self._by, options, self.page.judged_by if self.page.judged_by in options.values() else "")

    def extras(self) -> Sequence[Any]:
        runner = Runner(
            "Simulate", self._prepare, lambda _: self.page.refresh(),
            "Draws tests and follows each rule: missing curves, and what the rule does to the mean. Some ten seconds.",
        )  # fmt: skip
        return [parts.heading("What following the rule does"), runner]

    # ------------------------------------------------------------- numbers

    def _rules(self) -> list[Any]:
        from methods.protocols import load_rules, own_rule
        from methods.protocols.rule_curves import judging

        rules = judging(list(load_rules().values()))
        page = self.page
        if page.own_kind == "none":
            return rules
        second = page.own_second or None
        return [*rules, own_rule(page.own_kind, page.own_limit, n=page.own_n, more=page.own_more, second_limit=second)]

    def _settings(self) -> tuple[Any, ...]:
        return (self.page.family, self.page.between)

    def result(self) -> Answer:
        from methods.consistency import judge_records
        from methods.protocols.rule_curves import all_exact

        rules, (family, between) = self._rules(), self._settings()
        records = self.page.kept("own scatter", self._scatter)
        cov = float(records["cov"].iloc[-1]) if len(records) else float("nan")
        key = self._job_key(rules, cov)
        simulated = remember(key, lambda: None) if known(key) else None
        if simulated is not None:
            curves, effect = simulated
        else:
            quick = [r for r in rules if all_exact([r], family, between / 100)]
            parts_of = [remember(("trip", r, family, between), partial(self._curve, r)) for r in quick]
            curves, effect = (pd.concat(parts_of, ignore_index=True) if parts_of else _no_curves()), None
        own = self.page.kept(
            "rules on the records", lambda: self._on_records(rules, records), repr(rules), family, between,
            self.page.judged_by,
        )  # fmt: skip
        chosen = next((r for r in rules if r.key == self.page.judged_by), None)
        judged = self.page.kept(
            "verdicts by rule",
            lambda: judge_records(self.study.selection, chosen, confidence=self.study.confidence),
            repr(chosen), self.study.confidence,
        )  # fmt: skip
        return Answer(curves, len(set(curves["rule"])) < len(rules), own, effect, cov, judged)

    def _curve(self, rule: Any) -> pd.DataFrame:
        from methods.protocols.rule_curves import trip_curves

        family, between = self._settings()
        return trip_curves([rule], family, between_cov=between / 100)

    def _scatter(self) -> pd.DataFrame:
        from methods.consistency import scatter_by_rule

        return scatter_by_rule(self.study.selection)

    def _on_records(self, rules: Sequence[Any], records: pd.DataFrame) -> pd.DataFrame:
        """Each rule at the user's own scatter, beside how often it fired on the user's own series."""
        from methods.consistency import rule_on_records

        family, between = self._settings()
        found = rule_on_records(
            self.study.selection, rules, records, family=family, between_cov=between / 100,
            confidence=self.study.confidence, for_all=("own", self.page.judged_by),
        )  # fmt: skip
        return found.assign(rule=[short(t) for t in found["rule"]])

    def _job_key(self, rules: Sequence[Any], cov: float) -> Hashable:
        return ("rules", repr(rules), *self._settings(), None if cov != cov else round(cov, 4))

    def _prepare(self) -> tuple[Any, Hashable]:
        from methods.protocols.rule_curves import COVS, effect_table, trip_curves

        rules, (family, between) = self._rules(), self._settings()
        records = self.page.kept("own scatter", self._scatter)
        cov = float(records["cov"].iloc[-1]) if len(records) else float("nan")
        covs = (0.10, 0.15, 0.20, 0.25, *((round(cov, 4),) if 0.005 <= cov <= 0.6 else ()))
        curves_share = len(COVS) / (len(COVS) + 3 * len(covs))

        def work(progress: Progress) -> Any:
            curves = trip_curves(
                rules, family, between_cov=between / 100, repetitions=REPETITIONS,
                progress=lambda done: progress.step(curves_share * done, 1),
            )  # fmt: skip
            effect = effect_table(
                rules, tuple(sorted(set(covs))), family, between_cov=between / 100,
                progress=lambda done: progress.step(curves_share + (1 - curves_share) * done, 1),
            )  # fmt: skip
            titles = {r.key: short(r.title) for r in rules}
            return curves, effect.assign(rule=[titles[k] for k in effect["rule"]])

        return work, self._job_key(rules, cov)

    # ------------------------------------------------------------- what is said

    def sentence(self, result: Answer) -> str:
        own = result.own[result.own["expected_percent"].notna()]
        if result.cov != result.cov or not len(own):
            return "How often each rule asks for more depends on the true scatter: read it off the curves."
        ranked = own.sort_values("expected_percent", kind="stable")
        low, high = ranked.iloc[0], ranked.iloc[-1]
        return (
            f"At the scatter of these records (SD {words.number(100 * result.cov, 2)} % of the mean) the rule of "
            f"{high['rule']} asks for more in {_share(high['expected_percent'])} of tests of a sound oil, that of "
            f"{low['rule']} in {_share(low['expected_percent'])}."
        )

    def cautions(self, result: Answer) -> Sequence[Caution]:
        out = []
        if result.missing:
            out.append(Caution("simulate", (
                "For this family and filling scatter some rules have no quick formula: press “Simulate” to draw them."
            )))  # fmt: skip
        out.append(Caution("check", "Check the limits of every rule against your own copy of the standard."))
        return out

    def figures(self) -> Sequence[Figure]:
        return [
            Figure(
                "How often a sound test is asked for more", self._draw, self._describe,
                key=lambda r: (tuple(dict.fromkeys(r.curves["rule"])), r.cov == r.cov), height=400,
            )
        ]  # fmt: skip

    def _draw(self, result: Answer) -> Any:
        from dashboard.plots import method_study as plots

        names = {r.key: short(r.title) for r in self._rules()}
        return plots.trips(result.curves, names, 100 * result.cov, self.dark)

    def _describe(self, result: Answer) -> str:
        told = "Probability that each rule asks for more, against the true coefficient of variation"
        mark = (
            f"; the line marks that of these records, {words.number(100 * result.cov, 2)} %"
            if result.cov == result.cov
            else ""
        )
        how = "simulated" if (result.curves["method"] == "simulation").any() else "exact"
        return f"{told}{mark}. Breakdowns {FAMILY_NAMES[self.page.family]}, {how}."

    def tables(self, result: Answer) -> Mapping[str, tuple[str, pd.DataFrame]]:
        out = {"records": ("Each rule at the scatter of these records, and on these records", result.own)}
        if result.effect is not None:
            out["effect"] = ("What following the rule does to the reported mean", result.effect)
        out |= {t.name: (t.title, t.frame) for t in judged(result.judged).tables if t.name != "rule_verdicts"}
        return out


def _no_curves() -> pd.DataFrame:
    return pd.DataFrame(columns=["rule", "cov_percent", "probability_percent", "method"])


def _share(percent: float) -> str:
    return "less than 0.1 %" if percent < 0.1 else f"{words.number(percent, 2)} %"
