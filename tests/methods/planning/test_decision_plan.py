"""Verdicts against a limit: the trade's table, closed forms against simulation, plans."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from methods import InputError
from methods.errors import NotEstimable
from methods.planning import decide
from methods.planning.decision_plan import plan_decision
from methods.planning.verdicts import (
    RULES,
    characteristics_by_protocol,
    operating_characteristic,
    pass_probability,
    simulated_pass_probability,
)

TABLE = {  # chance in per cent that a six-breakdown mean reaches 50 kV, for CoV 10, 15, 20, 25 %
    45: (0.3, 3.5, 8.7, 14),
    48: (15, 25, 31, 34),
    50: (50, 50, 50, 50),
    52: (83, 74, 68, 65),
    55: (98.7, 93, 87, 81),
    60: (100, 99.7, 98, 95),
}


@pytest.mark.parametrize("mean", TABLE)
def test_the_table_of_pass_probabilities(mean):
    """The trade's table, also by the error function and by simulation (both independent of the module)."""
    rng = np.random.default_rng(mean)
    z = rng.standard_normal((40000, 6)).mean(axis=1)
    for cov, listed in zip((0.10, 0.15, 0.20, 0.25), TABLE[mean], strict=True):
        found = operating_characteristic(mean, 50, cov).pass_probability.iloc[0]
        room = 0.06 if listed != int(listed) else 0.51
        assert 100 * found == pytest.approx(listed, abs=room)
        assert found == pytest.approx(
            0.5 * math.erfc((50 - mean) * math.sqrt(6) / (cov * mean) / math.sqrt(2)), abs=1e-9
        )
        assert found == pytest.approx(np.mean(mean * (1 + cov * z) >= 50), abs=0.01)


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("between", [None, 0.05])
def test_closed_forms_against_simulation(rule, between):
    for mean in (47.0, 53.0, 62.0):
        closed = operating_characteristic(mean, 50, 0.12, between, n=4, k=3, rule=rule).pass_probability.iloc[0]
        simulated = simulated_pass_probability(
            mean, 50, 0.12, between, fillings=3, breakdowns_per_filling=4, rule=rule, rng=4
        )
        assert closed == pytest.approx(simulated, abs=0.012)


def test_guarded_rule_keeps_its_promise_on_the_limit():
    """An oil exactly on the limit passes the guarded rule with one minus the confidence."""
    each = {"rule": "guarded", "breakdowns_per_filling": 1}
    assert float(pass_probability(50, 50, 5, None, fillings=6, **each)) == pytest.approx(0.05, abs=1e-9)
    lucky = {"fillings": 3, "rule": "guarded"}
    assert float(pass_probability(50, 50, 5, 2, **lucky, believing_luck=True)) == pytest.approx(0.05, abs=1e-9)
    assert 0.005 < float(pass_probability(50, 50, 5, 2, **lucky)) < 0.05  # fillings that agree by luck do not pass it
    assert float(pass_probability(50, 50, 5, 3, rule="guarded")) < 0.05  # one filling, others may differ
    known = pass_probability(50, 50, 5, 2, fillings=1, rule="guarded", scatter_known=True)
    assert float(known) == pytest.approx(0.05, abs=1e-9)


def test_other_families_are_simulated():
    curve = operating_characteristic([45, 50, 55], 50, 0.2, rule="every", family="weibull", rng=3)
    normal = operating_characteristic([45, 50, 55], 50, 0.2, rule="every")
    assert (curve.pass_probability.diff().dropna() >= 0).all()
    assert np.abs(curve.pass_probability - normal.pass_probability).max() < 0.05
    low = operating_characteristic(52, 50, 0.2, family="lognormal", rng=3).pass_probability.iloc[0]
    assert low == pytest.approx(operating_characteristic(52, 50, 0.2).pass_probability.iloc[0], abs=0.03)
    with pytest.raises(InputError, match="family"):
        operating_characteristic(52, 50, 0.2, family="cauchy")


def test_smallest_number_for_the_risk():
    plan = plan_decision(limit=50, mean=55, cov=0.15)
    assert plan.breakdowns == math.ceil((1.6448536 * 0.15 * 55 / 5) ** 2) == 8
    assert plan.wrong_verdict_probability <= 0.05
    fewer = plan_decision(limit=50, mean=55, cov=0.15, fillings=1, breakdowns_per_filling=7)
    assert fewer.wrong_verdict_probability > 0.05
    assert "risk" in [w.code for w in fewer.cautions]
    below = plan_decision(limit=50, mean=46, cov=0.15)
    assert not below.should_pass and below.wrong_verdict_probability <= 0.05
    assert plan_decision(limit=50, mean=55, sd=8.25).breakdowns == 8


def test_rules_and_fillings():
    guarded = plan_decision(50, 55, 0.15, rule="guarded")
    assert guarded.breakdowns > plan_decision(50, 55, 0.15).breakdowns
    known = plan_decision(50, 55, 0.15, rule="guarded", interval="known")
    assert known.breakdowns == math.ceil((2 * 1.6448536 * 0.15 * 55 / 5) ** 2) <= guarded.breakdowns
    nested = plan_decision(50, 55, 0.15, between_cov=0.05, breakdowns_per_filling=6)
    error = math.sqrt((0.05 * 55) ** 2 / nested.fillings + (0.15 * 55) ** 2 / nested.breakdowns)
    assert 5 / error >= 1.6448536
    assert [r["rule"] for r in nested.rules] == list(RULES)
    with pytest.raises(NotEstimable, match="Plan more fillings"):
        plan_decision(50, 51, 0.15, between_cov=0.05, fillings=2)


def test_every_breakdown_is_a_rule_that_more_testing_makes_worse():
    with pytest.raises(NotEstimable, match="more make it worse"):
        plan_decision(50, 55, 0.15, rule="every")
    assert plan_decision(50, 80, 0.10, rule="every").breakdowns == 1
    bad = plan_decision(50, 45, 0.15, rule="every")
    chance = 1 - 0.5 * math.erfc((50 - 45) / (0.15 * 45) / math.sqrt(2))
    assert (1 - chance) ** bad.breakdowns <= 0.05 < (1 - chance) ** (bad.breakdowns - 1)


def test_only_the_protocols_of_the_limit():
    table = characteristics_by_protocol([25, 30, 35], "astm_d3487/d877", 0.10)
    assert set(table.protocol) == {"astm_d877_a", "astm_d877_b"}
    b = table[table.protocol == "astm_d877_b"]
    assert set(b.fillings) == {5} and set(b.breakdowns_per_filling) == {1}
    with_fillings = characteristics_by_protocol([32], "astm_d3487/d877", 0.10, 0.06).set_index("protocol")
    assert with_fillings.pass_probability["astm_d877_b"] > with_fillings.pass_probability["astm_d877_a"]
    with pytest.raises(InputError):
        characteristics_by_protocol([30], "no_document/no_limit", 0.1)


@pytest.mark.parametrize(
    "wrong",
    [
        {"limit": 50, "mean": 50, "cov": 0.15},
        {"limit": 50, "mean": 55},
        {"limit": 0, "mean": 55, "cov": 0.15},
        {"limit": 50, "mean": -5, "cov": 0.15},
        {"limit": 50, "mean": 55, "cov": 0.15, "risk": 1},
        {"limit": 50, "mean": 55, "cov": 0.15, "rule": "kind"},
        {"limit": 50, "mean": 55, "cov": 0.15, "interval": "both"},
        {"limit": 50, "mean": 50.01, "cov": 0.15},
    ],
)
def test_impossible_questions_are_refused(wrong):
    with pytest.raises(InputError):
        plan_decision(**wrong)


@pytest.mark.parametrize(("k", "n", "between"), [(1, 6, 0.05), (3, 5, 0.0), (4, 2, 0.1)])
def test_the_guarded_rule_passes_as_often_as_the_verdict_does(k, n, between):
    """Invented oils given to the verdict itself."""
    rng, label, mean, count = np.random.default_rng(8), np.repeat(np.arange(k), n), 62.0, 150
    passed = []
    for _ in range(count):
        kv = mean * (1 + between * rng.standard_normal(k)[label] + 0.12 * rng.standard_normal(k * n))
        passed.append(decide(kv, 50.0, "guarded", fillings=label).verdict == "pass")
    told = pass_probability(
        mean, 50, 0.12 * mean, between * mean, fillings=k, breakdowns_per_filling=n, rule="guarded"
    )  # fmt: skip
    assert float(told) == pytest.approx(np.mean(passed), abs=3.3 * math.sqrt(0.25 / count))


def test_guarded_rule_on_one_breakdown_is_refused():
    with pytest.raises(InputError, match="two breakdowns"):
        pass_probability(55, 50, 5, 2, fillings=1, breakdowns_per_filling=1, rule="guarded")
    with pytest.raises(InputError, match="two"):
        simulated_pass_probability(55, 50, 0.1, 0.05, breakdowns_per_filling=1, rule="guarded")
    with pytest.raises(InputError):
        operating_characteristic([-1], 50, 0.1)


@pytest.mark.parametrize("k", [2, 4])
def test_a_guarded_verdict_on_fillings_of_one_by_simulation(k):
    """Outside: 200,000 plain samples of normal fillings, each judged by Student's one-sided limit (SciPy)."""
    rng = np.random.default_rng(11)
    kv = rng.normal(56.0, 5.0, (200_000, k))
    low = kv.mean(axis=1) - stats.t.ppf(0.95, k - 1) * kv.std(axis=1, ddof=1) / np.sqrt(k)
    found = pass_probability(56.0, 50.0, 5.0, 0.0, rule="guarded", fillings=k, breakdowns_per_filling=1)
    assert float(found) == pytest.approx((low >= 50).mean(), abs=0.004)
