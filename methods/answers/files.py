"""A result table as a file: its units said above the headings, nothing in it that a spreadsheet would run.

Every table that leaves the program - from a page, a plot, a report - is written here; the record table, which is to be
read again, by :mod:`methods.records.export`.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from typing import Any

import pandas as pd

from methods.answers.heads import heading
from methods.answers.writing import named
from methods.errors import InputError
from methods.records.export import safe_csv

#: Rows that a sheet can hold, and characters of a cell.
MOST_ROWS, MOST_CHARACTERS = 1_048_000, 32_000
#: Nothing that stands in a cell is a formula, a link or a number that was a text.
SAFE = {
    "in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
    "nan_inf_to_errors": False,
}  # fmt: skip
_UNIT = re.compile(r"\(([^()]*)\)\s*$")
#: Words in brackets behind a heading that are no unit.
_NO_UNIT = {"independent breakdowns", "95 %"}
#: A percentile and its limits, whose headings say the unit once.
_PERCENTILE = re.compile(r"(kv|low|high)_\d+(?:\.\d+)?")

#: What stands above a column, by its name: the words, or the words with one line about them.
Own = Mapping[str, Any]


def unit(column: str, own: Own | None = None) -> str:
    """The unit that stands behind the heading of a column, or nothing."""
    if found := _PERCENTILE.fullmatch(column):
        return "kV"
    found = _UNIT.search(_heading(column, own))
    return found[1] if found and found[1] not in _NO_UNIT else ""


def units_note(frame: pd.DataFrame, title: str = "", own: Own | None = None) -> str:
    """One line: what the table is, and which unit its columns are in.

    Parameters
    ----------
    frame : DataFrame
        The table.
    title : str, optional
        What it is called.
    own : Own, optional
        Headings that this question has for itself, before the common ones.
    """
    units: dict[str, list[str]] = {}
    for column in map(str, frame.columns):
        if unit(column, own):
            units.setdefault(unit(column, own), []).append(column)
    said = [f"{name} for {' '.join(columns)}" for name, columns in units.items()]
    return ". ".join([*([title] if title else []), *(["Units: " + "; ".join(said)] if said else [])])


def units_said(frame: pd.DataFrame, own: Own | None = None) -> str:
    """The same for a sheet, whose headings are words with their units behind them."""
    units = list(dict.fromkeys(u for c in map(str, frame.columns) if (u := unit(c, own))))
    return f"Units stand behind the headings: {', '.join(units)}." if units else ""


def table_csv(frame: pd.DataFrame, title: str = "", own: Own | None = None) -> bytes:
    """The table as CSV in UTF-8 with a byte order mark, every digit; units in a first line that begins with ``#``.

    Parameters
    ----------
    frame : DataFrame
        The table.
    title : str, optional
        What it is called; stands in the first line.
    own : Own, optional
        Headings that this question has for itself, before the common ones.
    """
    note = " ".join(units_note(frame, title, own).replace(",", ";").split())
    return (f"# {note}\r\n" * bool(note) + safe_csv(frame)).encode("utf-8-sig")


def table_workbook(frame: pd.DataFrame, title: str = "", own: Own | None = None) -> bytes:
    """The table as an XLSX file, every digit; title and units above the headings, which are those of the pages.

    Parameters
    ----------
    frame : DataFrame
        The table.
    title : str, optional
        What it is called; stands above the headings.
    own : Own, optional
        Headings that this question has for itself, before the common ones.
    """
    import xlsxwriter

    if len(frame) > MOST_ROWS:
        raise InputError(f"A sheet holds {MOST_ROWS:,} rows and this table has {len(frame):,}: take it as CSV.")
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, SAFE) as book:
        sheet = book.add_worksheet("Table")
        bold, head = book.add_format({"bold": True, "font_size": 13}), book.add_format({"bold": True, "bottom": 1})
        sheet.write_string(0, 0, title[:MOST_CHARACTERS], bold)
        sheet.write_string(1, 0, units_said(frame, own))
        for at, column in enumerate(map(str, frame.columns)):
            words = _heading(column, own)
            sheet.write_string(3, at, words, head)
            values = [named(column, v) if isinstance(v, str) else v for v in frame.iloc[:, at].tolist()]
            widest = max([len(words), *(len(str(v)) if not isinstance(v, float) else 8 for v in values[:200])])
            sheet.set_column(at, at, min(widest + 2, 44))
            for row, value in enumerate(values, start=4):
                write_cell(sheet, row, at, value)
        sheet.freeze_panes(4, 0)
    return out.getvalue()


def write_cell(sheet: Any, row: int, at: int, value: Any, look: Any = None) -> None:
    """One cell: a number as a number, anything else as text that nothing runs; what is missing stays empty.

    Parameters
    ----------
    sheet : Worksheet
        The sheet of the workbook, by XlsxWriter.
    row : int
        Its row, from 0.
    at : int
        Its column, from 0.
    value : object
        What is written.
    look : Format, optional
        How it looks.
    """
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and value - value != 0):
        return
    if isinstance(value, bool):
        sheet.write_boolean(row, at, value, look)
    elif isinstance(value, (int, float)):
        sheet.write_number(row, at, value, look)
    else:
        sheet.write_string(row, at, str(value)[:MOST_CHARACTERS], look)


def table_file(kind: str, frame: pd.DataFrame, title: str = "", own: Own | None = None) -> bytes:
    """The table as ``csv`` or ``xlsx``.

    Parameters
    ----------
    kind : str
        ``csv``; anything else is ``xlsx``.
    frame : DataFrame
        The table.
    title : str, optional
        What it is called.
    own : Own, optional
        Headings that this question has for itself, before the common ones.

    Raises
    ------
    InputError
        More rows than a sheet holds.
    """
    return table_csv(frame, title, own) if kind == "csv" else table_workbook(frame, title, own)


def _heading(column: str, own: Own | None) -> str:
    said = (own or {}).get(column)
    if said is None:
        return heading(column)
    return str(said if isinstance(said, str) else said[0])
