"""Plans that start from data or from the bench: pilot, cheapest design, stop or go on."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods import InputError, plan
from methods.errors import NotEstimable
from methods.planning.bench_cost import design_cost
from methods.planning.nested import half_width_bench, half_width_known
from methods.planning.pilot_data import Pilot, pilot, plan_from_pilot
from methods.planning.stepping import error_rates, next_step, stein_total
from methods.protocols.bench import bench_time
from methods.scatter import one_way


def series(k=8, n=6, between=3.0, within=6.0, rho=0.0, seed=1) -> pd.DataFrame:
    """Invented breakdowns of one oil about 60 kV."""
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal((k, n))
    for i in range(1, n):
        noise[:, i] = rho * noise[:, i - 1] + math.sqrt(1 - rho**2) * noise[:, i]
    kv = 60 + between * rng.standard_normal((k, 1)) + within * noise
    return pd.DataFrame(
        {
            "sample": "A",
            "filling": np.repeat(np.arange(k), n).astype(str),
            "order": np.tile(np.arange(1, n + 1), k),
            "kv": kv.ravel(),
        }
    )


# --- pilot ------------------------------------------------------------------------------------------------------


def test_components_of_a_pilot_are_those_of_the_analysis_of_variance():
    table = series(between=6.0)
    found, by_hand = pilot(table), one_way(table.kv, table.filling)
    assert found.within_sd == pytest.approx(by_hand.sd_within, rel=1e-4)
    assert found.between_sd == pytest.approx(by_hand.sd_between, rel=1e-3)
    assert found.within_upper == pytest.approx(by_hand.sd_within * math.sqrt(40 / stats.chi2.ppf(0.2, 40)), rel=0.01)
    assert found.between_upper > found.between_sd
    assert (found.fillings, found.breakdowns, found.withstood) == (8, 48, 0)


def test_both_plans_carry_the_pilot_along():
    found = plan.pilot(series(between=6.0), half_width=0.08, serial=False)
    again = plan.mean(
        cov=found.pilot.within_sd / found.pilot.mean_kv,
        between_cov=found.pilot.between_sd / found.pilot.mean_kv,
        half_width=0.08,
        mean=found.pilot.mean_kv,
    )
    assert found.estimate == again
    assert found.assured.breakdowns > found.estimate.breakdowns
    kv = plan_from_pilot(found.pilot, half_width_kv=0.08 * found.pilot.mean_kv, serial=False)
    assert kv.estimate.breakdowns == found.estimate.breakdowns
    surer = plan.pilot(series(between=6.0), half_width=0.08, serial=False, assured=0.95)
    assert surer.assured.breakdowns > found.assured.breakdowns


def test_upper_limits_hold_as_often_as_said():
    held = 0
    for seed in range(30):
        found = pilot(series(k=5, n=4, seed=seed), assured=0.8)
        held += found.between_upper >= 3.0
    assert 19 <= held <= 29  # 24 expected, with a standard deviation of 2.2


def test_serial_correlation_is_carried():
    tied = series(k=30, rho=0.6, seed=4)
    known = pilot(tied)
    assert known.serial_correlation == pytest.approx(0.6, abs=0.2)
    with_it = plan_from_pilot(known, half_width=0.08, breakdowns_per_filling=6).estimate
    without = plan_from_pilot(known, half_width=0.08, breakdowns_per_filling=6, serial=False).estimate
    assert with_it.fillings > without.fillings


def test_a_pilot_of_one_filling_says_what_it_cannot():
    found = plan.pilot(series(k=1, n=10), half_width=0.10)
    assert found.pilot.between_sd is None
    assert "between_unknown" in [w.code for w in found.cautions]
    assert isinstance(found.pilot, Pilot)


def test_pilots_by_group_and_refusals():
    two = pd.concat([series(), series(seed=2).assign(sample="B")], ignore_index=True)
    found = pilot(two, by=["sample"])
    assert [p.group["sample"] for p in found] == ["A", "B"]
    with pytest.raises(InputError):
        pilot(two, by=["nonsense"])
    with pytest.raises(InputError):
        pilot(two, assured=0.4)
    with pytest.raises(InputError):
        plan_from_pilot(two)
    with pytest.raises(InputError):
        plan_from_pilot(two, half_width=0.1, half_width_kv=3)
    with pytest.raises(NotEstimable):
        pilot(series().assign(kv=50.0))


def test_a_pilot_too_small_to_promise_anything():
    found = plan.pilot(series(k=2, n=3, between=20.0), half_width=0.03, breakdowns_per_filling=3, assured=0.99)
    codes = [w.code for w in found.cautions]
    assert found.assured is None or found.assured.fillings > 50
    assert ("pilot_too_small" in codes) == (found.assured is None)


# --- cheapest design --------------------------------------------------------------------------------------------


def test_no_cheaper_design_reaches_the_target():
    found = plan.design(cov=0.15, between_cov=0.05, half_width=0.10, protocol="IEC 60156:2018", mean=50)
    assert found.half_width_percent <= 10
    for k in range(2, 16):
        for n in range(1, 13):
            if float(half_width_bench(k, n, 0.15, 0.05)) <= 0.10:
                time = bench_time("IEC 60156:2018", fillings=k, breakdowns_per_filling=n, mean_kv=50)
                assert time.minutes >= found.bench_minutes - 1e-9
    assert found.bench_minutes == pytest.approx(
        bench_time(
            "IEC 60156:2018", fillings=found.fillings, breakdowns_per_filling=found.breakdowns_per_filling, mean_kv=50
        ).minutes
    )


def test_oil_as_the_goal_and_as_a_bound():
    minutes = plan.design(cov=0.15, between_cov=0.05, half_width=0.10, protocol="IEC 60156", mean=50)
    oil = plan.design(cov=0.15, between_cov=0.05, half_width=0.10, protocol="IEC 60156", mean=50, goal="oil")
    assert oil.oil_ml < minutes.oil_ml and oil.bench_minutes > minutes.bench_minutes
    bound = plan.design(cov=0.15, between_cov=0.05, half_width=0.10, protocol="IEC 60156", mean=50, oil_ml=oil.oil_ml)
    assert bound.fillings == oil.fillings


def test_best_for_the_time_there_is():
    found = plan.design(cov=0.15, between_cov=0.05, protocol="IEC 60156", mean=50, minutes=90, interval="known")
    best = min(
        float(half_width_known(k, n, 0.15, 0.05))
        for k in range(1, 16)
        for n in range(1, 31)
        if design_cost("IEC 60156", k, n, 50).minutes <= 90
    )
    assert found.half_width_known_percent == pytest.approx(100 * best)
    assert found.bench_minutes <= 90
    short = plan.design(cov=0.15, between_cov=0.05, protocol="IEC 60156", mean=50, minutes=15, interval="known")
    assert short.fillings == 1 and short.half_width_percent is None


@pytest.mark.parametrize(
    ("wrong", "error"),
    [
        ({"half_width": 0.1, "between_cov": None}, InputError),
        ({}, InputError),
        ({"half_width": 0.1, "protocol": None}, InputError),
        ({"half_width": 0.1, "protocol": "nonsense"}, InputError),
        ({"half_width": 0.1, "goal": "fun"}, InputError),
        ({"half_width": 0.1, "interval": "both"}, InputError),
        ({"half_width": 0.1, "minutes": 20}, NotEstimable),
        ({"minutes": 15}, NotEstimable),
        ({"half_width": 0.001}, NotEstimable),
        ({"minutes": -5}, InputError),
    ],
)
def test_designs_that_cannot_be(wrong, error):
    with pytest.raises(error):
        plan.design(**{"cov": 0.15, "between_cov": 0.05, "protocol": "IEC 60156", "mean": 50, **wrong})


# --- stop or go on ----------------------------------------------------------------------------------------------


def test_after_four_breakdowns():
    kv = [52.1, 48.3, 55.0, 60.2]
    found = next_step(kv, 0.10)
    t, sd = stats.t.ppf(0.975, 3), np.std(kv, ddof=1)
    assert found.total == math.ceil((t * sd / (0.1 * np.mean(kv))) ** 2)
    assert found.half_width_kv == pytest.approx(t * sd / 2)
    assert found.half_width_after_kv <= found.target_kv
    assert f"{found.more} more give" in found.sentence
    assert next_step(kv, target_kv=10).stop
    assert plan.next(kv, 0.10) == found


def test_fillings_are_the_unit_here_too():
    kv = np.array([50, 52, 48, 58, 57, 60, 49, 47, 52.0])
    found = next_step(kv, 0.05, fillings=[1, 1, 1, 2, 2, 2, 3, 3, 3])
    assert found.unit == "fillings" and found.taken == 3
    assert found.sd_kv == pytest.approx(np.std([50, 175 / 3, 148 / 3], ddof=1))
    assert "unequal" in [w.code for w in next_step(kv[:-1], fillings=[1, 1, 1, 2, 2, 2, 3, 3]).cautions]


def test_stein_is_exact_and_stopping_when_narrow_is_not():
    """Independent simulation, breakdown by breakdown; then the rates that the module reports."""
    rng = np.random.default_rng(21)
    cov, target, start, inside, trials = 0.15, 0.10, 4, 0, 3000
    t = stats.t.ppf(0.975, start - 1)
    for _ in range(trials):
        first = 1 + cov * rng.standard_normal(start)
        sd = first.std(ddof=1)
        total = stein_total(sd, start, target)
        mean = (first.sum() + (1 + cov * rng.standard_normal(total - start)).sum()) / total
        inside += abs(mean - 1) <= t * sd / math.sqrt(total)
    assert inside / trials == pytest.approx(0.95, abs=0.013)
    two_stage, narrow = error_rates(cov, target, start, repetitions=10000, rng=5)
    assert two_stage.coverage == pytest.approx(0.95, abs=0.008)
    assert 0.90 < narrow.coverage < 0.935
    assert narrow.average_total < two_stage.average_total


def test_what_cannot_be_said():
    with pytest.raises(NotEstimable):
        next_step([50.0])
    with pytest.raises(NotEstimable):
        next_step([50.0, 50.0, 50.0])
    with pytest.raises(InputError):
        next_step([50.0, -1])
    with pytest.raises(InputError):
        next_step([50.0, 60], 0)
    with pytest.raises(InputError):
        next_step([50.0, 60], fillings=[1])
    with pytest.raises(InputError, match="wider interval"):
        next_step([50.0, 60], 0.0001)


def test_fillings_that_agree_by_luck_do_not_say_stop():
    rng = np.random.default_rng(5)
    kv = rng.normal(50, 7, (3, 5))
    kv += 50.0 - kv.mean(1, keepdims=True) + np.array([[-0.05], [0.0], [0.05]])
    found = plan.next(kv.ravel(), 0.03, fillings=np.repeat([1, 2, 3], 5))
    assert not found.stop and found.more > 0 and "lucky_fillings" in {c.code for c in found.cautions}
    assert found.half_width_kv > 2


def test_the_rate_told_for_stopping_is_that_of_scatter_that_may_be_behind_the_one_found():
    from methods.planning.stepping import error_rates

    certain = error_rates(0.06, 0.1, 4, rng=2)[1].coverage
    found = error_rates(0.06, 0.1, 4, cov_df=3, rng=2)
    assert found[1].coverage < certain - 0.005  # a small SD found by chance stops too early
    assert found[0].coverage == pytest.approx(0.95, abs=0.015)


def test_the_assured_design_is_never_smaller_than_the_estimate() -> None:
    """Five breakdowns that by chance look as if each were hardly anything but the last one again."""
    table = pd.DataFrame({"kv": [55.0, 59, 72, 65, 49], "filling": "1", "order": np.arange(5) + 1.0})
    made = plan_from_pilot(table, 0.2)
    assert made.pilot.serial_correlation is not None and made.pilot.serial_correlation > 0.95
    assert made.assured is not None and made.assured.breakdowns >= made.estimate.breakdowns
