"""The report as Markdown, for a committee to paste from: words and tables; the pictures are in the other forms."""

from __future__ import annotations

import pandas as pd

from dashboard import safety, words
from dashboard.report.asked import plain
from dashboard.report.document import Report, Section, Table
from dashboard.report.names import heading
from methods.protocols import CHECK


def render_markdown(report: Report) -> str:
    """The report as the text of a Markdown file."""
    lines = [
        f"# {_text(report.title)}",
        "",
        _text(report.asked),
        "",
        f"Written on {report.written_on} by gapshift.",
        "",
    ]
    lines += _section(report.front)
    for section in report.sections if report.with_appendix else report.behind:
        lines += _section(section)
    if report.cautions:
        lines += ["## What to keep in mind", "", *(f"- {_text(c)}" for c in report.cautions), ""]
    lines += ["## How it was computed", ""]
    lines += [f"- **{_text(m.statistic)}.** {_text(m.text)} {_text(m.reference)}." for m in report.methods]
    lines += ["", "## Settings and versions", ""]
    for frame in (report.settings, report.versions):
        lines += [*_table(Table("settings", "", frame)), ""]
    lines += ["## Safety", "", _text(safety.SHORT), "", *(f"- **{a}** {b}" for a, b in safety.LONG), ""]
    return "\n".join(lines)


def _section(section: Section) -> list[str]:
    lines = [f"## {_text(section.title)}", ""]
    for sentence in [section.refusal] if section.refusal else section.sentences:
        lines += [_text(sentence), ""]
    if section.check:
        lines += [f"{CHECK.capitalize()}.", ""]
    for table in section.tables:
        lines += [f"### {_text(table.title)}", "", *_table(table), ""]
        lines += [_text(table.note), ""] if table.note else []
    return lines


def _table(table: Table) -> list[str]:
    frame: pd.DataFrame = table.frame
    heads = [_text(heading(str(c), table.headings)) for c in frame.columns]
    rows = [
        [_text(words.cell(str(c), plain(v))) for c, v in zip(frame.columns, row, strict=True)]
        for row in frame.itertuples(index=False, name=None)
    ]
    return [_row(heads), _row(["---"] * len(heads)), *map(_row, rows)]


def _row(cells: list[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def _text(text: str) -> str:
    """A text on one line in which nothing is markup."""
    plain_text = " ".join(str(text).split())
    for sign in "\\`*_[]<>|#":
        plain_text = plain_text.replace(sign, "\\" + sign)
    return plain_text
