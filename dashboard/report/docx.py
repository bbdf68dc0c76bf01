"""The report as a text document (Office Open XML), for a committee to paste from and go on writing."""

from __future__ import annotations

import io
from typing import Any

from dashboard import safety, words
from dashboard.report.asked import plain
from dashboard.report.document import Report, Section, Table
from dashboard.report.names import heading
from methods.extras import need
from methods.protocols import CHECK


def library() -> Any:
    """python-docx, or a sentence that says how to get it.

    Raises
    ------
    MissingExtra
        It is not installed.
    """
    return need("docx", "A DOCX report", "report", "write .md or .html")


def render_docx(report: Report) -> bytes:
    """The report as the bytes of a DOCX file."""
    document = library().Document()
    document.core_properties.title = report.title
    document.core_properties.comments = safety.SHORT
    document.add_heading(report.title, 0)
    document.add_paragraph(report.asked)
    document.add_paragraph(f"Written on {report.written_on} by gapshift.")
    for section in (report.front, *(report.sections if report.with_appendix else report.behind)):
        _section(document, section)
    if report.cautions:
        document.add_heading("What to keep in mind", 1)
        for caution in report.cautions:
            document.add_paragraph(caution, style="List Bullet")
    document.add_heading("How it was computed", 1)
    for method in report.methods:
        document.add_paragraph(f"{method.statistic}. {method.text} {method.reference}.", style="List Bullet")
    document.add_heading("Settings and versions", 1)
    for frame in (report.settings, report.versions):
        _table(document, Table("settings", "", frame))
    document.add_heading("Safety", 1)
    document.add_paragraph(safety.SHORT)
    for lead, text in safety.LONG:
        document.add_paragraph(f"{lead} {text}", style="List Bullet")
    buffer = io.BytesIO()
    document.save(buffer)
    return buffer.getvalue()


def _section(document: Any, section: Section) -> None:
    document.add_heading(section.title, 1)
    for sentence in [section.refusal] if section.refusal else section.sentences:
        document.add_paragraph(sentence)
    if section.check:
        document.add_paragraph(f"{CHECK.capitalize()}.")
    for picture in section.pictures:
        points = picture.png
        if points is None:
            continue
        document.add_heading(picture.title, 2)
        document.add_picture(io.BytesIO(points), width=document.sections[0].page_width * 3 // 4)
        document.add_paragraph(picture.note or picture.words)
    for table in section.tables:
        document.add_heading(table.title, 2)
        _table(document, table)
        if table.note:
            document.add_paragraph(table.note)


def _table(document: Any, table: Table) -> None:
    frame = table.frame
    laid = document.add_table(rows=1, cols=len(frame.columns), style="Light Grid Accent 1")
    for cell, column in zip(laid.rows[0].cells, frame.columns, strict=True):
        cell.text = heading(str(column), table.headings)
    for row in frame.itertuples(index=False, name=None):
        for cell, column, value in zip(laid.add_row().cells, frame.columns, row, strict=True):
            cell.text = words.cell(str(column), plain(value))
