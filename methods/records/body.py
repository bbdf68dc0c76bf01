"""The columns of data below the heading, as text that is coded once: each different cell is looked at once only."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.records.shapes import Layout, is_number
from methods.records.table import NUMERIC
from methods.records.text import DELIMITERS, Sheet, line_starts, records_of


@dataclass
class Coded:
    """One column of text: ``codes`` (a row each, -1 for an empty cell) into ``uniques``; or plain ``numbers``."""

    codes: np.ndarray
    uniques: list[str]
    numbers: np.ndarray | None = None

    @property
    def empty(self) -> bool:
        return not self.uniques

    def text(self, row: int) -> str:
        """The cell as it was written."""
        if self.numbers is not None:
            return f"{self.numbers[row]:.12g}"
        return self.uniques[self.codes[row]] if self.codes[row] >= 0 else ""

    def take(self, index: np.ndarray) -> Coded:
        if self.numbers is not None:
            return Coded(self.codes, [], self.numbers[index])
        return Coded(self.codes[index], self.uniques)


@dataclass
class Body:
    """All columns, and each record's row as the user sees it."""

    columns: list[Coded]
    rows: np.ndarray
    overlong: np.ndarray | None = None  # rows with more cells than the heading has

    def __len__(self) -> int:
        return len(self.rows)


def coded(cells: Any) -> Coded:
    """Code a column of text cells; blank cells get -1."""
    codes, uniques = pd.factorize(np.asarray(cells, dtype=object))
    return _drop_blank(codes, [str(u) for u in uniques])


def _drop_blank(codes: np.ndarray, uniques: list[str]) -> Coded:
    texts = [u.strip() for u in uniques]
    if all(texts):
        return Coded(codes.astype(np.int64), texts)
    kept = [t for t in texts if t]
    new = np.cumsum([bool(t) for t in texts]) - 1
    lookup = np.append(np.where([bool(t) for t in texts], new, -1), -1)
    return Coded(lookup[codes], kept)


def body_of(sheet: Sheet, plan: Layout) -> Body:
    """The data below the heading."""
    lengths = [len(r) for r in sheet.cells]
    if sheet.text is not None and plan.kind != "transposed":
        fast = _columnar(sheet, plan)
        if fast is not None:
            return fast
        mark = next(k for k, v in DELIMITERS.items() if v == sheet.delimiter)
        cells, rows = records_of(sheet.text, mark)
        skip = len(cells) and cells[0] and cells[0][0].strip().casefold().startswith("sep=")
        cells, rows = (cells[1:], rows[1:]) if skip else (cells, rows)
        lengths = [len(r) for r in cells]
        width = max(len(plan.headings), max(lengths))
        plan.cells, plan.rows = [r + [""] * (width - len(r)) for r in cells], rows
    cells = plan.cells[plan.first :]
    long_rows = _overlong(sheet, plan, lengths)
    numbers = np.asarray(plan.rows[plan.first :], dtype=np.int64)
    held = np.array([any(c.strip() for c in r) for r in cells], dtype=bool)
    kept = [r for r, h in zip(cells, held, strict=True) if h]
    return Body([coded([r[i] for r in kept]) for i in range(len(plan.headings))], numbers[held], long_rows[held])


def _overlong(sheet: Sheet, plan: Layout, lengths: list[int]) -> np.ndarray:
    """Rows of comma-separated text that have more cells than the heading: an unquoted ``58,4`` cut in two."""
    sizes = np.asarray(lengths[plan.first :])
    out = np.zeros(len(plan.cells) - plan.first, dtype=bool)
    if (
        sheet.delimiter != "comma"
        or plan.kind == "transposed"
        or plan.first == 0
        or len(sizes) != len(out)
        or not len(sizes)
    ):
        return out
    over = sizes > max(lengths[: plan.first])
    return over if over.mean() < 0.5 or len(over) == 1 else out


def _columnar(sheet: Sheet, plan: Layout) -> Body | None:
    """Read a long text with pandas: numbers as numbers where a voltage column is clean, all else coded as text.

    None when the text is too irregular for that (more cells in a row than headings).
    """
    assert sheet.text is not None
    mark = next(k for k, v in DELIMITERS.items() if v == sheet.delimiter)
    first_line = plan.rows[plan.first] if plan.first < len(plan.rows) else 1
    sample = plan.cells[plan.first : plan.first + 400]
    raw = sheet.raw if sheet.raw is not None else sheet.text.encode("utf-8")
    kinds = _column_kinds(plan, sample, not _leading_zeros(raw, mark))
    cells = [r[i] for r in sample for i in plan.values]
    comma = any("," in c for c in cells) and not any("." in c for c in cells)
    options: dict[str, Any] = dict(
        sep=mark, header=None, names=range(len(plan.headings)), skiprows=first_line - 1, skip_blank_lines=False,
        keep_default_na=False, na_values=[""], index_col=False, low_memory=False, skipinitialspace=True,
        decimal="," if comma and mark != "," else ".",
    )  # fmt: skip
    try:
        frame = pd.read_csv(io.BytesIO(raw), dtype={i: "category" for i, k in kinds.items() if k == "text"}, **options)
        again = [
            i
            for i, k in kinds.items()
            if (k == "whole" and not _whole(frame[i])) or (k == "text" and _lost_text(frame[i]))
        ]
        if again:  # labels that turned out not to be whole numbers: read those columns as text
            part = pd.read_csv(io.BytesIO(raw), dtype=dict.fromkeys(again, "str"), usecols=again, **options)
            frame = frame.drop(columns=again).join(part)[list(range(len(plan.headings)))]
    except (pd.errors.ParserError, UnicodeError, ValueError):
        return None
    rows = np.arange(first_line, first_line + len(frame), dtype=np.int64)
    if '"' in sheet.text:
        begun = np.asarray(line_starts(sheet.text, sheet.delimiter), dtype=np.int64)
        begun = begun[begun >= first_line]
        if len(begun) != len(frame):
            return None
        rows = begun
    blank = frame.isna().all(axis=1).to_numpy()
    if blank.any():
        frame, rows = frame[~blank], rows[~blank]
        for i in (i for i, k in kinds.items() if k == "whole" and frame[i].notna().all()):
            frame[i] = frame[i].astype(np.int64) if frame[i].dtype == float else frame[i]
    return Body([_coded_series(frame[i], kinds[i]) for i in range(len(plan.headings))], rows)


def _column_kinds(plan: Layout, sample: list[list[str]], whole_safe: bool) -> dict[int, str]:
    """How each column is best read: ``number``, ``whole`` (labels that are whole numbers) or ``text``."""
    clean_unit = all(plan.headings[i].unit in (None, "kV") or i not in plan.values for i in range(len(plan.headings)))
    out = {}
    for i, h in enumerate(plan.headings):
        cells = [r[i].strip() for r in sample if r[i].strip()]
        if i in plan.values:
            number = clean_unit and all(map(is_number, cells))
        elif h.name in NUMERIC:
            number = all(c.replace(".", "", 1).isdecimal() for c in cells)
        else:
            number = h.name is None and len(set(cells)) > len(cells) / 2 and all(map(is_number, cells)) and whole_safe
        whole = (
            whole_safe
            and h.name != "outcome"
            and all(c.isascii() and c.isdecimal() and (c[0] != "0" or c == "0") for c in cells)
        )
        out[i] = "text" if not cells else "number" if number else "whole" if whole else "text"
    return out


def _leading_zeros(raw: bytes, mark: str) -> bool:
    """Whether any cell begins with a 0 before another digit (007), which a number would lose."""
    octets = np.frombuffer(raw, np.uint8)
    before, here, after = octets[:-2], octets[1:-1], octets[2:]
    starts = np.flatnonzero(here == 48)
    starts = starts[np.isin(before[starts], [ord(mark), 10, 13, 32])]
    return bool(((after[starts] >= 48) & (after[starts] <= 57)).any())


def _whole(series: pd.Series) -> bool:
    if pd.api.types.is_float_dtype(series.dtype):  # blank lines turn whole numbers into floats
        held = series.dropna()
        return bool((held == np.floor(held)).all()) and bool((held.abs() < 2**52).all())
    return bool(pd.api.types.is_integer_dtype(series.dtype))


def _lost_text(series: pd.Series) -> bool:
    """Whether pandas turned the categories into numbers or truth values, so that 007 or 1.250 is no longer as written."""  # noqa: E501
    return isinstance(series.dtype, pd.CategoricalDtype) and not (
        pd.api.types.is_string_dtype(series.cat.categories) or series.cat.categories.dtype == object
    )


def _coded_series(series: pd.Series, kind: str) -> Coded:
    if isinstance(series.dtype, pd.CategoricalDtype):
        return _drop_blank(series.cat.codes.to_numpy().astype(np.int64), [str(c) for c in series.cat.categories])
    if kind == "whole" and _whole(series):
        codes, uniques = pd.factorize(series.to_numpy(), use_na_sentinel=True)
        return Coded(codes.astype(np.int64), [str(int(u)) for u in uniques.tolist()])
    if pd.api.types.is_numeric_dtype(series.dtype) and not pd.api.types.is_bool_dtype(series.dtype):
        return Coded(np.empty(0, np.int64), [], series.to_numpy(dtype=float))
    texts, kinds = pd.factorize(series)
    return _drop_blank(texts, [str(k) for k in kinds])
