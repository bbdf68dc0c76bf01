"""The sections that answer: shift, how many, consistency, pass or fail, precision."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import pandas as pd

from dashboard import words
from dashboard.levels import level_text
from dashboard.plots import results
from dashboard.plots import shift as shift_plots
from dashboard.report import figures
from dashboard.report.asked import Asked, answered, parts, texts_of, together, under_one_head
from dashboard.report.document import Picture, Section, Table
from methods.answers import answer, stacked
from methods.answers.decision import telling_columns
from methods.answers.precision import TESTS
from methods.errors import InputError, NotEstimable
from methods.procedures import name_procedures
from methods.result import Caution
from methods.wording import p_words

#: What counts as one result of a round -> in words.
COUNTED = {
    "result": "what the method reports: the mean of the breakdowns that it prescribes",
    "filling": "the mean of a filling",
    "breakdown": "a single breakdown",
}  # fmt: skip


def shift(asked: Asked) -> Section:
    """How far the levels read apart, with limits and cautions."""
    empty = Section("shift", "Shift between levels")
    if not asked.by:
        why = (
            "Every reading stands under the same condition, or the file does not say what differs: nothing to compare."
        )
        return Section("shift", "Shift between levels", refusal=why)
    return answered(empty, lambda: _shift(asked))


def _shift(asked: Asked) -> Section:
    from methods.shifts import confounding
    from methods.shifts import shift as shift_of

    found = shift_of(asked.data, asked.by, reference=asked.study.reference_value, confidence=asked.confidence)
    reference = level_text(found.reference)
    drawn, rows = shift_plots.of_shift(found, asked.looks()), len(found.shifts) + 1
    picture = Picture(
        f"Shift against {words.factor(asked.by)} {reference}",
        figures.drawn(drawn, "shift", min(shift_plots.height(rows), 80 + 31 * rows)),
        "; ".join(s.sentence for s in found.shifts) or "No level can be compared.",
        f"Each line: limits at {100 * found.confidence:g} % confidence.",
    )
    made = answer(found)
    tables = [Table.of(t) for t in made.tables]
    notices = list(together(found.cautions))
    try:
        confounded = confounding(asked.data, most=0)
        mixed = [e.sentence for e in confounded.effects if e.effect == found.by and e.status != "estimable"]
        notices += mixed
        if mixed and (apart := confounding(asked.data).suggestions):
            notices.append("To take them apart: " + "; ".join(apart) + ".")
    except InputError:
        pass  # with one factor there is nothing that could change together
    said = [s.sentence for s in found.shifts if s.sentence] or [found.sentence]
    name = words.factor(asked.by)
    short = tuple(f"{name[:1].upper() + name[1:]}: {t}" for t in said if t)
    pictures = (picture,) if found.shifts else ()
    return Section("shift", "Shift between levels", tuple(t for t in said if t), pictures=pictures,
                   short=short, notices=tuple(dict.fromkeys(notices)), tables=tuple(tables))  # fmt: skip


def percentiles(asked: Asked) -> Section | None:
    """How far low percentiles and the whole distribution move; nothing where nothing is compared."""
    if not asked.by:
        return None
    return answered(Section("percentiles", "Shift of low percentiles"), lambda: _percentiles(asked))


def _percentiles(asked: Asked) -> Section:
    from methods.shifts import percentile_shift

    found = percentile_shift(
        asked.data, asked.by, reference=asked.study.reference_value, confidence=asked.confidence, rng=asked.seed
    )
    tables = tuple(Table.of(t) for t in answer(found).tables)
    return Section("percentiles", "Shift of low percentiles", notices=together(found.cautions), tables=tables)


def _protocol(data: Any) -> Any:
    """The one protocol of these rows, or None where there are several or it is not recognised."""
    from methods.consistency import protocols_of
    from methods.protocols.bench import for_liquid

    found = {p.key: p for p in protocols_of(data.table)[1] if p is not None}
    if len(found) != 1:
        return None
    rests = list(data.table.drop_duplicates("sample")["fluid"])  # esters rest longer, as in the choice of a procedure
    return for_liquid(next(iter(found.values())), rests)


def plan(asked: Asked) -> Section:
    """How many breakdowns on how many fillings, with these readings as the pilot."""
    from methods.planning import plan as plan_of

    said, short, notices, made = [], [], [], []
    kept: list[Caution] = []
    for level, data in parts(asked):
        try:
            found = plan_of.pilot(
                data, half_width=asked.half_width, confidence=asked.confidence, protocol=_protocol(data)
            )
        except InputError as error:
            notices.append(f"{level}: {error}")
            continue
        said.append(f"{level[:1].upper() + level[1:]}: {found.sentence}")
        short.append(_brief(level, found.estimate))
        kept += found.cautions
        made.append(({asked.by: level} if asked.by else {}, answer(found)))
    notices += together(kept)
    if not made:
        why = "; ".join(notices) or "these readings show no scatter."
        return Section("plan", "How many", refusal=f"A plan needs the scatter of a pilot. {why}")
    title = f"For a mean within ± {100 * asked.half_width:g} %"
    tables = tuple(replace(Table.of(t), title=title) for t in stacked(made))
    return Section("plan", "How many", tuple(said), notices=tuple(dict.fromkeys(notices)), tables=tables,
                   short=tuple(short))  # fmt: skip


def _brief(level: str, found: Any) -> str:
    """The plan in one line, from its own cells."""
    if found.fillings == 1:
        design = words.plural(found.breakdowns, "breakdown")
    else:
        design = (
            f"{words.plural(found.fillings, 'filling')} of {words.plural(found.breakdowns_per_filling, 'breakdown')}"
        )
    bench, known = found.half_width_percent, found.half_width_known_percent
    own = f"± {words.number(bench)} % by the bench's own interval, " if bench is not None else ""
    return f"How many, {level}: {design} give the mean within {own}± {words.number(known)} % if the scatter is known."


def consistency(asked: Asked) -> Section:
    """The verdict of each series' rule."""
    empty = Section("consistency", "Consistency of the series", check=True)
    return answered(empty, lambda: _consistency(asked))


def _consistency(asked: Asked) -> Section:
    from methods.consistency import judge_records

    found = judge_records(asked.data, confidence=asked.confidence)
    if not found.verdicts:
        raise NotEstimable("There is no series to judge.")
    made = answer(found)
    tables = tuple(Table.of(t) for t in made.tables if t.name != "rule_verdicts")
    notices = together(c for c in made.cautions if c.code not in ("check", "series"))  # the table has every series
    return Section("consistency", "Consistency of the series", made.sentences, notices=notices, tables=tables,
                   check=True)  # fmt: skip


def choice(asked: Asked) -> Section | None:
    """Which procedure gives most for its bench time; nothing where procedures are not what is compared."""
    if asked.by != "procedure":
        return None
    return answered(Section("choose", "Which procedure"), lambda: _choice(asked))


def _choice(asked: Asked) -> Section:
    from dashboard.plots.choose import minutes_against_width
    from methods.choosing.choice import choose

    found = choose(asked.data, half_width=asked.half_width, confidence=asked.confidence, result=asked.study.result)
    made, looks = answer(found), asked.looks()
    drawn = minutes_against_width(found.procedures, found.plans, found.half_width_percent, looks, dark=False)
    picture = Picture(
        "What bench minutes buy", figures.drawn(drawn, "choose"),
        "The half-width of an oil's mean that bench minutes buy, a line for each procedure.",
        f"Marks: plans that meet the half-width wanted, with limits at {100 * found.confidence:g} % confidence; the "
        "larger, the likelier that procedure is the best.",
    )  # fmt: skip
    return Section("choose", "Which procedure", made.sentences, notices=texts_of(made.cautions), pictures=(picture,),
                   tables=tuple(Table.of(t) for t in made.tables))  # fmt: skip


def decision(asked: Asked) -> Section | None:
    """Pass or fail against the limit that was asked for; nothing where none was."""
    if not asked.limit:
        return None
    return answered(Section("decision", "Pass or fail", check=True), lambda: _decision(asked))


def _decision(asked: Asked) -> Section:
    from methods.planning import decide_all

    found = decide_all(
        asked.data, asked.limit, limit_method=asked.limit_method or None, limit_liquid=asked.limit_liquid or None,
        poor_below=asked.poor_below, confidence=asked.confidence, result=asked.study.result, **dict(asked.judging),
    )  # fmt: skip
    made = answer(found)
    counts = Counter(d.verdict for d in found.decisions)
    short: tuple[str, ...] = (f"Limit: {found.limit}. Rule: {found.rule}.",)
    if asked.poor_below:
        short += (f"Grades of your own: good above the limit, poor below {asked.poor_below:g} kV, fair between.",)
    if counts:
        short += (", ".join(f"{n} × {v}" for v, n in counts.most_common()) + ".",)
    names = telling_columns(found.decisions)
    each = [f"{name}: {d.sentence}" for name, d in zip(names, found.decisions, strict=True)]
    notices = list(texts_of(made.cautions))
    notices += [f"{n} × {text}" for text, n in Counter(str(r["reason"]) for r in found.refused).items()]
    tables = tuple(Table.of(t) for t in made.tables if len(t.frame))
    return Section("decision", "Pass or fail", (*short, *(each or made.sentences)), notices=tuple(notices),
                   tables=tables, check=True, short=short)  # fmt: skip


def _counted(result: str | int) -> str:
    return f"the mean of {result} fillings" if isinstance(result, int) else COUNTED.get(result, result)


def precision(asked: Asked) -> Section | None:
    """Repeatability and reproducibility where there are two laboratories or more."""
    if asked.table["laboratory"].nunique() < 2:
        return None
    return answered(Section("precision", "Precision between laboratories"), lambda: _precision(asked))


def _precision(asked: Asked) -> Section:
    from methods.interlab import precision as precision_of

    found = None
    for kind in (asked.study.result, "filling", "breakdown"):
        found = precision_of(asked.data, result=kind, confidence=asked.confidence)
        if any(v.error is None for v in found.levels):
            break
    assert found is not None
    good = [v for v in found.levels if v.error is None]
    bad = [f"{v.level}: {v.error}" for v in found.levels if v.error is not None]
    if not good:
        return Section("precision", "Precision between laboratories", refusal=" ".join(bad))
    said = [
        f"{v.level}: two results of one laboratory differ by less than r = {words.number(v.r)} kV, of two laboratories "
        f"by less than R = {words.number(v.R)} kV, 19 times in 20."
        for v in good[:8] if v.r == v.r and v.R == v.R
    ]  # fmt: skip
    made = answer(found)
    one = len(name_procedures(asked.table).names) < 2  # several procedures share no relation to the level
    tables = [Table.of(t) for t in made.tables if one or t.name != "relations"]
    pictures = []
    cells = found.cells.dropna(subset=["h", "k"], how="all") if {"h", "k"} <= set(found.cells.columns) else None
    if cells is not None and 0 < cells["level"].nunique() <= 6:
        for letter, what in (("h", "mean against the others"), ("k", "scatter against the others")):
            drawn = results.mandel(made, letter)
            pictures.append(
                Picture(f"Mandel's {letter}: each laboratory's {what}", figures.drawn(drawn, f"mandel{letter}", 300),
                        f"Mandel's {letter} by laboratory and level; the critical values at 5 % and 1 % as lines.",
                        "Lines across: the critical values at 5 % (dashed) and 1 %.")
            )  # fmt: skip
    if one and sum(v.s_r == v.s_r for v in good) > 1:
        pictures.append(Picture(
            "Scatter against the level", figures.drawn(results.spreads(made), "spread", 320),
            "s_r and s_R of each level against its mean, with limits and the relation that fits best.",
            "Limits of each; lines: the relations of the table. An arrow: farther than drawn.",
        ))  # fmt: skip
    rest = [*together(c for c in made.cautions if c.code != "flags"), *under_one_head(bad)]
    counted = f"One result is {_counted(found.result)}."
    return Section("precision", "Precision between laboratories", tuple(said), tables=tuple(tables), short=(counted,),
                   notices=(*_standing_out(found.flags), *rest),
                   pictures=tuple(pictures))  # fmt: skip


def _standing_out(flags: pd.DataFrame) -> list[str]:
    """The outliers of the round, each in a sentence."""
    rows = flags[flags["verdict"] == "outlier"].to_dict("records") if len(flags) else ()
    return [
        f"At {row['level']}: {row['laboratories']} beyond chance by {TESTS.get(row['test'], row['test'])} "
        f"({p_words(row['p_value'])}). Look for the cause; nothing was left out."
        for row in rows
    ]
