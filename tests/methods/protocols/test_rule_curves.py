"""Curves and tables over several rules hold what the single functions give."""

from __future__ import annotations

import pytest

from methods.protocols import load_rules, rule_effect, trip_rate
from methods.protocols.rule_curves import all_exact, effect_table, judging, trip_curves


def test_rules_that_fail_nothing_are_left_out() -> None:
    assert {r.key for r in judging(list(load_rules().values()))} == {"three_r", "range_1mm", "range_2mm", "cov_20"}


def test_exact_points_are_those_of_trip_rate() -> None:
    rule = load_rules()["cov_20"]
    rows = trip_curves([rule], covs=(0.1, 0.2))
    assert list(rows["method"]) == ["exact", "exact"]
    assert rows["probability_percent"].iloc[1] == pytest.approx(100 * trip_rate(rule, 0.2).probability)


def test_what_is_slow_is_simulated_and_near_the_exact_value() -> None:
    rule = load_rules()["three_r"]
    assert all_exact([rule], "weibull", 0.0) and not all_exact([rule], "weibull", 0.05)
    told: list[float] = []
    rows = trip_curves([rule], "normal", between_cov=0.05, covs=(0.15,), progress=told.append)
    exact = trip_rate(rule, 0.15, between_cov=0.05, exact=True).probability
    assert rows["method"].iloc[0] == "simulation" and told == [1.0]
    assert abs(rows["probability_percent"].iloc[0] / 100 - exact) < 5 * rows["standard_error_percent"].iloc[0] / 100


def test_effects_are_those_of_rule_effect() -> None:
    rule = load_rules()["cov_20"]
    row = effect_table([rule], (0.2,), repetitions=2000).iloc[0]
    one = rule_effect(rule, 0.2, repetitions=2000)
    assert row["bias_percent"] == one.bias_percent and row["more_percent"] == 100 * one.more
