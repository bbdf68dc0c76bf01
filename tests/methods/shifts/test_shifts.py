"""The shift between levels: its unit of replication, its pairing by oil, its limits."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods.errors import InputError, NotEstimable
from methods.scatter import fit
from methods.shifts import Shift, shift
from methods.shifts.arms import _censored_arm, arm
from tests.reference import agrees, data, expected


def bench(
    cells: dict[tuple[str, str], tuple[float, int]],
    *,
    breakdowns: int = 6,
    between: float = 2.0,
    within: float = 5.0,
    seed: int = 0,
) -> pd.DataFrame:
    """Invented breakdowns: (sample, electrode) -> (mean, fillings)."""
    rng = np.random.default_rng(seed)
    rows = []
    for (sample, electrode), (mean, fillings) in cells.items():
        for f in range(fillings):
            centre = mean + rng.normal(0, between)
            for order in range(breakdowns):
                rows.append(
                    {"sample": sample, "electrode": electrode, "filling": str(f + 1), "order": order + 1,
                     "kv": max(centre + rng.normal(0, within), 1.0)}
                )  # fmt: skip
    return pd.DataFrame(rows)


def codes(result: Shift) -> list[str]:
    return [w.code for w in result.cautions]


def sleep(lift: float = 10.0) -> pd.DataFrame:
    """The sleep data, each value a filling of one breakdown, lifted above zero."""
    table = data("F01_sleep.csv")
    return pd.DataFrame(
        {"kv": table["extra"] + lift, "electrode": table["group"].astype(str), "filling": table["ID"].astype(str)}
    )


def test_is_welch_on_filling_means_sleep() -> None:
    """Case F01 (Student 1908; R t.test): one value a filling."""
    result = shift(sleep(), "electrode", reference="2")
    found = result.shifts[0]
    agrees("F01", "diff", found.difference_kv)
    agrees("F01", "welch_ci95", [found.low_kv, found.high_kv])
    agrees("F01", "welch_p", found.p_value)
    agrees("F01", "welch_df", found.df)
    # Fillings of one value have no scatter within: the ratio is that about the mean, R var.test.
    np.testing.assert_allclose(
        [found.sd_ratio_low**2, found.sd_ratio_high**2], expected("F01", "F_ratio_ci95"), rtol=1e-6
    )


def test_is_paired_t_over_samples_sleep() -> None:
    """Case F01: one filling a sample and level, so the samples are the unit."""
    frame = sleep()
    frame["sample"] = frame.pop("filling")
    result = shift(frame, "electrode", reference="2")
    found = result.shifts[0]
    agrees("F01", "paired_ci95", [found.low_kv, found.high_kv])
    agrees("F01", "paired_p", found.p_value)
    agrees("F01", "paired_df", found.df)
    assert found.method.startswith("paired t")
    assert "one_filling" not in codes(result)
    assert len(found.samples) == 10 and len(result.samples_used) == 10


def test_filling_means_against_scipy() -> None:
    frame = bench({("A", "spherical"): (50, 5), ("A", "mushroom"): (44, 3)}, seed=3)
    found = shift(frame, "electrode", confidence=0.9)
    means = frame.groupby(["electrode", "filling"])["kv"].mean()
    live = stats.ttest_ind(means["mushroom"], means["spherical"], equal_var=False)
    assert found.reference == "spherical"  # most fillings
    level = found.shifts[0]
    limits = live.confidence_interval(0.9)
    np.testing.assert_allclose([level.low_kv, level.high_kv, level.p_value], [*limits, live.pvalue])
    assert (level.fillings, level.breakdowns) == (3, 18)
    assert codes(found) == []
    assert level.sentence.startswith("mushroom reads") and "lower than spherical" in level.sentence


def test_one_filling_is_welch_on_breakdowns_and_says_so() -> None:
    frame = bench({("A", "spherical"): (50, 1), ("A", "disk"): (40, 1)}, breakdowns=8)
    result = shift(frame, "electrode", reference="spherical")
    groups = [frame.loc[frame["electrode"] == e, "kv"] for e in ("disk", "spherical")]
    live = stats.ttest_ind(*groups, equal_var=False)
    np.testing.assert_allclose([result.shifts[0].low_kv, result.shifts[0].high_kv], live.confidence_interval(0.95))
    assert "one_filling" in codes(result)


def test_unknown_fillings_count_as_one() -> None:
    frame = bench({("A", "spherical"): (50, 3), ("A", "disk"): (40, 3)}).drop(columns="filling")
    result = shift(frame, "electrode")
    assert "one_filling" in codes(result)
    assert result.shifts[0].fillings == 1
    assert "does not say which filling" in result.cautions[0].text


def test_one_filling_against_several_borrows_in_words() -> None:
    frame = bench({("A", "spherical"): (50, 4), ("A", "disk"): (40, 1)})
    result = shift(frame, "electrode")
    text = next(w.text for w in result.cautions if w.code == "one_filling")
    means = frame.groupby(["electrode", "filling"])["kv"].mean()
    value = means["disk"].iloc[0] - means["spherical"].mean()
    half = stats.t.ppf(0.975, 3) * means["spherical"].std() * np.sqrt(1 + 1 / 4)
    assert f"{value - half:+.3g} kV and {value + half:+.3g} kV" in text


@pytest.mark.parametrize("seed", range(40))
def test_percent_limits_agree_with_the_test(seed: int) -> None:
    """The percent limits leave out zero exactly where the p-value is below 1 - confidence."""
    rng = np.random.default_rng(seed)
    frame = bench(
        {("A", "a"): (50, int(rng.integers(2, 6))), ("A", "b"): (50 - 8 * rng.random(), int(rng.integers(2, 6)))},
        seed=seed, within=3,
    )  # fmt: skip
    for confidence in (0.5, 0.8, 0.95):
        found = shift(frame, "electrode", confidence=confidence).shifts[0]
        limits = np.array([found.low_percent, found.high_percent])
        if np.isfinite(limits).all():
            assert (found.p_value < 1 - confidence) == bool(limits[0] > 0 or limits[1] < 0)
            assert limits[0] <= found.difference_percent <= limits[1]


def test_percent_limits_are_fiellers_for_pairs() -> None:
    """With the oils as unit the limits are the roots of Fieller's quadratic (1954)."""
    rng = np.random.default_rng(5)
    oil = rng.normal(50, 15, 6)
    x, y = 0.9 * oil + rng.normal(0, 2, 6), oil + rng.normal(0, 2, 6)
    frame = pd.DataFrame(
        {"kv": [*x, *y], "electrode": ["m"] * 6 + ["s"] * 6, "sample": [*"ABCDEF", *"ABCDEF"], "filling": "1"}
    )
    found = shift(frame, "electrode", reference="s").shifts[0]
    t2 = stats.t.ppf(0.975, 5) ** 2 / 6
    s = np.cov(x, y)
    roots = np.roots(
        [y.mean() ** 2 - t2 * s[1, 1], -2 * (x.mean() * y.mean() - t2 * s[0, 1]), x.mean() ** 2 - t2 * s[0, 0]]
    )
    np.testing.assert_allclose([found.low_percent, found.high_percent], 100 * (np.sort(roots) - 1))


def test_within_the_same_oil() -> None:
    """Hand-written formula: equal weights over the shared oils, scatter pooled within oil and level."""
    frame = bench(
        {("A", "s"): (60, 3), ("A", "m"): (54, 2), ("B", "s"): (30, 2), ("B", "m"): (27, 4), ("C", "m"): (90, 3)},
        seed=8,
    )
    result = shift(frame, "electrode", reference="s")
    found = result.shifts[0]
    means = frame.groupby(["sample", "electrode", "filling"])["kv"].mean()
    difference = np.mean([means[o, "m"].mean() - means[o, "s"].mean() for o in "AB"])
    parts = []
    for level in "ms":
        df = sum(len(means[o, level]) - 1 for o in "AB")
        square = sum(((means[o, level] - means[o, level].mean()) ** 2).sum() for o in "AB") / df
        parts.append((square * sum(1 / len(means[o, level]) for o in "AB") / 4, df))
    variance = sum(v for v, _ in parts)
    df = variance**2 / sum(v**2 / n for v, n in parts)
    half = stats.t.ppf(0.975, df) * np.sqrt(variance)
    np.testing.assert_allclose(
        [found.difference_kv, found.low_kv, found.high_kv, found.df],
        [difference, difference - half, difference + half, df],
    )
    assert result.samples_left_out == ["C"] and "samples_left_out" in codes(result)
    assert any("C was tested under one" in w.text for w in result.cautions)
    assert (found.fillings, found.reference_fillings) == (6, 5)
    assert [s.sample for s in found.samples] == ["A", "B"]


def test_an_oil_tested_under_one_level_does_not_move_the_shift() -> None:
    cells = {("A", "s"): (60, 3), ("A", "m"): (54, 3), ("B", "s"): (30, 3), ("B", "m"): (27, 3)}
    plain = shift(bench(cells), "electrode", reference="s").shifts[0]
    more = pd.concat([bench(cells), bench({("Z", "m"): (200, 4)}, seed=9)])
    other = shift(more, "electrode", reference="s").shifts[0]
    assert (other.difference_kv, other.low_kv, other.sd_ratio) == (plain.difference_kv, plain.low_kv, plain.sd_ratio)


def test_no_shared_sample() -> None:
    result = shift(bench({("A", "s"): (60, 3), ("B", "m"): (54, 3)}), "electrode", reference="s")
    assert "no_shared_sample" in codes(result)
    assert np.isfinite(result.shifts[0].low_kv)
    # Where the oil itself is the factor there is no sample to share.
    result = shift(bench({("A", "s"): (60, 3), ("B", "s"): (54, 3)}), "sample", reference="A")
    assert "no_shared_sample" not in codes(result)


def test_shift_that_differs_by_sample() -> None:
    frame = bench(
        {("A", "s"): (60, 4), ("A", "m"): (60, 4), ("B", "s"): (30, 4), ("B", "m"): (15, 4)}, between=0.5, within=1
    )
    result = shift(frame, "electrode", reference="s")
    assert "shift_differs_by_sample" in codes(result)
    same = bench(
        {("A", "s"): (60, 4), ("A", "m"): (55, 4), ("B", "s"): (30, 4), ("B", "m"): (25, 4)}, between=0.5, within=1
    )
    assert "shift_differs_by_sample" not in codes(shift(same, "electrode"))


def test_several_levels_are_holm_adjusted() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (47, 4), ("A", "d"): (43, 4)}, seed=2)
    result = shift(frame, "electrode", reference="s")
    raw = np.array([s.p_value_unadjusted for s in result.shifts])
    order = np.argsort(raw)
    want = np.minimum(np.maximum.accumulate(raw[order] * [2, 1]), 1)
    np.testing.assert_allclose(np.array([s.p_value for s in result.shifts])[order], want)
    none = shift(frame, "electrode", reference="s", adjust="none")
    np.testing.assert_allclose([s.p_value for s in none.shifts], raw)
    assert [v.level for v in result.levels] == ["s", "m", "d"]


def test_levels_of_a_number_stay_numbers() -> None:
    frame = bench({("A", "s"): (50, 3), ("A", "m"): (47, 3)})
    frame["gap_mm"] = np.where(frame["electrode"] == "s", 2.5, 2.0)
    result = shift(frame, "gap_mm", reference="2.5")
    assert result.reference == 2.5 and result.shifts[0].level == 2.0
    assert "confounded" in codes(result)


def test_log_is_the_ratio() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (40, 4)})
    found = shift(frame, "electrode", reference="s", log=True).shifts[0]
    frame["kv"] = np.log(frame["kv"])
    means = frame.groupby(["electrode", "filling"])["kv"].mean()
    live = stats.ttest_ind(means["m"], means["s"], equal_var=False)
    np.testing.assert_allclose(
        [found.low_percent, found.high_percent], 100 * np.expm1(np.array(live.confidence_interval()))
    )
    assert np.isnan(found.low_kv)


def test_scatter_ratio_is_within_fillings() -> None:
    frame = bench({("A", "s"): (50, 3), ("A", "m"): (50, 4)}, between=20)
    found = shift(frame, "electrode", reference="s").shifts[0]
    squares = {}
    for level, k in (("s", 3), ("m", 4)):
        rows = frame[frame["electrode"] == level]
        squares[level] = rows.groupby("filling")["kv"].var().mean()
        assert len(rows) == 6 * k
    ratio = squares["m"] / squares["s"]
    np.testing.assert_allclose(found.sd_ratio, np.sqrt(ratio))
    np.testing.assert_allclose(
        [found.sd_ratio_low, found.sd_ratio_high], np.sqrt(ratio / stats.f.ppf([0.975, 0.025], 20, 15))
    )


def test_withstands_are_never_values() -> None:
    """A level with withstands has the mean of the censored normal fit, above the average of its numbers."""
    frame = bench({("A", "s"): (58, 3), ("A", "m"): (50, 3)}, seed=4)
    hit = frame["kv"] >= 60
    frame["outcome"] = np.where(hit, "withstood", "breakdown")
    frame.loc[hit, "kv"] = 60.0
    assert hit.sum() >= 3
    result = shift(frame, "electrode", reference="m")
    found = result.shifts[0]
    rows = frame[frame["electrode"] == "s"]
    live = fit(rows["kv"], rows["outcome"] == "withstood", family="normal")
    np.testing.assert_allclose(found.mean_kv, live.parameters["mean"], rtol=1e-6)
    assert found.mean_kv > rows["kv"].mean()
    assert found.breakdowns + found.withstood == len(rows)
    assert "withstood" in codes(result)
    assert "2 withstands" not in found.sentence


def test_censored_likelihood_without_withstands_is_filling_means() -> None:
    """The two ways agree where both apply: means, variances and degrees of freedom, over two oils."""
    frame = bench({("A", "s"): (60, 3), ("B", "s"): (40, 3)})
    oil = (frame["sample"] == "B").to_numpy().astype(int)
    unit = oil * 10 + frame["filling"].astype(int).to_numpy()
    kv, none = frame["kv"].to_numpy(), np.zeros(len(frame), dtype=bool)
    plain, likely = arm(kv, none, oil, unit, 2), _censored_arm(kv, none, oil, unit, 2)
    np.testing.assert_allclose(likely.means, plain.means, rtol=1e-8)
    np.testing.assert_allclose(likely.variance, plain.variance, rtol=1e-6)
    assert likely.df == plain.df


def test_nothing_but_withstands() -> None:
    frame = bench({("A", "s"): (58, 3), ("A", "m"): (50, 3)})
    frame["outcome"] = np.where(frame["electrode"] == "s", "withstood", "breakdown")
    with pytest.raises(NotEstimable, match="withstands"):
        shift(frame, "electrode")
    more = pd.concat([frame, bench({("A", "d"): (40, 3)})])
    result = shift(more, "electrode", reference="m")
    assert np.isnan(result.shifts[0].difference_kv) and np.isfinite(result.shifts[1].difference_kv)
    assert "not_estimable" in codes(result)


def test_few() -> None:
    assert "few" in codes(shift(bench({("A", "s"): (50, 2), ("A", "m"): (50, 2)}), "electrode"))
    one = bench({("A", "s"): (50, 1), ("A", "m"): (50, 1)}, breakdowns=1)
    result = shift(one, "electrode")
    assert np.isnan(result.shifts[0].low_kv) and "no_limits" in codes(result)


def test_equal_numbers_give_no_limits() -> None:
    frame = bench({("A", "s"): (50, 2), ("A", "m"): (40, 2)}, between=0, within=0)
    result = shift(frame, "electrode")
    assert np.isnan(result.shifts[0].low_kv) and np.isnan(result.shifts[0].p_value)
    assert "no_limits" in codes(result)


def test_within_other_columns() -> None:
    frame = bench({("A", "s"): (60, 4), ("A", "m"): (54, 4)})
    frame["gap_mm"] = np.where(frame["filling"].astype(int) % 2 == 0, 1.0, 2.0)
    frame.loc[frame["gap_mm"] == 1.0, "kv"] /= 2
    plain, held = shift(frame, "electrode"), shift(frame, "electrode", within=["gap_mm"])
    np.testing.assert_allclose(plain.shifts[0].difference_kv, held.shifts[0].difference_kv)
    pooled = frame.groupby(["electrode", "filling"])["kv"].mean().groupby(level=0).sem()
    assert held.shifts[0].standard_error_kv < np.hypot(*pooled) / 3
    assert plain.shifts[0].held == ["gap_mm"] and plain.shifts[0].low_kv == pytest.approx(held.shifts[0].low_kv)
    assert len(held.shifts[0].samples) == 2


def test_refusals() -> None:
    frame = bench({("A", "s"): (60, 2), ("A", "m"): (54, 2)})
    with pytest.raises(InputError, match="levels are s, m"):
        shift(frame, "electrode", reference="disk")
    with pytest.raises(InputError, match="no column .season."):
        shift(frame, "season")
    with pytest.raises(NotEstimable, match="only s"):
        shift(frame[frame["electrode"] == "s"], "electrode")
    with pytest.raises(InputError):
        shift(frame, "electrode", confidence=95)
    with pytest.raises(InputError):
        shift(frame, "electrode", model="other")
    with pytest.raises(InputError):
        shift(frame, "kv")
    frame["water_mg_kg"] = np.arange(len(frame)) * 0.1
    with pytest.raises(NotEstimable):
        shift(frame[:1], "water_mg_kg")
    many = pd.concat([frame.assign(water_mg_kg=i) for i in range(70)])
    with pytest.raises(InputError, match="few classes"):
        shift(many, "water_mg_kg")


def test_swapping_the_levels() -> None:
    """Welch is antisymmetric; the ratio of scatters and of means inverts."""
    frame = bench({("A", "s"): (60, 3), ("A", "m"): (54, 4)})
    one, two = (shift(frame, "electrode", reference=r).shifts[0] for r in "sm")
    np.testing.assert_allclose([one.difference_kv, one.low_kv], [-two.difference_kv, -two.high_kv])
    np.testing.assert_allclose(one.sd_ratio * two.sd_ratio, 1)
    np.testing.assert_allclose((1 + one.low_percent / 100) * (1 + two.high_percent / 100), 1)


def test_rows_without_a_level_are_counted() -> None:
    frame = bench({("A", "s"): (60, 3), ("A", "m"): (54, 3)})
    frame.loc[[0, 1], "electrode"] = None
    result = shift(frame, "electrode")
    assert any(w.code == "level_unknown" and w.text.startswith("2 rows") for w in result.cautions)
