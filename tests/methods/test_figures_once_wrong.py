"""Figures and sentences that were wrong once, each with what is right; those with a home of their own are not here."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard.cli import main
from methods import components, read, shift
from methods.answers import answer

DATA = Path(__file__).parents[2] / "data"


def two_levels(first: list[float], second: list[float], per: int) -> pd.DataFrame:
    kv = [*first, *second]
    return pd.DataFrame({
        "kv": kv, "electrode": ["a"] * len(first) + ["b"] * len(second), "sample": "A",
        "filling": [str(i // per) for i in range(len(kv))],
    })  # fmt: skip


def test_order_of_a_file_that_withstood_says_no_nan(tmp_path, capsys) -> None:
    file = tmp_path / "withstood.csv"
    pd.DataFrame({"filling": list("aaaabbbb"), "order": [1, 2, 3, 4] * 2, "kv": 60.0, "outcome": "withstood"}).to_csv(
        file, index=False
    )
    main(["order", str(file)])
    said = "".join(capsys.readouterr())
    assert "nan" not in said.lower() and said.strip()


def test_a_shift_has_no_limit_below_what_voltages_can_do() -> None:
    """Wild scatter: the ratio's lower limit is not below 0, and a sentence names no lower limit then."""
    found = shift(two_levels([10, 90, 20, 80], [95, 5, 60, 8], 2), "electrode")
    (level,) = found.shifts
    assert not level.low_percent < -100
    assert "-1" not in answer(found).sentence and "no lower limit" in answer(found).sentence


def test_equal_levels_shift_by_zero() -> None:
    kv = [50.1, 51.3, 49.7, 52.2, 48.9, 50.6]
    (level,) = shift(two_levels(kv, kv, 3), "electrode").shifts
    assert (level.difference_kv, level.difference_percent) == (0.0, 0.0)
    text = answer(shift(two_levels(kv, kv, 3), "electrode")).sentence
    assert "e-" not in text and "the same" in text


def test_one_filling_is_said_where_there_is_one_only() -> None:
    rng = np.random.default_rng(2)
    several = two_levels(list(50 + rng.normal(0, 5, 12)), list(53 + rng.normal(0, 5, 12)), 3)
    assert "one_filling" not in {c.code for c in shift(several, "electrode").cautions}
    single = several[(several["electrode"] == "a") | (several["filling"] == "4")]
    assert "one_filling" in {c.code for c in shift(single, "electrode").cautions}
    assert "one_filling" not in {c.code for c in components(several).cautions}


def test_a_pair_is_shown_or_cannot_be_compared_never_both() -> None:
    kv = two_levels([50, 52, 49, 53, 51, 50], [45, 44, 47, 46, 43, 45], 2)
    other = kv[kv["electrode"] == "a"].assign(electrode="c", sample="B", filling=list("xxyyzz"))
    found = shift(pd.concat([kv, other], ignore_index=True), "electrode")
    refused = {c.text for c in found.cautions if c.code == "not_estimable"}
    for level in found.shifts:
        named = any(str(level.level) in t.split("cannot")[0] for t in refused)
        assert named == (not math.isfinite(level.difference_kv)), level.level


@pytest.mark.parametrize("name", sorted(p.name for p in DATA.glob("*.csv")))
def test_demo_data_hold_no_breakdown_twice(name: str) -> None:
    found = read(DATA / name).to_dict()["problems"]
    assert not [p for p in found if p["code"] in ("twice", "repeated")] and not any("twice" in p["rule"] for p in found)
