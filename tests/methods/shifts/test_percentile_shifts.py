"""Shift of percentiles: Kaplan-Meier percentiles, resamples of fillings, families, bands."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, optimize, stats

from methods.errors import InputError, NotEstimable
from methods.scatter import fit
from methods.shifts import percentile_shift
from methods.shifts.percentile_errors import Spread, _combine
from methods.shifts.resampling import bootstrap_percentiles, filling_weights, leave_one_out, weighted_percentiles
from tests.methods.shifts.test_shifts import bench


def test_percentiles_without_withstands_are_hazens() -> None:
    """NumPy's ``hazen`` quantiles, live."""
    x = np.sort(np.random.default_rng(1).normal(50, 6, 40))
    p = np.array([0.02, 0.1, 0.5, 0.97])
    found = weighted_percentiles(x, np.zeros(40, bool), np.ones((1, 40)), p)[0]
    np.testing.assert_allclose(found, np.quantile(x, p, method="hazen"))
    beyond = weighted_percentiles(x, np.zeros(40, bool), np.ones((1, 40)), [0.01, 0.99])[0]
    assert np.isnan(beyond).all()


def test_whole_weights_are_repeated_values() -> None:
    rng = np.random.default_rng(2)
    x, p = np.sort(rng.normal(50, 6, 60)), np.array([0.1, 0.5, 0.9])
    weights = filling_weights(np.repeat(np.arange(10), 6), 50, rng)
    assert (weights.sum(axis=1) == 60).all()
    found = weighted_percentiles(x, np.zeros(60, bool), weights, p)
    for row, w in zip(found, weights, strict=True):
        values, counts = np.unique(np.repeat(x, w.astype(int)), return_counts=True)
        steps = (np.cumsum(counts) - counts / 2) / counts.sum()
        np.testing.assert_allclose(row, np.interp(p, steps, values, left=np.nan, right=np.nan))


def test_withstands_follow_kaplan_and_meier() -> None:
    """statsmodels' survival function, live: the percentile lies where its step passes the middle."""
    from statsmodels.duration.survfunc import SurvfuncRight

    rng = np.random.default_rng(3)
    x = np.round(rng.normal(50, 6, 80), 3)
    ceiling = rng.choice([48.0, 55.0, 60.0], 80)
    gone = x > ceiling
    kv = np.minimum(x, ceiling)
    order = np.lexsort([gone, kv])
    live = SurvfuncRight(kv, ~gone)
    after = 1 - live.surv_prob
    middle = 0.5 * (after + np.concatenate([[0], after[:-1]]))
    p = np.array([0.05, 0.3, 0.5, 0.7])
    found = weighted_percentiles(kv[order], gone[order], np.ones((1, 80)), p)[0]
    np.testing.assert_allclose(found, np.interp(p, middle, live.surv_times))
    # Above the last breakdown nothing is known.
    assert np.isnan(weighted_percentiles(kv[order], gone[order], np.ones((1, 80)), [0.99])).all()


def test_bootstrap_takes_whole_fillings() -> None:
    """Fillings of equal values: the scatter of the resampled median is that of k values, not of k x 20."""
    centre = np.random.default_rng(4).normal(50, 3, 25)
    kv, filling = np.repeat(centre, 20), np.repeat(np.arange(25), 20)
    rng = np.random.default_rng(5)
    many = np.vstack(list(bootstrap_percentiles(kv, np.zeros(500, bool), filling, [0.5], 1000, rng)))
    plain = [np.median(centre[np.random.default_rng(i).integers(0, 25, 25)]) for i in range(1000)]
    assert np.std(many) == pytest.approx(np.std(plain), rel=0.15)


def test_leave_one_out() -> None:
    stay, group = leave_one_out(np.arange(6.0), np.array([0, 0, 1, 1, 2, 2]), 60, np.random.default_rng(0))
    assert stay.shape == (3, 6) and (stay.sum(axis=1) == 4).all()
    stay, group = leave_one_out(np.arange(300.0), np.arange(300), 60, np.random.default_rng(0))
    assert stay.shape == (60, 300) and (np.bincount(group) == 5).all()


def test_normal_median_is_the_shift_of_the_mean() -> None:
    """For the normal family the 50 % point is the mean, and the jackknife of equal fillings is Welch's error."""
    from methods.shifts import shift

    frame = bench({("A", "s"): (50, 4), ("A", "m"): (45, 5)}, seed=6)
    mean = shift(frame, "electrode", reference="s").shifts[0]
    level = percentile_shift(
        frame, "electrode", reference="s", percentiles=[0.5], family="normal", repetitions=200
    ).levels[0]
    point = level.points[0]
    np.testing.assert_allclose(
        [point.difference_kv, point.low_kv, point.high_kv], [mean.difference_kv, mean.low_kv, mean.high_kv], rtol=1e-6
    )


def test_family_points_are_the_fits() -> None:
    frame = bench({("A", "s"): (50, 5), ("A", "m"): (45, 5)}, seed=7)
    hit = frame["kv"] > 54
    frame["outcome"] = np.where(hit, "withstood", "breakdown")
    frame.loc[hit, "kv"] = 54.0
    result = percentile_shift(frame, "electrode", reference="s", family="weibull", repetitions=200)
    for point in result.levels[0].points:
        for electrode, kv in (("m", point.kv), ("s", point.reference_kv)):
            rows = frame[frame["electrode"] == electrode]
            one = fit(rows["kv"], rows["outcome"] == "withstood", family="weibull")
            shape, scale = one.parameters["shape"], one.parameters["scale"]
            assert kv == pytest.approx(scale * (-math.log(1 - point.p)) ** (1 / shape), rel=1e-6)
    assert "withstood" in [w.code for w in result.cautions]


@pytest.mark.parametrize(("count", "df"), [(1, 6.0), (3, 6.0), (3, 14.0)])
def test_the_band_is_a_multivariate_t(count: int, df: float) -> None:
    """Independent percentiles: the studentized maximum modulus, integrated by SciPy over the scatter found."""

    def share(c: float) -> float:
        return integrate.quad(
            lambda s: (2 * stats.norm.cdf(c * s) - 1) ** count * stats.chi.pdf(s * math.sqrt(df), df) * math.sqrt(df),
            0, 6,
        )[0]  # fmt: skip

    exact = optimize.brentq(lambda c: share(c) - 0.95, 1, 9)
    draws = np.random.default_rng(2).standard_normal((20_000, count))
    one = np.ones(count)
    spread = Spread(one, one, one, one, df * one, draws=draws)
    np.testing.assert_allclose(spread.band(0.95, log=False), exact, rtol=0.02)


def test_band_holds_the_pointwise_limits() -> None:
    frame = bench({("A", "s"): (50, 6), ("A", "m"): (45, 6)}, seed=8)
    result = percentile_shift(frame, "electrode", reference="s", repetitions=400, rng=3)
    level = result.levels[0]
    for r in level.curve:
        assert r.band_low_kv <= r.low_kv <= r.difference_kv <= r.high_kv <= r.band_high_kv
    assert level.curve[0].p >= 1 / 72
    again = percentile_shift(frame, "electrode", reference="s", repetitions=400, rng=3)
    assert again.levels[0].curve == level.curve
    beyond = [w for w in result.cautions if w.code == "percentile_beyond_data"]
    assert beyond and "1 %" in beyond[0].text and math.isnan(level.points_from_data[0].kv)


def test_a_shifted_copy_shifts_every_percentile() -> None:
    """The same fillings, 7 kV lower: each percentile shifts by 7 kV."""
    one = bench({("A", "s"): (50, 4)}, seed=9)
    two = one.assign(electrode="m", kv=one["kv"] - 7)
    level = percentile_shift(
        pd.concat([one, two]), "electrode", reference="s", repetitions=100, family="normal"
    ).levels[0]
    np.testing.assert_allclose([r.difference_kv for r in level.curve], -7)
    np.testing.assert_allclose([r.difference_kv for r in level.points], -7)


def test_several_oils_and_single_fillings() -> None:
    cells = {
        (oil, e): (mean * f, 1)
        for oil, mean in zip("ABCD", (40, 50, 60, 70), strict=True)
        for e, f in (("s", 1), ("m", 0.9))
    }
    level = percentile_shift(bench(cells), "electrode", reference="s", percentiles=[0.5], family="normal").levels[0]
    means = bench(cells).groupby(["electrode", "sample"])["kv"].mean()
    shifts = means["m"] - means["s"]
    assert level.points[0].difference_kv == pytest.approx(shifts.mean(), rel=1e-6)
    half = 3.182446 * shifts.std() / 2  # t(0.975, 3)
    assert level.points[0].high_kv == pytest.approx(shifts.mean() + half, rel=1e-5)


def test_progress_and_cancel() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (45, 4)})
    seen: list[float] = []
    percentile_shift(frame, "electrode", repetitions=500, progress=seen.append)
    assert seen == sorted(seen) and seen[-1] == 1.0
    seen = []
    result = percentile_shift(frame, "electrode", repetitions=5000, progress=seen.append, cancel=lambda: len(seen) > 2)
    assert 100 <= result.repetitions < 5000
    with pytest.raises(NotEstimable):
        percentile_shift(frame, "electrode", cancel=lambda: True)


def test_refusals() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (45, 4)})
    for bad in ({"percentiles": [1]}, {"percentiles": []}, {"repetitions": 5}, {"family": "gamma"}):
        with pytest.raises(InputError):
            percentile_shift(frame, "electrode", **bad)


def test_degrees_of_freedom_of_a_percentile_shift_are_welchs() -> None:
    """Outside: SciPy's Welch test of two samples whose means have the variances that the draws have."""
    rng = np.random.default_rng(8)
    d1, d2 = rng.normal(0, 1.0, (300, 1)), rng.normal(0, 2.0, (300, 1))
    found = _combine(np.array([50.0]), np.array([60.0]), d1, d2, [4, 9])
    sides = []
    for draws, size in ((d1, 5), (d2, 10)):
        values = rng.normal(0, 1, size)
        sides.append(values * np.sqrt(draws.var(ddof=1) * size / values.var(ddof=1)))
    welch = stats.ttest_ind(*sides, equal_var=False)
    assert found.df[0] == pytest.approx(welch.df, rel=0.01)
    assert found.error[0] == pytest.approx(np.sqrt(d1.var(ddof=1) + d2.var(ddof=1)), rel=0.01)
