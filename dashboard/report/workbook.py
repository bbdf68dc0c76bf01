"""The report as a workbook: the words on the first sheet, then a sheet for each table, all its rows."""

from __future__ import annotations

import datetime
import io
import re
from typing import Any

import xlsxwriter

from dashboard import safety, theme, words
from dashboard.report.asked import plain
from dashboard.report.charts import HEAD, chart_of
from dashboard.report.document import Report, Section, Table
from dashboard.report.names import heading
from methods.answers.files import MOST_CHARACTERS, MOST_ROWS, SAFE, units_said, write_cell
from methods.answers.writing import SHARES, is_p_value, is_setting
from methods.protocols import CHECK

#: Characters that a line of the first sheet takes.
WIDE = 74
#: Rows from which a table stands behind the others: it fills pages.
LONG = 120


def render_workbook(report: Report) -> bytes:
    """The report as the bytes of an XLSX file."""
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, SAFE) as book:
        day = datetime.datetime.fromisoformat(report.written_on)
        book.set_properties({"title": report.title, "created": day, "comments": safety.SHORT})
        looks = Looks(book)
        _front(book.add_worksheet("Report"), report, looks)
        taken = {"report"}
        tables = [(section, table) for section in report.sections for table in section.tables]
        if report.front.tables and report.front.tables[0].name == "answer":  # made of the others
            tables.insert(0, (report.front, report.front.tables[0]))
        for section, table in sorted(tables, key=lambda t: len(t[1].frame) > LONG):  # what fills pages comes last
            sheet = book.add_worksheet(_name(table.name, taken))
            _sheet(sheet, section, table, looks)
            chart = chart_of(book, sheet.get_name(), table)
            if chart is not None:  # under the cells that it is drawn from
                sheet.insert_chart(len(table.frame) + HEAD + 1, 0, chart, {"x_scale": 1.4, "y_scale": 1.4})
        for name, frame in (("settings", report.settings), ("versions", report.versions)):
            table = Table(name, name.capitalize(), frame)
            _sheet(book.add_worksheet(_name(name, taken)), None, table, looks)
    return buffer.getvalue()


class Looks:
    """The formats of a workbook, each made once."""

    def __init__(self, book: Any) -> None:
        colours = theme.palette(dark=False)
        wrapped = {"text_wrap": True, "valign": "top"}
        inward = {**wrapped, "align": "left", "indent": 1}  # clear of the number in the column before
        self._book = book
        self._numbers: dict[str, Any] = {}
        self.of = {
            "title": book.add_format({"bold": True, "font_size": 16, "font_color": colours.bar, "text_wrap": True}),
            "part": book.add_format({"bold": True, "font_size": 12, "font_color": colours.bar, "top": 1}),
            "text": book.add_format(wrapped),
            "cell": book.add_format(inward),
            "note": book.add_format({**wrapped, "font_color": colours.caution}),
            "right": book.add_format(
                {"bold": True, "bg_color": colours.bar, "font_color": colours.on_bar, "align": "right", **wrapped}
            ),
            "head": book.add_format(
                {"bold": True, "bg_color": colours.bar, "font_color": colours.on_bar, **inward}
            ),
        }  # fmt: skip

    def number(self, column: str, value: float) -> Any:
        """How a number is shown: three digits as on the pages; the cell holds all of them."""
        shape = shape_of(column, value)
        if shape not in self._numbers:
            self._numbers[shape] = self._book.add_format({"num_format": shape, "valign": "top"})
        return self._numbers[shape]


def shape_of(column: str, value: float) -> str:
    """The number format of one cell."""
    if column in SHARES:
        return "0%" if abs(100 * value - round(100 * value)) < 1e-9 else "0.0%"
    if is_p_value(column):
        return '[<0.001]"< 0.001";[<0.1]0.000;0.00'
    if isinstance(value, int) or is_setting(column):
        return "General"
    size = abs(value)
    if not size or size >= 100:
        return "0"
    if size < 0.001:
        return "0.0E+00"
    return "0.0" if size >= 10 else "0.00" if size >= 1 else "0.000"


def _name(text: str, taken: set[str]) -> str:
    """A sheet name that the workbook allows and does not have yet."""
    base = re.sub(r"[\[\]:*?/\\']", " ", text.replace("_", " ")).strip()[:28].capitalize() or "Table"
    name, number = base, 2
    while name.casefold() in taken:
        name, number = f"{base} {number}", number + 1
    taken.add(name.casefold())
    return name


def _front(sheet: Any, report: Report, looks: Looks) -> None:
    """The answer with its picture, what to keep in mind, what each section says, how it was computed."""
    sheet.set_column(0, 0, WIDE)
    sheet.hide_gridlines(2)
    _print(sheet, report.title)
    lines: list[tuple[str, Any]] = [("title", report.title), ("text", report.asked)]
    lines += [("text", f"Written on {report.written_on}."), ("part", report.front.title)]
    lines += [("text", a) for a in report.answers]
    lines += [("picture", p) for p in report.front.pictures if p.png is not None]
    if report.cautions:
        lines += [("part", "What to keep in mind"), *(("note", c) for c in report.cautions)]
    for section in report.sections:
        lines += [("part", section.title)]
        lines += [("text", section.refusal)] if section.refusal else [("text", s) for s in section.sentences]
        lines += [("note", n) for n in section.notices if n not in report.cautions]
        if section.check:
            lines += [("note", CHECK.capitalize() + ".")]
    lines += [("part", "How it was computed")]
    lines += [("text", f"{m.statistic}: {m.text} Source: {m.reference}.") for m in report.methods]
    lines += [("part", "Safety"), ("text", safety.SHORT), *(("text", f"{a} {b}") for a, b in safety.LONG)]
    for row, (look, what) in enumerate(lines):
        if look == "picture":
            sheet.set_row(row, 232)
            options = {"image_data": io.BytesIO(what.png), "description": what.words, "x_scale": 0.8, "y_scale": 0.8}
            sheet.insert_image(row, 0, "picture.png", options)
            continue
        sheet.set_row(row, _height(what, WIDE, 21 if look == "title" else 15))
        sheet.write_string(row, 0, what[:MOST_CHARACTERS], looks.of[look])


def _height(text: str, width: float, line: float = 15) -> float:
    """Points that a text takes which is wrapped at so many characters."""
    return line * max(-(-len(text) // max(int(0.95 * width), 1)), 1)


def _sheet(sheet: Any, section: Section | None, table: Table, looks: Looks) -> None:
    frame = table.frame
    lines, heads, widths = [1.0] * min(len(frame), MOST_ROWS), 1.0, []
    for at, column in enumerate(frame.columns):
        head = heading(str(column), table.headings)
        values = [_written(str(column), v) for v in frame[column].head(MOST_ROWS).tolist()]
        numbers = all(isinstance(v, (int, float)) for v in values if v is not None)
        sheet.write_string(HEAD - 1, at, head, looks.of["right" if numbers else "head"])
        texts = [v if isinstance(v, str) else words.cell(str(column), v) for v in values]
        longest = max((len(word) for word in head.split()), default=0)
        width = min(max([len(head) // 2 + 3, longest + 4, 10, *(len(t) + 3 for t in texts[:200])]), 44)
        widths.append(width)
        heads = max(heads, _height(head, width - 3, 1))
        sheet.set_column(at, at, width)
        for row, (value, text) in enumerate(zip(values, texts, strict=True)):
            lines[row] = max(lines[row], _height(text, width, 1))
            number = isinstance(value, (int, float)) and not isinstance(value, bool)
            write_cell(sheet, row + HEAD, at, value, looks.number(str(column), value) if number else looks.of["cell"])
    _above(sheet, section, table, looks, sum(widths))
    sheet.set_row(HEAD - 1, 15 * heads)
    for row, tall in enumerate(lines):
        if tall > 1:
            sheet.set_row(row + HEAD, 15 * min(tall, 20))
    sheet.freeze_panes(HEAD, 0)
    _print(sheet, table.title, landscape=len(frame.columns) > 6)
    sheet.repeat_rows(HEAD - 1)


def _written(column: str, value: Any) -> Any:
    """A cell as the workbook holds it: numbers as they are, keys and yes or no in words."""
    value = plain(value)
    return words.cell(column, value) if isinstance(value, (str, bool)) else value


def _above(sheet: Any, section: Section | None, table: Table, looks: Looks, wide: float) -> None:
    """Title and note over the table, in lines that are no longer than it is wide."""
    note = " ".join(
        [table.note] * bool(table.note)
        + [f"{CHECK.capitalize()}."] * bool(section and section.check)
        + [units_said(table.frame, table.headings)]
        + [f"The first {MOST_ROWS} of {len(table.frame)} rows."] * (len(table.frame) > MOST_ROWS)
    ).strip()
    title = f"{table.title}" + (f" ({section.title})" if section else "")
    last = max(len(table.frame.columns) - 1, 0)
    for row, text, look, size in ((0, title, "title", 1.6), (1, note, "text", 1.0)):
        if last:
            sheet.merge_range(row, 0, row, last, "", looks.of[look])
        sheet.write_string(row, 0, text, looks.of[look])
        sheet.set_row(row, _height(text, max(wide, 9) / size, 22 if row == 0 else 15))


def _print(sheet: Any, title: str, landscape: bool = False) -> None:
    """On A4, as wide as one page, with its title and the number of the page under it."""
    sheet.set_paper(9)
    sheet.set_landscape() if landscape else sheet.set_portrait()
    sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&L&8" + title.replace("&", "&&")[:100] + "&R&8&P / &N")
