"""What does the consistency rule of the method say of each series, and how often does it ask for more?"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from methods.answers.model import Answer, Table, varying
from methods.answers.writing import listed, plural
from methods.columns import CONDITION, LABELS, level_text
from methods.consistency import Judged, JudgedSeries
from methods.protocols.protocol import CHECK
from methods.protocols.rules import Rule
from methods.protocols.trip_rates import RuleEffect, TripRate
from methods.protocols.verdict import Verdict
from methods.result import Caution

QUESTION = "rules"
#: Verdicts in words, by the step that a rule asks for.
STEPS = {
    "report": "report the mean", "repeat": "repeat the test", "incomplete": "incomplete", "no_rule": "not judged",
    "withstood": "withstood, cannot be judged",
}  # fmt: skip
#: Series that are told of in a sentence.
MOST_TOLD = 12
#: Why a rule judges nothing, in the sentence of its verdict.
_WHY = re.compile(r"Not judged: (.*?)\.(?:\s|$)")
_RATES = (
    "protocol", "rule", "series", "judged", "fired", "rate_percent", "rate_low", "rate_high", "withstood", "short",
)  # fmt: skip


def judged(found: Judged) -> Answer:
    """How often each rule asked for more, the series that it does not let pass, and every series with its verdict."""
    steps = Counter(v.step for _, v in found.verdicts)
    n, known = len(found.verdicts), sum(v.ok is not None for _, v in found.verdicts)
    counts = ", ".join(f"{m} × {step(s)}" for s, m in steps.most_common())
    said = [f"{plural(n, 'series', 'series')}: {counts}. Judged: {known} of {n}." if n else "There is no series."]
    if n and set(steps) == {"no_rule"}:
        why = dict.fromkeys(
            f"{w[1]} ({found.titles.get(v.rule, 'no rule known')})"
            for _, v in found.verdicts if (w := _WHY.match(v.sentence))
        )  # fmt: skip
        said.append(f"No series was judged: {listed(why) or 'no rule fits the number of breakdowns'}.")
    odd = Counter(v.sentence for _, v in found.verdicts if stands_out(v))
    cautions = [Caution("series", f"{m} × {text}" if m > 1 else text) for text, m in odd.most_common(MOST_TOLD)]
    if len(odd) > MOST_TOLD:
        cautions.append(Caution("series", f"… and {len(odd) - MOST_TOLD} more; the table has all."))
    cautions.append(Caution("check", f"{CHECK[:1].upper()}{CHECK[1:]}."))
    return Answer(QUESTION, tuple(said), tuple(cautions), tuple(_tables(found)), (), found)


def step(code: str) -> str:
    """What a rule asks for, in words."""
    return STEPS.get(code, code.replace("_", " "))


def stands_out(verdict: Verdict) -> bool:
    """Whether the series is not simply reported."""
    return verdict.step not in ("report", "no_rule") or verdict.ok is False


def trips(found: Sequence[TripRate], rules: Sequence[Rule]) -> Table:
    """The share of sound tests of which each rule asks for more: a row a scatter, a column a rule and family."""
    titles = {r.key: r.title for r in rules}
    rows: dict[float, dict[str, float]] = {}
    own = {}
    for one in found:
        column = f"{one.rule}, {one.family}"
        own[column] = (column, f"{titles.get(one.rule, one.rule)}; breakdowns {one.family}. In % of the tests.")
        rows.setdefault(one.cov, {})[column] = 100 * one.probability
    frame = pd.DataFrame([{"cov_percent": 100 * cov, **row} for cov, row in rows.items()])
    own["cov_percent"] = ("True CoV (%)", "Scatter of the breakdowns, in % of the mean.")
    return Table("trip_rates", "Share of sound tests of which more breakdowns are asked (%)", frame, "", own, 4)


def effects(found: Sequence[RuleEffect]) -> Table:
    """What following each rule does to the reported mean."""
    rows = [
        {"rule": e.rule, "family": e.family, "cov_percent": 100 * e.cov, "more_percent": 100 * e.more,
         "repeat_percent": np.nan if e.repeat is None else 100 * e.repeat, "bias_percent": e.bias_percent,
         "bias_se": e.bias_percent_se, "sd_percent": e.sd_percent, "sd_without_percent": e.sd_without_percent,
         "breakdowns": e.breakdowns}
        for e in found
    ]  # fmt: skip
    return Table("effect", "What following the rule does to the reported mean", pd.DataFrame(rows))


def _tables(found: Judged) -> list[Table]:
    tables = []
    rates = found.rates
    if len(rates):
        shown = rates.assign(
            rule=[found.titles.get(k, "no rule known") for k in rates["rule"]],
            **{f"rate_{n}": 100 * rates[c] for n, c in (("percent", "rate"), ("low", "low"), ("high", "high"))},
        )
        shown = shown[[*(c for c in (*CONDITION, "edition") if c in shown), *_RATES]]
        shown, same = varying(shown.dropna(axis=1, how="all"), (*CONDITION, "edition", "protocol", "rule"))
        note = f"Shares of the series judged, with limits at {100 * found.confidence:g} % confidence. {same}".strip()
        tables.append(Table("rule_rates", "How often the consistency rule asked for more", shown, note))
    odd = [_odd(s, v) for s, v in found.verdicts if stands_out(v)]
    if odd:
        tables.append(Table("rule_verdicts", "Series that the rule does not let pass", pd.DataFrame(odd)))
    if found.verdicts:
        frame = pd.DataFrame([_row(s, v, found.titles) for s, v in found.verdicts])
        frame, same = varying(frame.dropna(axis=1, how="all"), (*LABELS, "rule", "limit", "unit"))
        tables.append(Table("judged", "Every series with its verdict", frame, same))
    return tables


def _labels(series: JudgedSeries) -> dict[str, Any]:
    return {k: level_text(v) for k, v in series.labels.items() if k in LABELS}


def _odd(series: JudgedSeries, verdict: Verdict) -> dict[str, Any]:
    return {**_labels(series), "value": verdict.value, "limit": verdict.limit, "sentence": verdict.sentence}


def _row(series: JudgedSeries, verdict: Verdict, titles: dict[str, str]) -> dict[str, Any]:
    read = "  ".join(f"{'>' if w else ''}{v:g}" for v, w in zip(series.kv, series.withstood, strict=True))
    return {
        **_labels(series), "readings_kv": read, "breakdowns": int(series.kv.size),
        "rule": titles.get(verdict.rule, "no rule known"), "value": verdict.value, "limit": verdict.limit,
        "unit": verdict.unit, "step": step(verdict.step), "judged": verdict.ok is not None,
        "reported_mean_kv": verdict.reported_mean_kv, "sentence": verdict.sentence,
    }  # fmt: skip
