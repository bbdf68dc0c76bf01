"""Workbooks, Parquet and tables in memory: to sheets of text cells, with what a spreadsheet hides."""

from __future__ import annotations

import datetime
import io
from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from methods.errors import InputError, UnusableFile, one_line
from methods.extras import need
from methods.records import plain_sheet
from methods.records.kept import Log
from methods.records.parquet_parts import check_parquet
from methods.records.text import MAX_COLUMNS, MAX_ROWS, Sheet
from methods.records.workbook_parts import SheetFacts, fill_merged, sheet_facts


def open_workbook(raw: bytes) -> list[Sheet]:
    """All sheets that hold something, as text cells."""
    from python_calamine import CalamineError, CalamineWorkbook, SheetVisibleEnum

    hidden_facts: dict[str, SheetFacts] = {}
    if raw[:2] == b"PK":
        hidden_facts = sheet_facts(raw)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(raw))
        metadata = {m.name: m for m in book.sheets_metadata}
        out = []
        for name in book.sheet_names:
            try:
                found = book.get_sheet_by_name(name)
            except CalamineError:  # a chart sheet
                continue
            sheet = _opened(name, found, hidden_facts.get(name, SheetFacts()))
            if sheet is None:
                continue
            if metadata[name].visible != SheetVisibleEnum.Visible:
                sheet.hidden_sheet = True
                sheet.notes.append(("sheet", f"{name} is hidden", "the workbook"))
            out.append(sheet)
    except (UnusableFile, KeyboardInterrupt, MemoryError):
        raise
    except BaseException as error:  # the reader raises many kinds on broken files; its panics are no Exception
        why = one_line(error, 160)
        raise UnusableFile(f"The workbook cannot be opened: {why}.", rule="an intact XLSX file") from None
    if not out:
        raise UnusableFile("The workbook holds no cells with contents.", rule="a table with breakdown voltages")
    return out


def _opened(name: str, found: Any, facts: SheetFacts) -> Sheet | None:
    """A sheet as text cells; by columns where it is large, and the spreadsheet hides and merges nothing in it."""
    height, width = found.total_height, found.total_width
    if height > MAX_ROWS or width > MAX_COLUMNS:
        raise UnusableFile(
            f"Sheet {name!r} is larger than {MAX_ROWS:,} rows by {MAX_COLUMNS:,} columns.", rule="size limit"
        )
    begins = found.start is not None and found.start[1] == 0  # rows come from the first filled column on
    if height >= plain_sheet.MANY_ROWS and begins and not (facts.merged or facts.hidden or facts.uncomputed):
        return plain_sheet.sheet_of(name, plain_sheet.coded_columns(found.iter_rows(), _text))
    return _sheet(name, found.to_python(skip_empty_area=False), facts)


def _sheet(name: str, cells: list[list[Any]], facts: SheetFacts) -> Sheet | None:
    texts = [[c.strip() if type(c) is str else _text(c) for c in row] for row in cells]
    for (row, column), formula in facts.uncomputed.items():
        if 0 <= row < len(texts) and 0 <= column < len(texts[row]) and not texts[row][column]:
            texts[row][column] = formula
    fill_merged(texts, facts)
    if not any(c for r in texts for c in r):
        return None
    return Sheet(texts, list(range(1, len(texts) + 1)), name=name, hidden=frozenset(facts.hidden))


def _text(value: Any, exact: bool = False) -> str:
    """A cell as text: whole numbers without a point, dates as YYYY-MM-DD; of a number twelve digits, or all of them."""
    if type(value) is str:
        return value.strip()
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        if value != value:
            return ""
        short = f"{value:.12g}"
        return short if "e" not in short and (not exact or float(short) == value) else repr(value)
    if isinstance(value, datetime.datetime):
        return value.date().isoformat() if value.time() == datetime.time() else value.isoformat(" ")
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    return str(value).strip()


def pick(sheets: list[Sheet], wanted: str | Sequence[str] | None) -> list[Sheet]:
    """The sheets asked for, in the order of the workbook; all of them where none is asked for."""
    if wanted is None:
        return sheets
    names = [wanted] if isinstance(wanted, str) else list(wanted)
    if any(n.strip().casefold() == "all" for n in names) and not any(
        s.name.strip().casefold() == "all" for s in sheets
    ):
        return sheets
    chosen = [_one(sheets, n) for n in names]
    for sheet in chosen:
        sheet.wanted = True
    return [s for s in sheets if s.wanted]


def _one(sheets: list[Sheet], wanted: str) -> Sheet:
    found = [s for s in sheets if s.name == wanted] or [
        s for s in sheets if s.name.strip().casefold() == wanted.strip().casefold()
    ]
    if not found and wanted.isdecimal() and 1 <= int(wanted) <= len(sheets):
        found = [sheets[int(wanted) - 1]]
    if not found:
        raise InputError(
            f"There is no sheet {wanted!r}; the sheets are {', '.join(repr(s.name) for s in sheets)}.",
            column="sheet", text=wanted, rule="an existing sheet",
        )  # fmt: skip
    return found[0]


def tell_hidden(sheets: list[Sheet], log: Log) -> None:
    """Say which sheets and rows that the workbook hides were read."""
    for sheet in sheets:
        for note in sheet.notes:
            log.guess(*note, "--sheet")
        held = sorted(r for r in sheet.hidden if r <= len(sheet.cells) and any(sheet.cells[r - 1]))
        if held:
            log.problem(
                held[0],
                "",
                f"{len(held)} hidden rows",
                "rows that the sheet hides",
                "kept and read like the others",
                code="hidden_rows",
            )


def open_parquet(raw: bytes) -> Sheet:
    """A Parquet file, by way of pandas."""
    need("pyarrow", "Reading Parquet", "parquet")
    try:
        check_parquet(raw)
        frame = pd.read_parquet(io.BytesIO(raw))
    except (UnusableFile, MemoryError):
        raise
    except Exception as error:
        why = one_line(error, 160)
        raise UnusableFile(f"The Parquet file cannot be read: {why}.", rule="an intact Parquet file") from None
    return open_frame(frame)


def open_frame(frame: pd.DataFrame) -> Sheet:
    """A table in memory: one header row (row 1), so that the first record is row 2."""
    if len(frame) > MAX_ROWS:
        raise UnusableFile(f"The table has more than {MAX_ROWS:,} rows.", rule="row limit")
    if frame.empty or not len(frame.columns):
        raise UnusableFile("The table is empty.", rule="a table with breakdown voltages")
    return Sheet([[str(c) for c in frame.columns], *_rows(frame)], list(range(1, len(frame) + 2)))


def _rows(frame: pd.DataFrame) -> Iterator[list[str]]:
    texts = []
    for at in range(frame.shape[1]):
        column = frame.iloc[:, at]
        missing = column.isna().to_numpy()
        texts.append(["" if m else _text(v, exact=True) for v, m in zip(column.tolist(), missing, strict=True)])
    yield from (list(r) for r in zip(*texts, strict=True))
