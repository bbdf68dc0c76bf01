"""Kaplan-Meier, empirical distribution, density and probability scales."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from methods.errors import InputError, NotEstimable
from methods.scatter import (
    ecdf,
    kaplan_meier,
    kernel_density,
    plotting_positions,
    probability_position,
    probability_ticks,
    survival_quantile,
    thin,
)
from methods.scatter.survival import band_half_width
from tests.reference import agrees, data


def gehan():
    rows = data("A05_gehan.csv")
    return rows["weeks"].to_numpy(float), rows["event"].to_numpy() == 0, rows["treat"].to_numpy()


def test_remission_times():
    """Case A05: Freireich/Gehan in Lawless 2003; Kaplan-Meier, Greenwood."""
    t, gone, treat = gehan()
    mine = treat == "6-MP"
    table = kaplan_meier(t[mine], gone[mine])
    agrees("A05", "km_times", table["kv"])
    agrees("A05", "km_surv", table["survival"])
    agrees("A05", "km_se_greenwood", table["standard_error"])
    agrees("A05", "km_median_6MP", survival_quantile(table, 0.5))


def test_agrees_with_statsmodels():
    from statsmodels.duration.survfunc import SurvfuncRight

    t, gone, _ = gehan()
    reference = SurvfuncRight(t, (~gone).astype(int))
    table = kaplan_meier(t, gone, limits="plain")
    np.testing.assert_allclose(table["survival"], reference.surv_prob, rtol=1e-12)
    np.testing.assert_allclose(table["standard_error"][:-1], reference.surv_prob_se[:-1], rtol=1e-12)


def test_limits_keep_their_range_and_order():
    t, gone, _ = gehan()
    table = kaplan_meier(t, gone)
    inside = table.dropna()
    assert ((inside["low"] > 0) & (inside["low"] < inside["survival"]) & (inside["high"] > inside["survival"])).all()
    # The last two groups: S = 0.4482, se = 0.1346 of the 6-MP arm, by hand on the log-log scale.
    arm = kaplan_meier(*(v[gehan()[2] == "6-MP"] for v in (t, gone)))
    last = arm.iloc[-1]
    half = 1.959964 * last["standard_error"] / (last["survival"] * abs(np.log(last["survival"])))
    assert last["low"] == pytest.approx(last["survival"] ** np.exp(half), rel=1e-6)


def test_without_withstands_it_is_the_empirical_distribution():
    x = data("A03_ball_bearings.csv")["cycles"].to_numpy()
    np.testing.assert_allclose(kaplan_meier(x)["probability"], ecdf(x)["probability"], rtol=1e-12)
    assert np.isnan(kaplan_meier(x)["low"].iloc[-1])  # nobody survives the last: no variance, no limit


def test_all_withstood_has_no_curve():
    with pytest.raises(NotEstimable, match="withstood"):
        kaplan_meier([60.0, 60, 60], [True] * 3)
    with pytest.raises(InputError, match="log-log"):
        kaplan_meier([60.0, 50], limits="exact")


def test_band_of_the_empirical_distribution():
    """Kolmogorov's exact 5 % point at n = 20 is 0.294 (published: Miller, J. Amer. Statist. Assoc. 51 (1956) 111)."""
    assert band_half_width(20) == pytest.approx(0.29408, abs=5e-5)
    assert band_half_width(100_000) == pytest.approx(np.sqrt(np.log(40) / 200_000))
    half = band_half_width(25)
    u = np.sort(np.random.default_rng(2).random((4000, 25)), axis=1)
    i = np.arange(1, 26)
    d = np.maximum((i / 25 - u).max(1), (u - (i - 1) / 25).max(1))
    assert (d <= half).mean() == pytest.approx(0.95, abs=0.0104)  # three standard errors


def test_thinning_keeps_both_tails():
    kept = thin(np.arange(1_000_000))
    assert len(kept) <= 2000
    assert set(range(200)) <= set(kept) and set(range(999_800, 1_000_000)) <= set(kept)
    assert (np.diff(kept) > 0).all()
    assert list(thin(np.arange(50))) == list(range(50))
    assert np.diff(kept[200:-200]).max() < 700
    with pytest.raises(InputError):
        thin(np.arange(5000), limit=400)


def test_density_equals_the_direct_sum():
    x = 50 * np.random.default_rng(3).weibull(8, 300)
    table = kernel_density(x)
    h = table.attrs["bandwidth_kv"]
    direct = stats.norm.pdf(table["kv"].to_numpy()[:, None], x[None, :], h).mean(1)
    np.testing.assert_allclose(table["density"], direct, atol=2e-3 * direct.max())
    assert len(table) == 512
    assert np.trapezoid(table["density"], table["kv"]) == pytest.approx(1, abs=2e-3)
    iqr = np.subtract(*np.percentile(x, [75, 25])) / 1.34
    assert h == pytest.approx(0.9 * min(x.std(ddof=1), iqr) * 300**-0.2)
    with pytest.raises(NotEstimable):
        kernel_density([50.0, 50.0])


def test_median_ranks():
    """Exact median ranks of 5: 12.94, 31.38, 50, 68.62, 87.06 % (published: Johnson 1964, table)."""
    table = plotting_positions([44.0, 41, 52, 47, 60])
    np.testing.assert_allclose(table["probability"], [0.1294, 0.3138, 0.5, 0.6862, 0.8706], atol=5e-5)
    assert list(table["kv"]) == [41, 44, 47, 52, 60]


def test_median_ranks_of_large_samples_take_a_shorter_way_to_the_same_place():
    n = 20_000
    table = plotting_positions(np.arange(1.0, n + 1))
    some = np.array([0, 150, 199, 200, 201, 5000, n // 2, n - 201, n - 1])
    exact = stats.beta.ppf(0.5, some + 1.0, n - some)
    np.testing.assert_allclose(table["probability"].to_numpy()[some], exact, rtol=2e-6)


def test_johnson_ranks_with_withstands():
    """Rank increments worked by hand: (n + 1 - rank before) / (1 + number from here on)."""
    table = plotting_positions([30.0, 40, 50, 60, 70], [False, True, False, True, False])
    np.testing.assert_allclose(table["rank"], [1.0, 1 + 5 / 4, 2.25 + 3.75 / 2])
    same = plotting_positions([30.0, 40, 60, 60], [False, False, True, True])
    np.testing.assert_allclose(same["rank"], [1, 2])
    km = plotting_positions([30.0, 40, 60, 60], [False, False, True, True], method="kaplan_meier")
    np.testing.assert_allclose(km["probability"], [0.125, 0.375])
    with pytest.raises(NotEstimable):
        plotting_positions([60.0], [True])


def test_ticks_stand_at_true_probabilities():
    ticks = probability_ticks("weibull", 0.001, 0.99)
    assert ticks["label"].iloc[0] == "0.1 %" and {"1 %", "5 %", "50 %"} <= set(ticks["label"])
    at = ticks.set_index("label")["position"]
    assert at["50 %"] == pytest.approx(np.log(np.log(2)))
    assert probability_position(0.025, "normal") == pytest.approx(-1.959964, abs=1e-6)
