"""Collects what a report says from the results of ``methods``. Computes nothing itself."""

from __future__ import annotations

import datetime
import platform
from collections.abc import Callable, Sequence
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import pandas as pd

from dashboard import words
from dashboard.report import brief
from dashboard.report import sections_answers as answers
from dashboard.report import sections_data as data
from dashboard.report import sections_methods as pairs
from dashboard.report.asked import Asked
from dashboard.report.document import Report, Section
from dashboard.report.methods_text import methods_of
from methods.errors import NotEstimable

#: What computes and what writes; their versions stand in the report.
LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib", "jinja2")
Progress = Callable[[float, float], None]


#: What stands in the appendix and the workbook alone, and takes longest.
BEHIND = (answers.percentiles, data.distributions, data.order, answers.consistency)


def gather(asked: Asked, progress: Progress | None = None, whole: bool = True) -> Report:
    """The report of a study.

    Parameters
    ----------
    asked : Asked
        The study with its filters, exclusions, factor, reference and confidence, and what else is asked.
    progress : callable, optional
        Called with (done, total) after each section; what it raises stops the work.
    whole : bool, optional
        False leaves out what only the appendix and the workbook show; with an appendix it is always made.

    Raises
    ------
    NotEstimable
        No reading is left to report on. Everything else that cannot be answered is said in its section.
    """
    if not len(asked.table):
        raise NotEstimable("No reading is left to report on: open a file, or take filters and exclusions back.")
    makers: Sequence[Callable[[Asked], Section | None]] = (
        data.reading, answers.shift, answers.choice, answers.percentiles, data.distributions, data.scatter, data.order,
        answers.plan, answers.decision, answers.consistency, answers.precision, pairs.two_methods,
    )  # fmt: skip
    if not (whole or asked.appendix) and asked.by:  # where nothing is compared, a distribution is the first picture
        makers = [make for make in makers if make not in BEHIND]
    sections = []
    for at, make in enumerate(makers):
        if progress is not None:
            progress(at, len(makers) + 1)
        section = make(asked)
        if section is not None:
            sections.append(section)
    first = brief.front(asked, sections)
    title = asked.title or "Breakdown voltages of " + words.listed(f.name for f in asked.study.files)
    return Report(
        title=title,
        asked=_asked(asked),
        answers=first.sentences,
        sections=tuple(sections),
        settings=_settings(asked),
        versions=_versions(),
        methods=methods_of(
            tuple(s.key for s in sections if not s.refusal and (asked.appendix or s.key in brief.TABLES))
        ),
        written_on=datetime.date.today().isoformat(),
        front=first,
        brief=tuple(
            s for section in _ordered(asked, sections) if (s := brief.cut(section, brief.is_round(asked))) is not None
        ),
        cautions=brief.cautions([s for s in _ordered(asked, sections) if s.key in brief.TABLES or s.key == "choose"]),
        with_appendix=asked.appendix,
    )


def _ordered(asked: Asked, sections: Sequence[Section]) -> list[Section]:
    """The sections as they stand behind the first page; in a round precision comes before the shifts."""
    wanted: tuple[str, ...] = ("read", "choose", "shift", "pair", "scatter", "plan", "decision", "precision")
    if brief.is_round(asked):
        wanted = ("read", "precision", "pair", "shift", "scatter", "decision", "plan")
    return sorted(sections, key=lambda s: wanted.index(s.key) if s.key in wanted else len(wanted))


def _asked(asked: Asked) -> str:
    confidence = f"at {100 * asked.confidence:g} % confidence"
    if brief.is_round(asked):
        return (
            "How far may two results lie apart, of one laboratory (r) and of two (R); which laboratories stand out, "
            f"{confidence}?"
        )
    if asked.by:
        levels = asked.levels()
        named = words.listed(levels) if len(levels) <= 3 else words.plural(len(levels), "level")
        said = f"Does the {words.factor(asked.by)} ({named}) shift the breakdown voltage, by how much and how surely"
    else:
        said = "What do these breakdown voltages say, and how surely"
    limit = f"; does each oil pass the limit {asked.limit}" if asked.limit else ""
    return f"{said}{limit}; and how many breakdowns on how many fillings does it take, {confidence}?"


#: Keyword of a verdict -> what the list of settings calls it, and how its value is written there.
JUDGING: dict[str, tuple[str, Callable[[Any], str]]] = {
    "limit_stage": ("stage of the limit", str),
    "limit_equipment": ("equipment of the limit", str),
    "stage": ("stage of these oils", str),
    "equipment": ("equipment of these oils", str),
    "rule": ("rule of the verdict", str),
    "risk": ("risk for the guard band", lambda v: f"{100 * v:g} %"),
    "between_sd": ("SD between fillings, from history", lambda v: f"{v:g} kV"),
    "instrument_kv": ("voltmeter and gap, standard uncertainty", lambda v: f"{v:g} kV"),
    "history": ("scatter is borrowed from", lambda v: "the other oils of these records" if v == "study" else str(v)),
}


def _settings(asked: Asked) -> pd.DataFrame:
    study = asked.study
    rows = [
        ("factor", study.by or "none"),
        ("reference", study.reference or "chosen by the method: the level with most fillings"),
        ("confidence", f"{100 * asked.confidence:g} %"),
        ("half-width planned for", f"{100 * asked.half_width:g} % of the mean"),
        ("seed of resampling", str(asked.seed)),
        ("limit", asked.limit or "none asked for"),
    ]
    if asked.limit_method:
        rows.append(("the limit is written for", asked.limit_method))
    if asked.limit_liquid:
        rows.append(("liquid of the limit", asked.limit_liquid))
    if asked.poor_below:
        rows.append(("grades of your own", f"poor below {asked.poor_below:g} kV"))
    if asked.limit:
        rows += [(name, write(value)) for (key, value) in asked.judging for name, write in [JUDGING[key]] if value]
    for file in study.files:
        options = {k: v for k, v in file.options.items() if v is not None}
        if options:
            rows.append((f"reading of {file.name}", ", ".join(f"{k} = {v}" for k, v in options.items())))
    return pd.DataFrame(rows, columns=["setting", "value"])


def _versions() -> pd.DataFrame:
    rows = []
    for name in ("gapshift", *LIBRARIES):
        try:
            rows.append((name, version(name)))
        except PackageNotFoundError:
            rows.append((name, "not installed as a package"))
    rows.append(("python", platform.python_version()))
    return pd.DataFrame(rows, columns=["program", "version"])
