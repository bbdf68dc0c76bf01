"""The grammar of one voltage cell. The spellings are common practice, no source."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from methods import read
from methods.records.cells import BLANK, NO_BREAKDOWN, REFUSED, VALUE, WITHSTOOD, normalise, parse, parse_number


@pytest.mark.parametrize(
    ("text", "value", "unit", "note"),
    [
        ("58.4", 58.4, None, None),
        ("58,4", 58.4, None, None),
        (" 58.4\u00a0kV ", 58.4, "kV", None),
        ("58400 V", 58400, "V", None),
        ("58\u202f400\u2009V", 58400, "V", None),
        ("58'400 V", 58400, "V", None),
        ("58’400 V", 58400, "V", None),
        ("58'4", 58.4, None, None),
        ("23.4 kV/mm", 23.4, "kV/mm", None),
        ("82.6 kVp", 82.6, "kVp", None),
        ("82.6 kV peak", 82.6, "kVp", None),
        ("58.4 kV rms", 58.4, "kV", None),
        ("1.234,5", 1234.5, None, None),
        ("1,234.5", 1234.5, None, None),
        ("1.234.567", 1234567, None, None),
        ("５８．４", 58.4, None, None),
        ("٥٨٫٤", 58.4, None, None),
        ("५८.४", 58.4, None, None),
        ("5.84E1", 58.4, None, None),
        ("+58.4", 58.4, None, None),
        ("'58.4", 58.4, None, None),
        ('="58.4"', 58.4, None, None),
        ("58.4*", 58.4, None, "*"),
        ("61.0 (bubble)", 61.0, None, "(bubble)"),
        ("58.4 stirrer stopped", 58.4, None, "stirrer stopped"),
        ("58.4 v. noisy", 58.4, None, "v. noisy"),
        ("\ufeff58.4\u200b", 58.4, None, None),
    ],
)
def test_a_number_with_its_unit_and_remark(text: str, value: float, unit: str | None, note: str | None) -> None:
    cell = parse(text)
    assert (cell.kind, cell.unit, cell.note) == (VALUE, unit, note)
    assert cell.value == pytest.approx(value)


@pytest.mark.parametrize(
    "text",
    [
        ">60",
        "> 60",
        ">=60",
        "≥60",
        "≧ 60",
        "60+",
        "60 kV+",
        "60 kV +",
        "over 60",
        "60 (no BD)",
        "60 FS",
        "60 withstood",
        "no breakdown at 60",
        "NB @ 60 kV",
        "no BD (60)",
    ],
)
def test_a_withstood_voltage_is_never_a_value(text: str) -> None:
    cell = parse(text)
    assert (cell.kind, cell.value) == (WITHSTOOD, 60)


@pytest.mark.parametrize("text", ["NB", "nb", "no BD", "No Breakdown", "FS", "n/b", "held", "kein Durchschlag"])
def test_words_for_no_breakdown(text: str) -> None:
    assert parse(text).kind == NO_BREAKDOWN


@pytest.mark.parametrize("text", ["", " ", "-", "–", "n/a", "NaN", "\u00a0", "not tested"])
def test_nothing_is_missing_and_not_zero(text: str) -> None:
    assert parse(text).kind == BLANK


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("0", "above zero"),
        ("-1", "above zero"),
        ("−5", "above zero"),
        ("0,0", "above zero"),
        ("<5", "bound from above"),
        ("≤ 5", "bound from above"),
        ("below 5", "bound from above"),
        ("2025-05-01", "date"),
        ("01-May", "date"),
        ("May-58", "date"),
        ("58:40", "date"),
        ("1/5/2025", "date"),
        ("#REF!", "error"),
        ("#DIV/0!", "error"),
        ("#N/A", "error"),
        ("###", "error"),
        ("=A1+B2", "formula"),
        ("=1+2", "formula"),
        ("58-62", "more than one"),
        ("58.4/61.0", "more than one"),
        ("58.4 61.2", "more than one"),
        ("58 ± 2", "its spread"),
        ("58.4.2", "contradict"),
        ("1,2,3", "contradict"),
        ("inf", "finite"),
        ("1e999", "finite"),
        ("abc", "words"),
        ("~58", "words"),
        ("12 %", "percentage"),
    ],
)
def test_what_is_no_voltage_is_refused_with_its_rule(text: str, words: str) -> None:
    cell = parse(text)
    assert cell.kind == REFUSED
    assert cell.rule is not None and words in cell.rule


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("1.250", None, 1.25),
        ("1.250", ".", 1.25),
        ("1.250", ",", 1250),
        ("1,250", ".", 1250),
        ("1,250", ",", 1.25),
        ("58.4", ",", 58.4),
        ("0.250", ",", 0.25),
        ("58,", None, 58),
        (".5", None, 0.5),
    ],
)
def test_a_single_mark_before_three_digits_follows_the_decimal_mark(text: str, decimal: str, value: float) -> None:
    assert parse_number(text, decimal) == pytest.approx(value)


def test_more_words_for_withstood_can_be_given() -> None:
    assert parse("limit", None, frozenset(["limit"])).kind == NO_BREAKDOWN


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=30))
def test_any_text_is_one_of_the_five_kinds(text: str) -> None:
    cell = parse(text)
    assert cell.kind in (BLANK, VALUE, WITHSTOOD, NO_BREAKDOWN, REFUSED)
    if cell.kind in (VALUE, WITHSTOOD):
        assert cell.value > 0 and math.isfinite(cell.value)
    if cell.kind == REFUSED:
        assert cell.rule
    assert normalise(normalise(text)) == normalise(text) or text.strip()[:1] in "'="


@given(
    st.floats(min_value=0.1, max_value=999, allow_nan=False),
    st.sampled_from([".", ","]),
    st.sampled_from(["", " kV", "*", " (x)"]),
)
def test_what_is_written_is_read_back(value: float, mark: str, tail: str) -> None:
    text = f"{value:.2f}".replace(".", mark)
    assert parse(text + tail, mark).value == pytest.approx(float(f"{value:.2f}"))


@pytest.mark.parametrize("said", ["75", "75 kV", "75000", "75000 V"])
def test_a_ceiling_above_the_table_may_be_in_volts(said):
    sheet = f"Ceiling: {said}\n\nsample,filling,kv\nA,1,60\nA,1,62\nA,2,75\nA,2,58\n"
    table = read(sheet.encode(), name="sheet.csv").table
    assert table["kv"].tolist() == [60, 62, 75, 58]
    assert table["outcome"].tolist() == ["breakdown", "breakdown", "withstood", "breakdown"]
