"""The classroom: the running interval against SciPy, the hundred laboratories against closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from methods.classroom import hidden_oil, laboratories, running, virtual_test, wetness_at
from methods.errors import InputError
from methods.protocols import recognise
from methods.simulate import Bench, setting


def test_running_figures_equal_scipys_t_interval():
    """scipy.stats.ttest_1samp gives the same interval after each breakdown."""
    kv = [58.4, 66.1, 71.9, 63.0, 74.5, 69.7]
    table = running(kv, confidence=0.9)
    assert np.isnan(table.loc[0, "sd_kv"])
    for n in range(2, 7):
        row = table.loc[n - 1]
        ci = stats.ttest_1samp(kv[:n], 0).confidence_interval(0.9)
        assert (row.low_kv, row.high_kv) == pytest.approx((ci.low, ci.high), rel=1e-12)
        assert row.sd_kv == pytest.approx(np.std(kv[:n], ddof=1), rel=1e-12)


def test_no_mean_once_a_ceiling_was_reached():
    table = running([50.0, 60.0, 55.0], [False, True, False])
    assert table["mean_kv"].notna().tolist() == [True, False, False]


def test_spread_of_means_follows_the_nested_formula():
    """SD of means = sqrt(s_f^2/k + s_w^2/(k n)): one-way random model, any textbook on variance components."""
    bench = Bench(60.0, between_cov=0.05, within_cov=0.15, family="normal")
    found = laboratories(bench, designs=[(1, 6), (3, 2), (5, 3)], count=4000, rng=1).summary
    for row in found.itertuples():
        n = row.breakdowns / row.fillings
        want = 100 * np.sqrt(0.05**2 / row.fillings + 0.15**2 * (1 + 0.05**2) / row.breakdowns)
        assert row.spread_percent == pytest.approx(want, rel=0.05), n


def test_the_pooled_interval_misses_what_the_filling_interval_covers():
    """t on independent normal filling means covers at its nominal rate; pooling breakdowns of one filling does not."""
    bench = Bench(60.0, between_cov=0.08, within_cov=0.10, family="normal")
    found = laboratories(bench, designs=[(1, 6), (5, 3)], count=3000, rng=2).summary.set_index("design")
    assert found.loc["5 × 3", "fillings_covers"] == pytest.approx(0.95, abs=0.015)
    assert found.loc["1 × 6", "pooled_covers_high"] < 0.80
    assert np.isnan(found.loc["1 × 6", "fillings_covers"])


def test_an_oil_on_the_limit_passes_half_the_time():
    bench = Bench(50.0, between_cov=0.0, within_cov=0.2, family="normal")
    found = laboratories(bench, designs=[(1, 6)], count=4000, limit_kv=50.0, rng=3).summary
    assert found.loc[0, "passes_low"] < 0.5 < found.loc[0, "passes_high"]


def test_ceilings_leave_no_mean_and_say_so():
    found = laboratories(Bench(60.0, 0.05, 0.1, ceiling_kv=62.0), designs=[(1, 6)], count=50, rng=4)
    assert found.summary.loc[0, "no_mean"] > 0
    assert found.cautions[0].code == "withstood"
    assert found.results["mean_kv"].isna().sum() == found.summary.loc[0, "no_mean"]


def test_same_seed_same_class_and_bad_counts_are_refused():
    bench = Bench(50.0)
    assert laboratories(bench, rng=5).results.equals(laboratories(bench, rng=5).results)
    with pytest.raises(InputError):
        laboratories(bench, count=1)
    with pytest.raises(InputError):
        laboratories(bench, laboratory_cov=1.2)


def test_cancel_stops_between_designs():
    found = laboratories(Bench(50.0), designs=[(1, 5), (1, 6)], cancel=lambda: True)
    assert found.results.empty and found.summary.empty


def test_one_more_breakdown_never_changes_those_before():
    bench = setting("60156 spherical still").bench(0.4)
    longer, shorter = virtual_test(bench, 14, rng=3), virtual_test(bench, 9, rng=3)
    assert longer.table.head(9).equals(shorter.table)
    assert (longer.fillings, shorter.fillings) == (3, 2)
    assert virtual_test(bench, 0).mean_kv is None


def test_complete_fillings_are_judged_and_averaged():
    """The interval of the filling means equals scipy.stats.ttest_1samp on them."""
    bench = replace(setting("D1816 2 mm").bench(0.3), ceiling_kv=None)
    found = virtual_test(bench, 17, breakdowns_per_filling=5, protocol=recognise("ASTM D1816 2 mm"), rng=1)
    assert found.verdicts["filling"].tolist() == ["1", "2", "3"]
    means = found.table.groupby("filling")["kv"].mean().head(3)
    ci = stats.ttest_1samp(means, 0).confidence_interval()
    assert (found.fillings_low_kv, found.fillings_high_kv) == pytest.approx((ci.low, ci.high), rel=1e-12)


def test_water_lowers_an_oil_only_once_it_is_fairly_saturated():
    """Flat to about 20-30 % relative saturation, then a steep fall (from memory)."""
    assert wetness_at(0.1) == 0.0 and wetness_at(1.2) == 1.0
    assert 0 < wetness_at(0.3) < 0.1 < wetness_at(0.6)


def test_a_challenge_is_the_same_for_the_whole_class():
    item = setting("60156 spherical stirred")
    assert hidden_oil(7, item) == hidden_oil(7, item) != hidden_oil(8, item)
