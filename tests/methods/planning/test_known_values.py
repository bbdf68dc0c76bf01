"""Tolerance factors, order statistics, SDs, CoV and equivalence against published values."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from scipy import stats

from methods import InputError
from methods.planning.equivalence_plan import plan_equivalence, power_equivalence
from methods.planning.order_statistics import size_one_sided
from methods.planning.percentile_plan import plan_percentile
from methods.planning.spread_plan import plan_sd, power_of_f, sd_limit_factors
from methods.planning.tolerance import tolerance_one_sided
from methods.scatter.free_limits import free_limits, quantile_ranks
from methods.scatter.one_oil import one_oil
from tests.reference import agrees, expected, names


def crossover(total, cov, ratio):
    """Power on the log scale when each of ``total`` samples is taken both ways, margins 0.8 and 1.25."""
    sd = math.sqrt(math.log1p(cov**2))
    return power_equivalence(math.log(0.8), math.log(1.25), math.log(ratio), sd * math.sqrt(2 / total), total - 2)


@pytest.mark.parametrize("name", names("G03"))
def test_equivalence(name):
    """R's PowerTOST, exact by Owen's Q (case G03)."""
    if name == "logscale_2x2_CV0.2_theta0.95_n":
        found = next(n for n in range(4, 100, 2) if crossover(n, 0.2, 0.95) >= 0.8)
    elif name == "logscale_2x2_CV0.2_power":
        found = crossover(20, 0.2, 0.95)
    elif name.startswith("power_total"):
        n, margin, shift = re.fullmatch(r"power_total_n(\d+)_margin([\d.]+)_theta([\d.]+)", name).groups()
        found = power_equivalence(-float(margin), float(margin), float(shift), math.sqrt(4 / int(n)), int(n) - 2)
    else:
        margin, shift = re.search(r"margin([\d.]+)_theta([\d.]+)", name).groups()
        asked = plan_equivalence(sd=1, margin=float(margin), expected_difference=float(shift))
        n = asked.breakdowns_per_condition
        if name.startswith("achieved"):  # the pooled tests of the case; the plan tells Welch's, a little less
            found = power_equivalence(-float(margin), float(margin), float(shift), math.sqrt(2 / n), 2 * n - 2)
            assert found - 0.02 < asked.power <= found
        else:
            found = 2 * n
    agrees("G03", name, found)


@pytest.mark.parametrize("name", [n for n in names("G04") if not n.startswith("cv")])
def test_spread(name):
    """Greenwood and Sandomire (1950), chi-square (case G04)."""
    if name.startswith("df_P"):
        found = plan_sd(float(re.search(r"within_([\d.]+)", name)[1])).degrees_of_freedom
    elif "ratio_1+" in name:
        room = float(re.search(r"1\+([\d.]+)", name)[1])
        kind = "upper_one_sided" if name.startswith("n_onesided") else "upper"
        found = plan_sd(room, kind=kind).breakdowns
    else:
        found = sd_limit_factors(int(re.search(r"n(\d+)", name)[1]) - 1)
    agrees("G04", name, found)


@pytest.mark.parametrize("name", [n for n in names("G04") if "exact_nct" in n])
def test_limits_of_a_cov(name):
    """The oil's CoV against the exact limits by the noncentral t (case G04), to what its fixed points resolve."""
    n, cov = re.fullmatch(r"cv_ci95_exact_nct_n(\d+)_cv([\d.]+)", name).groups()
    z = stats.norm.ppf((np.arange(int(n)) + 0.5) / int(n))
    z = (z - z.mean()) / z.std(ddof=1)
    found = one_oil(50 * (1 + float(cov) * z)).cov_limits_percent
    assert np.array(found) / 100 == pytest.approx(np.array(expected("G04", name)), rel=0.03)


@pytest.mark.parametrize("name", [n for n in names("G05") if "k1" in n and "natrella" not in n])
def test_tolerance_factors(name):
    """NIST/SEMATECH e-Handbook 7.2.6.3, ISO 16269-6; R's tolerance package (case G05)."""
    _, n, share, level = re.fullmatch(r"(\w+)_n(\d+)_P([\d.]+)_c([\d.]+)", name).groups()
    agrees("G05", name, tolerance_one_sided(int(n), float(share), float(level)))


def test_a_plan_tells_its_tolerance_limit():
    made = plan_percentile(cov=0.15, p=0.01, half_width=0.3)
    assert made.tolerance_factor == tolerance_one_sided(made.breakdowns, 0.99, 0.95)
    assert made.surely_above_percent == pytest.approx(100 * (1 - 0.15 * made.tolerance_factor))
    assert plan_percentile(cov=0.15, p=0.01, half_width=0.3, family="weibull").tolerance_factor is None


@pytest.mark.parametrize("name", [n for n in names("G06") if not n.startswith("two")])
def test_order_statistics(name):
    """Wilks (1941), ISO 16269-6 (case G06)."""
    if name.startswith("quantile"):
        n, p = re.fullmatch(r"quantile_ci95_ranks_n(\d+)_p([\d.]+)", name).groups()
        found = quantile_ranks(int(n), float(p))
        kv = np.random.default_rng(0).permutation(np.arange(1.0, int(n) + 1))
        (limits,) = free_limits(kv, percentiles=[float(p)])
        assert [limits.low, limits.high] == pytest.approx([np.nan if r is None else r for r in found], nan_ok=True)
    else:
        share, level = (float(v) for v in re.search(r"P([\d.]+)_c([\d.]+)", name).groups())
        found = size_one_sided(share, level, rank=2 if "2nd" in name else 1)
    agrees("G06", name, found)


def test_withstands_and_fillings_in_limits_without_a_family():
    """A ceiling is at least itself: it can be a lower limit, never an upper one; nested values have no such limits."""
    kv, stood = np.array([40.0, 42, 44, 46, 48, 50, 52, 54, 60, 60]), np.arange(10) >= 8
    (median,) = free_limits(kv, stood, percentiles=[0.5])
    assert (median.low, median.high) == (42.0, np.nan) or (median.low == 42.0 and np.isnan(median.high))
    assert free_limits(kv, stood, [1] * 5 + [2] * 5) == ()
    assert free_limits(kv, stood, np.arange(10), percentiles=[0.5])[0].low == 42.0
    assert quantile_ranks(10, 0.01)[0] is None
    with pytest.raises(InputError):
        quantile_ranks(0, 0.5)


@pytest.mark.parametrize(("n", "factor"), [(6, 5.06), (10, 3.98), (30, 3.06), (60, 2.81)])
def test_tolerance_table_of_the_trade_by_simulation(n, factor):
    """99 % of breakdowns above, 95 % confidence: the factor, and its coverage with seeded normal samples."""
    k = tolerance_one_sided(n, 0.99, 0.95)
    assert k == pytest.approx(factor, abs=0.006)
    x = np.random.default_rng(n).standard_normal((40000, n))
    covered = x.mean(axis=1) - k * x.std(axis=1, ddof=1) < stats.norm.ppf(0.01)
    assert covered.mean() == pytest.approx(0.95, abs=0.005)


def test_six_breakdowns_at_cov_of_a_fifth_have_a_negative_lower_limit():
    assert 1 - 0.20 * tolerance_one_sided(6, 0.99, 0.95) < 0


@pytest.mark.parametrize(("share", "n"), [(0.99, 299), (0.95, 59), (0.90, 29)])
def test_lowest_of_many_by_arithmetic(share, n):
    """Independent: the chance that all n lie above the point is share**n."""
    assert size_one_sided(share) == n
    assert 1 - share**n >= 0.95 > 1 - share ** (n - 1)


@pytest.mark.parametrize(("n", "low", "high"), [(5, 0.60, 2.87), (6, 0.62, 2.45), (10, 0.69, 1.83), (30, 0.80, 1.34)])
def test_sd_limits_of_the_trade(n, low, high):
    assert sd_limit_factors(n - 1) == pytest.approx((low, high), abs=0.006)


def test_power_of_equivalence_by_simulation():
    rng = np.random.default_rng(9)
    k, se_unit, shift, margin = 6, 0.08, 0.03, 0.15
    a = se_unit * rng.standard_normal((40000, k))
    b = shift + se_unit * rng.standard_normal((40000, k))
    difference = b.mean(axis=1) - a.mean(axis=1)
    error = np.sqrt((a.var(axis=1, ddof=1) + b.var(axis=1, ddof=1)) / k)
    reach = stats.t.ppf(0.95, 2 * k - 2) * error
    passed = (difference - reach > -margin) & (difference + reach < margin)
    exact = power_equivalence(-margin, margin, shift, se_unit * math.sqrt(2 / k), 2 * k - 2)
    assert exact == pytest.approx(passed.mean(), abs=0.008)
    few = plan_equivalence(
        cov=0.15, between_cov=math.sqrt(se_unit**2 - 0.15**2 / 5), margin=margin, expected_difference=shift, fillings=k
    )
    v = (a.var(axis=1, ddof=1) / k, b.var(axis=1, ddof=1) / k)
    df = (v[0] + v[1]) ** 2 * (k - 1) / (v[0] ** 2 + v[1] ** 2)
    reach = stats.t.ppf(0.95, df) * error
    welch = (difference - reach > -margin) & (difference + reach < margin)
    assert few.power == pytest.approx(welch.mean(), abs=0.008) and few.power < exact


def test_equivalence_plan_with_fillings():
    plan = plan_equivalence(cov=0.12, margin=0.05, between_cov=0.04)
    assert plan.breakdowns_per_filling == 5
    assert plan.power >= 0.8
    assert (
        plan_equivalence(cov=0.12, margin=0.05, between_cov=0.04, fillings=plan.fillings_per_condition - 1).power < 0.8
    )
    with pytest.raises(InputError, match="not within"):
        plan_equivalence(cov=0.12, margin=0.05, expected_difference=0.05)
    with pytest.raises(InputError):
        plan_equivalence(cov=0.12, margin=0.05, confidence=0.4)
    with pytest.raises(InputError, match="widen the margin"):
        plan_equivalence(cov=0.12, margin=0.0001, between_cov=0.04)
    with pytest.raises(InputError, match="lower margin"):
        power_equivalence(1, -1, 0, 1, 5)


def test_power_of_the_f_test_by_simulation():
    rng = np.random.default_rng(4)
    df, ratio = 20, 1.8
    f = rng.chisquare(df, 40000) * ratio**2 / rng.chisquare(df, 40000)
    low, high = stats.f.ppf([0.025, 0.975], df, df)
    assert power_of_f(df, ratio) == pytest.approx(np.mean((f < low) | (f > high)), abs=0.008)
    plan = plan_sd(ratio=1.5)
    assert (
        power_of_f(plan.breakdowns_per_condition - 1, 1.5) >= 0.8 > power_of_f(plan.breakdowns_per_condition - 2, 1.5)
    )
    assert plan_sd(ratio=1 / 1.5).breakdowns == plan.breakdowns


def test_fillings_cost_degrees_of_freedom():
    assert plan_sd(0.2).breakdowns == 49
    spread = plan_sd(0.2, fillings=5)
    assert spread.degrees_of_freedom >= 48
    assert spread.breakdowns == spread.degrees_of_freedom + 5
    assert spread.breakdowns % 5 == 0
    many = plan_sd(0.2, fillings=200)
    assert many.achieved == pytest.approx(
        stats.chi2.cdf(many.degrees_of_freedom * 1.44, many.degrees_of_freedom)
        - stats.chi2.cdf(many.degrees_of_freedom * 0.64, many.degrees_of_freedom)
    )


@pytest.mark.parametrize(
    "wrong",
    [{}, {"within": 0.2, "ratio": 2}, {"within": 0}, {"within": 0.2, "kind": "lower"}, {"ratio": 1}, {"within": 1e-5}]
    + [{"within": 0.2, "confidence": 1}],
)
def test_impossible_spread_plans_are_refused(wrong):
    with pytest.raises(InputError):
        plan_sd(**wrong)
