"""The report as PDF, made from the same HTML."""

from __future__ import annotations

import logging
from typing import Any

from dashboard.report.document import Report
from methods.errors import MissingExtra
from methods.extras import need


def library() -> Any:
    """WeasyPrint, or a sentence that says how to get it.

    Raises
    ------
    MissingExtra
        WeasyPrint, or Pango that it loads from the system, is not there.
    """
    try:
        return need("weasyprint", "A PDF report", "report", "write .html and print it")
    except OSError as error:
        raise MissingExtra(
            "A PDF report needs Pango on the system (Debian: apt install libpango-1.0-0 libpangoft2-1.0-0 "
            "libharfbuzz-subset0), beside gapshift[report]; or write .html and print it."
        ) from error


def _nothing(url: str, *_: Any, **__: Any) -> Any:
    raise ValueError(f"A report fetches nothing, and so not {url!r}.")


def render_pdf(report: Report) -> bytes:
    """The report as the bytes of a PDF file."""
    weasyprint = library()
    from dashboard.report.html import MOST_ROWS_PRINTED, render

    for name in ("weasyprint", "fontTools"):
        logging.getLogger(name).setLevel(logging.ERROR)  # it warns of CSS that only screens use
    text = render(report, most_rows=MOST_ROWS_PRINTED)
    return bytes(weasyprint.HTML(string=text, url_fetcher=_nothing).write_pdf())
