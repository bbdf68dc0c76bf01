"""Whatever is in a file, reading ends in records whose numbers add up, or in an InputError of one line.

Seven kinds of files, 715 of each: 5,000 in all. ``python -m tests.hostile.long_run`` tries 100,000 others, by way of
``GAPSHIFT_EXAMPLES``; what came of it is in ``tests/hostile/RESULTS.md``.
"""

from __future__ import annotations

import io
import os
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from methods.errors import InputError
from methods.records import read
from tests.hostile.killers import workbook

EXAMPLES = int(os.environ.get("GAPSHIFT_EXAMPLES", "715"))
ours = settings(  # the same files in every run of the tests, others in each piece of the long one
    max_examples=EXAMPLES, deadline=None, derandomize="GAPSHIFT_EXAMPLES" not in os.environ, database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)  # fmt: skip

WORDS = st.sampled_from([
    "kv", "BDV (kV)", "electrode", "gap", "filling", "order", "1", "2", "3", "mean", "SD", "41.5", "58,4", ">60", "NB",
    "1.234,5", "1e400", "-1", "²", "٣", "½", "0", "", " ", "#REF!", "=A1", "2024-01-02", "disk", "IEC 60156", "∞",
    "nan", "9" * 30, "kV/mm", '"', "'", "\t", "999", "no breakdown at 60", "±", "41 kV", "45/46/47", "\u200b", "\ud7ff",
])  # fmt: skip
CELL = st.one_of(WORDS, st.floats(allow_nan=False, width=32).map(str), st.text(max_size=12))
TABLE = st.lists(st.lists(CELL, min_size=1, max_size=6), min_size=1, max_size=12)


def check(source: Any, name: str) -> None:
    try:
        records = read(source, name=name)
    except InputError as error:
        assert str(error).strip()
        return
    table = records.table
    assert len(table) and (table["kv"] > 0).all() and (table["kv"] < float("inf")).all()
    assert records.rows_read == records.breakdowns + records.withstood + records.refused  # no row is lost
    assert records.refused >= 0


@ours
@given(st.binary(max_size=400))
def test_bytes(data: bytes) -> None:
    check(data, "a.csv")


@ours
@given(
    st.binary(max_size=200),
    st.sampled_from([b"PK\x03\x04", b"PAR1", b"\xd0\xcf\x11\xe0", b"\xff\xfe", b"\xef\xbb\xbf"]),
)
def test_bytes_that_say_that_they_are_something(data: bytes, mark: bytes) -> None:
    check(mark + data, "a.xlsx" if mark == b"PK\x03\x04" else "a.parquet" if mark == b"PAR1" else "a.csv")


@ours
@given(TABLE, st.sampled_from([",", ";", "\t", "|", "  "]), st.sampled_from(["\n", "\r\n", "\r"]))
def test_text(cells: list[list[str]], mark: str, end: str) -> None:
    check(end.join(mark.join(row) for row in cells).encode("utf-8", errors="replace"), "a.csv")


@ours
@given(TABLE)
def test_text_with_a_heading_that_is_one(cells: list[list[str]]) -> None:
    body = "\n".join(";".join(c.replace(";", "").replace("\n", "") for c in row) for row in cells)
    check(("electrode;filling;kv\n" + body).encode("utf-8", errors="replace"), "a.csv")


@ours
@given(
    st.lists(
        st.lists(
            st.one_of(
                st.none(), st.floats(), st.integers(-(2**62), 2**62), st.booleans(), st.text(max_size=8), st.dates()
            ),
            min_size=3,
            max_size=3,
        ),
        min_size=1,
        max_size=8,
    )
)
def test_tables_in_memory_and_parquet(rows: list[list[Any]]) -> None:
    frame = pd.DataFrame([[str(a), b, c] for a, b, c in rows], columns=["electrode", "note", "kv"])
    check(frame, "table")
    held = io.BytesIO()
    try:
        frame.astype({"note": "str"}).to_parquet(held)
    except Exception:
        return  # pyarrow takes no column of mixed kinds
    check(held.getvalue(), "a.parquet")


@ours
@given(
    st.lists(
        st.tuples(
            st.text("ABCXZ", min_size=0, max_size=3),
            st.integers(0, 1_100_000),
            st.sampled_from(["n", "str", "inlineStr", "b", "e", "d", "s", "?"]),
            st.one_of(WORDS, st.integers(-5, 90).map(str)),
            st.sampled_from(["", "<f>1+1</f>", "<f/>", "<is><t>x</t></is>"]),
        ),
        max_size=12,
    ),
    st.sampled_from(["", '<mergeCells><mergeCell ref="A1:B2"/><mergeCell ref="x"/></mergeCells>', "</row>"]),
)
def test_workbooks(cells: list[tuple[str, int, str, str, str]], after: str) -> None:
    def plain(text: str) -> str:
        return text.replace("&", "").replace("<", "").replace('"', "")

    rows = "".join(
        f'<row r="{row}"><c r="{column}{row}" t="{kind}">{more}<v>{plain(value)}</v></c></row>'
        for column, row, kind, value, more in cells
    )
    check(workbook(rows, after), "a.xlsx")


@ours
@given(st.integers(0, 5_000), st.binary(min_size=1, max_size=40))
def test_a_sound_workbook_with_a_damaged_place(place: int, data: bytes) -> None:
    raw = bytearray(SOUND)
    at = place % len(raw)
    raw[at : at + len(data)] = data
    check(bytes(raw), "a.xlsx")


def _sound() -> bytes:
    from tests.hostile.killers import sound_rows

    return workbook(sound_rows())


SOUND = _sound()


@pytest.mark.parametrize("text", ["kv\n²\nkv,kv", "laboratory,sample,kv\n²,A,41\n³,A,42\n1,A,43\n"])
def test_found_by_the_long_run(text: str) -> None:
    """A raised two is called a digit, and is no number."""
    check(text.encode(), "a.csv")


@pytest.mark.parametrize("name", ["a.csv", "a.xlsx", "a.parquet", "a", ""])
def test_nothing(name: str) -> None:
    check(b"", name)
