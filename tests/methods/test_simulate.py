"""The invented oils: shapes, seeds, and moments against closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from methods.errors import InputError
from methods.simulate import SETTINGS, Bench, draw, series, setting


@pytest.mark.parametrize("family", ["normal", "weibull", "lognormal"])
def test_mean_and_scatter_are_what_was_asked(family):
    """Long-run mean and CoV equal the bench's; sampling error bounds from the normal theory of moments."""
    bench = Bench(60.0, between_cov=0.0, within_cov=0.15, family=family)
    kv, _ = draw(bench, repetitions=200, fillings=10, breakdowns=50, rng=1)
    assert kv.mean() == pytest.approx(60.0, rel=5 * 0.15 / np.sqrt(kv.size))
    assert kv.std() / kv.mean() == pytest.approx(0.15, rel=0.02)


def test_weibull_shape_matches_scipy():
    """A bench with within CoV of 12.0 % is a Weibull of shape 10 (closed form of the moments, scipy.stats)."""
    exact = stats.weibull_min(10)
    kv, _ = draw(Bench(60.0, 0.0, float(exact.std() / exact.mean())), breakdowns=20000, rng=2)
    assert stats.kstest(kv.ravel() / 60.0 * exact.mean(), exact.cdf).pvalue > 0.01


def test_between_and_within_add_up():
    """Variance of filling means = between + within / n (one-way random model)."""
    bench = Bench(50.0, between_cov=0.08, within_cov=0.2, family="normal")
    kv, _ = draw(bench, repetitions=4000, fillings=1, breakdowns=5, rng=3)
    cov_of_means = kv.mean(axis=2).std() / 50
    assert cov_of_means == pytest.approx(np.sqrt(0.08**2 + (1 + 0.08**2) * 0.2**2 / 5), rel=0.05)


def test_correlation_is_lag_one():
    bench = Bench(50.0, between_cov=0.0, within_cov=0.1, correlation=0.4, family="normal")
    kv, _ = draw(bench, breakdowns=20000, rng=4)
    x = kv.ravel()
    assert np.corrcoef(x[:-1], x[1:])[0, 1] == pytest.approx(0.4, abs=0.03)


def test_ceiling_is_marked_and_never_passed():
    kv, reached = draw(Bench(60.0, 0.05, 0.15, ceiling_kv=60.0), breakdowns=1000, rng=5)
    assert kv.max() == 60.0
    assert (kv[reached] == 60.0).all() and (kv[~reached] < 60.0).all()
    assert 0.3 < reached.mean() < 0.7


def test_the_same_seed_gives_the_same_series():
    bench = setting("D1816 1 mm").bench(0.5)
    assert series(bench, fillings=2, rng=7).equals(series(bench, fillings=2, rng=7))
    assert not series(bench, fillings=2, rng=7).equals(series(bench, fillings=2, rng=8))


def test_wetness_lowers_the_level_in_every_setting():
    for item in SETTINGS:
        assert item.bench(0.0).mean_kv > item.bench(0.5).mean_kv > item.bench(1.0).mean_kv


@pytest.mark.parametrize(
    ("name", "value"),
    [("mean_kv", -1), ("between_cov", 1.0), ("correlation", 1.0), ("low_share", -0.1), ("family", "cauchy")],
)
def test_impossible_benches_are_refused_by_name(name, value):
    with pytest.raises(InputError, match=name):
        replace(Bench(50.0), **{name: value})


def test_unknown_setting_lists_the_known():
    with pytest.raises(InputError, match="D1816 1 mm"):
        setting("D9999")


def test_correlation_leaves_the_scatter_as_it_is():
    """A stationary series: its SD is the same at every place (closed form), its lag-1 correlation the one asked for."""
    bench = Bench(60.0, 0.0, 0.1, correlation=0.6, family="normal")
    kv, _ = draw(bench, repetitions=4000, breakdowns=6, rng=1)
    assert kv[:, 0].std(axis=0) == pytest.approx(np.full(6, 6.0), rel=0.05)
    assert np.corrcoef(kv[:, 0, 4], kv[:, 0, 5])[0, 1] == pytest.approx(0.6, abs=0.03)
