"""Tests over filling means, oil by oil: against SciPy and statsmodels on the same means."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.oneway import anova_oneway

from methods.errors import InputError, NotEstimable
from methods.shifts.other_tests import other_tests


def table(oils: int = 2, ceiling: float = 1e9) -> pd.DataFrame:
    """Invented: oils under three electrodes, five fillings of three breakdowns each."""
    rng = np.random.default_rng(4)
    rows, filling = [], 0
    for oil in range(oils):
        for level, mean in (("disk", 40), ("sphere", 46), ("mushroom", 44)):
            for _ in range(5):
                filling += 1
                kv = mean + 2 * oil + rng.normal(0, 3) + rng.normal(0, 2, 3)
                rows += [(f"O{oil}", level, filling, i + 1, min(v, ceiling), v >= ceiling) for i, v in enumerate(kv)]
    out = pd.DataFrame(rows, columns=["sample", "electrode", "filling", "order", "kv", "gone"])
    return out.assign(outcome=np.where(out.pop("gone"), "withstood", "breakdown"))


def means(data: pd.DataFrame, oil: str) -> list[np.ndarray]:
    mine = data[data["sample"] == oil].groupby(["electrode", "filling"], sort=False)["kv"].mean()
    return [mine[level].to_numpy() for level in ("disk", "sphere", "mushroom")]


def test_filling_means_of_each_oil_are_tested() -> None:
    data = table()
    found = other_tests(data, "electrode", reference="disk")
    assert {(r.sample, r.level) for r in found.ranks} == {(o, v) for o in ("O0", "O1") for v in ("sphere", "mushroom")}
    for oil in ("O0", "O1"):
        disk, sphere, mushroom = means(data, oil)
        rank = next(r for r in found.ranks if (r.sample, r.level) == (oil, "sphere"))
        assert rank.p_value == pytest.approx(stats.mannwhitneyu(sphere, disk, method="exact").pvalue)
        assert rank.shift_kv == pytest.approx(np.median(np.subtract.outer(sphere, disk)))
        assert rank.low_kv < rank.shift_kv < rank.high_kv and rank.reached >= 0.95
        by_name = {t.name.split()[0]: t for t in found.overall if t.sample == oil}
        welch = anova_oneway([disk, sphere, mushroom], use_var="unequal", welch_correction=True)
        assert by_name["Welch's"].statistic == pytest.approx(welch.statistic)
        assert by_name["Welch's"].p_value == pytest.approx(welch.pvalue)
        assert by_name["Kruskal-Wallis"].p_value == pytest.approx(stats.kruskal(disk, sphere, mushroom).pvalue)
        brown = stats.levene(disk, sphere, mushroom, center="median")
        assert by_name["Brown-Forsythe"].p_value == pytest.approx(brown.pvalue)
        assert (by_name["Brown-Forsythe"].df, by_name["Brown-Forsythe"].df2) == (2, 12)


def test_the_reference_is_the_level_with_most_fillings_and_must_exist() -> None:
    data = table(1)
    assert other_tests(data[data["filling"] != 1], "electrode").reference in ("sphere", "mushroom")
    with pytest.raises(InputError, match="no level 'ball'"):
        other_tests(data, "electrode", reference="ball")


def test_an_oil_with_a_ceiling_is_left_out_and_said() -> None:
    data = table()
    data.loc[data.loc[data["sample"] == "O1", "kv"].idxmax(), "outcome"] = "withstood"
    found = other_tests(data, "electrode")
    assert {t.sample for t in found.overall} == {"O0"}
    assert any(c.code == "withstood" and "O1" in c.text for c in found.cautions)


def test_one_filling_each_is_refused() -> None:
    data = table(1)
    first = data.groupby("electrode")["filling"].transform("min")
    with pytest.raises(NotEstimable, match="two fillings or more"):
        other_tests(data[data["filling"] == first], "electrode")
