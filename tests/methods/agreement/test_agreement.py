"""Agreement: lines with errors in both variables and limits of agreement (cases F08a, F08b, F09)."""

from __future__ import annotations

import os
from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods.agreement.agreement import STATEMENT, Agreement, compare_methods
from methods.agreement.laboratories import agreement_distances, crossed, crossed_pivots, mean_half_width
from methods.agreement.limits import limits_of_agreement, within_variance
from methods.agreement.lines import deming, passing_bablok
from methods.answers import answer
from methods.errors import InputError, NotEstimable
from tests.reference import agrees, data, names


# pbreg_deming_pkg_*: another R package's variant of Passing-Bablok, with its own handling of ties; the case itself
# says to accept the published definition instead.
@pytest.mark.parametrize("name", [n for n in names("F08b") if not n.startswith(("pbreg_deming_pkg", "wdeming"))])
def test_creatinine(name: str) -> None:
    """R package mcr on its own data set; another package's Passing-Bablok treats ties differently."""
    d = data("F08_creatinine.csv").dropna()
    x, y = d["serum.crea"], d["plasma.crea"]
    line, pb = deming(x, y), passing_bablok(x, y, between=True)
    lows = [line.intercept_low, line.slope_low]
    agrees("F08b", name, {
        "n": len(d), "deming1_coef": [line.intercept, line.slope],
        "deming1_se": [line.intercept_standard_error, line.slope_standard_error],
        "deming1_lci": lows, "deming1_uci": [line.intercept_high, line.slope_high], "deming1_lci_formula": lows,
        "paba_coef": [pb.intercept, pb.slope], "paba_lci": [pb.intercept_low, pb.slope_low],
        "paba_uci": [pb.intercept_high, pb.slope_high],
    }[name])  # fmt: skip


@pytest.mark.parametrize("seed", range(8))
def test_limits_between_ranks_are_as_far_from_either_end(seed: int) -> None:
    """mcr's rule from its description: twice the rank rounded, the mean of two slopes where that is even."""
    rng = np.random.default_rng(seed)
    x = rng.uniform(20, 70, 9 + seed)
    y = 1.1 * x + rng.normal(0, 4, len(x))
    found = passing_bablok(x, y, between=True)
    i, j = np.triu_indices(len(x), 1)
    slopes = np.sort((y[i] - y[j]) / (x[i] - x[j]))
    n, count, shift = len(x), len(slopes), int((slopes < -1).sum())
    width = stats.norm.ppf(0.975) * np.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    for sign, limit in ((-1, found.slope_low), (1, found.slope_high)):
        twice = round(count + sign * width) + 2 * shift
        half = (twice + 1) // 2
        expected = slopes[half - 1] if twice % 2 else (slopes[half - 1] + slopes[half]) / 2
        assert limit == pytest.approx(expected)


def test_exchanging_the_methods_inverts_the_line() -> None:
    rng = np.random.default_rng(1)
    truth = rng.uniform(20, 70, 30)
    x, y = truth + rng.normal(0, 3, 30), 1.3 * truth + rng.normal(0, 2, 30)
    assert deming(y, x, variance_ratio=4).slope == pytest.approx(1 / deming(x, y, variance_ratio=0.25).slope)
    assert passing_bablok(y, x).slope == pytest.approx(1 / passing_bablok(x, y).slope)
    with pytest.raises(NotEstimable):
        deming([1.0, 2], [1.0, 2])
    with pytest.raises(InputError):
        deming([1.0, 2, np.nan], [1.0, 2, 3])


@cache
def flow() -> dict[str, pd.DataFrame]:
    d = data("F09_pefr.csv")
    return {m: d[d["meth"] == m].pivot(index="item", columns="repl", values="y") for m in ("Wright", "Mini")}


@pytest.mark.parametrize("name", names("F09"))
def test_bland_and_altman(name: str) -> None:
    """The flow meters of Bland and Altman, Lancet 1986 i:307: first readings, means, and repeatability."""
    wright, mini = flow()["Wright"], flow()["Mini"]
    if name.startswith(("wright1", "avg")):
        pair = (mini[1], wright[1]) if name.startswith("wright1") else (mini.mean(axis=1), wright.mean(axis=1))
        at = limits_of_agreement(*pair)
        two = limits_of_agreement(*pair, factor=2, exact=False)
        rounded = limits_of_agreement(*pair, factor=1.96)
        found = {
            "n": at.n, "bias": at.bias, "sd": at.sd, "loa_1.96": [rounded.lower, rounded.upper],
            "loa_2": [two.lower, two.upper], "bias_ci95": [at.bias_low, at.bias_high],
            "se_loa_sqrt3": (two.lower_high - two.lower_low) / 2 / stats.t.ppf(0.975, at.n - 1),
            "loa_lower_ci95_2s": [two.lower_low, two.lower_high], "loa_upper_ci95_2s": [two.upper_low, two.upper_high],
            "r": at.correlation, "diff_vs_mean_slope": at.slope, "diff_vs_mean_p": at.slope_p,
            "lin_ccc": at.concordance,
        }[name.split("_", 3)[3] if name.startswith("wright1") else name.partition("_")[2]]  # fmt: skip
    elif name == "corrected_sd_single":
        within = []
        for table in (wright, mini):  # the paper's SDs are about the mean shift from first to second reading
            long = table.stack().reset_index()
            long.columns = pd.Index(["item", "repl", "y"])
            within.append(within_variance(long["y"], long["item"], order=long["repl"])[0])
        extra = within[0] / 2 + within[1] / 2  # (1 - 1/m) s² for each method, from means of m = 2 results
        found = limits_of_agreement(mini.mean(axis=1), wright.mean(axis=1), added_variance=extra).sd
    else:
        table = {"Wright": wright, "Mini": mini}[name.partition("_")[0]]
        d = (table[1] - table[2]).to_numpy()
        long = table.stack().reset_index()
        sd = np.sqrt(within_variance(long[0], long["item"])[0])
        found = {
            "rep_meandiff": d.mean(), "rms_diff_zero_mean": np.sqrt((d**2).mean()), "within_sd": sd,
            "repeatability_coef_1.96": 1.96 * np.sqrt(2) * sd,
        }[name.partition("_")[2]]  # fmt: skip
    agrees("F09", name, found)


def test_limits_of_the_limits_cover() -> None:
    """Exact limits of a limit of agreement hold the true 97.5 % point 95 % of the time with 6 oils."""
    rng = np.random.default_rng(2)
    hits = 0
    for _ in range(400):
        a = np.full(6, 50.0)
        b = a + rng.normal(1, 4, 6)
        at = limits_of_agreement(a, b)
        hits += at.upper_low <= 1 + 1.959964 * 4 <= at.upper_high
    assert 0.92 <= hits / 400 <= 0.98


def invented(seed: int = 0, oils: int = 12, fillings: int = 2) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        [
            {"sample": f"oil {o}", "method": m, "filling": str(f), "order": i,
             "kv": level * shift * np.exp(rng.normal(0, 0.1))}
            for o, base in enumerate(np.linspace(25, 70, oils))
            for m, level in (("first", base), ("second", 0.8 * base))
            for f in range(fillings) for shift in [np.exp(rng.normal(0, 0.04))] for i in range(6)
        ]
    )  # fmt: skip


def whole(frame: pd.DataFrame, **options: object) -> Agreement:
    return compare_methods(frame, **options)


def test_paired_by_oil_from_records() -> None:
    frame = invented()
    found = whole(frame)
    means = frame.groupby(["method", "sample", "filling"])["kv"].mean().groupby(["method", "sample"]).mean().unstack(0)
    assert found.absolute.bias == pytest.approx((means["second"] - means["first"]).mean())
    assert found.relative.lower < -20 < found.relative.upper and found.relative.bias == pytest.approx(-20, abs=3)
    assert found.single_results and found.absolute.sd > (means["second"] - means["first"]).std()
    assert found.deming.slope_low < 0.8 < found.deming.slope_high
    assert found.statement == STATEMENT and "level" in {w.code for w in found.cautions}
    band = found.predict(50.0)
    assert band.low_kv < 40 < band.high_kv and band.statement == STATEMENT
    with pytest.raises(NotEstimable, match="far outside"):
        found.predict(150.0)
    assert found.predict(150.0, beyond=True).cautions[0].code == "far_outside_range"


def test_scatter_between_laboratories_in_the_limits_is_said() -> None:
    frame = invented()
    alone = whole(frame.assign(laboratory="one"))
    assert "between_laboratories" not in {c.code for c in alone.cautions}
    two = whole(frame.assign(laboratory=frame["method"] + " " + frame["filling"]))  # none of them used both methods
    (said,) = [c.text for c in two.cautions if c.code == "between_laboratories"]
    assert f"{2 * frame['filling'].nunique()} laboratories" in said and "scatter between laboratories" in said
    assert two.absolute == alone.absolute


def test_band_covers_a_new_oil() -> None:
    hits, runs = 0, 400 if os.environ.get("GAPSHIFT_LONG") == "1" else 16
    for seed in range(runs):
        band = whole(invented(seed)).predict(45.0)
        rng = np.random.default_rng(1000 + seed)
        # a result of 45 kV on a new oil; oils were spread evenly, so its true level is about 45
        truth = 45 * np.exp(-rng.normal(0, 0.04 / np.sqrt(2)) - rng.normal(0, 0.1 / np.sqrt(12)))
        seen = 0.8 * truth * np.exp(rng.normal(0, 0.04 / np.sqrt(2)) + rng.normal(0, 0.1 / np.sqrt(12)))
        hits += band.low_kv <= seen <= band.high_kv
    assert hits >= 0.87 * runs


def test_what_is_left_out_is_named() -> None:
    frame = invented().assign(outcome="breakdown")
    frame.loc[frame.index[-1], "outcome"] = "withstood"
    frame = frame[~((frame["sample"] == "oil 0") & (frame["method"] == "first"))]
    found = whole(frame)
    texts = {w.code: w.text for w in found.cautions}
    assert "oil 11" in texts["withstood"] and "oil 0" in texts["unpaired"] and found.samples == 10
    once = whole(invented(fillings=1))
    assert not once.single_results and "not_repeated" in {w.code for w in once.cautions} and once.deming is not None
    few = whole(invented(oils=4))
    assert few.deming is None and "few_oils" in {w.code for w in few.cautions}


def test_which_two_must_be_clear() -> None:
    frame = pd.concat([invented(), invented().assign(method="third")], ignore_index=True)
    with pytest.raises(InputError, match="say which two"):
        whole(frame)
    with pytest.raises(InputError, match="no level"):
        whole(frame, first="fourth")
    assert whole(frame, first="second", second="third").second == "third"
    with pytest.raises(InputError, match="oil"):
        whole(frame.drop(columns="sample"))


def _oils(n: int, fillings: int = 2, seed: int = 0) -> pd.DataFrame:
    """Invented: the second method reads 5 kV + 0.8 of the first."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(n):
        level = 50 + 10 * rng.standard_normal()
        for method, mean in (("X", level), ("Y", 5 + 0.8 * level)):
            for f in range(fillings):
                rows.append({"sample": f"oil {i}", "method": method, "filling": str(f), "kv": mean + rng.normal(0, 3)})
    return pd.DataFrame(rows)


def test_a_limit_of_another_method_is_no_conversion() -> None:
    """With one result an oil the band is linear regression's in form; means are widened to one result."""
    found = compare_methods(_oils(10), by="method", first="X", second="Y")
    band, mean = found.predict(50.0), found.predict(50.0, results=2)
    assert band.high_kv - band.low_kv > mean.high_kv - mean.low_kv and band.kv == mean.kv
    assert "association in these data, not a conversion" in band.sentence and "no limit of" in band.sentence
    line = found.deming
    at = np.array([1.0, 50.0])
    t = stats.t.ppf(0.975, 8)
    plain = t * np.sqrt(at @ line.covariance @ at + line.residual_sd**2)
    assert (mean.high_kv - mean.low_kv) / 2 == pytest.approx(plain)
    more = 0.5 * ((line.slope * found.within_first_kv) ** 2 + found.within_second_kv**2)
    assert (band.high_kv - band.low_kv) / 2 == pytest.approx(
        t * np.sqrt(at @ line.covariance @ at + line.residual_sd**2 + more)
    )


def test_too_few_oils_give_no_band() -> None:
    with pytest.raises(NotEstimable, match="5 oils are too few"):
        compare_methods(_oils(5), by="method", first="X", second="Y").predict(50.0)
    assert compare_methods(_oils(6), by="method", first="X", second="Y").predict(50.0).low_kv < 45


def _shared_round(seed: int, *, oils: int = 8, labs: int = 5, apart: float = 1.5) -> pd.DataFrame:
    """Invented: laboratories off by 4 kV, and by ``apart`` kV in how the second method lies to the first (+3 kV)."""
    rng = np.random.default_rng(seed)
    own, extra = rng.normal(0, 4, labs), rng.normal(0, apart, labs)
    rows = []
    for o in range(oils):
        oil = rng.normal(0, 1)
        for lab in range(labs):
            for method, more in (("X", 0.0), ("Y", 3.0 + oil + extra[lab])):
                rows += [
                    {"sample": f"oil {o}", "laboratory": f"L{lab}", "method": method, "filling": f,
                     "kv": 40 + 4 * o + own[lab] + more + rng.normal(0, 1.2)}
                    for f in (1, 2)
                ]  # fmt: skip
    return pd.DataFrame(rows)


def test_laboratories_that_used_both_methods_are_paired() -> None:
    """What lies between laboratories (4 kV) is no part of the difference; what they add to it is told."""
    found = compare_methods(_shared_round(2), by="method")
    assert found.laboratories == 5 and len(found.pairs) == 40 and found.samples == 8
    assert {"sample", "laboratory"} < set(found.pairs.columns)
    wide = found.pairs.assign(d=found.pairs["second_kv"] - found.pairs["first_kv"])
    table = wide.pivot(index="sample", columns="laboratory", values="d").to_numpy()
    n, m = table.shape
    middle, by_oil, by_lab = table.mean(), table.mean(axis=1), table.mean(axis=0)
    rest = ((table - by_oil[:, None] - by_lab + middle) ** 2).sum() / ((n - 1) * (m - 1))  # two-way table, by hand
    lab, oil = n * by_lab.var(ddof=1), m * by_oil.var(ddof=1)
    assert found.absolute.bias == pytest.approx(middle)
    assert found.between_laboratories_kv == pytest.approx(np.sqrt((lab - rest) / n))
    assert found.rest_kv == pytest.approx(np.sqrt(rest))
    half = found.absolute.bias_high - middle
    parts = np.array([oil, lab, -rest]) / (n * m)
    df = parts.sum() ** 2 / (parts**2 / [n - 1, m - 1, (n - 1) * (m - 1)]).sum()
    by_satterthwaite = stats.t.ppf(0.975, df) * np.sqrt(parts.sum())  # of which these limits are somewhat wider
    assert by_satterthwaite < half < 1.4 * by_satterthwaite
    assert found.first_between_laboratories_kv > 2  # the laboratories' own levels are told, and not in the limits
    assert found.absolute.upper - found.absolute.lower < 2 * 1.96 * 4
    assert "between_laboratories" not in {c.code for c in found.cautions}
    said = answer(found).sentence
    assert "in 5 laboratories" in said and "Laboratories differ by" in said
    one = compare_methods(_shared_round(2).query("laboratory == 'L0'"), by="method")
    assert one.laboratories == 0 and "laboratory" not in one.pairs


def test_results_without_a_counterpart_in_the_same_laboratory_are_said() -> None:
    table = _shared_round(3)
    found = compare_methods(
        table.query("not (laboratory == 'L0' and sample == 'oil 1' and method == 'Y')"), by="method"
    )
    assert len(found.pairs) == 39 and found.laboratories == 5
    assert any("2 results without a counterpart" in c.text for c in found.cautions)
    other = table[(table["method"] == "X") == table["laboratory"].isin(["L0", "L1"])]  # no laboratory used both
    apart = compare_methods(other, by="method")
    assert apart.laboratories == 0 and "between_laboratories" in {c.code for c in apart.cautions}


def test_limits_of_the_mean_difference_hold_over_laboratories() -> None:
    """Pairs of a laboratory are not independent: as if they were, the limits would hold half the time."""
    rng, held, naive = np.random.default_rng(5), 0, 0
    oil, lab = np.repeat(np.arange(8), 4), np.tile(np.arange(4), 8)
    for _ in range(600):
        d = 3 + rng.normal(0, 1, 8)[oil] + rng.normal(0, 2, 4)[lab] + rng.normal(0, 2, 32)
        half = mean_half_width(crossed(d, oil, lab), 0.95)
        low, high = d.mean() - half, d.mean() + half
        half = stats.t.ppf(0.975, 31) * d.std(ddof=1) / np.sqrt(32)
        held, naive = held + (low <= 3 <= high), naive + (abs(d.mean() - 3) <= half)
    assert held / 600 > 0.92 and naive / 600 < 0.75


def test_two_laboratories_hardly_show_how_far_laboratories_differ_and_the_limits_say_so() -> None:
    """By Satterthwaite's degrees of freedom limits of agreement over two laboratories held about 77 of 100 times."""
    rng, held, reps = np.random.default_rng(6), 0, 250
    oil, lab = np.repeat(np.arange(15), 2), np.tile(np.arange(2), 15)
    truth = 1.96 * np.sqrt(4 + 16 + 2.25)
    for _ in range(reps):
        d = rng.normal(0, 2, 15)[oil] + rng.normal(0, 4, 2)[lab] + rng.normal(0, 1.5, 30)
        near, far = agreement_distances(crossed(d, oil, lab), 1.96, 0.0, 0.95)
        held += near <= truth - d.mean() <= far
    assert held / reps > 0.90


def test_with_one_oil_a_laboratory_nothing_is_left_for_limits() -> None:
    found = crossed(np.array([1.0, 2.0, 4.0]), np.arange(3), np.arange(3))
    assert np.isnan(found.rest) and np.isnan(mean_half_width(found, 0.95))


def test_pivots_of_one_part_alone_are_its_exact_limits() -> None:
    """Where nothing but the rest scatters, its variance has chi-square limits: (n-1) s²/chi² (any handbook)."""
    rng = np.random.default_rng(8)
    oil, lab = np.repeat(np.arange(6), 4), np.tile(np.arange(4), 6)
    found = crossed(rng.normal(0, 2, 24), oil, lab)
    square, df, _ = found.squares[2]
    drawn = crossed_pivots(found)
    assert drawn is not None and df == 15
    np.testing.assert_allclose(
        np.quantile(drawn.rest, [0.025, 0.975]), df * square / stats.chi2.ppf([0.975, 0.025], df), rtol=0.03
    )


def test_rows_without_a_filling_are_results_here_as_in_precision() -> None:
    """One rule for a file that names no fillings: each row is a result, and that is said."""
    from methods import precision
    from methods.agreement import discrimination

    rng = np.random.default_rng(9)
    table = pd.DataFrame(
        [
            {"sample": f"oil {o}", "method": m, "laboratory": lab, "kv": 40 + 5 * o + rng.normal(0, 2)}
            for o in range(6) for m in ("X", "Y") for lab in ("L1", "L2") for _ in range(3)
        ]
    )  # fmt: skip
    found = compare_methods(table, by="method")
    assert found.pairs["first_results"].eq(3).all()  # three rows of an oil in a laboratory: three results
    level = precision(table[table["method"] == "X"], level="sample").levels[0]
    assert level.n == 6
    one = table[(table["method"] == "X") & (table["laboratory"] == "L1")]
    by_hand = np.sqrt(one.groupby("sample")["kv"].var().mean())
    alone = compare_methods(table[table["laboratory"] == "L1"], by="method")
    assert alone.within_first_kv == pytest.approx(by_hand)
    apart = discrimination(table[table["laboratory"] == "L1"], by="method")
    assert apart.methods.set_index("method").loc["X", "noise_kv"] == pytest.approx(by_hand)
    for cautions in (found.cautions, precision(table, level="sample").cautions, apart.cautions):
        assert "rows_are_results" in {c.code for c in cautions}


def test_a_method_that_was_tried_in_more_laboratories_does_not_seem_to_scatter_more() -> None:
    """Two methods that scatter alike, one of them in three laboratories 6 kV apart: noise is that within one."""
    from methods.agreement import discrimination, sensitivity_ratio

    rng = np.random.default_rng(11)
    rows = []
    for method, labs in (("X", ("L1", "L2", "L3")), ("Y", ("L1",))):
        for lab, more in zip(labs, (0, 6, -6), strict=False):
            rows += [
                {"sample": f"oil {o}", "method": method, "laboratory": lab, "filling": str(f),
                 "kv": 40 + 6 * o + more + rng.normal(0, 2)}
                for o in range(10) for f in range(4)
            ]  # fmt: skip
    table = pd.DataFrame(rows)
    found = discrimination(table, by="method")
    noise = found.methods.set_index("method")["noise_kv"]
    assert noise["X"] == pytest.approx(2, abs=0.5) and noise["Y"] == pytest.approx(2, abs=0.6)
    assert "within_laboratories" in {c.code for c in found.cautions}
    assert 0.75 < sensitivity_ratio(table, by="method", first="X", second="Y").ratio < 1.35


def test_the_band_of_a_new_oil_is_students_with_two_degrees_fewer_than_oils() -> None:
    """Outside: quantiles of Student's t (SciPy); the scatter in the band is the same at any confidence."""
    rng = np.random.default_rng(4)
    level = np.linspace(30, 60, 8)
    rows = [
        {"sample": f"O{i}", "method": m, "filling": str(f), "kv": v * slope + rng.normal(0, 1)}
        for i, v in enumerate(level) for m, slope in (("A", 1.0), ("B", 1.1)) for f in (1, 2)
    ]  # fmt: skip
    table = pd.DataFrame(rows)
    half = {}
    for confidence in (0.8, 0.95):
        band = compare_methods(table, by="method", result="filling", confidence=confidence).predict(45.0)
        half[confidence] = (band.high_kv - band.low_kv) / 2
    assert half[0.95] / half[0.8] == pytest.approx(stats.t.ppf(0.975, 6) / stats.t.ppf(0.9, 6))
