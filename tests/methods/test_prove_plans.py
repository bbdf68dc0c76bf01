"""Plans carried out on invented oils: what is counted agrees with what the plan told, and with other libraries."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower

from methods import plan
from methods.errors import InputError
from methods.prove_plans import prove_plan
from methods.prove_steps import prove_next, prove_pilot

BETWEEN = {"between_cov": 0.05}
KINDS = {
    "difference": ({"difference": 0.2, "fillings": 4, "breakdowns_per_filling": 5}, BETWEEN),
    "difference, breakdowns": ({"difference": 0.2}, {}),
    "difference, paired": ({"difference": 0.15, "paired": True, "fillings": 6, "breakdowns_per_filling": 5}, BETWEEN),
    "equivalence": ({"margin": 0.15}, BETWEEN),
    "percentile": ({"p": 0.01, "half_width": 0.35, "fillings": 3, "breakdowns_per_filling": 5}, BETWEEN),
    "percentile, Weibull": ({"p": 0.01, "half_width": 0.17, "family": "weibull", "breakdowns_per_filling": 10}, {}),
    "decision": ({"limit": 50, "mean": 62, "rule": "guarded"}, BETWEEN),
    "decision, fails": ({"limit": 50, "mean": 45}, {}),
    "mean": ({"half_width": 0.17, "fillings": 3, "breakdowns_per_filling": 5}, BETWEEN),
}


def agrees(held: float, repetitions: int, told: float) -> bool:
    hits = round(held * repetitions)
    return min(stats.binom.cdf(hits, repetitions, told), stats.binom.sf(hits - 1, repetitions, told)) > 1e-3


@pytest.mark.parametrize("name", KINDS)
def test_what_is_counted_is_what_the_plan_told(name: str) -> None:
    options, scatter = KINDS[name]
    made = getattr(plan, name.split(",")[0])(cov=0.15, **options, **scatter)
    found = prove_plan(made, cov=0.15, repetitions=80, **scatter)
    first = found.rows[0]
    if not name.startswith("decision"):  # limits hold, or are wider
        assert stats.binom.cdf(round(first.held * 80), 80, 0.95) > 1e-3
    last = found.rows[-1]
    told = {"difference": "power", "equivalence": "power"}.get(name.split(",")[0], "assurance")
    value = 1 - made.wrong_verdict_probability if name.startswith("decision") else getattr(made, told)
    room = 0.03 if name.startswith(("decision", "equivalence")) else 0.0
    assert any(agrees(last.held, 80, min(max(value + v, 1e-6), 1 - 1e-6)) for v in (-room, 0.0, room))
    assert "of 100" in found.sentence and f"{100 * 0.15:g} % within" in found.sentence


def test_power_of_independent_breakdowns_beside_statsmodels() -> None:
    """statsmodels' power of the two-sample t-test, and as often found when the plan is carried out."""
    made = plan.difference(cov=0.15, difference=0.2)
    n = made.breakdowns_per_condition
    told = TTestIndPower().power(0.2 / 0.15, n, 0.05)
    found = prove_plan(made, cov=0.15, repetitions=200)
    assert made.power == pytest.approx(told, abs=0.005) and agrees(found.rows[1].held, 200, told)


def test_the_same_seed_gives_the_same_count() -> None:
    made = plan.percentile(cov=0.15, p=0.1, half_width=0.2, family="lognormal")
    one, again = (prove_plan(made, cov=0.15, repetitions=30, rng=4) for _ in range(2))
    assert one == again and not math.isnan(one.rows[0].held)


def test_refusals() -> None:
    made = plan.mean(cov=0.15, half_width=0.1)
    with pytest.raises(InputError, match="prove nothing"):
        prove_plan(made, cov=0.15, repetitions=0)
    with pytest.raises(InputError, match="not carried out"):
        prove_plan("a plan", cov=0.15)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="needs the scatter"):
        prove_plan(made)
    with pytest.raises(InputError, match="known in kV"):
        prove_plan(plan.difference(sd=6, difference=3), cov=0.15)
    known = plan.decision(limit=50, mean=62, cov=0.15, rule="guarded", interval="known")
    with pytest.raises(InputError, match="history"):
        prove_plan(known, cov=0.15)


@pytest.mark.parametrize("fillings", [1, 3])
@pytest.mark.parametrize("asked", [{"within": 0.3}, {"ratio": 2.0}])
def test_an_sd_is_as_near_and_two_are_told_apart_as_often_as_told(fillings: int, asked: dict[str, float]) -> None:
    made = plan.sd(**asked, confidence=0.8, fillings=fillings)
    found = prove_plan(made, repetitions=120)
    assert agrees(found.rows[1].held, 120, made.achieved)
    assert agrees(found.rows[0].held, 120, 0.8) and f"told {100 * made.achieved:.0f}" in found.sentence


def test_power_of_a_ratio_beside_scipy() -> None:
    """The F test of two independent samples, counted by SciPy's distributions alone, and by the plan carried out."""
    made = plan.sd(ratio=2.0)
    df = (made.breakdowns_per_condition or 0) - 1
    rng = np.random.default_rng(8)
    f = 4 * rng.f(df, df, 20_000)
    seen = np.mean((f > stats.f.ppf(0.975, df, df)) | (f < stats.f.ppf(0.025, df, df)))
    found = prove_plan(made, repetitions=150)
    assert made.achieved == pytest.approx(seen, abs=0.015) and agrees(found.rows[1].held, 150, seen)


def test_the_upper_limit_of_an_sd_lies_as_far_above_as_told() -> None:
    for kind in ("upper", "upper_one_sided"):
        made = plan.sd(0.3, kind=kind, fillings=2)
        found = prove_plan(made, between_cov=0.3, repetitions=60)  # far apart: the SD within is the mean square
        assert (
            f"{made.achieved:.3g} times the SD found in the middle; the plan told {made.achieved:.3g}" in found.sentence
        )
        assert stats.binom.cdf(round(found.rows[0].held * 60), 60, 0.95) > 1e-3


def pilot_of(k: int, n: int, between: float = 0.1) -> pd.DataFrame:
    rng = np.random.default_rng(3)
    label = np.repeat(np.arange(k), n)
    kv = 60 * (1 + between * rng.standard_normal(k)[label] + 0.15 * rng.standard_normal(k * n))
    return pd.DataFrame({"kv": kv, "filling": label.astype(str), "order": np.tile(np.arange(n) + 1.0, k)})


def test_a_pilot_carried_out_is_enough_at_least_as_surely_as_it_says() -> None:
    found = prove_pilot(pilot_of(4, 5), 0.2, repetitions=60, serial=False)
    assert stats.binom.cdf(round(found.rows[0].held * 60), found.rows[0].repetitions, 0.8) > 1e-3
    assert stats.binom.cdf(round(found.rows[1].held * 60), found.rows[1].repetitions, 0.95) > 1e-3
    assert "20 breakdowns on 4 fillings" in found.sentence and "told 80" in found.sentence
    in_kv = prove_pilot(pilot_of(4, 5), half_width_kv=0.2 * 60, repetitions=3, rng=5)
    assert in_kv == prove_pilot(pilot_of(4, 5), half_width_kv=0.2 * 60, repetitions=3, rng=5)


def test_a_pilot_that_is_not_carried_out() -> None:
    table = pilot_of(3, 4)
    table["outcome"] = np.where(table["kv"] > table["kv"].quantile(0.8), "withstood", "breakdown")
    with pytest.raises(InputError, match="withstands"):
        prove_pilot(table, 0.2)
    with pytest.raises(InputError, match="prove nothing"):
        prove_pilot(table, 0.2, repetitions=0)


@pytest.mark.parametrize("fillings", [None, np.repeat(np.arange(4), 5)], ids=["breakdowns", "fillings"])
def test_going_on_as_advised_holds_what_the_advice_tells(fillings: np.ndarray | None) -> None:
    kv = pilot_of(4, 5)["kv"].to_numpy() if fillings is not None else [52.0, 58, 49, 61, 55, 47]
    made = plan.next(kv, 0.1, fillings=fillings)
    found = prove_next(kv, 0.1, fillings=fillings, repetitions=150)
    told = {r.rule: r.coverage for r in made.rates}
    assert agrees(found.rows[0].held, found.rows[0].repetitions, told["two_stage"])
    assert agrees(found.rows[2].held, found.rows[2].repetitions, told["stop_when_narrow"])
    assert stats.binom.cdf(round(found.rows[1].held * 150), found.rows[1].repetitions, 0.95) > 1e-3
    assert found == prove_next(kv, 0.1, fillings=fillings, repetitions=150)
