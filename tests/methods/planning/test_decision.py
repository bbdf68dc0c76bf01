"""Verdicts on data: the three rules, what the uncertainty rests on, withstands, and limits of other methods."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods import InputError
from methods.errors import NotEstimable
from methods.planning import decide, decide_all

SIX = [52.1, 48.3, 55.0, 60.2, 57.4, 51.7]


def sheet(**changes) -> pd.DataFrame:
    table = pd.DataFrame(
        {
            "sample": "A", "method": "ASTM D1816 2 mm", "gap_mm": 2.0, "filling": ["1"] * 5 + ["2"] * 5 + ["3"] * 5,
            "kv": [50.0, 52, 48, 55, 51, 58, 57, 60, 55, 61, 49, 47, 52, 50, 48],
        }
    )  # fmt: skip
    return table.assign(**changes)


def test_one_filling_by_hand():
    found = decide(SIX, 50, protocol="IEC 60156", limit_method="IEC 60156")
    mean, error = np.mean(SIX), np.std(SIX, ddof=1) / math.sqrt(6)
    assert found.verdict == "pass" and found.fillings == 1
    assert found.mean_kv == pytest.approx(mean)
    assert found.standard_uncertainty_kv == pytest.approx(error)
    ends = stats.ttest_1samp(SIX, 0).confidence_interval(0.95)
    assert (found.mean_low_kv, found.mean_high_kv) == pytest.approx((ends.low, ends.high))
    assert found.holds_for == "this filling" and "twice" in found.prior
    # the oil: any ratio of the SD between to that within from 0 to 2, by plain simulation
    rng = np.random.default_rng(1)
    within = np.var(SIX, ddof=1) * 5 / rng.chisquare(5, 400_000)
    true = mean + rng.standard_normal(400_000) * np.sqrt(within * (1 / 6 + (2 * rng.random(400_000)) ** 2))
    assert found.probability_above == pytest.approx((true >= 50).mean(), abs=0.004)
    assert found.low_kv == pytest.approx(np.quantile(true, 0.05), abs=0.15)
    assert found.wrong_verdict_probability == pytest.approx(1 - found.probability_above)
    assert "one_filling" in [w.code for w in found.cautions]


def test_what_most_breakdowns_lie_above():
    """Outside: the one-sided tolerance factor of independent normal values, SciPy's non-central t."""
    kv = np.array([52.1, 48.3, 55.0, 60.2, 57.4, 51.7, 58.8, 49.9, 61.0, 54.4])
    factor = stats.nct.ppf(0.95, 9, stats.norm.ppf(0.99) * math.sqrt(10)) / math.sqrt(10)
    for fillings in (None, np.arange(10)):
        found = decide(kv, 50, fillings=fillings)
        assert found.share_above == 0.99
        assert (kv.mean() - found.surely_above_kv) / kv.std(ddof=1) == pytest.approx(factor, abs=5e-4)
    assert found.surely_above_kv < found.low_kv, "most breakdowns, not their mean"
    assert decide([20.0, 60, 70], 50).surely_above_kv == 0.0, "no voltage lies below 0"
    assert decide([50.0], 50).surely_above_kv is None and decide([50.0], 50).share_above is None
    withstood = decide([60.0, 60.0], 50, withstood=[True, True])
    assert withstood.surely_above_kv is None


def test_the_three_rules_differ():
    verdicts = {rule: decide(SIX, 50, rule).verdict for rule in ("simple", "guarded", "every")}
    assert verdicts == {"simple": "pass", "guarded": "fail", "every": "fail"}
    assert decide(SIX, 40, "guarded").verdict == "pass"
    assert decide(SIX, 48, "every").verdict == "pass"
    assert decide([50.0, 50.0, 50.0], 50).verdict == "pass"
    with pytest.raises(InputError, match="no rule"):
        decide(SIX, 50, "kind")


def test_fillings_are_the_unit():
    found = decide(sheet(), 50, limit_method="ASTM D1816 2 mm")
    means = sheet().groupby("filling").kv.mean()
    assert found.standard_uncertainty_kv == pytest.approx(means.std(ddof=1) / math.sqrt(3))
    assert found.df == 2 and found.basis == "filling means"
    loose = decide(sheet().kv.to_numpy(), 50)
    assert loose.standard_uncertainty_kv < found.standard_uncertainty_kv
    known = decide(sheet().kv.to_numpy(), 50, fillings=sheet().filling.to_numpy())
    assert known.standard_uncertainty_kv == pytest.approx(found.standard_uncertainty_kv)


def test_history_and_instrument_are_added():
    plain, history = decide(SIX, 50), decide(SIX, 50, between_sd=3.0)
    assert history.standard_uncertainty_kv == pytest.approx(math.hypot(plain.standard_uncertainty_kv, 3.0))
    assert history.df > plain.df
    assert "one_filling" not in [w.code for w in history.cautions]
    both = decide(SIX, 50, between_sd=3.0, instrument_kv=1.0)
    assert both.standard_uncertainty_kv == pytest.approx(math.hypot(history.standard_uncertainty_kv, 1.0))


def test_guarded_rule_passes_a_bad_oil_as_seldom_as_promised():
    """1,500 invented oils exactly on the limit, three fillings of five: at most one in twenty passes.

    Fewer do, because fillings that agree by luck are given room for what they hide.
    """
    rng = np.random.default_rng(3)
    labels = np.repeat([1, 2, 3], 5)
    passed = 0
    for _ in range(1500):
        kv = 50 + 2.5 * rng.standard_normal(3)[labels - 1] + 5 * rng.standard_normal(15)
        passed += decide(kv, 50, "guarded", fillings=labels).verdict == "pass"
    assert 0 < passed / 1500 <= 0.05 + 0.017


def test_unequal_fillings_cover():
    rng = np.random.default_rng(8)
    labels = np.array([1, 1, 1, 1, 1, 1, 2, 2, 2, 3, 3, 3, 3, 4, 4])
    inside = 0
    for _ in range(1200):
        kv = 50 + 3 * rng.standard_normal(4)[labels - 1] + 5 * rng.standard_normal(15)
        found = decide(kv, 50, fillings=labels)
        inside += abs(found.mean_kv - 50) <= found.expanded_uncertainty_kv
    assert 0.95 - 0.03 <= inside / 1200 < 1  # more than 0.95: lucky fillings are given room


def test_withstands_never_enter_as_values():
    kv, gone = np.array([55.0, 58, 60, 60, 52, 60]), np.array([False, False, True, True, False, True])
    found = decide(kv, 56, withstood=gone)
    assert found.withstood == 3 and found.breakdowns == 3
    assert found.mean_kv > kv.mean()
    assert "withstood" in [w.code for w in found.cautions]
    assert found.basis.startswith("censored")


def test_only_withstands():
    kv, gone = [60.0] * 5, [True] * 5
    assert decide(kv, 50, withstood=gone).verdict == "pass"
    assert decide(kv, 50, withstood=gone).mean_kv is None
    assert decide(kv, 50, "every", withstood=gone).verdict == "pass"
    assert decide(kv, 70, "every", withstood=gone).verdict == "undecided"
    assert decide(kv, 70, withstood=gone).verdict == "undecided"
    assert decide(kv, 50, "guarded", withstood=gone).verdict == "undecided"


def test_one_value_has_no_uncertainty():
    found = decide([55.0], 50)
    assert (found.verdict, found.standard_uncertainty_kv, found.probability_above) == ("pass", None, None)
    assert decide([55.0], 50, "guarded").verdict == "undecided"


@pytest.mark.parametrize(
    ("method", "reason"),
    [("IEC 60156", "no standard converts"), ("ASTM D1816 1 mm", "2 mm"), ("ASTM D877", "no standard converts")],
)
def test_another_methods_limit_is_refused_with_the_reason(method, reason):
    with pytest.raises(InputError, match=reason):
        decide(sheet(), 50, limit_method=method)


def test_limits_from_documents():
    found = decide(sheet(), "astm_d3487/d1816_2mm")
    assert found.limit_kv == 35 and found.verdict == "pass"
    assert "limit_from_document" in [w.code for w in found.cautions]
    with pytest.raises(InputError, match="no standard converts"):
        decide(sheet(), "astm_d3487/d877")
    with pytest.raises(InputError, match="says itself"):
        decide(sheet(), "astm_d3487/d877", limit_method="ASTM D877")
    with pytest.raises(InputError, match="no limit"):
        decide(sheet(), "astm_d3487/nonsense")
    with pytest.raises(InputError, match="No method is known"):
        decide(sheet(), 50, limit_method="nonsense")
    with pytest.raises(InputError, match="not known"):
        decide(sheet(method=None, gap_mm=None), 50, limit_method="ASTM D1816 2 mm")
    with pytest.raises(InputError, match="No protocol"):
        decide(SIX, 50, protocol="nonsense")


def test_tables_of_several():
    two = pd.concat([sheet(), sheet(sample="B", kv=sheet().kv - 12)], ignore_index=True)
    with pytest.raises(InputError, match="several levels of sample"):
        decide(two, 50)
    found = decide_all(two, 50, limit_method="ASTM D1816 2 mm")
    assert [(d.group["sample"], d.verdict) for d in found.decisions] == [("A", "pass"), ("B", "fail")]
    mixed = pd.concat([sheet(), sheet(method="IEC 60156", gap_mm=2.5)], ignore_index=True)
    with pytest.raises(InputError, match="several methods"):
        decide_all(mixed, 50)
    some = decide_all(mixed, 50, limit_method="IEC 60156")
    assert len(some.decisions) == 1 and len(some.refused) == 1
    assert "no standard converts" in some.refused[0]["reason"]
    with pytest.raises(InputError, match="no standard converts"):
        decide_all(sheet(), 50, limit_method="IEC 60156")
    assert len(decide_all(two, 50, by=["method"]).decisions) == 1


def test_nothing_to_decide():
    with pytest.raises(NotEstimable):
        decide_all(sheet().iloc[:0], 50)
    with pytest.raises(InputError):
        decide([], 50)
    with pytest.raises(InputError):
        decide([50, -1], 50)
    with pytest.raises(InputError):
        decide(SIX, 0)
