"""Two-sample tests against published and recomputed values (cases F01 to F05c, F07a and F10)."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods.errors import InputError, NotEstimable
from methods.shifts.comparisons import adjust_p, games_howell, holm, tukey, tukey_from_means
from methods.shifts.two_sample import (
    kruskal,
    levene,
    means_test,
    rank_test,
    t_from_summary,
)  # fmt: skip
from tests.reference import agrees, data, expected, names


def _t_family(x, y, prefix="") -> dict:  # type: ignore[no-untyped-def]
    summary = [v for z in (x, y) for v in (z.mean(), z.std(ddof=1), len(z))]
    welch, pooled = t_from_summary(*summary), t_from_summary(*summary, equal_sd=True)
    found = {
        "diff": welch.difference, "welch_t": welch.t, "welch_df": welch.df, "welch_p": welch.p_value,
        "welch_ci95": [welch.low, welch.high], "pooled_t": pooled.t, "pooled_df": pooled.df,
        "pooled_p": pooled.p_value, "pooled_ci95": [pooled.low, pooled.high],
    }  # fmt: skip
    return {prefix + k: v for k, v in found.items()}


#: Statistics of the cases that nothing shows.
_NOT_SHOWN = ("cohen", "hedges", "F_", "paired", "hd_", "probs", "type7", "bartlett", "fligner")


def _shown(case: str) -> list[str]:
    return [n for n in names(case) if not n.removeprefix("log_kV34v36_").startswith(_NOT_SHOWN)]


def _sleep():  # type: ignore[no-untyped-def]
    table = data("F01_sleep.csv")
    return (table.loc[table["group"] == i, "extra"].to_numpy() for i in (1, 2))


@pytest.mark.parametrize("name", _shown("F01"))
def test_sleep(name: str) -> None:
    """Student 1908, R t.test."""
    x, y = _sleep()
    agrees("F01", name, _t_family(x, y)[name])


@pytest.mark.parametrize("name", names("F02"))
def test_mileage_from_summary(name: str) -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.3."""
    summary = (20.14458, 6.41470, 249, 30.48101, 6.10771, 79)
    welch, pooled = t_from_summary(*summary), t_from_summary(*summary, equal_sd=True)
    pooled_sd = abs(pooled.difference / pooled.t) / np.sqrt(1 / 249 + 1 / 79)
    found = {"pooled_t": pooled.t, "pooled_df": pooled.df, "pooled_sd": pooled_sd,
             "welch_t": welch.t, "welch_df": welch.df}  # fmt: skip
    agrees("F02", name, found[name])


@pytest.mark.parametrize("name", _shown("F03"))
def test_gear_scatter(name: str) -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.10 and 1.3.5.7."""
    groups = [g.to_numpy() for _, g in data("F03_nist_gear.csv").groupby("batch")["diameter"]]
    welch = means_test(*groups, equal_sd=False)
    found = {
        "levene_median_W": levene(*groups).value, "levene_median_p": levene(*groups).p_value,
        "levene_mean_W": levene(*groups, center="mean").value,
        "kruskal_H": kruskal(*groups).value, "oneway_F": means_test(*groups).value,
        "welch_anova_F": welch.value, "welch_anova_df2": welch.df2, "welch_anova_p": welch.p_value,
    }  # fmt: skip
    agrees("F03", name, found[name])


def _rank_family(x, y, prefix="") -> dict:  # type: ignore[no-untyped-def]
    best, normal = rank_test(x, y), rank_test(x, y, exact=False)
    plain = stats.mannwhitneyu(x, y, method="asymptotic", use_continuity=False)
    found = {
        "W": best.w, "p_exact": best.p_value, "HL_shift": best.shift, "HL_ci95": [best.low, best.high],
        "p_normal_cc": normal.p_value, "p_normal_nocc": plain.pvalue, "P_superiority": best.superiority,
        # The level asked for; the exact limits have at least that, see test_exact_level.
        "HL_ci_level": 0.95,
    }  # fmt: skip
    return {prefix + k: v for k, v in found.items()}


@pytest.mark.parametrize("name", names("F04"))
def test_chorioamnion(name: str) -> None:
    """Hollander and Wolfe's example; R wilcox.test."""
    table = data("F04_chorioamnion.csv")
    groups = [table.loc[table["group"] == g, "y"].to_numpy() for g in ("at_term", "early")]
    if not len(groups[1]):
        groups[1] = table.loc[table["group"] != "at_term", "y"].to_numpy()
    agrees("F04", name, _rank_family(*groups)[name])


def test_exact_level() -> None:
    """The level that exact limits have is at least the one asked, and is reported."""
    table = data("F04_chorioamnion.csv")
    x, y = (table.loc[m, "y"].to_numpy() for m in (table["group"] == "at_term", table["group"] != "at_term"))
    assert 0.95 <= rank_test(x, y).level < 0.97
    assert rank_test(x, y, confidence=0.9).level >= 0.9


@pytest.mark.parametrize("m, n", [(4, 5), (3, 9), (7, 7)])
def test_exact_distribution_matches_enumeration(m: int, n: int) -> None:
    """The exact limits invert SciPy's exact test: the shift just inside is kept, just outside rejected."""
    rng = np.random.default_rng(m * 100 + n)
    x, y = rng.normal(1, 1, m), rng.normal(0, 1, n)
    found = rank_test(x, y, confidence=0.9)
    for limit, sign in ((found.low, 1), (found.high, -1)):
        inside = stats.mannwhitneyu(x - limit - sign * 1e-9, y, method="exact").pvalue
        outside = stats.mannwhitneyu(x - limit + sign * 1e-9, y, method="exact").pvalue
        assert inside > 1 - found.level + 1e-12
        assert outside <= 1 - found.level + 1e-12


@pytest.mark.parametrize("name", _shown("F07a"))
def test_nelson_34_against_36(name: str) -> None:
    """Rank and log-scale t tests of Nelson's fluid at 34 and 36 kV."""
    table = data("A01_nelson_fluid.csv")
    kv = next(c for c in table.columns if "kv" in c.lower() or "volt" in c.lower())
    time = next(c for c in table.columns if c != kv)
    x, y = (table.loc[table[kv] == v, time].to_numpy(dtype=float) for v in (34, 36))
    found = _rank_family(x, y, "kV34v36_") | _t_family(np.log(x), np.log(y), "log_kV34v36_")
    agrees("F07a", name, found[name])


def plant_groups() -> dict[str, np.ndarray]:
    table = data("F05_plantgrowth.csv")
    return {str(k): g.to_numpy() for k, g in table.groupby("group", sort=False)["weight"]}


@cache
def plant_table(procedure: str) -> pd.DataFrame:
    return {"tukey": tukey, "games_howell": games_howell}[procedure](plant_groups())


@pytest.mark.parametrize("name", names("F05"))
def test_tukey_plant_growth(name: str) -> None:
    """R TukeyHSD; scipy.stats.tukey_hsd live."""
    groups = plant_groups()
    table = plant_table("tukey")
    anova = means_test(*groups.values())
    found = {
        "anova_F": anova.value, "anova_p": anova.p_value,
        "tukey_diff": table["difference"], "tukey_lwr": table["low"], "tukey_upr": table["high"],
        "tukey_padj": table["p_value"],
    }  # fmt: skip
    if name == "tukey_pairs":
        assert [f"{b}-{a}" for a, b in zip(table["first"], table["second"], strict=True)] == expected("F05", name)
    else:
        agrees("F05", name, found[name])


def test_tukey_is_scipys() -> None:
    groups = plant_groups()
    groups["trt2"] = groups["trt2"][:6]  # unequal numbers: Tukey-Kramer
    table, live = tukey(groups), stats.tukey_hsd(*groups.values())
    pairs = [(0, 1), (0, 2), (1, 2)]
    np.testing.assert_allclose(table["p_value"], [live.pvalue[i, j] for i, j in pairs], rtol=1e-6)
    np.testing.assert_allclose(table["low"], [-live.confidence_interval().high[i, j] for i, j in pairs], rtol=1e-6)


@pytest.mark.parametrize("name", names("F05b"))
def test_tukey_after_two_way(name: str) -> None:
    """R TukeyHSD of breaks ~ wool + tension: Tukey from the residual mean square of another model."""
    table = data("F05_warpbreaks.csv")
    levels = ["L", "M", "H"]
    x = np.column_stack([table["wool"] == "B", *[(table["tension"] == v) for v in levels]]).astype(float)
    y = table["breaks"].to_numpy(dtype=float)
    rest = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    df = len(y) - 4
    means = [float(y[table["tension"] == v].mean()) for v in levels]
    found = tukey_from_means(levels, means, [18] * 3, float(rest @ rest) / df, df)
    if name == "tukey_pairs":
        assert [f"{b}-{a}" for a, b in zip(found["first"], found["second"], strict=True)] == expected("F05b", name)
    else:
        column = {"diff": "difference", "lwr": "low", "upr": "high", "padj": "p_value"}[name.removeprefix("tukey_")]
        agrees("F05b", name, found[column])


@pytest.mark.parametrize("name", names("F05c"))
def test_games_howell(name: str) -> None:
    """Games and Howell 1976; PMCMRplus and pingouin. That case subtracts the second from the first."""
    table = plant_table("games_howell")
    found = {"diff": -table["difference"], "t": -table["t"], "df": table["df"], "padj": table["p_value"],
             "lwr": -table["high"], "upr": -table["low"]}  # fmt: skip
    short = name.removeprefix("plantgrowth_gameshowell_")
    if short == "pairs":
        assert [f"{a}|{b}" for a, b in zip(table["first"], table["second"], strict=True)] == expected("F05c", name)
    else:
        agrees("F05c", name, found[short])


def test_holm() -> None:
    """Holm 1979, section 4's rule by hand; statsmodels live."""
    from statsmodels.stats.multitest import multipletests

    p = [0.01, 0.04, 0.03, 0.005]
    np.testing.assert_allclose(holm(p), multipletests(p, method="holm")[1])
    np.testing.assert_allclose(adjust_p(p, "bonferroni"), multipletests(p, method="bonferroni")[1])
    with_nan = holm([0.01, float("nan"), 0.02])
    np.testing.assert_allclose(with_nan[[0, 2]], [0.02, 0.02])
    assert np.isnan(with_nan[1])
    assert holm([0.03]).tolist() == [0.03]
    with pytest.raises(InputError):
        adjust_p(p, "tukey")


def test_refusals() -> None:
    with pytest.raises(NotEstimable):
        t_from_summary(1.0, 1.0, 1, 2.0, 1.0, 2)
    with pytest.raises(NotEstimable):
        t_from_summary(1.0, 0.0, 2, 2.0, 0.0, 2)
    with pytest.raises(InputError):
        rank_test([1.0, np.nan], [2.0, 3.0])
    with pytest.raises(NotEstimable):
        tukey({"a": [1.0, 2.0]})
