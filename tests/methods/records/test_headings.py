"""Headings and the words in them."""

from __future__ import annotations

import pandas as pd
import pytest

from methods.errors import InputError
from methods.records import COLUMNS, as_table, resolve_column
from methods.records.headings import (
    fold,
    is_label,
    is_time,
    plain_stirring,
    read_heading,
    summary_label,
    vocabulary,
    word,
)


@pytest.mark.parametrize("name", COLUMNS)
def test_a_contract_name_means_itself(name: str) -> None:
    assert read_heading(name).name == name


def test_no_spelling_stands_twice() -> None:
    seen: dict[str, str] = {}
    for meaning, words in vocabulary()["headings"].items():
        assert meaning in COLUMNS
        for spelling in words:
            assert seen.setdefault(fold(spelling), meaning) == meaning, spelling


@pytest.mark.parametrize(
    ("text", "name", "unit"),
    [
        ("BDV (kV)", "kv", "kV"),
        ("U_d [kV]", "kv", "kV"),
        ("kV", "kv", "kV"),
        ("Breakdown Voltage/kV", "kv", "kV"),
        ("BDV, kV", "kv", "kV"),
        ("U [V]", "kv", "V"),
        ("kVp", "kv", "kVp"),
        ("BDV kVpeak", "kv", "kVp"),
        ("Durchschlagspannung in kV", "kv", "kV"),
        ("Tension de claquage (kV)", "kv", "kV"),
        ("Tensión de ruptura", "kv", None),
        ("Result (kV)", "kv", "kV"),
        ("Gap (mm)", "gap_mm", "mm"),
        ("Electrode gap, mm", "gap_mm", "mm"),
        ("Spacing (in)", "gap_mm", "in"),
        ("Temp °C", "temperature_c", "C"),
        ("Temperature (°F)", "temperature_c", "F"),
        ("℃", None, None),
        ("Rate of rise kV/s", "rise_kv_s", "kV/s"),
        ("Ramp (kV/s)", "rise_kv_s", "kV/s"),
        ("Moisture ppm", "water_mg_kg", "ppm"),
        ("Water (mg/kg)", "water_mg_kg", "mg/kg"),
        ("Oil ID", "sample", None),
        ("Sample No.", "sample", None),
        ("LOT NO", "sample", None),
        ("Drum", "sample", None),
        ("Cell fill", "filling", None),
        ("Run", "filling", None),
        ("Shot", "order", None),
        ("Electrode type", "electrode", None),
        ("Stirrer?", "stirring", None),
        ("Analyst", "operator", None),
        ("Tested", "tested_on", None),
        ("Échantillon", "sample", None),
        ("Rührer", "stirring", None),
        ("Status", "outcome", None),
        ("Remarks", "note", None),
        ("Lab", "laboratory", None),
        ("pressure", None, None),
    ],
)
def test_spellings(text: str, name: str | None, unit: str | None) -> None:
    read = read_heading(text)
    assert read.name == name
    if name is not None:
        assert read.unit == unit


@pytest.mark.parametrize(
    "text",
    [
        "b3",
        "3",
        "3.",
        "3rd",
        "third",
        "kV 3",
        "BD 3",
        "Shot 3",
        "Breakdown 3 (kV)",
        "U3",
        "U_3 [kV]",
        "kV_3",
        "Third breakdown",
        "3rd breakdown",
        "b3 kV",
    ],
)
def test_numbered_headings(text: str) -> None:
    assert read_heading(text).shot == 3


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("Mean", "mean"),
        ("Avg kV", "mean"),
        ("Mean BDV (kV)", "mean"),
        ("Mittelwert", "mean"),
        ("SD", "sd"),
        ("Std. dev.", "sd"),
        ("CoV %", "cov"),
        ("Max", "max"),
        ("Range", "range"),
        ("n", "count"),
        ("BDV average of 6", "mean"),
    ],
)
def test_summaries_are_no_breakdowns(text: str, what: str) -> None:
    assert read_heading(text).summary == what
    assert read_heading(text).name is None


def test_row_labels_that_sum_up() -> None:
    assert summary_label("Mean:") == "mean"
    assert summary_label("Average") == "mean"
    assert summary_label("N") is None
    assert summary_label("oil A") is None


def test_times_and_labels() -> None:
    assert (
        is_time(read_heading("minutes"))
        and is_time(read_heading("Time to breakdown (h)"))
        and not is_time(read_heading("kV"))
    )
    assert is_label(read_heading("index")) and not is_label(read_heading("Yield"))


@pytest.mark.parametrize(
    ("section", "text", "meaning"),
    [
        ("electrode", "VDE", "mushroom"),
        ("electrode", "Calotte", "mushroom"),
        ("electrode", "partially spherical", "mushroom"),
        ("electrode", "Ball", "spherical"),
        ("electrode", "Kugel", "spherical"),
        ("electrode", "Disc", "disk"),
        ("electrode", "flat", "disk"),
        ("electrode", "needle", None),
        ("stirring", "still", "none"),
        ("stirring", "No", "none"),
        ("stirring", "in between", "between"),
        ("stirring", "continuously", "continuous"),
        ("outcome", "WS", "withstood"),
        ("outcome", "no BD", "withstood"),
        ("outcome", "censored", "withstood"),
        ("outcome", "BD", "breakdown"),
        ("outcome", "exact", "breakdown"),
        ("outcome", "void", "void"),
    ],
)
def test_words_in_cells(section: str, text: str, meaning: str | None) -> None:
    assert word(section, text) == meaning


def test_a_plain_yes_does_not_say_when() -> None:
    assert plain_stirring("Yes") and plain_stirring("magnetic bar") and not plain_stirring("sometimes")


def test_a_column_is_found_by_any_of_its_names() -> None:
    table = as_table(pd.DataFrame({"kv": [1.0], "electrode": ["disk"], "gap_mm": [2.0], "Batch": ["x"]}))
    assert resolve_column(table, "gap") == "gap_mm"
    assert resolve_column(table, "ELECTRODES") == "electrode"
    assert resolve_column(table, "stir") == "stirring"
    assert resolve_column(table, "batch") == "Batch"
    with pytest.raises(InputError, match="'electrode'") as error:
        resolve_column(table, "electrod")
    assert error.value.column == "electrod"
    with pytest.raises(InputError, match="Batch"):
        resolve_column(table, "nothing like it")
