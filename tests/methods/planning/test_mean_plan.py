"""Plans for a mean: the simple ones against published sizes, those with fillings against simulation."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from scipy import special

from methods import InputError, plan
from methods.planning import curve
from methods.planning.bench_cost import BenchTimes
from methods.planning.inputs import Scatter
from methods.planning.nested import assurance, half_width_bench, half_width_known, most_assurance
from methods.scatter import one_oil
from tests.reference import agrees, names


def independent_t_quantile(p: float, df: float) -> float:
    """Student's quantile from the inverse of the incomplete beta function: another way than scipy.stats.t."""
    x = special.betaincinv(df / 2, 0.5, 2 * (1 - p))
    return math.sqrt(df * (1 - x) / x)


@pytest.mark.parametrize("name", names("G01"))
def test_sizes_for_a_mean(name):
    """Kupper and Hafner, The American Statistician 43 (1989) 101, and the elementary formulas (case G01)."""
    kind, level, width = re.fullmatch(r"n_(t|z|assured90)_cl([\d.]+)_E([\d.]+)", name).groups()
    extra = {"t": {}, "z": {"interval": "known"}, "assured90": {"assurance": 0.9}}[kind]
    found = plan.mean(sd=1.0, half_width=float(width), confidence=float(level), **extra)
    agrees("G01", name, found.breakdowns)


TABLE = {  # common practice: t * c / sqrt(n) <= e solved for n at 95 % confidence
    0.08: (3, 4, 5, 13, 30),
    0.10: (4, 5, 7, 18, 46),
    0.12: (4, 5, 9, 25, 64),
    0.15: (5, 7, 12, 38, 99),
    0.20: (7, 10, 18, 64, 174),
    0.25: (9, 14, 27, 99, 270),
    0.30: (12, 18, 38, 141, 387),
}


@pytest.mark.parametrize("cov", TABLE)
def test_the_table_of_breakdowns(cov):
    """Every entry again, by counting n upwards with another quantile function."""
    for width, listed in zip((0.20, 0.15, 0.10, 0.05, 0.03), TABLE[cov], strict=True):
        n = 2
        while independent_t_quantile(0.975, n - 1) * cov / math.sqrt(n) > width:
            n += 1
        assert n == listed
        assert plan.mean(cov=cov, half_width=width).breakdowns == listed


@pytest.mark.parametrize(("n", "widths"), [(5, (12, 19, 25)), (6, (10.5, 16, 21)), (10, (7, 11, 14))])
def test_what_the_standards_buy(n, widths):
    """Half-width of the mean of 5, 6 and 10 breakdowns at CoV 10, 15, 20 %, per cent (common practice, recomputed)."""
    for cov, width in zip((0.10, 0.15, 0.20), widths, strict=True):
        found = plan.mean(cov=cov, fillings=1, breakdowns_per_filling=n).half_width_percent
        assert found == pytest.approx(width, abs=0.51)
        assert found == pytest.approx(100 * independent_t_quantile(0.975, n - 1) * cov / math.sqrt(n), rel=1e-9)


@pytest.mark.parametrize(
    ("k", "n", "own", "known"), [(3, 5, 20.8, 9.5), (5, 3, 12.4, 8.8), (15, 1, 8.8, 8.0), (1, 6, None, 15.5)]
)
def test_both_half_widths(k, n, own, known):
    found = plan.mean(cov=0.15, between_cov=0.05, fillings=k, breakdowns_per_filling=n)
    assert (found.breakdowns, found.fillings, found.breakdowns_per_filling) == (k * n, k, n)
    assert found.half_width is None and found.half_width_known is None
    assert found.half_width_known_percent == pytest.approx(known, abs=0.05)
    if own is None:
        assert found.half_width_percent is None
        assert [w.code for w in found.cautions] == ["one_filling"]
    else:
        assert found.half_width_percent == pytest.approx(own, abs=0.05)


@pytest.mark.parametrize(
    ("between", "k", "n", "width"),
    [(5, 1, 6, 15.5), (5, 1, 15, 12.4), (5, 3, 5, 9.5), (5, 5, 1, 13.9), (5, 5, 6, 6.9), (5, 10, 1, 9.8)]
    + [(8, 1, 6, 19.7), (8, 1, 15, 17.4), (8, 5, 1, 14.9), (8, 10, 1, 10.5), (8, 5, 6, 8.8)],
)
def test_nested_half_widths_of_the_trade(between, k, n, width):
    found = plan.mean(cov=0.15, between_cov=between / 100, fillings=k, breakdowns_per_filling=n)
    assert found.half_width_known_percent == pytest.approx(width, abs=0.051)


def test_simulated_benches_get_the_planned_widths_and_cover():
    """Independent code: 20,000 invented benches of 5 fillings of 3, their own t intervals."""
    rng = np.random.default_rng(71)
    k, n, between, within = 5, 3, 0.05, 0.15
    means = 1 + between * rng.standard_normal((20000, k)) + within / math.sqrt(n) * rng.standard_normal((20000, k))
    spread = means.std(axis=1, ddof=1)
    half = independent_t_quantile(0.975, k - 1) * spread / math.sqrt(k)
    cover = np.mean(np.abs(means.mean(axis=1) - 1) <= half)
    assert cover == pytest.approx(0.95, abs=0.006)
    planned = plan.mean(cov=within, between_cov=between, fillings=k, breakdowns_per_filling=n, half_width=0.15)
    root_mean_square = math.sqrt(np.mean(half**2))
    assert 100 * root_mean_square == pytest.approx(planned.half_width_percent, rel=0.01)
    known = plan.mean(cov=within, between_cov=between, fillings=k, breakdowns_per_filling=n)
    assert np.mean(np.abs(means.mean(axis=1) - 1) <= known.half_width_known_percent / 100) == pytest.approx(
        0.95, abs=0.006
    )


@pytest.mark.parametrize(("k", "n", "between", "target"), [(3, 5, 0.0, 0.16), (5, 3, 0.05, 0.12)])
def test_the_assurance_is_that_of_the_analysis(k, n, between, target):
    """Invented benches given to the analysis: fillings that agree by luck get wider limits, and the plan knows."""
    rng, within, count = np.random.default_rng(5), 0.15, 200
    label, got = np.repeat(np.arange(k), n), []
    for _ in range(count):
        kv = 50 * (1 + between * rng.standard_normal(k)[label] + within * rng.standard_normal(k * n))
        oil = one_oil(kv, fillings=label, percentiles=())
        got.append((oil.mean_high_kv - oil.mean_low_kv) / 2 <= 50 * target)
    planned = plan.mean(cov=within, between_cov=between, fillings=k, breakdowns_per_filling=n, half_width=target)
    assert planned.assurance == pytest.approx(np.mean(got), abs=3.3 * math.sqrt(0.25 / count))
    if between == 0:  # believing the luck would promise far more
        assert most_assurance(k, n, target, Scatter(within, between, "fraction", None)) > planned.assurance + 0.05


def test_several_fillings_of_unknown_difference_are_judged_by_their_means():
    said = plan.mean(cov=0.15, between_cov=0.0, fillings=3, breakdowns_per_filling=4)
    unsaid = plan.mean(cov=0.15, fillings=3, breakdowns_per_filling=4)
    assert unsaid.half_width_percent == said.half_width_percent > plan.mean(
        cov=0.15, fillings=1, breakdowns_per_filling=12).half_width_percent  # fmt: skip
    assert "between_unknown" in {c.code for c in unsaid.cautions}
    spread = plan.mean(cov=0.15, half_width=0.1, breakdowns_per_filling=6)
    assert spread.fillings == 4 and spread.half_width_percent <= 10


def test_the_cheapest_design_by_search():
    """No other design that takes so little time, at 10 min a filling and 1.5 min a breakdown, is narrow enough."""
    found = plan.mean(cov=0.15, between_cov=0.05, half_width=0.10)
    assert found.half_width_percent <= 10 and found.bench_minutes is None
    own = plan.mean(cov=0.15, between_cov=0.05, half_width=0.10, protocol=BenchTimes(0.5, 4.0, own=True))
    for made, filling, breakdown in ((found, 10.0, 1.5), (own, 0.5, 4.0)):
        spent = made.fillings * (filling + breakdown * made.breakdowns_per_filling)
        for k in range(2, 40):
            for n in range(1, 40):
                if float(half_width_bench(k, n, 0.15, 0.05)) <= 0.10:
                    assert (k * (filling + breakdown * n), k) >= (spent, made.fillings)
    assert own.bench_minutes == own.fillings * (0.5 + 4.0 * own.breakdowns_per_filling)
    assert found.breakdowns_per_filling > own.breakdowns_per_filling == 1
    (said,) = [c.text for c in found.cautions if c.code == "weighed_by_usual_times"]
    assert "10 min" in said and "1.5 min" in said and "common practice, no source" in said


def test_many_breakdowns_on_one_filling_are_never_planned_without_a_word():
    for made in (
        plan.mean(cov=0.15, half_width=0.03), plan.mean(cov=0.15, between_cov=0.02, half_width=0.05, fillings=5),
        plan.difference(cov=0.25, difference=0.10), plan.equivalence(cov=0.15, margin=0.05),
        plan.decision(limit=50, mean=52, cov=0.15), plan.percentile(cov=0.15, p=0.01, half_width=0.05),
    ):  # fmt: skip
        assert made.breakdowns_per_filling > 10
        assert "carbon, gas and pitting" in made.sentence and "worn_filling" in {c.code for c in made.cautions}
    few = plan.mean(cov=0.15, between_cov=0.05, half_width=0.10)
    assert "carbon" not in few.sentence and "worn_filling" not in {c.code for c in few.cautions}


def test_what_is_fixed_stays_fixed():
    assert plan.mean(cov=0.15, between_cov=0.05, half_width=0.10, fillings=5).breakdowns_per_filling == 6
    assert plan.mean(cov=0.15, between_cov=0.05, half_width=0.10, breakdowns_per_filling=6).fillings == 5
    with pytest.raises(InputError, match="plan more fillings"):
        plan.mean(cov=0.15, between_cov=0.05, half_width=0.10, fillings=3)
    with pytest.raises(InputError, match="cannot see the scatter between fillings"):
        plan.mean(cov=0.15, between_cov=0.05, half_width=0.30, fillings=1)


def test_one_filling_never_beats_the_floor():
    found = plan.mean(cov=0.15, between_cov=0.05, fillings=1, breakdowns_per_filling=100000)
    assert found.floor_percent is None
    assert found.floor_known_percent == pytest.approx(1.959964 * 5, abs=1e-4)
    assert found.half_width_known_percent > found.floor_known_percent
    assert "only more fillings do" in found.sentence


def test_assurance_is_met_and_not_wasted():
    found = plan.mean(cov=0.15, between_cov=0.05, half_width=0.10, assurance=0.9)
    assert found.assurance >= 0.9
    s = plan.mean(cov=0.15, between_cov=0.05, half_width=0.10)
    assert found.breakdowns > s.breakdowns
    fewer = plan.mean(
        cov=0.15, between_cov=0.05, half_width=0.10, fillings=found.fillings - 1, breakdowns_per_filling=1
    )
    assert fewer.assurance < 0.9


def test_units_of_kv_and_per_cent():
    kv = plan.mean(sd=6, half_width=3)
    assert (kv.breakdowns, kv.half_width_percent) == (18, None)
    assert kv.half_width == pytest.approx(2.9837, abs=1e-4)
    both = plan.mean(sd=6, half_width=3, mean=60)
    assert both.half_width_percent == pytest.approx(both.half_width / 0.6)
    assert plan.mean(cov=0.10, half_width=0.05, mean=60).half_width == pytest.approx(both.half_width)
    mixed = plan.mean(cov=0.15, between_sd=3, mean=60, fillings=3, breakdowns_per_filling=5)
    assert mixed.half_width_known_percent == pytest.approx(9.4675, abs=1e-3)


def test_serial_correlation_asks_for_more():
    free = plan.mean(cov=0.15, between_cov=0.05, breakdowns_per_filling=6, half_width=0.08)
    tied = plan.mean(cov=0.15, between_cov=0.05, breakdowns_per_filling=6, half_width=0.08, serial_correlation=0.3)
    assert tied.fillings > free.fillings
    one = plan.mean(cov=0.15, between_cov=0, fillings=1, breakdowns_per_filling=6, serial_correlation=0.5)
    assert one.half_width_known_percent == pytest.approx(196 * 0.15 / math.sqrt(2.56), rel=1e-3)


def test_callable_by_kind_and_refusals():
    assert plan("mean", cov=0.15, half_width=0.10) == plan.mean(cov=0.15, half_width=0.10)
    with pytest.raises(InputError, match="There is no plan"):
        plan("median")
    with pytest.raises(InputError, match="width"):
        plan("mean", cov=0.15, width=0.10)


@pytest.mark.parametrize(
    "wrong",
    [
        {"cov": -0.1, "half_width": 0.1},
        {"cov": 0, "half_width": 0.1},
        {"cov": 0.15, "half_width": 0},
        {"cov": 0.15, "half_width": -0.1},
        {"cov": 0.15, "half_width": float("nan")},
        {"cov": 0.15, "half_width": 0.1, "confidence": 1},
        {"cov": 0.15, "half_width": 0.1, "confidence": 0},
        {"cov": 0.15, "half_width": 0.1, "assurance": 1.5},
        {"cov": 0.15, "half_width": 0.1, "fillings": 0},
        {"cov": 0.15, "half_width": 0.1, "fillings": 2.5},
        {"cov": 0.15, "half_width": 1e-5},
        {"cov": 15, "half_width": 10},
        {"cov": 0.15, "sd": 6, "half_width": 0.1},
        {"half_width": 0.1},
        {"cov": 0.15},
        {"cov": 0.15, "between_sd": 3, "half_width": 0.1},
        {"cov": 0.15, "half_width": 0.1, "serial_correlation": 1},
        {"cov": 0.15, "half_width": 0.1, "interval": "both"},
        {"cov": 0.15, "half_width": 0.1, "interval": "known", "assurance": 0.9},
        {"cov": 0.15, "between_cov": 0.3, "half_width": 0.001},
    ],
)
def test_impossible_questions_are_refused(wrong):
    with pytest.raises(InputError):
        plan.mean(**wrong)


def test_curve_for_the_plot():
    table = curve(0.15, 0.05, most=15)
    row = table[(table.fillings == 5) & (table.breakdowns_per_filling == 3)].iloc[0]
    assert row.half_width_percent == pytest.approx(12.4166, abs=1e-3)
    assert row.half_width_known_percent == pytest.approx(8.7652, abs=1e-3)
    assert table[table.fillings == 1].half_width_percent.isna().all()
    assert table.half_width.isna().all()
    assert set(table.fillings) == {1, 2, 3, 5}
    alone = curve(0.15, most=12)
    assert alone[alone.breakdowns == 12].half_width_percent.iloc[0] == pytest.approx(9.5305, abs=1e-3)


def test_the_known_width_is_the_limit_of_the_benchs_own():
    assert float(half_width_bench(5000, 2, 0.15, 0.05)) == pytest.approx(
        float(half_width_known(5000, 2, 0.15, 0.05)), rel=1e-3
    )


def test_assurance_is_unknown_for_one_filling():
    assert math.isnan(assurance(1, 6, 0.1, Scatter(0.15, 0.05, "fraction", None)))


def test_a_design_that_is_fixed_and_misses_what_is_wanted_says_so() -> None:
    missed = plan.mean(0.15, 0.05, between_cov=0.05, fillings=3, breakdowns_per_filling=6)
    assert "That misses the ±5.0 % wanted." in missed.sentence and missed.half_width_percent > 5
    kept = plan.mean(0.15, 0.30, between_cov=0.05, fillings=3, breakdowns_per_filling=6)
    assert "misses" not in kept.sentence and kept.half_width_percent < 30
    open_ = plan.mean(0.15, 0.05, between_cov=0.05)
    assert "misses" not in open_.sentence
