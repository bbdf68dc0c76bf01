"""Collects what a report says from the results of ``methods``. Computes nothing itself."""

from __future__ import annotations

import datetime
import platform
from collections.abc import Callable, Sequence
from importlib.metadata import PackageNotFoundError, version

import pandas as pd

from dashboard import words
from dashboard.report import sections_answers as answers
from dashboard.report import sections_data as data
from dashboard.report.asked import Asked
from dashboard.report.document import Report, Section
from dashboard.report.methods_text import methods_of
from methods.errors import NotEstimable

#: What computes and what writes; their versions stand in the report.
LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib", "jinja2")
#: The sections whose words are repeated at the top, and how many of their sentences.
FIRST = {"shift": 8, "decision": 3, "plan": 8, "precision": 4, "consistency": 1, "read": 2}

Progress = Callable[[float, float], None]


def gather(asked: Asked, progress: Progress | None = None) -> Report:
    """The report of a study.

    Parameters
    ----------
    asked : Asked
        The study with its filters, exclusions, factor, reference and confidence, and what else is asked.
    progress : callable, optional
        Called with (done, total) after each section; what it raises stops the work.

    Raises
    ------
    NotEstimable
        No reading is left to report on. Everything else that cannot be answered is said in its section.
    """
    if not len(asked.table):
        raise NotEstimable("No reading is left to report on: open a file, or take filters and exclusions back.")
    makers: Sequence[Callable[[Asked], Section | None]] = (
        data.reading, answers.shift, data.distributions, data.scatter, data.order, answers.plan, answers.decision,
        answers.consistency, answers.precision,
    )  # fmt: skip
    sections = []
    for at, make in enumerate(makers):
        if progress is not None:
            progress(at, len(makers) + 1)
        section = make(asked)
        if section is not None:
            sections.append(section)
    title = asked.title or "Breakdown voltages of " + words.listed(f.name for f in asked.study.files)
    return Report(
        title=title,
        asked=_asked(asked),
        answers=_answers(sections),
        sections=tuple(sections),
        settings=_settings(asked),
        versions=_versions(),
        methods=methods_of(tuple(s.key for s in sections if not s.refusal)),
        written_on=datetime.date.today().isoformat(),
    )


def _asked(asked: Asked) -> str:
    confidence = f"at {100 * asked.confidence:g} % confidence"
    if asked.by:
        levels = words.listed(asked.levels())
        said = f"Does {words.factor(asked.by)} ({levels}) shift the breakdown voltage, by how much and how surely"
    else:
        said = "What do these breakdown voltages say, and how surely"
    limit = f"; does each oil pass the limit {asked.limit}" if asked.limit else ""
    return f"{said}{limit}; and how many breakdowns on how many fillings does it take, {confidence}?"


def _answers(sections: Sequence[Section]) -> tuple[str, ...]:
    """The sentences that come first; what cannot be answered is said there too."""
    by = {s.key: s for s in sections}
    out = []
    for key, most in FIRST.items():
        section = by.get(key)
        if section is None:
            continue
        if section.refusal:
            out.append(f"{section.title}: {section.refusal}")
            continue
        said = section.short or section.sentences
        out += said[:most]
        if len(said) > most:
            out.append(f"… {words.plural(len(said) - most, 'more', 'more')} under “{section.title}”.")
    return tuple(out)


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
