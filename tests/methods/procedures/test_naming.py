"""Procedures are found and named by what differs."""

from __future__ import annotations

import pandas as pd
import pytest

from methods import read
from methods.errors import InputError
from methods.procedures import PROCEDURE, name_procedures, with_factor


def table(*rows: dict) -> pd.DataFrame:
    """Invented rows, one breakdown each."""
    return pd.DataFrame([{"kv": 40.0 + i, **r} for i, r in enumerate(rows)])


def test_without_a_method_the_name_says_what_differs() -> None:
    rows = table(
        {"electrode": "mushroom", "gap_mm": 1.0, "stirring": "continuous", "rise_kv_s": 0.5},
        {"electrode": "mushroom", "gap_mm": 2.0, "stirring": "continuous", "rise_kv_s": 0.5},
        {"electrode": "disk", "gap_mm": 2.54, "stirring": "none", "rise_kv_s": 3.0},
    )
    assert name_procedures(rows).names == [
        "mushroom 1 mm, stirred",
        "mushroom 2 mm, stirred",
        "disk 2.54 mm, unstirred",
    ]


def test_what_is_alike_everywhere_is_left_out() -> None:
    rows = table({"electrode": "disk", "gap_mm": 2.0}, {"electrode": "spherical", "gap_mm": 2.0})
    assert name_procedures(rows).names == ["disk", "spherical"]


def test_the_rate_is_added_only_where_names_would_be_alike() -> None:
    rows = table({"electrode": "disk", "rise_kv_s": 0.5}, {"electrode": "disk", "rise_kv_s": 3.0})
    assert name_procedures(rows).names == ["0.5 kV/s", "3 kV/s"]


def test_methods_lead_and_only_their_own_differences_follow() -> None:
    names = name_procedures(read("data/programme_long.csv")).names
    assert "ASTM D1816 1 mm" in names and "IEC 60156 mushroom, stirred" in names
    assert len(set(names)) == len(names) == 8


def test_files_tell_procedures_apart_where_nothing_else_does() -> None:
    rows = table({"file": "d877.csv"}, {"file": "d1816.csv"}, {"file": "d1816.csv"})
    found = name_procedures(rows)
    assert found.names == ["d877.csv", "d1816.csv"] and found.codes.tolist() == [0, 1, 1]
    known = rows.assign(electrode=["disk", "mushroom", "mushroom"])
    assert name_procedures(known).names == ["disk", "mushroom"]  # the electrode says it, and no file is needed
    assert name_procedures(rows.assign(electrode="disk")).names == ["disk"]


def test_an_empty_cell_is_said() -> None:
    rows = table({"electrode": "disk", "gap_mm": 2.0}, {"electrode": "disk"})
    assert len(set(name_procedures(rows).names)) == 2


@pytest.mark.parametrize("by", [["electrode", "gap"], "electrode × gap_mm"])
def test_several_columns_make_one_factor(by: object) -> None:
    rows = table({"electrode": "disk", "gap_mm": 2.0}, {"electrode": "disk", "gap_mm": 1.0}, {"electrode": "disk"})
    made, name = with_factor(rows, by)  # type: ignore[arg-type]
    assert name == "electrode × gap_mm"
    assert made[name].tolist()[:2] == ["disk, 2 mm", "disk, 1 mm"] and pd.isna(made[name].iloc[2])


def test_a_column_of_the_file_called_procedure_is_taken_as_it_stands() -> None:
    rows = table({PROCEDURE: "A", "electrode": "disk"}, {PROCEDURE: "B", "electrode": "disk"})
    made, name = with_factor(rows, PROCEDURE)
    assert made[name].tolist() == ["A", "B"]


def test_bad_factors_are_refused() -> None:
    rows = table({"electrode": "disk"})
    with pytest.raises(InputError, match="no column 'season'"):
        with_factor(rows, ["electrode", "season"])
    with pytest.raises(InputError, match="kv"):
        with_factor(rows, ["electrode", "kv"])
    with pytest.raises(InputError, match="Name the factor"):
        with_factor(rows, [])
