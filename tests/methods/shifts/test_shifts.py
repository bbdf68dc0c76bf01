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
from methods.shifts.compare import compare
from methods.shifts.widening import _widening, widening
from tests.calibration.shift_designs import SHIFT_KV, Design, draw
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
    low, high = live.confidence_interval(0.9)
    factor = widening((3,), (5,)).at(0.9)  # Welch's half-width, widened for unequal scatters
    assert 1.03 < factor < 1.1
    middle, half = (low + high) / 2, (high - low) / 2
    np.testing.assert_allclose([level.low_kv, level.high_kv], [middle - factor * half, middle + factor * half])
    assert level.p_value > live.pvalue
    assert (level.holds_for, level.these_oils.low_kv) == ("these oils", level.low_kv)
    assert (level.fillings, level.breakdowns) == (3, 18)
    assert codes(found) == []
    assert level.sentence.startswith("mushroom reads") and "lower than spherical" in level.sentence


def test_one_filling_and_nothing_to_borrow_gives_no_limits() -> None:
    frame = bench({("A", "spherical"): (50, 1), ("A", "disk"): (40, 1)}, breakdowns=8)
    result = shift(frame, "electrode", reference="spherical")
    found = result.shifts[0]
    assert np.isfinite(found.difference_kv) and np.isnan([found.low_kv, found.high_kv, found.p_value]).all()
    assert found.these_oils is None
    text = next(w.text for w in result.cautions if w.code == "one_filling")
    assert "no limits can be given" in text and "history" in text
    # what single breakdowns would say is told as that, with its condition
    groups = [frame.loc[frame["electrode"] == e, "kv"] for e in ("disk", "spherical")]
    low, high = stats.ttest_ind(*groups, equal_var=False).confidence_interval(0.95)
    said = f"{low:+.3g} kV and {high:+.3g} kV".replace("-", "\u2212")
    assert said in text and "Only if fillings did not differ" in text


def test_rows_without_fillings_count_as_fillings() -> None:
    """The file tells no fillings apart: Welch's t on rows (SciPy), and the caution says what that takes."""
    frame = bench({("A", "spherical"): (50, 3), ("A", "disk"): (40, 3)}).drop(columns="filling")
    result = shift(frame, "electrode", reference="spherical")
    groups = [frame.loc[frame["electrode"] == e, "kv"] for e in ("disk", "spherical")]
    live = stats.ttest_ind(*groups, equal_var=False)
    np.testing.assert_allclose([result.shifts[0].low_kv, result.shifts[0].high_kv], live.confidence_interval(0.95))
    assert result.shifts[0].fillings == 1
    assert "does not say which filling" in next(w.text for w in result.cautions if w.code == "one_filling")


def test_one_filling_borrows_from_the_other_level() -> None:
    """With one cell to borrow from: t with its degrees of freedom, its SD (or CoV) for both levels, by hand."""
    frame = bench({("A", "spherical"): (50, 4), ("A", "disk"): (40, 1)})
    result = shift(frame, "electrode")
    means = frame.groupby(["electrode", "filling"])["kv"].mean()
    value = means["disk"].iloc[0] - means["spherical"].mean()
    half = stats.t.ppf(0.975, 3) * means["spherical"].std() * np.sqrt(1 + 1 / 4)
    found = result.shifts[0]
    np.testing.assert_allclose([found.low_kv, found.high_kv, found.df], [value - half, value + half, 3])
    text = next(w.text for w in result.cautions if w.code == "one_filling")
    assert "disk has one filling only" in text and "4 fillings in 1 cell" in text


def test_one_filling_borrows_from_history() -> None:
    frame = bench({("A", "spherical"): (50, 1), ("A", "disk"): (40, 1)})
    past = bench({(o, "spherical"): (50, 4) for o in "PQRSTU"}, seed=5)
    result = shift(frame, "electrode", reference="spherical", history=past)
    found = result.shifts[0]
    means = past.groupby(["sample", "filling"])["kv"].mean().unstack()
    assert found.low_kv < found.difference_kv < found.high_kv and 5 < found.df <= 18
    share = (means.var(axis=1, ddof=1) / means.mean(axis=1) ** 2).mean()
    one, two = (frame.loc[frame["electrode"] == e, "kv"].mean() for e in ("disk", "spherical"))
    if found.df == 18:  # all cells scatter alike: their variances are pooled
        base = max(one, means.to_numpy().mean()) ** 2 + max(two, means.to_numpy().mean()) ** 2
        np.testing.assert_allclose(found.high_kv - found.low_kv, 2 * stats.t.ppf(0.975, 18) * np.sqrt(share * base))
    assert "of the history" in next(w.text for w in result.cautions if w.code == "one_filling")
    with pytest.raises(InputError, match="which filling"):
        shift(frame, "electrode", history=past.drop(columns="filling"))
    with pytest.raises(NotEstimable, match="scatter to borrow"):
        shift(frame, "electrode", history=past[past["filling"] == "1"])


def test_three_oils_speak_of_oils_like_these() -> None:
    """t over the oils (SciPy's one-sample test), and a second line from filling means for exactly these."""
    means = {"A": 40, "B": 50, "C": 60, "D": 70}
    cells = {(o, e): (m - (4 if e == "m" else 0), 3) for o, m in means.items() for e in "sm"}
    frame = bench(cells, seed=4)
    result = shift(frame, "electrode", reference="s")
    found = result.shifts[0]
    means = frame.groupby(["sample", "electrode", "filling"])["kv"].mean().groupby(["sample", "electrode"]).mean()
    shifts = means.unstack()["m"] - means.unstack()["s"]
    live = stats.ttest_1samp(shifts, 0)
    low, high = live.confidence_interval(0.95)
    np.testing.assert_allclose([found.low_kv, found.high_kv, found.p_value, found.df], [low, high, live.pvalue, 3])
    assert found.holds_for == "oils like these" and found.these_oils.own
    assert found.these_oils.low_kv != found.low_kv and "oils like these" in found.sentence
    assert found.these_oils.sentence.startswith("On exactly these oils")
    one = shift(frame[frame["filling"] == "1"], "electrode", reference="s").shifts[0]
    assert not one.these_oils.own and one.these_oils.low_kv == one.low_kv


def test_blocks_of_one_oil_are_not_oils() -> None:
    """Three oils at two gaps each: six sets of like tests, but the unit is the oil."""
    cells = {(o, e): (50, 4) for o in "ABC" for e in "sm"}
    frame = bench(cells)
    frame["gap_mm"] = np.where(frame["filling"].astype(int) % 2 == 0, 1.0, 2.0)
    found = shift(frame, "electrode", reference="s", within=["gap_mm"]).shifts[0]
    assert found.df == 2 and len(found.samples) == 6


def test_a_wild_oil_and_unequal_fillings_hold() -> None:
    """Coverage in a small run: 6, 6 and 2 fillings, SDs as 3 to 4 to 12, shift that differs by oil."""
    rng, hits = np.random.default_rng(0), 0
    design = Design([(6, 6), (6, 6), (2, 2)], sd=(3, 4, 12), within=1.0, interaction=5.0)
    for _ in range(200):
        d = compare(draw(rng, design).lay, 1, 0).difference
        low, high = d.limits(0.95)
        hits += low <= SHIFT_KV <= high
    assert hits >= 0.95 * 200 - 3 * np.sqrt(200 * 0.95 * 0.05)


@pytest.mark.parametrize("n", [2, 3, 5, 11])
def test_equal_numbers_need_no_widening(n: int) -> None:
    assert max(_widening((n,), (n,)).factors) == 1.0


def test_widened_limits_hold_at_the_worst_ratio() -> None:
    """Two fillings against five, the two scattering three times as much: Welch's hold 89.5 %, these 94.5 or more."""
    rng = np.random.default_rng(2)
    a, b = rng.normal(0, 3, (20000, 2)), rng.normal(0, 1, (20000, 5))
    v = a.var(axis=1, ddof=1) / 2, b.var(axis=1, ddof=1) / 5
    df = (v[0] + v[1]) ** 2 / (v[0] ** 2 + v[1] ** 2 / 4)
    t = np.abs(a.mean(axis=1) - b.mean(axis=1)) / np.sqrt(v[0] + v[1])
    plain = stats.t.ppf(0.975, df)
    assert (t < plain).mean() < 0.905
    w = widening((2,), (5,))
    assert (t < w.at(0.95) * plain).mean() == pytest.approx(0.945, abs=0.005)
    for size in (0.5, 2.0, 4.0, 15.0):
        assert w.critical(1 - w.p_value(size, 2.5), 2.5) == pytest.approx(size, rel=1e-6)


def test_a_lower_limit_never_passes_what_voltages_can_do() -> None:
    frame = bench({("A", "s"): (20, 2), ("A", "m"): (18, 2)}, between=6, within=2, seed=3)
    found = shift(frame, "electrode", reference="s").shifts[0]
    assert not found.low_percent < -100


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
    """Hand-written formula: equal weights over two oils, scatter of each oil and level by itself."""
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
        parts += [(means[o, level].var() / len(means[o, level]) / 4, len(means[o, level]) - 1) for o in "AB"]
    variance = sum(v for v, _ in parts)
    df = variance**2 / sum(v**2 / n for v, n in parts)
    half = widening((3, 2), (2, 4)).at(0.95) * stats.t.ppf(0.975, df) * np.sqrt(variance)
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
    frame = bench({("A", "s"): (50, 10), ("A", "m"): (40, 10)})  # ten fillings need no widening
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
    plain, likely = arm(kv, none, oil, unit, 2), _censored_arm(kv, none, oil, unit, 2, np.full(2, 0.5))
    np.testing.assert_allclose(likely.means, plain.means, rtol=1e-8)
    np.testing.assert_allclose(likely.variance, plain.pooled_variance, rtol=1e-6)
    assert likely.df == plain.scatter_df


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
