"""Plans for a difference: power and sizes against published tables and reference libraries, fillings by simulation."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower

from methods import InputError, plan
from methods.planning import power
from tests.reference import agrees, names


@pytest.mark.parametrize("name", names("G02"))
def test_power_and_sizes(name):
    """Cohen (1988); R's power.t.test and pwr, statsmodels (case G02)."""
    if name.startswith("power_unequal"):
        found = power.power_two_sample(0.8, 10, 30)
    elif name.startswith("power_n"):
        n, d = re.fullmatch(r"power_n(\d+)_d([\d.]+)", name).groups()
        found = power.power_two_sample(float(d), int(n))
    elif name.startswith("anova"):
        found = power.size_anova(4, 0.25, 0.8)
    else:
        kind, d, wanted = re.fullmatch(r"(\w+?)_d([\d.]+)_pw([\d.]+)", name).groups()
        effect, wanted = float(d), float(wanted)
        if kind == "two_sample_n":
            found = plan.difference(sd=1, difference=effect, power=wanted).breakdowns_per_condition
        else:
            found = {
                "two_sample_n_exact": lambda: power.size_two_sample(effect, wanted),
                "one_sample_n_exact": lambda: power.size_one_sample(effect, wanted),
                "two_sample_onesided_n_exact": lambda: power.size_two_sample(effect, wanted, sides=1),
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
    seen = stats.ttest_ind(a, b, axis=1).pvalue < 0.05
    assert found.power == pytest.approx(seen.mean(), abs=0.011)
    welch = stats.ttest_ind(a, b, axis=1, equal_var=False).pvalue < 0.05
    assert found.power == pytest.approx(welch.mean(), abs=0.02)
    assert found.power_known > found.power


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
    assert free.breakdowns_per_condition <= fixed.breakdowns_per_condition
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
