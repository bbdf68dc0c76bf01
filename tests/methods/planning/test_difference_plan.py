"""Plans for a difference: power and sizes against published tables and reference libraries, fillings by simulation."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats
from statsmodels.stats.power import TTestIndPower

from methods import InputError, plan
from methods.planning import power
from methods.shifts.compare import compare
from tests.calibration.shift_designs import SHIFT_KV, Design, draw
from tests.reference import agrees, names


def size(power_at, wanted):
    """The number, not rounded, with this power."""
    return optimize.brentq(lambda n: power_at(n) - wanted, 2.0, 1e5, xtol=1e-9)


@pytest.mark.parametrize("name", [n for n in names("G02") if not n.startswith("anova")])
def test_power_and_sizes(name):
    """Cohen (1988); R's power.t.test and pwr, statsmodels (case G02)."""
    if name.startswith("power_unequal"):
        found = power.power_two_sample(0.8, 10, 30)
    elif name.startswith("power_n"):
        n, d = re.fullmatch(r"power_n(\d+)_d([\d.]+)", name).groups()
        found = power.power_two_sample(float(d), int(n))
    else:
        kind, d, wanted = re.fullmatch(r"(\w+?)_d([\d.]+)_pw([\d.]+)", name).groups()
        effect, wanted = float(d), float(wanted)
        if kind == "two_sample_n":
            found = plan.difference(sd=1, difference=effect, power=wanted).breakdowns_per_condition
        else:
            found = {
                "two_sample_n_exact": lambda: size(lambda n: power.power_two_sample(effect, n), wanted),
                "one_sample_n_exact": lambda: size(lambda n: power.power_one_sample(effect, n), wanted),
                "two_sample_onesided_n_exact": lambda: size(
                    lambda n: power.power_two_sample(effect, n, None, 0.95, 1), wanted
                ),
            }[kind]()
    agrees("G02", name, found)


@pytest.mark.parametrize(
    ("difference", "listed"),
    [(0.10, (17, 37, 64, 100)), (0.20, (6, 10, 17, 26)), (0.05, (64, 143, 253, 394))],
)
def test_table_for_two_conditions(difference, listed):
    """Each entry again from statsmodels, as another implementation."""
    for cov, n in zip((0.10, 0.15, 0.20, 0.25), listed, strict=True):
        exact = TTestIndPower().solve_power(difference / cov, power=0.8, alpha=0.05)
        assert math.ceil(exact) == n
        assert plan.difference(cov=cov, difference=difference).breakdowns_per_condition == n


def test_power_on_filling_means_by_simulation():
    found = plan.difference(cov=0.15, difference=0.10, between_cov=0.05, fillings=8, breakdowns_per_filling=4)
    rng = np.random.default_rng(5)
    spread = math.sqrt(0.05**2 + 0.15**2 / 4)
    a = 1 + spread * rng.standard_normal((20000, 8))
    b = 1.1 + spread * rng.standard_normal((20000, 8))
    welch = stats.ttest_ind(a, b, axis=1, equal_var=False).pvalue < 0.05
    assert found.power == pytest.approx(welch.mean(), abs=0.011)
    assert found.power_known > found.power


@pytest.mark.parametrize(("n", "effect"), [(2, 4.0), (3, 3.0), (5, 2.0), (12, 1.2), (200, 0.3)])
def test_welch_power_by_simulation_and_below_the_pooled(n, effect):
    """SciPy's Welch test on 20,000 studies; with few values the pooled test would promise too much."""
    rng = np.random.default_rng(n)
    a, b = rng.standard_normal((20000, n)), effect + rng.standard_normal((20000, n))
    for sides, alternative in ((2, "two-sided"), (1, "less")):
        seen = stats.ttest_ind(a, b, axis=1, equal_var=False, alternative=alternative).pvalue < 0.05
        assert power.power_welch(effect, n, sides=sides) == pytest.approx(seen.mean(), abs=0.012)
    assert power.power_welch(effect, n) < power.power_two_sample(effect, n) + 1e-9


def test_the_plan_keeps_its_promise_in_the_shift_itself():
    """Three fillings each: 83 % by the pooled test, under 80 % by the shift's own limits; the plan says the latter."""
    found = plan.difference(cov=0.15, difference=0.25, between_cov=0.05, fillings=3, breakdowns_per_filling=5)
    rng, hits = np.random.default_rng(3), 0
    design = Design([(3, 3)], breakdowns=5, within=0.15 * 50, between=1 / 3, oils_kv=0.0)
    for _ in range(600):
        bench = draw(rng, design)
        kv = np.where(bench.lay.level == 1, bench.lay.kv - SHIFT_KV - 0.25 * 50, bench.lay.kv)
        low, high = compare(replace(bench.lay, kv=kv), 1, 0).difference.limits(0.95)
        hits += low > 0 or high < 0
    assert hits / 600 == pytest.approx(found.power, abs=3 * math.sqrt(found.power * (1 - found.power) / 600))
    assert found.power < power.power_two_sample(0.25 / math.sqrt(0.05**2 + 0.15**2 / 5), 3) - 0.05


def test_several_fillings_are_judged_by_their_means():
    """Without scatter between fillings the shift is still taken from filling means, so the plan counts fillings."""
    found = plan.difference(cov=0.15, difference=0.10, fillings=4)
    assert found.fillings_per_condition == 4
    assert found.power == pytest.approx(
        power.power_welch(0.10 / (0.15 / math.sqrt(found.breakdowns_per_filling)), 4), rel=1e-9
    )
    assert found.power >= 0.8


def test_paired_plan_by_simulation():
    found = plan.difference(
        cov=0.12, difference=0.08, between_cov=0.04, paired=True, disagreement=0.03, breakdowns_per_filling=6
    )
    k = found.fillings_per_condition
    rng = np.random.default_rng(6)
    one = math.sqrt(0.04**2 + 0.12**2 / 6)
    shift = 0.08 + 0.03 * rng.standard_normal((20000, k))
    pairs = shift + one * (rng.standard_normal((20000, k)) + rng.standard_normal((20000, k)))
    seen = stats.ttest_1samp(pairs, 0, axis=1).pvalue < 0.05
    assert found.power >= 0.8
    assert found.power == pytest.approx(seen.mean(), abs=0.011)


def test_cheapest_design_and_what_is_fixed():
    free = plan.difference(cov=0.15, difference=0.10, between_cov=0.05)
    fixed = plan.difference(cov=0.15, difference=0.10, between_cov=0.05, breakdowns_per_filling=5)
    usual = [10 + 1.5 * p.breakdowns_per_filling for p in (free, fixed)]  # min of a filling, nobody named a method
    assert free.fillings_per_condition * usual[0] <= fixed.fillings_per_condition * usual[1]
    assert fixed.power >= 0.8
    less = plan.difference(
        cov=0.15, difference=0.10, between_cov=0.05, breakdowns_per_filling=5, fillings=fixed.fillings_per_condition - 1
    )
    assert less.power < 0.8
    assert any(w.code == "power" for w in less.cautions)
    assert {d["fillings_per_condition"] for d in free.designs} >= {free.fillings_per_condition}


def test_kv_as_well():
    assert plan.difference(sd=6, difference=3).breakdowns_per_condition == 64
    assert plan.difference(sd=6, difference=3).difference == 3
    assert plan.difference(sd=6, difference=3, mean=60).difference_percent == pytest.approx(5)


@pytest.mark.parametrize(
    "wrong",
    [
        {"cov": 0.15},
        {"cov": 0.15, "difference": 0},
        {"cov": 0.15, "difference": -0.1},
        {"cov": 0.15, "difference": 0.1, "power": 1},
        {"cov": 0.15, "difference": 0.1, "sides": 3},
        {"cov": 0.15, "difference": 1e-5},
        {"cov": 0.15, "difference": 0.1, "disagreement": 0.02},
        {"cov": 0.15, "difference": 0.05, "between_cov": 0.1, "fillings": 3},
        {"cov": 0.15, "difference": 0.05, "between_cov": 0.1, "fillings": 1},
    ],
)
def test_impossible_questions_are_refused(wrong):
    with pytest.raises(InputError):
        plan.difference(**wrong)
