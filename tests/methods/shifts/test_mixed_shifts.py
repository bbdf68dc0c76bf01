"""The shift by a mixed model: balanced designs by hand, statsmodels live, factors taken out, what cannot be told."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods.errors import InputError, NotEstimable
from methods.shifts import shift
from tests.methods.shifts.test_shifts import bench


def factorial(seed: int = 0, fillings: int = 3) -> pd.DataFrame:
    """Invented: electrode x gap, unevenly spread; the gap doubles the voltage, the mushroom takes 5 kV off."""
    rng = np.random.default_rng(seed)
    rows = []
    for electrode, gaps in (("s", (1.0, 2.0, 2.0)), ("m", (1.0, 1.0, 2.0))):
        for at, gap in enumerate(gaps):
            for f in range(fillings):
                centre = 25 * gap - 5 * (electrode == "m") + rng.normal(0, 1.5)
                for _ in range(5):
                    rows.append(
                        {"sample": "A", "electrode": electrode, "gap_mm": gap, "filling": f"{at}{f}",
                         "kv": centre + rng.normal(0, 3)}
                    )  # fmt: skip
    return pd.DataFrame(rows)


def test_balanced_is_the_pooled_t_on_filling_means() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (45, 4)}, seed=3)
    found = shift(frame, "electrode", reference="s", model="mixed").shifts[0]
    means = frame.groupby(["electrode", "filling"])["kv"].mean()
    live = stats.ttest_ind(means["m"], means["s"])
    np.testing.assert_allclose([found.low_kv, found.high_kv], live.confidence_interval(), rtol=1e-5)
    assert found.p_value == pytest.approx(live.pvalue, rel=1e-4)
    assert found.df == pytest.approx(6)


def test_percent_limits_agree_with_the_test() -> None:
    for seed in range(6):
        frame = bench({("A", "s"): (50, 3), ("A", "m"): (46, 3)}, seed=seed)
        found = shift(frame, "electrode", reference="s", model="mixed", confidence=0.9).shifts[0]
        outside = found.low_percent > 0 or found.high_percent < 0
        assert (found.p_value < 0.1) == outside


def test_another_factor_is_taken_out_statsmodels() -> None:
    """statsmodels' MixedLM with the same fixed part, live; the raw difference is far off."""
    import statsmodels.formula.api as smf

    frame = factorial(1)
    found = shift(frame, "electrode", reference="s", model="mixed", factors=["gap_mm"]).shifts[0]
    frame["cell"] = frame["electrode"] + frame["gap_mm"].astype(str) + frame["filling"]
    live = smf.mixedlm("kv ~ C(electrode, Treatment('s')) + C(gap_mm)", frame, groups=frame["cell"]).fit(reml=True)
    name = "C(electrode, Treatment('s'))[T.m]"
    assert found.difference_kv == pytest.approx(live.params[name], rel=1e-4)
    assert found.standard_error_kv == pytest.approx(live.bse[name], rel=0.02)
    means = frame.groupby("electrode")["kv"].mean()
    assert abs(means["m"] - means["s"] - found.difference_kv) > 4
    like = shift(frame, "electrode", reference="s").shifts[0]  # the same without a model: like with like
    assert like.held == ["gap_mm"]
    assert like.difference_kv == pytest.approx(found.difference_kv, rel=1e-6)
    assert found.low_kv < -5 < found.high_kv


def test_a_factor_that_is_taken_out_is_no_warning_any_more() -> None:
    result = shift(factorial(1), "electrode", reference="s", model="mixed", factors=["gap_mm"])
    assert "confounded" not in [w.code for w in result.cautions]
    assert result.factors == ["gap_mm"] and "gap_mm" in result.shifts[0].method


def test_samples_are_blocks() -> None:
    """Oil + electrode with one filling each: the two-way analysis of variance."""
    cells = {(oil, e): (m * f, 1) for oil, m in (("A", 40), ("B", 60), ("C", 50)) for e, f in (("s", 1), ("m", 0.9))}
    frame = bench(cells, seed=5)
    found = shift(frame, "electrode", reference="s", model="mixed").shifts[0]
    means = frame.groupby(["electrode", "sample"])["kv"].mean()
    live = stats.ttest_rel(means["m"], means["s"])
    np.testing.assert_allclose([found.low_kv, found.high_kv], live.confidence_interval(), rtol=1e-4)
    random = shift(frame, "electrode", reference="s", model="mixed", samples="random").shifts[0]
    assert random.difference_kv == pytest.approx(found.difference_kv, rel=1e-6)


def test_what_cannot_be_told() -> None:
    frame = bench({("A", "s"): (50, 3), ("A", "m"): (45, 3), ("A", "d"): (40, 3)})
    frame["gap_mm"] = np.where(frame["electrode"] == "d", 2.54, 2.5)
    result = shift(frame, "electrode", reference="s", model="mixed", factors=["gap_mm"])
    by_level = {s.level: s for s in result.shifts}
    assert np.isnan(by_level["d"].difference_kv) and np.isfinite(by_level["m"].difference_kv)
    assert any(w.code == "confounded" and w.text.startswith("d cannot be told") for w in result.cautions)
    with pytest.raises(NotEstimable, match="cannot be told apart"):
        shift(frame[frame["electrode"] != "m"], "electrode", reference="s", model="mixed", factors=["gap_mm"])


def test_one_filling_is_said() -> None:
    frame = bench({("A", "s"): (50, 1), ("A", "m"): (45, 1)})
    assert "one_filling" in [w.code for w in shift(frame, "electrode", model="mixed").cautions]


def test_withstands_are_censored() -> None:
    frame = bench({("A", "s"): (58, 3), ("A", "m"): (50, 3)}, seed=4)
    hit = frame["kv"] >= 60
    frame["outcome"] = np.where(hit, "withstood", "breakdown")
    frame.loc[hit, "kv"] = 60.0
    result = shift(frame, "electrode", reference="s", model="mixed")
    assert "withstood" in [w.code for w in result.cautions]
    assert result.shifts[0].reference_mean_kv > frame.loc[frame["electrode"] == "s", "kv"].mean()


def test_log_is_the_ratio() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (45, 4)}, seed=3)
    found = shift(frame, "electrode", reference="s", model="mixed", log=True).shifts[0]
    frame["kv"] = np.log(frame["kv"])
    means = frame.groupby(["electrode", "filling"])["kv"].mean()
    live = stats.ttest_ind(means["m"], means["s"]).confidence_interval()
    np.testing.assert_allclose([found.low_percent, found.high_percent], 100 * np.expm1(np.array(live)), rtol=1e-5)


def test_refusals() -> None:
    frame = factorial()
    with pytest.raises(InputError, match="mixed model only"):
        shift(frame, "electrode", factors=["gap_mm"])
    with pytest.raises(InputError):
        shift(frame, "electrode", model="mixed", factors=["electrode"])
    with pytest.raises(InputError):
        shift(frame, "electrode", model="mixed", samples="both")
