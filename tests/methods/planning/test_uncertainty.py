"""The uncertainty budget: worked examples of the GUM, the gap's sensitivity, and coverage by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from methods import InputError
from methods.planning import decide
from methods.planning.conformance import conformance_probability, guard_band
from methods.planning.uncertainty import combine, mean_budget, source


def test_end_gauge_of_the_guide():
    """JCGM 100:2008, H.1: end gauge, nm (numbers from memory): u_c 32, 16 degrees of freedom, k(99 %) 2.92, U 93."""
    parts = [("standard", 25.0, 18), ("comparison", 9.7, 25.6), ("expansion", 2.9, 50), ("temperature", 16.6, 2)]
    found = combine(50e6, [source(name, u, df=df) for name, u, df in parts], confidence=0.99)
    assert found.standard_uncertainty_kv == pytest.approx(32, abs=0.5)
    assert found.effective_df == pytest.approx(16.7, abs=0.1)
    assert stats.t.ppf(0.995, 16) == pytest.approx(2.92, abs=0.005)
    # the guide cuts 16.7 down to 16 and rounds u_c up before it multiplies
    assert found.expanded_uncertainty_kv == pytest.approx(93, abs=1.5)
    assert found.sources[0].source == "standard"


def test_product_of_three_of_the_guide():
    """JCGM 100:2008, G.4.1 (from memory): 0.25, 0.57, 0.82 % of 10, 5, 15 values give 1.03 %, 19.0, 2.09, 2.2 %."""
    parts = [source(str(n), u, df=n - 1) for u, n in ((0.25, 10), (0.57, 5), (0.82, 15))]
    found = combine(100, parts)
    assert found.standard_uncertainty_kv == pytest.approx(1.03, abs=0.005)
    assert found.effective_df == pytest.approx(19.0, abs=0.1)
    assert found.coverage_factor == pytest.approx(2.09, abs=0.005)
    assert found.expanded_uncertainty_percent == pytest.approx(2.2, abs=0.06)


def test_conformance_of_the_guide():
    """JCGM 106:2012 (from memory): a value 1.40 standard uncertainties inside a one-sided limit conforms with 92 %."""
    assert conformance_probability(5.47, 5.40, 0.05) == pytest.approx(0.92, abs=0.005)
    assert guard_band(2.0, 0.05) == pytest.approx(2 * 1.6448536, rel=1e-6)
    assert guard_band(2.0, 0.05, df=4) == pytest.approx(2 * 2.1318468, rel=1e-6)


def test_parts_of_a_reported_mean():
    found = mean_budget(
        50, fillings=3, breakdowns_per_filling=5, within_sd=7.5, between_sd=2.5, history=True, voltmeter_percent=3,
        gap_mm=2.5, gap_tolerance_mm=0.05, exponent=0.8, temperature_half_width_k=5, kv_per_kelvin=0.1,
    )  # fmt: skip
    table = found.table().set_index("source")
    assert table.contribution_kv["scatter within fillings"] == pytest.approx(7.5 / math.sqrt(15))
    assert table.contribution_kv["scatter between fillings"] == pytest.approx(2.5 / math.sqrt(3))
    assert table.contribution_kv["voltmeter"] == pytest.approx(1.5 / math.sqrt(3))
    assert table.contribution_kv["gap setting"] == pytest.approx(0.8 * 50 / 2.5 * 0.05 / math.sqrt(3))
    assert table.contribution_kv["temperature"] == pytest.approx(0.5 / math.sqrt(3))
    assert table.share_percent.sum() == pytest.approx(100)
    assert found.effective_df == math.inf and found.coverage_factor == pytest.approx(1.959964, abs=1e-6)
    # without instrument parts it is the plan's half-width for known scatter: 9.5 % for three fillings of five
    bare = mean_budget(50, fillings=3, breakdowns_per_filling=5, within_sd=7.5, between_sd=2.5, history=True)
    assert bare.expanded_uncertainty_percent == pytest.approx(9.4675, abs=1e-3)


def test_sensitivity_to_the_gap_is_the_slope_of_the_law():
    """dV/dd of V = a d^m by a finite difference."""
    a, m, gap, step = 24.0, 0.7, 2.5, 1e-5
    slope = (a * (gap + step) ** m - a * (gap - step) ** m) / (2 * step)
    budget = mean_budget(
        a * gap**m,
        fillings=2,
        breakdowns_per_filling=6,
        filling_means_sd=2,
        gap_mm=gap,
        gap_tolerance_mm=0.05,
        exponent=m,
    )
    line = budget.table().set_index("source").loc["gap setting"]
    assert line.sensitivity == pytest.approx(slope, rel=1e-6)


@pytest.mark.parametrize(("k", "percent"), [(2, 1.0), (3, 2.0), (4, 3.0)])
def test_coverage_of_the_benchs_own_budget(k: int, percent: float) -> None:
    """A certain part beside few fillings: Welch and Satterthwaite alone would hold 87 to 93 of 100 here."""
    rng = np.random.default_rng(12)
    inside, trials = 0, 1000
    x = 50 + 2.5 * rng.standard_normal((trials, k)) + 7.5 / math.sqrt(5) * rng.standard_normal((trials, k))
    instrument = rng.uniform(-1, 1, trials) * percent / 2
    for row, shift in zip(x, instrument, strict=True):
        found = mean_budget(
            row.mean(),
            fillings=k,
            breakdowns_per_filling=5,
            filling_means_sd=row.std(ddof=1),
            voltmeter_percent=percent,
        )
        inside += abs(row.mean() + shift - 50) <= found.expanded_uncertainty_kv
    assert stats.binom.cdf(inside, trials, 0.95) > 1e-3 and inside < 0.98 * trials


def test_a_further_source_never_makes_the_uncertainty_smaller() -> None:
    """Also not in a verdict; where it would, what stands is Student's t of the scatter alone (SciPy)."""
    last = 0.0
    for percent in (1e-6, 1, 2, 4, 8):
        found = mean_budget(
            50, fillings=3, breakdowns_per_filling=5, filling_means_sd=2, voltmeter_percent=percent
        )  # fmt: skip
        assert found.expanded_uncertainty_kv >= last - 1e-9
        last = found.expanded_uncertainty_kv
        assert stats.t.ppf(0.975, found.effective_df) == pytest.approx(found.coverage_factor, rel=1e-3)
        if percent == 2:
            assert last == pytest.approx(stats.t.ppf(0.975, 2) * 2 / math.sqrt(3))
            assert [c.code for c in found.cautions][0] == "scatter_alone"
    kv, label = np.array([48.0, 55, 51, 60, 44, 52, 57, 49, 50]), np.repeat([0, 1, 2], 3)
    limits = [decide(kv, 45.0, fillings=label, instrument_kv=v) for v in (0.0, 0.5, 1.0, 3.0)]
    halves = [d.mean_high_kv - d.mean_low_kv for d in limits]
    assert halves == pytest.approx(sorted(halves)) and halves[-1] > halves[0]


def test_few_degrees_of_freedom_are_named():
    found = mean_budget(50, fillings=2, breakdowns_per_filling=6, filling_means_sd=2)
    assert [w.code for w in found.cautions] == ["few"]
    assert found.coverage_factor == pytest.approx(12.706, abs=1e-3)


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {"within_sd": 5, "filling_means_sd": 2},
        {"within_sd": -5},
        {"within_sd": 5, "between_sd": 2, "fillings": 1},
        {"filling_means_sd": 2, "fillings": 1},
        {"within_sd": 5, "breakdowns_per_filling": 1},
        {"within_sd": 5, "gap_mm": 2.5},
        {"within_sd": 5, "temperature_half_width_k": 5},
        {"within_sd": 0},
        {"within_sd": 5, "voltmeter_percent": -1},
        {"within_sd": 5, "confidence": 1},
    ],
)
def test_impossible_budgets_are_refused(wrong):
    with pytest.raises(InputError):
        mean_budget(50, **{"fillings": 3, "breakdowns_per_filling": 5, **wrong})


def test_wrong_lines_are_refused():
    with pytest.raises(InputError):
        source("x", 1, distribution="flat")
    with pytest.raises(InputError):
        source("x", 1, kind="C")
    with pytest.raises(InputError):
        source("x", 1, df=0)
    with pytest.raises(InputError):
        combine(50, [])
