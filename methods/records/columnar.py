"""Long texts read by columns: by Arrow where it is installed, otherwise by pandas; the same cells either way."""

from __future__ import annotations

import io
import os
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import NUMERIC
from methods.records.coded import Body, Coded, drop_blank
from methods.records.layout import Layout, is_number
from methods.records.text import Sheet, line_starts, mark_of

try:  # an optional part: only faster
    import pyarrow
    import pyarrow.compute
    import pyarrow.csv
except ImportError:  # pragma: no cover
    pyarrow = None


def columnar(sheet: Sheet, plan: Layout) -> Body | None:
    """The data below the heading of a long text.

    None when the text is too irregular for that (more cells in a row than headings).
    """
    first_line = plan.rows[plan.first] if plan.first < len(plan.rows) else 1
    raw = sheet.octets()
    sample = plan.cells[plan.first : plan.first + 400]
    if pyarrow is not None and b'"' not in raw:
        body = _by_arrow(raw, sheet, plan, sample, first_line)
        if body is not None:
            return body
    return _by_pandas(raw, sheet, plan, sample, first_line)


def _by_arrow(raw: bytes, sheet: Sheet, plan: Layout, sample: list[list[str]], first_line: int) -> Body | None:
    """Cells as text that is coded while it is parsed; numbers only where nearly every cell is another one.

    None where the rows are not all of one length, or a column of numbers turns out to hold something else.
    """
    mark = mark_of(sheet.delimiter)
    text = pyarrow.large_string()
    names = [str(i) for i in range(len(plan.headings))]
    kinds = {i: "number" if k == "number" and _all_differ(sample, i) else "text"
             for i, k in _column_kinds(plan, sample, raw, mark).items()}  # fmt: skip
    types = {names[i]: pyarrow.float64() if k == "number" else text for i, k in kinds.items()}
    try:
        frame = pyarrow.csv.read_csv(
            pyarrow.BufferReader(raw),
            read_options=pyarrow.csv.ReadOptions(
                skip_rows=first_line - 1, column_names=names, block_size=min(8 << 20, max(1 << 20, len(raw)))
            ),
            parse_options=pyarrow.csv.ParseOptions(delimiter=mark, quote_char=False, ignore_empty_lines=False),
            convert_options=pyarrow.csv.ConvertOptions(
                column_types=types, null_values=[""], strings_can_be_null=True, decimal_point=_point(plan, sample, mark)
            ),
        )
    except pyarrow.ArrowInvalid:
        return None
    rows = np.arange(first_line, first_line + frame.num_rows, dtype=np.int64)
    with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:  # Arrow lets other threads work while it codes
        columns = list(pool.map(_coded_arrow, frame.columns, [kinds[i] for i in range(len(names))]))
    held = np.zeros(len(rows), bool)
    for column in columns:
        held |= ~np.isnan(column.numbers) if column.numbers is not None else column.codes >= 0
        if held.all():
            return Body(columns, rows)
    kept = np.flatnonzero(held)
    return Body([c.take(kept) for c in columns], rows[kept])


def _coded_arrow(column: Any, kind: str) -> Coded:
    if kind == "number":
        return Coded(np.empty(0, np.int64), [], column.to_numpy(zero_copy_only=False))
    chunks = [c for c in column.chunks if len(c)]
    starts = _runs(chunks)
    if starts is None:
        coded = column.dictionary_encode().unify_dictionaries()
        parts = [c.indices.fill_null(-1).to_numpy(zero_copy_only=False) for c in coded.chunks]
        codes = np.concatenate(parts) if parts else np.empty(0, np.int32)
        texts = coded.chunk(0).dictionary if parts else pyarrow.array([], pyarrow.large_string())
    else:
        short = [c.take(pyarrow.array(s)) for c, s in zip(chunks, starts, strict=True)]
        first = pyarrow.concat_arrays(short).dictionary_encode()
        lengths = [np.diff(s, append=len(c)) for c, s in zip(chunks, starts, strict=True)]
        codes = np.repeat(first.indices.fill_null(-1).to_numpy(zero_copy_only=False), np.concatenate(lengths))
        texts = first.dictionary
    written = texts.to_pylist()
    if texts.equals(pyarrow.compute.utf8_trim_whitespace(texts)) and all(written):
        return Coded(codes.astype(np.int32, copy=False), written, source=column)
    return drop_blank(codes, written)


def _runs(chunks: list[Any]) -> list[np.ndarray] | None:
    """Where in each chunk a cell differs from the one above, when that is seldom: runs are coded much faster."""
    look = [_steps(c.slice(0, 1_000)) for c in (chunks[:1] + chunks[-1:]) if len(c) > 500]
    if not look or any(steps.mean() > 0.5 for steps in look):
        return None
    return [np.flatnonzero(np.r_[True, _steps(c)]) for c in chunks]


def _steps(held: Any) -> np.ndarray:
    other = pyarrow.compute.not_equal(held.slice(1), held.slice(0, len(held) - 1))
    if held.null_count:
        blank = held.is_null().to_numpy(zero_copy_only=False)
        return other.fill_null(True).to_numpy(zero_copy_only=False) & ~(blank[1:] & blank[:-1])
    return other.to_numpy(zero_copy_only=False)


def _all_differ(sample: list[list[str]], at: int) -> bool:
    cells = [r[at] for r in sample]
    return len(set(cells)) > 0.75 * len(cells)


def _point(plan: Layout, sample: list[list[str]], mark: str) -> str:
    cells = [r[i] for r in sample for i in plan.values]
    comma = any("," in c for c in cells) and not any("." in c for c in cells)
    return "," if comma and mark != "," else "."


def _by_pandas(raw: bytes, sheet: Sheet, plan: Layout, sample: list[list[str]], first_line: int) -> Body | None:
    """Numbers as numbers where a voltage column is clean, all else coded as text."""
    mark = mark_of(sheet.delimiter)
    kinds = _column_kinds(plan, sample, raw, mark)
    options: dict[str, Any] = dict(
        sep=mark, header=None, names=range(len(plan.headings)), skiprows=first_line - 1, skip_blank_lines=False,
        keep_default_na=False, na_values=[""], index_col=False, low_memory=False, skipinitialspace=True,
        decimal=_point(plan, sample, mark),
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
    if b'"' in raw:
        begun = np.asarray(line_starts(sheet.whole(), sheet.delimiter), dtype=np.int64)
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


def _column_kinds(plan: Layout, sample: list[list[str]], raw: bytes, mark: str) -> dict[int, str]:
    """How each column is best read: ``number``, ``whole`` (labels that are whole numbers) or ``text``."""
    clean_unit = all(plan.headings[i].unit in (None, "kV") for i in plan.values)
    safe: bool | None = None
    out = {}
    for i, h in enumerate(plan.headings):
        cells = [r[i].strip() for r in sample if r[i].strip()]
        number = whole = False
        if i in plan.values:
            number = clean_unit and all(map(is_number, cells))
        elif h.name in NUMERIC:
            number = all(c.replace(".", "", 1).isdecimal() for c in cells)
        elif h.name != "outcome":
            number = h.name is None and len(set(cells)) > len(cells) / 2 and all(map(is_number, cells))
            whole = all(c.isascii() and c.isdecimal() and (c[0] != "0" or c == "0") for c in cells)
            if number or (whole and pyarrow is None):
                safe = not _leading_zeros(raw, mark) if safe is None else safe
                number, whole = number and safe, whole and safe
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
    """Whether pandas turned the categories into numbers or truth values: 007 or 1.250 is no longer as written."""
    return isinstance(series.dtype, pd.CategoricalDtype) and not (
        pd.api.types.is_string_dtype(series.cat.categories) or series.cat.categories.dtype == object
    )


def _coded_series(series: pd.Series, kind: str) -> Coded:
    if isinstance(series.dtype, pd.CategoricalDtype):
        return drop_blank(series.cat.codes.to_numpy().astype(np.int64), [str(c) for c in series.cat.categories])
    if kind == "whole" and _whole(series):
        codes, uniques = pd.factorize(series.to_numpy(), use_na_sentinel=True)
        return Coded(codes.astype(np.int64), [str(int(u)) for u in uniques.tolist()])
    if pd.api.types.is_numeric_dtype(series.dtype) and not pd.api.types.is_bool_dtype(series.dtype):
        return Coded(np.empty(0, np.int64), [], series.to_numpy(dtype=float))
    texts, kinds = pd.factorize(series)
    return drop_blank(texts, [str(k) for k in kinds])
