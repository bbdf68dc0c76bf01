"""The main numbers once more, written from the textbook definition or by statsmodels and SciPy, on invented data.

Nothing here calls the project's own helpers to make an expected value.
"""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import optimize, stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import TTestIndPower
from statsmodels.stats.weightstats import ttost_ind

from methods import components, decide, equivalence, fit, fit_many, plan, precision, read, shift
from methods.agreement import limits_of_agreement
from methods.laws import gap_laws
from methods.planning import conformance_probability
from methods.planning.order_statistics import size_one_sided
from methods.protocols import own_rule, trip_rate
from methods.scatter import anderson_darling, kaplan_meier

DEMO = Path(__file__).parents[2] / "data"


def bench(
    seed: int,
    *,
    levels: tuple[str, ...] = ("disk", "mushroom"),
    samples: tuple[str, ...] = ("A",),
    fillings: tuple[int, ...] = (4, 5),
    n: int = 5,
    filling_sd: float = 2.0,
    sd: float = 5.0,
) -> pd.DataFrame:
    """Invented tests: ``fillings[i]`` fillings of level i on each sample, kV around 40."""
    rng = np.random.default_rng(seed)
    rows, name = [], 0
    for s, (i, level) in itertools.product(range(len(samples)), enumerate(levels)):
        for _ in range(fillings[i % len(fillings)]):
            name += 1
            middle = 40 + 6 * s - 3 * i + rng.normal(0, filling_sd)
            rows += [
                {"sample": samples[s], "electrode": level, "gap_mm": 2.5, "filling": name, "order": o + 1, "kv": v}
                for o, v in enumerate(np.round(middle + rng.normal(0, sd * (1 + 0.5 * i), n), 2))
            ]
    return pd.DataFrame(rows)


def filling_means(table: pd.DataFrame) -> pd.DataFrame:
    return table.groupby(["sample", "electrode", "filling"], as_index=False)["kv"].mean()


# --- shift -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2])
def test_shift_of_one_oil_is_welch_on_filling_means(seed: int) -> None:
    """SciPy's Welch test on the filling means (with five fillings and more a level, or equal numbers, not widened)."""
    table = bench(seed, fillings=(6, 5))
    found = shift(table, "electrode", reference="mushroom").shifts[0]
    m = filling_means(table)
    x, y = (m.loc[m["electrode"] == v, "kv"].to_numpy() for v in ("disk", "mushroom"))
    welch = stats.ttest_ind(x, y, equal_var=False)
    low, high = welch.confidence_interval(0.95)
    assert found.difference_kv == pytest.approx(x.mean() - y.mean(), rel=1e-10)
    assert (found.low_kv, found.high_kv) == pytest.approx((low, high), rel=1e-8)
    assert found.p_value == pytest.approx(welch.pvalue, rel=1e-8) and found.df == pytest.approx(welch.df, rel=1e-8)


def test_percent_limits_are_the_ratios_that_welch_does_not_reject() -> None:
    """Fieller (1954): at each limit r, the test of mean(x) = r mean(y) has p = 1 - confidence."""
    table = bench(3, fillings=(4, 4))
    m = filling_means(table)
    x, y = (m.loc[m["electrode"] == v, "kv"].to_numpy() for v in ("disk", "mushroom"))
    for confidence in (0.90, 0.95):
        found = shift(table, "electrode", reference="mushroom", confidence=confidence).shifts[0]
        for percent in (found.low_percent, found.high_percent):
            ratio = 1 + percent / 100
            assert stats.ttest_ind(x, ratio * y, equal_var=False).pvalue == pytest.approx(1 - confidence, abs=1e-6)


def test_shift_over_oils_from_the_definition() -> None:
    """Oils like these: t over the oils' shifts. These oils: each cell's own scatter, Satterthwaite (1946)."""
    table = bench(4, samples=("A", "B", "C"), fillings=(3, 3))
    found = shift(table, "electrode", reference="mushroom").shifts[0]
    m = filling_means(table)
    cells = m.groupby(["sample", "electrode"])["kv"].agg(["mean", "var", "size"])
    wide = cells["mean"].unstack()
    paired = stats.ttest_rel(wide["disk"], wide["mushroom"])
    low, high = paired.confidence_interval(0.95)
    assert found.holds_for == "oils like these"
    assert (found.low_kv, found.high_kv, found.p_value) == pytest.approx((low, high, paired.pvalue), rel=1e-8)
    parts = cells["var"] / cells["size"] / 9
    df = parts.sum() ** 2 / (parts**2 / (cells["size"] - 1)).sum()
    estimate, half = (wide["disk"] - wide["mushroom"]).mean(), stats.t.ppf(0.975, df) * math.sqrt(parts.sum())
    assert found.difference_kv == pytest.approx(estimate, rel=1e-9)
    these = found.these_oils
    assert (these.low_kv, these.high_kv) == pytest.approx((estimate - half, estimate + half), rel=1e-8)


def test_one_filling_an_oil_is_the_paired_t() -> None:
    """SciPy's paired t over the oils."""
    table = bench(5, samples=tuple("ABCDE"), fillings=(1, 1))
    found = shift(table, "electrode", reference="mushroom").shifts[0]
    wide = filling_means(table).pivot(index="sample", columns="electrode", values="kv")
    paired = stats.ttest_rel(wide["disk"], wide["mushroom"])
    low, high = paired.confidence_interval(0.95)
    assert (found.low_kv, found.high_kv) == pytest.approx((low, high), rel=1e-8)
    assert found.p_value == pytest.approx(paired.pvalue, rel=1e-8)


def test_p_values_over_levels_are_holm() -> None:
    """statsmodels' multipletests."""
    table = bench(6, levels=("disk", "mushroom", "spherical", "needle"), fillings=(4,))
    shifts = shift(table, "electrode", reference="mushroom").shifts
    raw = [s.p_value_unadjusted for s in shifts]
    assert [s.p_value for s in shifts] == pytest.approx(multipletests(raw, method="holm")[1], rel=1e-10)


def test_ratio_of_scatters_within_fillings() -> None:
    """F limits of the ratio of the pooled SDs within fillings."""
    table = bench(7)
    found = shift(table, "electrode", reference="mushroom").shifts[0]
    sums = {}
    for level, part in table.groupby("electrode"):
        sums[level] = (
            part.groupby("filling")["kv"].agg(lambda v: ((v - v.mean()) ** 2).sum()).sum(),
            len(part) - part["filling"].nunique(),
        )
    (a, n), (b, m) = sums["disk"], sums["mushroom"]
    ratio = math.sqrt((a / n) / (b / m))
    low, high = (ratio / math.sqrt(stats.f.ppf(q, n, m)) for q in (0.975, 0.025))
    assert (found.sd_ratio, found.sd_ratio_low, found.sd_ratio_high) == pytest.approx((ratio, low, high), rel=1e-8)


def test_equivalence_is_two_one_sided_welch_tests() -> None:
    """statsmodels' ttost_ind with unequal variances on the filling means."""
    table = bench(8, fillings=(6, 7))
    m = filling_means(table)
    x, y = (m.loc[m["electrode"] == v, "kv"].to_numpy() for v in ("disk", "mushroom"))
    for margin in (3.0, 8.0):
        found = equivalence(table, "electrode", margin_kv=margin, reference="mushroom").levels[0]
        p, lower, upper = ttost_ind(x, y, -margin, margin, usevar="unequal")
        assert found.p_value == pytest.approx(p, rel=1e-8)
        assert (found.p_lower, found.p_upper) == pytest.approx((lower[1], upper[1]), rel=1e-8)
        assert (found.verdict == "shown") == (p < 0.05)


# --- variance components ---------------------------------------------------------------------------------------------


def restricted(table: pd.DataFrame, factors: list[list[str]]) -> tuple[np.ndarray, float, float]:
    """REML from its definition: dense matrices, Nelder and Mead. SDs (outside in, residual), mean and its error."""
    y = table["kv"].to_numpy()
    one = np.ones((len(y), 1))
    same = []
    for names in factors:
        code = table.groupby(names).ngroup().to_numpy()
        same.append((code[:, None] == code[None, :]).astype(float))
    same.append(np.eye(len(y)))

    def covariance(sds: np.ndarray) -> np.ndarray:
        return sum(s**2 * m for s, m in zip(sds, same, strict=True))

    def criterion(sds: np.ndarray) -> float:
        v = covariance(sds)
        sign, size = np.linalg.slogdet(v)
        if sign <= 0:
            return 1e12
        solved = np.linalg.solve(v, np.column_stack([one, y]))
        information = float(one[:, 0] @ solved[:, 0])
        mean = float(one[:, 0] @ solved[:, 1]) / information
        rest = y - mean
        return float(size + math.log(information) + rest @ np.linalg.solve(v, rest))

    start = np.full(len(same), y.std() / 2)
    best = optimize.minimize(
        criterion, start, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 6000}
    )
    v = covariance(best.x)
    information = float(one[:, 0] @ np.linalg.solve(v, one[:, 0]))
    return np.abs(best.x), float(one[:, 0] @ np.linalg.solve(v, y)) / information, 1 / math.sqrt(information)


def test_components_of_an_unbalanced_nested_design() -> None:
    """Laboratory, its own samples, fillings; 1 to 4 of each, 2 to 6 breakdowns. REML by brute force."""
    rng = np.random.default_rng(11)
    rows, filling = [], 0
    for lab in range(6):
        at_lab = rng.normal(0, 4)
        for s in range(1 + lab % 3):
            at_sample = rng.normal(0, 6)
            for _ in range(1 + (lab + s) % 3):
                filling += 1
                at = rng.normal(0, 3)
                rows += [
                    {"laboratory": f"L{lab}", "sample": f"L{lab}S{s}", "filling": filling, "kv": 45 + at_lab + v}
                    for v in at_sample + at + rng.normal(0, 5, 2 + filling % 5)
                ]
    table = pd.DataFrame(rows)
    found = components(table)
    sds, mean, error = restricted(table, [["laboratory"], ["laboratory", "sample"], ["filling"]])
    assert [c.factor for c in found.components] == ["laboratory", "sample", "filling", "breakdown"]
    assert [c.sd for c in found.components] == pytest.approx(sds, rel=2e-3, abs=2e-3)
    assert found.mean_kv == pytest.approx(mean, abs=2e-3)
    assert found.standard_error_kv >= error * 0.999  # Kenward and Roger's is the same or larger


def test_components_of_a_balanced_design_are_those_of_the_analysis_of_variance() -> None:
    """Mean squares and their expectations."""
    rng = np.random.default_rng(12)
    k, n = 12, 5
    kv = 50 + np.repeat(rng.normal(0, 4, k), n) + rng.normal(0, 5, k * n)
    table = pd.DataFrame({"sample": "A", "filling": np.repeat(np.arange(k), n), "kv": kv})
    groups = kv.reshape(k, n)
    between, within = n * groups.mean(1).var(ddof=1), groups.var(axis=1, ddof=1).mean()
    sds = {c.factor: c.sd for c in components(table).components}
    assert sds["filling"] == pytest.approx(math.sqrt((between - within) / n), rel=1e-5)
    assert sds["breakdown"] == pytest.approx(math.sqrt(within), rel=1e-5)
    assert components(table).standard_error_kv == pytest.approx(math.sqrt(between / (k * n)), rel=1e-5)


# --- fits ------------------------------------------------------------------------------------------------------------


def censored_sample(seed: int, ceiling: float, n: int = 40) -> tuple[np.ndarray, np.ndarray]:
    kv = np.random.default_rng(seed).normal(50, 8, n)
    return np.minimum(kv, ceiling), kv >= ceiling


def numeric_hessian(function, at: np.ndarray) -> np.ndarray:  # type: ignore[no-untyped-def]
    from statsmodels.tools.numdiff import approx_hess

    return approx_hess(at, function)


@pytest.mark.parametrize("ceiling", [1e9, 58.0, 50.0])
def test_censored_normal_fit(ceiling: float) -> None:
    """scipy.stats.norm.fit on CensoredData; limits of percentiles by the delta method from a numerical Hessian."""
    kv, gone = censored_sample(21, ceiling)
    found = fit(kv, gone, "normal", interval="wald")
    mean, sd = stats.norm.fit(stats.CensoredData(uncensored=kv[~gone], right=kv[gone]))
    assert (found.parameters["mean"], found.parameters["sd"]) == pytest.approx((mean, sd), rel=1e-4)

    def minus(v: np.ndarray) -> float:
        return -float(stats.norm.logpdf(kv[~gone], *v).sum() + stats.norm.logsf(kv[gone], *v).sum())

    covariance = np.linalg.inv(numeric_hessian(minus, np.array([mean, sd])))
    assert found.log_likelihood == pytest.approx(-minus(np.array([mean, sd])), abs=1e-4)
    for point in found.percentiles:
        slope = np.array([1.0, stats.norm.ppf(point.p)])
        half = 1.959964 * math.sqrt(slope @ covariance @ slope)
        assert point.kv == pytest.approx(mean + sd * slope[1], rel=1e-4)
        assert (point.high - point.low) / 2 == pytest.approx(half, rel=2e-3)


@pytest.mark.parametrize("ceiling", [1e9, 55.0])
def test_censored_weibull_fit(ceiling: float) -> None:
    """scipy.stats.weibull_min.fit; limits of percentiles symmetric in log kV, by the delta method."""
    kv, gone = censored_sample(22, ceiling)
    found = fit(kv, gone, "weibull", interval="wald")
    shape, _, scale = stats.weibull_min.fit(stats.CensoredData(uncensored=kv[~gone], right=kv[gone]), floc=0)
    assert found.parameters["shape"] == pytest.approx(shape, rel=1e-3)
    assert found.parameters["scale"] == pytest.approx(scale, rel=1e-4)

    def minus(v: np.ndarray) -> float:
        law = stats.weibull_min(v[0], scale=v[1])
        return -float(law.logpdf(kv[~gone]).sum() + law.logsf(kv[gone]).sum())

    at = np.array([found.parameters["shape"], found.parameters["scale"]])
    covariance = np.linalg.inv(numeric_hessian(minus, at))
    assert found.aicc == pytest.approx(2 * minus(at) + 4 + 12 / (len(kv) - 3), abs=1e-6)
    for point in found.percentiles:
        w = math.log(-math.log1p(-point.p))
        slope = np.array([-w / at[0] ** 2, 1 / at[1]])  # of log quantile
        half = 1.959964 * math.sqrt(slope @ covariance @ slope)
        assert math.log(point.high / point.kv) == pytest.approx(half, rel=3e-3)
        assert math.log(point.kv / point.low) == pytest.approx(half, rel=3e-3)


def test_batch_gives_the_single_fits() -> None:
    rng = np.random.default_rng(23)
    kv = rng.normal(45, 6, (6, 9))
    kv[2, 6:] = np.nan
    gone = np.zeros(kv.shape, dtype=bool)
    gone[1, kv[1] > 47] = True
    for family in ("normal", "lognormal", "weibull", "gumbel_min"):
        table = fit_many(kv, gone, family)
        for i in range(len(kv)):
            single = fit(kv[i][~np.isnan(kv[i])], gone[i][~np.isnan(kv[i])], family)
            for name, value in single.parameters.items():
                assert table[name].iloc[i] == pytest.approx(value, rel=1e-6), (family, i, name)


@pytest.mark.parametrize("seed", [31, 32, 33])
def test_anderson_darling_normal(seed: int) -> None:
    """statsmodels' normal_ad (Stephens)."""
    kv = np.random.default_rng(seed).gumbel(50, 6, 25)
    found = anderson_darling(kv, family="normal")
    statistic, p = sm.stats.diagnostic.normal_ad(kv)
    assert found.statistic == pytest.approx(statistic, rel=1e-8)
    assert found.p_value == pytest.approx(p, rel=0.02, abs=1e-4)


def test_anderson_darling_weibull_by_simulation() -> None:
    """The p-value is the share of invented Weibull samples, each fitted, whose statistic is larger."""
    rng = np.random.default_rng(34)
    kv = 50 * rng.weibull(3, 20) ** 1.0
    kv[:3] = [88, 95, 99]
    found = anderson_darling(kv, family="weibull")

    def statistic(x: np.ndarray, shape: float, scale: float) -> float:
        u = np.sort(stats.weibull_min.cdf(x, shape, scale=scale))
        i = np.arange(1, len(u) + 1)
        return float(-len(u) - np.mean((2 * i - 1) * (np.log(u) + np.log1p(-u[::-1]))))

    mine = fit(kv, family="weibull").parameters
    assert found.statistic == pytest.approx(statistic(kv, mine["shape"], mine["scale"]), rel=1e-6)
    drawn = rng.weibull(1.0, (4000, 20))
    fitted = fit_many(drawn, family="weibull")
    null = np.array([statistic(x, a, b) for x, a, b in zip(drawn, fitted["shape"], fitted["scale"], strict=True)])
    share = float((null >= found.statistic).mean())
    assert 0.002 < share < 0.9
    assert found.p_value == pytest.approx(share, abs=0.035)


def test_kaplan_meier() -> None:
    """statsmodels' SurvfuncRight."""
    kv, gone = censored_sample(35, 55.0, 25)
    theirs = sm.SurvfuncRight(kv, ~gone)
    ours = kaplan_meier(kv, gone)
    assert ours["survival"].to_numpy()[-len(theirs.surv_prob) :] == pytest.approx(theirs.surv_prob, abs=1e-10)


# --- plans -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("cov", "e"), [(0.15, 0.10), (0.10, 0.10), (0.30, 0.05), (0.05, 0.2)])
def test_plan_for_the_mean(cov: float, e: float) -> None:
    """Smallest n >= 2 with t c / sqrt(n) <= e, counted up one by one."""
    n = next(n for n in range(2, 10_000) if stats.t.ppf(0.975, n - 1) * cov / math.sqrt(n) <= e)
    found = plan("mean", cov=cov, half_width=e)
    assert found.breakdowns == n
    assert found.assurance == pytest.approx(
        stats.chi2.cdf((n - 1) * n * e**2 / (cov * stats.t.ppf(0.975, n - 1)) ** 2, n - 1), rel=1e-8
    )


def test_assurance_by_simulation() -> None:
    """With the assured number, the interval obtained is narrow enough in the asked share of invented benches."""
    found = plan("mean", cov=0.15, half_width=0.10, assurance=0.9)
    rng = np.random.default_rng(41)

    def share(n: int) -> float:
        sds = rng.normal(1, 0.15, (40_000, n)).std(axis=1, ddof=1)
        return float((stats.t.ppf(0.975, n - 1) * sds / math.sqrt(n) <= 0.10).mean())

    assert share(found.breakdowns) > 0.893
    assert share(found.breakdowns - 1) < 0.907


@pytest.mark.parametrize(("k", "n", "own", "known"), [(3, 5, 20.8, 9.5), (5, 3, 12.4, 8.8), (15, 1, 8.8, 8.0)])
def test_two_half_widths_with_fillings(k: int, n: int, own: float, known: float) -> None:
    """At 5 % between and 15 % within: the figures of the text, and the formula."""
    found = plan("mean", cov=0.15, between_cov=0.05, fillings=k, breakdowns_per_filling=n)
    variance = 0.05**2 / k + 0.15**2 / (k * n)
    assert (round(found.half_width_percent, 1), round(found.half_width_known_percent, 1)) == (own, known)
    assert found.half_width_percent == pytest.approx(100 * stats.t.ppf(0.975, k - 1) * math.sqrt(variance), rel=1e-9)
    assert found.half_width_known_percent == pytest.approx(195.9963985 * math.sqrt(variance), rel=1e-8)


@pytest.mark.parametrize(("difference", "power"), [(0.10, 0.8), (0.05, 0.9), (0.4, 0.8)])
def test_plan_for_a_difference(difference: float, power: float) -> None:
    """statsmodels' TTestIndPower (noncentral t); with fewer than twelve, Welch's test, which finds a little less."""
    found = plan("difference", cov=0.15, difference=difference, power=power)
    theirs = TTestIndPower().solve_power(difference / 0.15, alpha=0.05, power=power)
    assert max(2, math.ceil(theirs)) <= found.breakdowns_per_condition <= math.ceil(theirs) + (theirs < 12)
    n = found.breakdowns_per_condition
    pooled = TTestIndPower().power(difference / 0.15, n, 0.05)
    assert found.power == pytest.approx(pooled, rel=1e-5 if n >= 12 else 0.06)
    assert power <= found.power


def test_plan_for_a_percentile() -> None:
    """Half the exact noncentral-t interval of mean + z s at the planned SD, counted up one by one."""

    def half(n: int) -> float:
        ends = stats.nct.ppf([0.025, 0.975], n - 1, 2.3263478740408408 * math.sqrt(n)) / math.sqrt(n)
        return float(0.15 * (ends[1] - ends[0]) / 2)

    n = next(n for n in range(2, 500) if half(n) <= 0.10)
    found = plan("percentile", cov=0.15, p=0.01, half_width=0.10)
    assert found.breakdowns == n and found.half_width_percent == pytest.approx(100 * half(n), rel=1e-6)
    assert found.order_statistics == next(n for n in range(1, 1000) if 0.99**n <= 0.05)


def test_order_statistics() -> None:
    """Wilks (1941): n with the lowest as one-sided limit of 95 % of values."""
    assert size_one_sided(0.95, 0.95) == next(n for n in range(1, 999) if 1 - 0.95**n >= 0.95) == 59


def test_plan_for_a_decision() -> None:
    """Normal tail, counted up; then the guarded rule by simulation."""
    sd = 0.15 * 55
    n = next(n for n in range(1, 999) if stats.norm.cdf((50 - 55) / (sd / math.sqrt(n))) <= 0.05)
    found = plan("decision", limit=50, mean=55, cov=0.15)
    assert found.breakdowns == n
    assert found.wrong_verdict_probability == pytest.approx(stats.norm.cdf(-5 * math.sqrt(n) / sd), rel=1e-9)
    guarded = next(r for r in found.rules if r["rule"] == "guarded")
    m = plan("decision", limit=50, mean=55, cov=0.15, rule="guarded", fillings=20, breakdowns_per_filling=1)
    kv = np.random.default_rng(42).normal(55, sd, (60_000, 20))
    low = kv.mean(1) - stats.t.ppf(0.95, 19) * kv.std(axis=1, ddof=1) / math.sqrt(20)
    assert m.wrong_verdict_probability == pytest.approx((low < 50).mean(), abs=0.01)
    assert guarded["rule"] == "guarded"
    one = plan("decision", limit=50, mean=55, cov=0.15, rule="guarded", fillings=1, breakdowns_per_filling=20)
    assert one.wrong_verdict_probability > 0.9 and "more than 99 %" in one.sentence  # as a verdict on one filling is
    assert "one_filling" in [c.code for c in one.cautions] and "independent" not in [c.code for c in one.cautions]


def test_probability_of_conformity() -> None:
    """One filling of independent breakdowns with known labels: t of the mean, as the sentence says."""
    kv = np.array([52.0, 49, 55, 60, 47, 51])
    found = decide(kv, 50.0, fillings=np.arange(6))
    u = kv.std(ddof=1) / math.sqrt(6)
    assert found.probability_above == pytest.approx(stats.t.cdf((kv.mean() - 50) / u, 5), rel=1e-9)
    assert found.low_kv == pytest.approx(kv.mean() - stats.t.ppf(0.95, 5) * u, rel=1e-9)
    assert conformance_probability(52.0, 50.0, 2.0) == pytest.approx(stats.norm.cdf(1.0), rel=1e-9)


# --- several laboratories, laws, agreement, rules --------------------------------------------------------------------


def test_precision_from_the_definition() -> None:
    """ISO 5725-2's sums for unequal cells, and E691's h and k, written out."""
    rng = np.random.default_rng(51)
    sizes = [3, 4, 2, 5, 3, 3]
    rows = [
        {"laboratory": f"L{i}", "sample": "A", "kv": 50 + shift_kv + v}
        for i, (n, shift_kv) in enumerate(zip(sizes, rng.normal(0, 4, 6), strict=True))
        for v in rng.normal(0, 3, n)
    ]
    table = pd.DataFrame(rows)
    found = precision(table).levels[0]
    cells = table.groupby("laboratory")["kv"].agg(["size", "mean", "var"])
    n, m = cells["size"].to_numpy(), cells["mean"].to_numpy()
    s2 = float(((n - 1) * cells["var"]).sum() / (n - 1).sum())
    grand, p = float((n * m).sum() / n.sum()), len(n)
    sd2 = float((n * (m - grand) ** 2).sum() / (p - 1))
    bar = float((n.sum() - (n**2).sum() / n.sum()) / (p - 1))
    sl2 = max((sd2 - s2) / bar, 0.0)
    assert found.mean == pytest.approx(grand, rel=1e-9)
    assert (found.s_r, found.s_L, found.s_R) == pytest.approx(
        (math.sqrt(s2), math.sqrt(sl2), math.sqrt(s2 + sl2)), rel=1e-9
    )
    assert (found.r, found.R) == pytest.approx((2.8 * found.s_r, 2.8 * found.s_R), rel=1e-12)
    spread = np.std(m, ddof=1)
    assert [found.h[f"L{i}"] for i in range(6)] == pytest.approx((m - m.mean()) / spread, rel=1e-9)
    assert [found.k[f"L{i}"] for i in range(6)] == pytest.approx(
        np.sqrt(cells["var"].to_numpy() / cells["var"].mean()), rel=1e-9
    )  # ISO 5725-2: the cells weigh alike


def test_gap_exponent_is_least_squares_of_the_logs() -> None:
    """statsmodels' OLS of log filling mean on log gap, on the demo study of four gaps."""
    table = pd.read_csv(DEMO / "bench_studies.csv")
    mine = table[table["study"] == "gap"]
    found = gap_laws(mine)
    found = next(law for law in found if law.error is None)
    means = mine.groupby(["gap_mm", "filling"], as_index=False)["kv"].mean()
    ols = sm.OLS(np.log(means["kv"]), sm.add_constant(np.log(means["gap_mm"]))).fit()
    assert found.m == pytest.approx(ols.params.iloc[1], rel=1e-9)
    assert (found.m_low, found.m_high) == pytest.approx(tuple(ols.conf_int().iloc[1]), rel=1e-8)
    assert found.a_kv == pytest.approx(math.exp(ols.params.iloc[0]), rel=1e-9)


def test_limits_of_agreement() -> None:
    """Bland and Altman (1986): mean difference and 1.96 SD, their limits by sd sqrt(3/n)."""
    rng = np.random.default_rng(52)
    a = rng.uniform(25, 70, 15)
    b = a * 1.05 + rng.normal(0, 3, 15)
    found = limits_of_agreement(a, b, exact=False)
    d = b - a
    sd, t = d.std(ddof=1), stats.t.ppf(0.975, 14)
    assert (found.lower, found.upper) == pytest.approx((d.mean() - 1.959964 * sd, d.mean() + 1.959964 * sd), rel=1e-6)
    assert found.bias_low == pytest.approx(d.mean() - t * sd / math.sqrt(15), rel=1e-9)
    assert found.upper_high == pytest.approx(found.upper + t * sd * math.sqrt(3 / 15), rel=1e-9)


@pytest.mark.parametrize(("kind", "limit"), [("range_percent", 40.0), ("cov_ceiling", 20.0), ("three_r", 3.0)])
def test_trip_rate_by_simulation(kind: str, limit: float) -> None:
    """Invented normal tests of five, the rule applied as it reads."""
    rule = own_rule(kind, limit, n=5)
    kv = np.sort(np.random.default_rng(53).normal(1, 0.15, (60_000, 5)), axis=1)
    width = kv[:, -1] - kv[:, 0]
    trips = {
        "range_percent": width > limit / 100 * kv.mean(1),
        "cov_ceiling": kv.std(axis=1, ddof=1) > limit / 100 * kv.mean(1),
        "three_r": limit * width > kv[:, 1],
    }[kind]
    assert trip_rate(rule, 0.15).probability == pytest.approx(trips.mean(), abs=0.008)


def test_a_file_and_a_table_give_the_same(tmp_path: Path) -> None:
    table = bench(61)
    table.to_csv(tmp_path / "t.csv", index=False)
    assert shift(read(tmp_path / "t.csv"), "electrode").shifts[0].low_kv == shift(table, "electrode").shifts[0].low_kv
