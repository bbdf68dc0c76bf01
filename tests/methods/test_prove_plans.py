"""Plans carried out on invented oils: what is counted agrees with what the plan told, and with other libraries."""

from __future__ import annotations

import math

import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower

from methods import plan
from methods.errors import InputError
from methods.prove_plans import prove_plan

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
        prove_plan(plan.sd(0.3), cov=0.15)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="known in kV"):
        prove_plan(plan.difference(sd=6, difference=3), cov=0.15)
    known = plan.decision(limit=50, mean=62, cov=0.15, rule="guarded", interval="known")
    with pytest.raises(InputError, match="history"):
        prove_plan(known, cov=0.15)
