"""The report as a workbook: the words on the first sheet, then a sheet for each table, all its rows."""

from __future__ import annotations

import datetime
import io
import re
from typing import Any

import pandas as pd
import xlsxwriter

from dashboard import safety, theme
from dashboard.report.asked import plain
from dashboard.report.charts import chart_of
from dashboard.report.document import Report, Section, Table
from dashboard.report.names import heading
from methods.protocols import CHECK

#: Rows that a sheet can hold, and characters of a cell.
MOST_ROWS, MOST_CHARACTERS = 1_048_000, 32_000
#: Nothing that stands in a cell is a formula, a link or a number that was a text.
_OPTIONS = {
    "in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
    "nan_inf_to_errors": False,
}  # fmt: skip


def render_workbook(report: Report) -> bytes:
    """The report as the bytes of an XLSX file."""
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, _OPTIONS) as book:
        day = datetime.datetime.fromisoformat(report.written_on)
        book.set_properties({"title": report.title, "created": day, "comments": safety.SHORT})
        colours = theme.palette(dark=False)
        looks = {
            "title": book.add_format({"bold": True, "font_size": 16, "font_color": colours.bar}),
            "part": book.add_format({"bold": True, "font_size": 12, "font_color": colours.bar, "top": 1}),
            "text": book.add_format({"text_wrap": True, "valign": "top"}),
            "note": book.add_format({"text_wrap": True, "valign": "top", "font_color": colours.caution}),
            "head": book.add_format(
                {"bold": True, "bg_color": colours.bar, "font_color": colours.on_bar, "text_wrap": True}
            ),
        }  # fmt: skip
        _front(book.add_worksheet("Report"), report, looks)
        taken = {"report"}
        for section in report.sections:
            for table in section.tables:
                sheet = book.add_worksheet(_name(table.name, taken))
                _sheet(sheet, section, table, looks)
                chart = chart_of(book, sheet.get_name(), table)
                if chart is not None:  # beside the cells that it is drawn from
                    sheet.insert_chart(3, len(table.frame.columns) + 1, chart, {"x_scale": 1.4, "y_scale": 1.4})
        for name, frame in (("settings", report.settings), ("versions", report.versions)):
            table = Table(name, name.capitalize(), frame)
            _sheet(book.add_worksheet(_name(name, taken)), None, table, looks)
    return buffer.getvalue()


def _name(text: str, taken: set[str]) -> str:
    """A sheet name that the workbook allows and does not have yet."""
    base = re.sub(r"[\[\]:*?/\\']", " ", text.replace("_", " ")).strip()[:28].capitalize() or "Table"
    name, number = base, 2
    while name.casefold() in taken:
        name, number = f"{base} {number}", number + 1
    taken.add(name.casefold())
    return name


def _front(sheet: Any, report: Report, looks: dict[str, Any]) -> None:
    sheet.set_column(0, 0, 110)
    sheet.hide_gridlines(2)
    lines = [("title", report.title), ("text", report.asked), ("text", f"Written on {report.written_on}.")]
    lines += [("part", report.front.title), *(("text", a) for a in report.answers)]
    for section in report.sections:
        lines += [("part", section.title)]
        lines += [("text", section.refusal)] if section.refusal else [("text", s) for s in section.sentences]
        lines += [("note", n) for n in section.notices]
        if section.check:
            lines += [("note", CHECK.capitalize() + ".")]
    lines += [("part", "How it was computed")]
    lines += [("text", f"{m.statistic}: {m.text} Source: {m.reference}.") for m in report.methods]
    lines += [("part", "Cautions"), ("text", safety.SHORT), *(("text", f"{a} {b}") for a, b in safety.LONG)]
    for row, (look, text) in enumerate(lines):
        sheet.write_string(row, 0, text[:MOST_CHARACTERS], looks[look])


def _sheet(sheet: Any, section: Section | None, table: Table, looks: dict[str, Any]) -> None:
    frame = table.frame
    sheet.write_string(0, 0, f"{table.title}" + (f" ({section.title})" if section else ""), looks["title"])
    note = " ".join(
        [table.note] * bool(table.note)
        + [f"{CHECK.capitalize()}."] * bool(section and section.check)
        + [f"The first {MOST_ROWS} of {len(frame)} rows."] * (len(frame) > MOST_ROWS)
    )
    sheet.write_string(1, 0, note)
    for at, column in enumerate(frame.columns):
        sheet.write_string(3, at, heading(str(column), table.headings), looks["head"])
        values = [plain(v) for v in frame[column].head(MOST_ROWS).tolist()]
        widest = max([len(str(v)) for v in values[:200] if v is not None], default=0)
        sheet.set_column(at, at, min(max(widest + 2, len(heading(str(column), table.headings)) // 2 + 4, 9), 60))
        for row, value in enumerate(values, 4):
            _cell(sheet, row, at, value)
    sheet.freeze_panes(4, 0)


def _cell(sheet: Any, row: int, at: int, value: Any) -> None:
    if value is None or value is pd.NA:
        return
    if isinstance(value, bool):
        sheet.write_boolean(row, at, value)
    elif isinstance(value, (int, float)):
        sheet.write_number(row, at, value)
    else:
        sheet.write_string(row, at, str(value)[:MOST_CHARACTERS])
