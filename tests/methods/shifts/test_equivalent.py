"""Agreement within a margin: two one-sided tests against published values and live libraries."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.weightstats import ttost_ind

from methods.errors import InputError
from methods.shifts import equivalence, shift
from methods.shifts.difference import Difference
from methods.shifts.equivalent import two_one_sided, two_one_sided_ratio
from tests.reference import agrees, data, expected, names


def _as_fillings(values: pd.Series, group: pd.Series, lift: float) -> pd.DataFrame:
    return pd.DataFrame(
        {"kv": values + lift, "stirring": group.astype(str), "filling": [str(i) for i in range(len(values))]}
    )


def _cases() -> dict[str, tuple[pd.DataFrame, str, float]]:
    sleep, plants = data("F01_sleep.csv"), data("F05_plantgrowth.csv")
    plants = plants[plants["group"].isin(["ctrl", "trt1"])].reset_index(drop=True)
    return {
        "sleep": (_as_fillings(sleep["extra"], sleep["group"], 10), "2", expected("F10", "sleep_margin")),
        "pg_ctrl_trt1": (
            _as_fillings(plants["weight"], plants["group"], 0), "trt1", expected("F10", "pg_ctrl_trt1_margin"),
        ),
    }  # fmt: skip


@pytest.mark.parametrize("name", names("F10"))
def test_published_cases(name: str) -> None:
    """Case F10: Schuirmann 1987 on the sleep and plant data (R t.test, statsmodels); first minus second."""
    prefix = "sleep" if name.startswith("sleep") else "pg_ctrl_trt1"
    frame, reference, margin = _cases()[prefix]
    result = equivalence(frame, "stirring", margin_kv=margin, reference=reference)
    level = result.levels[0]
    found = {
        "margin": result.margin_kv, "ci90_welch": [level.low_kv, level.high_kv], "p_lower": level.p_lower,
        "p_upper": level.p_upper, "p_tost": level.p_value, "equivalent_at_5pct": level.verdict == "shown",
    }  # fmt: skip
    short = name.removeprefix(prefix + "_")
    agrees("F10", name, found[short])


def test_against_statsmodels() -> None:
    rng = np.random.default_rng(1)
    x, y = rng.normal(50, 3, 12), rng.normal(51, 4, 13)  # so many need no widening
    frame = _as_fillings(pd.Series([*x, *y]), pd.Series(["a"] * 12 + ["b"] * 13), 0)
    level = equivalence(frame, "stirring", margin_kv=5, reference="b").levels[0]
    p, lower, upper = ttost_ind(x, y, -5, 5, usevar="unequal")
    np.testing.assert_allclose([level.p_value, level.p_lower, level.p_upper], [p, lower[1], upper[1]])


@pytest.mark.parametrize("seed", range(20))
def test_limits_inside_exactly_where_shown(seed: int) -> None:
    """The 90 % limits lie within the margins exactly where the larger one-sided p is below 5 %."""
    rng = np.random.default_rng(seed)
    d = Difference(50 + rng.normal(0, 2), 50, rng.uniform(0.2, 2), rng.uniform(0.2, 2), 3, 4)
    kv, ratio = two_one_sided(d, -3, 3), two_one_sided_ratio(d, 0.06)
    assert (kv.p_value < 0.05) == (kv.low > -3 and kv.high < 3)
    assert (ratio.p_value < 0.05) == (ratio.low > -0.06 and ratio.high < 0.06)


def test_verdicts_and_sentences() -> None:
    rng = np.random.default_rng(3)

    def frame(mean: float, sd: float) -> pd.DataFrame:
        kv = [*rng.normal(mean, sd, 6), *rng.normal(60, sd, 6)]
        return _as_fillings(pd.Series(kv), pd.Series(["stirred"] * 6 + ["still"] * 6), 0)

    verdicts = [
        equivalence(frame(mean, sd), "stirring", margin=0.05, reference="still").levels[0]
        for mean, sd in ((60, 0.5), (60, 8), (40, 0.5))
    ]
    assert [v.verdict for v in verdicts] == ["shown", "not shown", "shown to differ"]
    assert verdicts[0].sentence.startswith("stirred and still agree within ± 5 %: shown")


def test_refusals() -> None:
    frame = _cases()["sleep"][0]
    for bad in ({}, {"margin": 0.05, "margin_kv": 2}, {"margin": 0}, {"margin": 5}, {"margin_kv": -1}):
        with pytest.raises(InputError):
            equivalence(frame, "stirring", **bad)


def test_history_serves_a_level_with_one_filling() -> None:
    """Without it nothing can be judged on one oil with one filling of a level and no other to borrow from."""
    rng = np.random.default_rng(9)

    def tests(level: str, fillings: int, mean: float, sample: str = "A") -> pd.DataFrame:
        rows = [
            {"kv": m + rng.normal(0, 4), "electrode": level, "filling": f"{sample}{level}{f}", "sample": sample}
            for f in range(fillings)
            for m in [mean + rng.normal(0, 1)]
            for _ in range(5)
        ]
        return pd.DataFrame(rows)

    now = pd.concat([tests("a", 1, 50), tests("b", 1, 50.5)], ignore_index=True)
    past = pd.concat([tests("a", 3, 50 + i, f"old {i}") for i in range(8)], ignore_index=True)
    assert equivalence(now, "electrode", margin=0.3).levels[0].verdict == "not estimable"
    lent = equivalence(now, "electrode", margin=0.3, history=past)
    assert lent.levels[0].verdict == "shown" and np.isfinite(lent.levels[0].low_kv)
    ours = shift(now, "electrode", history=past, confidence=0.9).shifts[0]
    assert (lent.levels[0].low_kv, lent.levels[0].high_kv) == pytest.approx((ours.low_kv, ours.high_kv))
