"""The report as one HTML file: no script, no request, every word from a file escaped."""

from __future__ import annotations

import base64
from dataclasses import asdict
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from dashboard import safety, theme, words
from dashboard.report.asked import plain
from dashboard.report.document import Report, Table
from dashboard.report.names import heading
from methods.answers.files import table_csv
from methods.protocols import CHECK

#: Rows of one table that are shown; the workbook and the download have all.
MOST_ROWS, MOST_ROWS_PRINTED = 1000, 300
#: Rows up to which a table carries its own download.
MOST_ROWS_CSV = 20_000


def render(report: Report, most_rows: int = MOST_ROWS) -> str:
    """The report as the text of an HTML file."""
    return _environment().get_template("report.html").render(
        report=report, short=safety.SHORT, cautions=safety.LONG, check=CHECK, colours=asdict(theme.LIGHT),
        font=theme.FONT,
        table=lambda t: _table(t, most_rows), screen=most_rows == MOST_ROWS,
    )  # fmt: skip


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("dashboard.report"), autoescape=select_autoescape(default=True),
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment


def _table(table: Table, most_rows: int) -> dict[str, Any]:
    """What the template needs of a table: headings, cells as text, which columns are numbers, what is not shown."""
    shown = table.frame.head(most_rows)
    columns = []
    for name in table.frame.columns:
        values = [plain(v) for v in shown[name].tolist()]
        numeric = all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in values if v is not None)
        numeric = numeric and any(v is not None for v in values)
        columns.append((name, numeric, [words.cell(str(name), v) for v in values]))
    return {
        "title": table.title, "note": table.note, "name": table.name,
        "heads": [(heading(str(n), table.headings), numeric) for n, numeric, _ in columns],
        "rows": list(zip(*(texts for _, _, texts in columns), strict=True)) if columns else [],
        "numeric": [numeric for _, numeric, _ in columns],
        "more": len(table.frame) - len(shown),
        "csv": _csv(table) if len(table.frame) <= MOST_ROWS_CSV else "",
    }  # fmt: skip


def _csv(table: Table) -> str:
    """The table as a link that holds its own CSV, made harmless for spreadsheets."""
    contents = table_csv(table.frame.map(plain), table.title, table.headings)
    return "data:text/csv;charset=utf-8;base64," + base64.b64encode(contents).decode()
