"""Order effects: serial statistics against published series, pooled ones against exact results and simulation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods.errors import InputError, NotEstimable
from methods.result import as_json
from methods.scatter import effective_number, flag_outliers, order_effects, variance_inflation
from methods.scatter.autocorrelation import pooled_lag1
from methods.scatter.outliers import dixon_critical, dixon_p, dixon_q, grubbs_critical, grubbs_p
from methods.scatter.serial import (
    bartels,
    mann_kendall,
    runs,
    sen_slope,
    von_neumann,
)
from tests.reference import agrees, data, names

# NIST StRD Lew and Mavro (certified mean, sd, lag 1), Great Lakes precipitation (R Kendall), sweet potato yield
# (R randtests), LH hormone (Diggle 1990) and Nile flow; R, pymannkendall, statsmodels.
SERIES = {
    "H01": ("H01_nist_lew.csv", "y"),
    "H02": ("H02_nist_mavro.csv", "y"),
    "H03": ("H03_precipgl.csv", "precip"),
    "H06": ("H06_sweetpotato.csv", "yield"),
    "H07": ("H07_lh.csv", "lh"),
    "H08": ("H07_nile.csv", "nile"),
}


def statistics(case: str) -> dict:
    file, column = SERIES[case]
    y = data(file)[column].to_numpy(dtype=float)
    vn, bt = von_neumann(y), bartels(y)
    (run, up, down), (mk, tau), sen = runs(y), mann_kendall(y), sen_slope(y)
    line = stats.linregress(np.arange(len(y)), y)  # scipy's own; here so that no expected value is skipped
    out = {
        "n": len(y), "mean": y.mean(), "sd": y.std(ddof=1),
        "von_neumann_ratio_sumd2_over_SS": vn.statistic, "vn_delta2_over_s2": vn.statistic, "vn_z": vn.z,
        "runs_median": run.statistic, "runs_n1": up, "runs_n2": down,
        "runs_mean": run.expected, "runs_sd": run.variance**0.5, "runs_z": run.z, "runs_p": run.p_value,
        "bartels_RVN": bt.statistic, "bartels_z": bt.z, "bartels_p": bt.p_value, "mk_S": mk.statistic,
        "mk_varS": mk.variance, "mk_tau": tau, "mk_z": mk.z, "mk_p": mk.p_value, "kendall_pkg_tau": tau,
        "kendall_pkg_p": mk.p_value, "kendall_pkg_S": mk.statistic, "kendall_pkg_varS": mk.variance,
        "sen_slope": sen[0],
        "sen_ci95": sen[1:], "spearman_rho_time": stats.spearmanr(np.arange(len(y)), y).statistic,
        "ols_slope": line.slope, "ols_slope_p": line.pvalue,
    }  # fmt: skip
    if case == "H06":
        production = bartels(data(file)["production"].to_numpy(dtype=float))
        out |= {"production_RVN": production.statistic, "production_z": production.z}
    return out


@pytest.mark.parametrize("case", SERIES)
def test_published_series(case):
    found = statistics(case)
    for name in names(case):
        if not name.startswith(("lag1", "ljung_box", "turning_point", "pettitt")):  # tests that nothing shows
            agrees(case, name, found[name])


# Closed form n/(1 + 2 sum (1 - k/n) rho^k) and its limit n (1 - rho)/(1 + rho).
@pytest.mark.parametrize("name", names("G10"))
def test_effective_number_of_an_ar1_mean(name):
    parts = name.split("_")
    n, rho = int(parts[-2][1:]), float(parts[-1][3:])
    agrees("G10", name, n * (1 - rho) / (1 + rho) if "asympt" in name else effective_number(rho, n))


def test_variance_inflation_of_six():
    found = [variance_inflation(r, 6) for r in (0.1, 0.2, 0.3, 0.5)]
    assert np.round(found, 2).tolist() == [1.18, 1.40, 1.65, 2.34]
    assert np.round([effective_number(r, 6) for r in (0.1, 0.2, 0.3, 0.5)], 1).tolist() == [5.1, 4.3, 3.6, 2.6]
    with pytest.raises(InputError):
        variance_inflation(1.0, 6)


# NIST/SEMATECH e-Handbook 1.3.5.17.1; Grubbs & Beck 1972.
@pytest.mark.parametrize("name", names("H04"))
def test_grubbs_example(name):
    y = data("H04_nist_grubbs.csv")["y"]
    rows = flag_outliers(y).query("test == 'Grubbs' and side == 'high'").iloc[0]
    value = {
        "G": rows["statistic"], "p_one_sided": grubbs_p(rows["statistic"], len(y), two_sided=False),
        "crit_one_sided_0.05": grubbs_critical(len(y), two_sided=False), "crit_two_sided_0.05": rows["critical"],
    }[name]  # fmt: skip
    agrees("H04", name, value)
    assert rows["flagged"] and rows["kv"] == 245.57


@pytest.mark.parametrize("name", names("H04t"))
def test_grubbs_table(name):
    _, side, n, alpha = name.split("_")
    agrees("H04t", name, grubbs_critical(int(n[1:]), 1 - float(alpha[1:]), two_sided=side == "two"))


# Rorabacher 1991; R outliers; Monte Carlo.
@pytest.mark.parametrize("name", names("H05"))
def test_dixon(name):
    y = data("H05_dixon.csv")["y"]
    q = dixon_q(y, low=True)
    levels = [0.95, 0.975, 0.99, 0.995]
    if name == "Q10":
        agrees("H05", name, q)
    elif name == "Q_type11_default_n8_10":
        agrees("H05", name, dixon_q(y, low=True, form="r11"))
    elif name == "p":
        # The package interpolates in its table, two-sided; ours integrates the distribution: 0.3 % apart.
        assert dixon_p(q, len(y)) == pytest.approx(0.0579789340554, rel=0.004)
    elif name == "mc_levels_one_sided":
        agrees("H05", name, levels)  # the levels of the next rows, not a result
    elif name.startswith("montecarlo"):
        n = int(name.rsplit("_n", 1)[1])
        agrees("H05", name, [dixon_critical(n, level, two_sided=False) for level in levels])
    else:
        n, level = name.rsplit("_n", 1)[1].split("_upper.")
        agrees("H05", name, dixon_critical(int(n), 1 - float(f"0.{level}"), two_sided=False))


def test_outliers_are_flagged_and_nothing_is_taken_away():
    y = np.array([60.0, 61, 59, 62, 60, 30])
    before = y.copy()
    found = flag_outliers(y)
    assert np.array_equal(y, before)
    assert set(found.loc[found["flagged"], "position"]) == {5}
    assert not flag_outliers([58.4, 66.1, 71.9, 63.0, 74.5, 69.7])["flagged"].any()
    with pytest.raises(NotEstimable):
        flag_outliers([50.0, 50, 50])
    with pytest.raises(InputError):
        flag_outliers([50.0, np.nan, 51])


def table(series, **columns) -> pd.DataFrame:
    rows = [
        {"kv": v, "filling": str(i), "order": j + 1, **{k: c[i] for k, c in columns.items()}}
        for i, y in enumerate(series)
        for j, v in enumerate(y)
    ]
    return pd.DataFrame(rows)


def invented(rng, fillings=12, n=6, rho=0.0, slope=0.0):
    """AR(1) breakdowns of unit variance around filling means."""
    e = rng.normal(size=(fillings, n))
    for j in range(1, n):
        e[:, j] = rho * e[:, j - 1] + (1 - rho**2) ** 0.5 * e[:, j]
    return 60 + rng.normal(0, 3, (fillings, 1)) + e + slope * np.arange(n)


def test_balanced_trend_is_the_t_test_of_the_fillings_slopes():
    y = invented(np.random.default_rng(1), slope=0.4)
    found = order_effects(table(y)).trend
    slopes = np.array([stats.linregress(np.arange(6), row).slope for row in y])
    theirs = stats.ttest_1samp(slopes, 0)
    limits = theirs.confidence_interval(0.95)
    assert found.kv == pytest.approx(slopes.mean())
    assert (found.low_kv, found.high_kv) == pytest.approx((limits.low, limits.high), rel=1e-9)
    assert found.p_value == pytest.approx(theirs.pvalue, rel=1e-9)
    assert found.percent == pytest.approx(100 * found.kv / y.mean())


def test_first_breakdown_is_the_paired_t_test():
    y = invented(np.random.default_rng(2))
    y[:, 0] -= 3
    found = order_effects(table(y)).first
    theirs = stats.ttest_rel(y[:, 0], y[:, 1:].mean(axis=1))
    assert found.kv == pytest.approx((y[:, 0] - y[:, 1:].mean(axis=1)).mean())
    assert found.p_value == pytest.approx(theirs.pvalue, rel=1e-9)
    assert found.df == 11


def test_pooled_slope_of_unequal_series_is_that_of_regression_with_fillings_as_blocks():
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(3)
    d = table([invented(rng, 1, n)[0] for n in (4, 6, 10, 5)])
    theirs = smf.ols("kv ~ order + C(filling)", d).fit()
    assert order_effects(d).trend.kv == pytest.approx(theirs.params["order"])


@pytest.mark.parametrize("rho", [-0.2, 0.0, 0.3, 0.6])
@pytest.mark.parametrize("n", [5, 6])
def test_correlation_of_short_series_is_not_biased(rho, n):
    """40 series of five or six: the raw correlation is off by about 0.2 to 0.5, the corrected one by little."""
    rng = np.random.default_rng(4)
    found, raw, hits = [], [], 0
    for _ in range(30):
        y = invented(rng, 40, n, rho, slope=0.5)
        r = pooled_lag1(list(y), [np.arange(1.0, n + 1)] * 40)
        found.append(r.estimate)
        raw.append(r.raw)
        hits += r.low <= rho <= r.high
    assert abs(np.mean(found) - rho) < 4 * np.std(found) / 30**0.5 + 0.02
    assert np.mean(raw) < rho - 0.08
    assert hits >= 23


def test_expected_ratio_without_correlation_is_minus_one_over_n():
    from methods.scatter.autocorrelation import _GRID, _expected

    top, bottom = _expected(np.arange(1.0, 6))[:2]
    at_zero = int(np.argmin(np.abs(_GRID)))
    assert top[at_zero] / bottom[at_zero] == pytest.approx(-1 / 5)


def test_pooled_tests_sum_over_fillings():
    y = invented(np.random.default_rng(5), 4, 6, slope=1.0)
    tests = {t.name: t for t in order_effects(table(y)).tests}
    single = [mann_kendall(row)[0] for row in y]
    assert tests["Mann-Kendall"].statistic == sum(t.statistic for t in single)
    z = (sum(t.statistic for t in single) - 1) / sum(t.variance for t in single) ** 0.5
    assert tests["Mann-Kendall"].z == pytest.approx(z)
    assert tests["von Neumann"].statistic == pytest.approx(np.mean([von_neumann(row).statistic for row in y]))
    assert set(tests) == {"Mann-Kendall", "runs", "von Neumann", "Bartels"}


def test_pooled_tests_keep_their_size_without_an_order_effect():
    rng = np.random.default_rng(6)
    hits = dict.fromkeys(("trend", "first", "Mann-Kendall", "runs", "von Neumann", "Bartels"), 0)
    for _ in range(30):
        found = order_effects(table(invented(rng, 8)))
        for t in found.tests:
            hits[t.name] += t.p_value < 0.05
        hits["trend"] += found.trend.p_value < 0.05
        hits["first"] += found.first.p_value < 0.05
    assert all(h <= 7 for h in hits.values()), hits  # binomial(30, 0.05): above 7 with probability 1e-4


def test_sorted_or_missing_order_is_said_and_nothing_is_examined():
    y = np.sort(invented(np.random.default_rng(7), 4), axis=1)
    for d in (table(y), table(y[:, ::-1]), table(y).drop(columns="order")):
        found = order_effects(d)
        assert [w.code for w in found.cautions] == ["order_lost"]
        assert found.trend is None and found.first is None and found.neighbours is None and found.tests == []
        assert as_json(found)["trend"] is None
    assert "order_lost" not in {w.code for w in order_effects(table(y[:1, :3])).cautions}  # three may rise by chance


def test_ceilings_count_by_rank_only():
    y = invented(np.random.default_rng(8), 6)
    d = table(y)
    d["outcome"] = np.where(d["kv"] > 61, "withstood", "breakdown")
    d["kv"] = d["kv"].clip(upper=61)
    held = d.groupby("filling")["outcome"].agg(lambda o: (o == "withstood").any())
    assert 0 < held.sum() < 6
    found = order_effects(d)
    assert found.trend.fillings == 6 - held.sum()
    assert next(t for t in found.tests if t.name == "Mann-Kendall").fillings == 6
    assert "withstood" in {w.code for w in found.cautions}


def test_repeated_numbers_one_filling_and_groups():
    y = invented(np.random.default_rng(9), 6)
    d = table(y, electrode=["mushroom", "spherical"] * 3)
    muddled = d.copy()
    muddled.loc[muddled["filling"] == "0", "order"] = [1, 2, 3, 1, 2, 3]
    assert order_effects(muddled).fillings == 5
    assert "order_repeated" in {w.code for w in order_effects(muddled).cautions}
    grouped = order_effects(d, by=["electrode"])
    alone = order_effects(d[d["electrode"] == "spherical"])
    assert grouped.groups[1].group == {"electrode": "spherical"}
    assert grouped.groups[1].trend == alone.trend
    assert "conditions" in {w.code for w in grouped.cautions}
    single = order_effects(table(y[:1]))
    assert {"one_filling", "few"} <= {w.code for w in single.cautions}
    assert single.first is None and np.isnan(single.neighbours.low)
    with pytest.raises(InputError):
        order_effects(d, by=["nothing"])


def test_too_short():
    with pytest.raises(NotEstimable):
        von_neumann([50.0, 51])
    with pytest.raises(NotEstimable):
        von_neumann([50.0, 50, 50])
    with pytest.raises(InputError):
        von_neumann([50.0, np.nan, 51])


def test_sens_slope_over_several_fillings() -> None:
    """One series as SciPy's Theil-Sen has it; of several only pairs within each, as Hirsch, Slack and Smith (1982)."""
    rng = np.random.default_rng(5)
    one, two = rng.normal(50, 3, 9), rng.normal(60, 3, 7) + np.arange(7)
    reference = stats.theilslopes(one)  # its limits take the ranks a half off; ours stand as Sen has them
    assert sen_slope(one)[0] == pytest.approx(reference.slope)
    pairs = [(y[j] - y[i]) / (j - i) for y in (one, two) for i in range(len(y)) for j in range(i + 1, len(y))]
    slope, low, high = sen_slope(one, two)
    assert slope == pytest.approx(np.median(pairs)) and low < slope < high
    # Numbers that leave one out stretch the slopes.
    assert sen_slope([1.0, 2.0, 3.0], numbers=[[1, 3, 5]])[0] == 0.5
    rows = [(f, i + 1, v) for f, y in enumerate((one, two)) for i, v in enumerate(y)]
    found = order_effects(pd.DataFrame(rows, columns=["filling", "order", "kv"]))
    assert (found.median_slope.kv, found.median_slope.low_kv, found.median_slope.high_kv) == (slope, low, high)
    taus = [stats.kendalltau(np.arange(len(y)), y).statistic * len(y) * (len(y) - 1) / 2 for y in (one, two)]
    assert found.median_slope.tau == pytest.approx(sum(taus) / (36 + 21))


def test_sens_slope_of_equal_values_is_not_given() -> None:
    rows = [(f, i, 50.0) for f in (1, 2) for i in (1, 2, 3)]
    assert order_effects(pd.DataFrame(rows, columns=["filling", "order", "kv"])).median_slope is None
