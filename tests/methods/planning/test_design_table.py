"""Designs side by side, against the textbook variance of a two-stage mean."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.errors import NotEstimable
from methods.planning.design_table import design_table
from methods.scatter import components


def table(between: float, fillings: int = 12, n: int = 6) -> pd.DataFrame:
    rng = np.random.default_rng(2)
    rows = [
        {"sample": "A", "filling": str(f), "order": i + 1, "outcome": "breakdown", "kv": 50 + level + e}
        for f, level in enumerate(rng.normal(0, between, fillings))
        for i, e in enumerate(rng.normal(0, 6, n))
    ]
    return pd.DataFrame(rows)


def test_standard_errors_are_those_of_two_stage_sampling() -> None:
    found = components(table(3.0), fixed=(), factors=["filling"])
    rows = design_table(found).designs.set_index("design")
    f, w = (c.sd for c in found.components)
    assert rows.loc["3 × 2", "standard_error_kv"] == pytest.approx(np.sqrt(f**2 / 3 + w**2 / 6))
    assert rows.loc["1 × 6", "gain"] == 1
    assert rows.loc["3 × 2", "gain"] == pytest.approx(
        rows.loc["1 × 6", "standard_error_kv"] / rows.loc["3 × 2", "standard_error_kv"]
    )
    assert rows.loc["3 × 2", "gain_low"] < rows.loc["3 × 2", "gain"] < rows.loc["3 × 2", "gain_high"]
    assert np.isnan(rows.loc["1 × 6", "half_width_kv"])  # one filling cannot see how fillings differ


def test_no_design_gains_more_than_the_root_of_its_fillings() -> None:
    rows = design_table(components(table(12.0), fixed=(), factors=["filling"])).designs
    assert (rows["gain"] <= np.sqrt(rows["fillings"]) + 1e-9).all()
    assert rows["gain"].iloc[2] > 1.5


def test_bench_time_comes_from_the_protocol() -> None:
    found = components(table(3.0), fixed=(), factors=["filling"])
    minutes = design_table(found, protocol="IEC 60156").designs["minutes"]
    assert minutes.notna().all() and minutes.iloc[2] > minutes.iloc[0]


def test_one_filling_is_refused_with_what_to_do() -> None:
    with pytest.raises(NotEstimable, match="Refill"):
        design_table(components(table(3.0, fillings=1), fixed=(), factors=[]))
