"""The shift by a mixed model: balanced designs by hand, statsmodels live, factors taken out, what cannot be told."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from methods.errors import InputError, NotEstimable
from methods.shifts import shift
from methods.shifts.filling_model import Sums, fit_fillings
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


def test_balanced_is_welchs_t_on_filling_means() -> None:
    """Every level has its own scatter, so the balanced case is Welch's test (SciPy)."""
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (45, 4)}, seed=3)
    found = shift(frame, "electrode", reference="s", model="mixed").shifts[0]
    means = frame.groupby(["electrode", "filling"])["kv"].mean()
    live = stats.ttest_ind(means["m"], means["s"], equal_var=False)
    np.testing.assert_allclose([found.low_kv, found.high_kv], live.confidence_interval(), rtol=1e-7)
    assert found.p_value == pytest.approx(live.pvalue, rel=1e-7)
    assert found.df == pytest.approx(live.df)
    assert found.holds_for == "these oils" and found.these_oils.low_kv == found.low_kv


@pytest.mark.parametrize("model", ["filling_means", "mixed"])
def test_fluids_tell_oils_apart_where_no_sample_is_named(model: str) -> None:
    """Two liquids 30 kV apart: the shift within each, as if the liquids were the samples' names."""
    parts = [
        bench({("A", "s"): (50 + apart, 3), ("A", "m"): (45 + apart, 3)}, seed=i).assign(fluid=name)
        for i, (name, apart) in enumerate((("mineral oil", 0), ("natural ester", 30)))
    ]
    whole = pd.concat(parts, ignore_index=True)
    unnamed = shift(whole.assign(sample=None), "electrode", reference="s", model=model).shifts[0]
    named = shift(whole.assign(sample=whole["fluid"]), "electrode", reference="s", model=model).shifts[0]
    assert (unnamed.low_kv, unnamed.high_kv) == pytest.approx((named.low_kv, named.high_kv), rel=1e-9)
    assert unnamed.high_kv - unnamed.low_kv < 30  # the liquids' own difference is no scatter


def test_percent_limits_agree_with_the_test() -> None:
    for seed in range(6):
        frame = bench({("A", "s"): (50, 3), ("A", "m"): (46, 3)}, seed=seed)
        found = shift(frame, "electrode", reference="s", model="mixed", confidence=0.9).shifts[0]
        outside = found.low_percent > 0 or found.high_percent < 0
        assert (found.p_value < 0.1) == outside


def test_another_factor_is_taken_out_statsmodels() -> None:
    """statsmodels' MixedLM with the same fixed part, live: equal with one scatter for all, near with each its own."""
    import statsmodels.formula.api as smf

    frame = factorial(1)
    found = shift(frame, "electrode", reference="s", model="mixed", factors=["gap_mm"]).shifts[0]
    frame["cell"] = frame["electrode"] + frame["gap_mm"].astype(str) + frame["filling"]
    live = smf.mixedlm("kv ~ C(electrode, Treatment('s')) + C(gap_mm)", frame, groups=frame["cell"]).fit(reml=True)
    name = "C(electrode, Treatment('s'))[T.m]"
    assert found.difference_kv == pytest.approx(live.params[name], rel=0.03)
    assert found.standard_error_kv == pytest.approx(live.bse[name], rel=0.1)
    code = pd.factorize(frame["cell"])[0]
    sums = Sums.of(frame["kv"].to_numpy(), code)
    first = frame.iloc[sums.first]
    x = np.column_stack([np.ones(len(first)), first["electrode"] == "m", first["gap_mm"] == 2.0]).astype(float)
    one = fit_fillings(sums, x, np.zeros(len(first), dtype=np.int64))
    assert one.beta[1] == pytest.approx(live.params[name], rel=1e-4)
    assert np.sqrt(one.plain[1, 1]) == pytest.approx(live.bse[name], rel=1e-3)
    assert one.variances["between 0"] == pytest.approx(float(live.cov_re.iloc[0, 0]), rel=1e-2)
    assert one.variances["within 0"] == pytest.approx(live.scale, rel=1e-3)
    means = frame.groupby("electrode")["kv"].mean()
    assert abs(means["m"] - means["s"] - found.difference_kv) > 4
    like = shift(frame, "electrode", reference="s").shifts[0]  # the same without a model: like with like
    assert like.held == ["gap_mm"]
    assert like.difference_kv == pytest.approx(found.difference_kv, abs=0.2)
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


def test_withstands_with_oils_at_random() -> None:
    """Oils' own shifts and the oils themselves stay random under a ceiling; a hidden few move little."""
    cells = {(o, e): (m - 5 * (e == "m"), 3) for o, m in {"A": 40, "B": 50, "C": 60, "D": 70}.items() for e in "sm"}
    frame = bench(cells, seed=2)
    plain = {s: shift(frame, "electrode", reference="s", model="mixed", samples=s) for s in ("fixed", "random")}
    top = float(np.sort(frame["kv"])[-4])
    hit = frame["kv"] >= top
    frame["outcome"] = np.where(hit, "withstood", "breakdown")
    frame.loc[hit, "kv"] = top
    for samples, was in plain.items():
        found = shift(frame, "electrode", reference="s", model="mixed", samples=samples)
        assert found.shifts[0].holds_for == "oils like these"
        assert found.shifts[0].difference_kv == pytest.approx(was.shifts[0].difference_kv, abs=1.0)
        widths = [(r.shifts[0].high_kv - r.shifts[0].low_kv) for r in (found, was)]
        assert 0.6 < widths[0] / widths[1] < 1.7
        assert found.shifts[0].these_oils is not None


def test_log_is_the_ratio() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (45, 4)}, seed=3)
    found = shift(frame, "electrode", reference="s", model="mixed", log=True).shifts[0]
    frame["kv"] = np.log(frame["kv"])
    means = frame.groupby(["electrode", "filling"])["kv"].mean()
    live = stats.ttest_ind(means["m"], means["s"], equal_var=False).confidence_interval()
    np.testing.assert_allclose([found.low_percent, found.high_percent], 100 * np.expm1(np.array(live)), rtol=1e-5)


def test_oils_own_shifts_balanced_is_the_paired_t() -> None:
    """Four oils of three fillings: t on the oils' shifts (SciPy) for oils like these; narrower for exactly these."""
    cells = {(o, e): (m - 5 * (e == "m"), 3) for o, m in {"A": 40, "B": 50, "C": 60, "D": 70}.items() for e in "sm"}
    frame = bench(cells, seed=2)
    frame.loc[(frame["sample"] == "A") & (frame["electrode"] == "m"), "kv"] -= 8
    found = shift(frame, "electrode", reference="s", model="mixed").shifts[0]
    means = frame.groupby(["electrode", "sample", "filling"])["kv"].mean().groupby(["electrode", "sample"]).mean()
    live = stats.ttest_rel(means["m"], means["s"])
    np.testing.assert_allclose([found.low_kv, found.high_kv], live.confidence_interval(), rtol=1e-6)
    assert found.holds_for == "oils like these" and found.df == pytest.approx(3, rel=1e-6)
    assert found.low_kv < found.these_oils.low_kv < found.these_oils.high_kv < found.high_kv


def dense(theta: np.ndarray, matrices: list[np.ndarray], y: np.ndarray, x: np.ndarray, inside: np.ndarray) -> float:
    """-2 log restricted likelihood of filling means and scatter inside fillings, from its definition."""
    v = sum(t * m for t, m in zip(theta, matrices, strict=True))
    if np.linalg.eigvalsh(v)[0] <= 0 or (theta[[1, 3]] <= 0).any():
        return 1e12
    w = np.linalg.inv(v)
    xwx = x.T @ w @ x
    r = y - x @ np.linalg.solve(xwx, x.T @ w @ y)
    out = np.linalg.slogdet(v)[1] + np.linalg.slogdet(xwx)[1] + r @ w @ r
    return float(out + sum(df * np.log(t) + ss / t for t, (ss, df) in zip(theta[[1, 3]], inside, strict=True)))


@pytest.mark.parametrize("seed", [2, 3, 6])  # cases in which every variance comes out above zero
def test_unbalanced_against_the_definition(seed: int) -> None:
    """Estimates by minimising the restricted likelihood with dense matrices (SciPy); standard error and degrees of
    freedom by Kenward and Roger's formulas (Biometrics 53 (1997) 983) written out with dense matrices."""
    rng = np.random.default_rng(seed)
    oil = np.repeat(np.arange(4), 6)
    level = np.tile([0, 0, 0, 1, 1, 1], 4)
    keep = rng.random(24) > 0.15
    oil, level = oil[keep], level[keep]
    number = rng.integers(3, 8, len(oil))
    filling = np.repeat(np.arange(len(oil)), number)
    own = rng.normal(0, 3, (4, 2))[oil, level]
    kv = (50 + 5 * oil - 4 * level + own + rng.normal(0, 1 + level))[filling] + rng.normal(0, 3, len(filling))
    sums, cell = Sums.of(kv, filling), oil * 2 + level
    x = np.column_stack([oil[:, None] == np.arange(4), level]).astype(float)
    fit = fit_fillings(sums, x, level, {"own": cell})
    one, two = (level == 0).astype(float), (level == 1).astype(float)
    matrices = [np.diag(one), np.diag(one / number), np.diag(two), np.diag(two / number),
                (cell[:, None] == cell[None, :]).astype(float)]  # fmt: skip
    inside = [(sums.squares[level == i].sum(), (number[level == i] - 1).sum()) for i in (0, 1)]
    names = ["between 0", "within 0", "between 1", "within 1", "own"]
    here = np.array([fit.variances[n] for n in names])
    found = optimize.minimize(
        dense, here * 1.1 + 0.05, args=(matrices, sums.mean, x, inside), method="Nelder-Mead",
        options={"maxiter": 20000, "maxfev": 20000, "xatol": 1e-9, "fatol": 1e-12},
    )  # fmt: skip
    assert dense(here, matrices, sums.mean, x, inside) == pytest.approx(found.fun, abs=1e-6)
    np.testing.assert_allclose(here, found.x, rtol=2e-3, atol=2e-3)
    v = sum(t * m for t, m in zip(here, matrices, strict=True))
    w = np.linalg.inv(v)
    phi = np.linalg.inv(x.T @ w @ x)
    p = w - w @ x @ phi @ x.T @ w
    information = np.array([[np.trace(p @ a @ p @ b) / 2 for b in matrices] for a in matrices])
    for k, (_, df), t in zip((1, 3), inside, here[[1, 3]], strict=True):
        information[k, k] += df / (2 * t**2)
    known = np.linalg.inv(information)
    slopes = [x.T @ w @ m @ w @ x for m in matrices]
    more = sum(
        known[i, j] * (x.T @ w @ a @ w @ b @ w @ x - slopes[i] @ phi @ slopes[j])
        for i, a in enumerate(matrices) for j, b in enumerate(matrices)
    )  # fmt: skip
    c = np.array([0, 0, 0, 0, 1.0])
    contrast = fit.contrast(c)
    assert contrast.standard_error == pytest.approx(np.sqrt(c @ (phi + 2 * phi @ more @ phi) @ c), rel=1e-6)
    gradient = np.array([c @ phi @ s @ phi @ c for s in slopes])
    df = 2 * (c @ phi @ c) ** 2 / (gradient @ known @ gradient)
    assert contrast.df == pytest.approx(max(df, 1.0), rel=1e-6)


def test_no_jump_where_the_scatter_between_fillings_passes_zero() -> None:
    """Unequal breakdowns; filling effects scaled from none to some in small steps: shift and limits move smoothly."""
    rng = np.random.default_rng(0)
    number = np.array([3, 5, 8, 4, 6, 5, 3])
    level = np.array([0, 0, 0, 0, 1, 1, 1])
    filling = np.repeat(np.arange(7), number)
    effect, noise = rng.normal(size=7)[filling], rng.normal(0, 2, len(filling))
    noise -= (np.bincount(filling, noise) / number)[filling] * 0.8  # means closer than chance: below zero at first
    x = np.column_stack([np.ones(7), level]).astype(float)
    rows, signs = [], set()
    for scale in np.linspace(0, 2, 401):
        sums = Sums.of(50 - 4 * level[filling] + scale * effect + noise, filling)
        fit = fit_fillings(sums, x, np.zeros(7, dtype=int))
        c = fit.contrast([0, 1])
        rows.append([c.estimate, c.low, c.high])
        signs.add(fit.variances["between 0"] > 0)
    assert signs == {True, False}  # the estimate does pass zero
    steps = np.abs(np.diff(np.array(rows), axis=0)).max(axis=0)
    assert (steps < 0.05).all(), steps


def test_the_order_of_rows_does_not_matter() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (45, 3)}, seed=3)
    one = shift(frame, "electrode", reference="s", model="mixed").shifts[0]
    two = shift(frame.sample(frac=1, random_state=1), "electrode", reference="s", model="mixed").shifts[0]
    assert (one.low_kv, one.high_kv) == pytest.approx((two.low_kv, two.high_kv), rel=1e-9)


def test_fillings_of_one_breakdown_are_no_single_filling() -> None:
    frame = bench({("A", "s"): (50, 6), ("A", "m"): (45, 6)}, breakdowns=1)
    result = shift(frame, "electrode", reference="s", model="mixed")
    assert "one_filling" not in [w.code for w in result.cautions]
    means = {e: g["kv"] for e, g in frame.groupby("electrode")}
    live = stats.ttest_ind(means["m"], means["s"], equal_var=False).confidence_interval()
    np.testing.assert_allclose([result.shifts[0].low_kv, result.shifts[0].high_kv], live, rtol=1e-7)


def test_what_the_model_tells_is_not_said_to_be_untold() -> None:
    """No sample under both levels, linked by a third: the model compares them, and no caution says it cannot be."""
    cells = {("A", "s"): (50, 3), ("A", "d"): (40, 3), ("B", "m"): (55, 3), ("B", "d"): (42, 3)}
    result = shift(bench(cells), "electrode", reference="s", model="mixed")
    by_level = {s.level: s for s in result.shifts}
    assert np.isfinite(by_level["m"].difference_kv)
    assert not any(w.code == "not_estimable" and w.text.startswith("m ") for w in result.cautions)


def test_refusals() -> None:
    frame = factorial()
    with pytest.raises(InputError, match="mixed model only"):
        shift(frame, "electrode", factors=["gap_mm"])
    with pytest.raises(InputError):
        shift(frame, "electrode", model="mixed", factors=["electrode"])
    with pytest.raises(InputError):
        shift(frame, "electrode", model="mixed", samples="both")
