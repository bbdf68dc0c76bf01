"""The vectorised fit: equal to SciPy, to the single fit and to itself; what cannot be fitted says why."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from methods.errors import InputError, NotEstimable
from methods.scatter import FAMILIES, fit, fit_many, quantile_many


def batch(groups: int = 40, n: int = 60, ceiling: float = 55.0, seed: int = 7) -> tuple[np.ndarray, np.ndarray]:
    x = 50 * np.random.default_rng(seed).weibull(8, (groups, n))
    return np.minimum(x, ceiling), x > ceiling


def tight(func, x0, args=(), disp=0):
    """SciPy's own fit with an optimiser carried to the end; its default stops at 1e-4."""
    return optimize.fmin(func, x0, args=args, disp=0, xtol=1e-12, ftol=1e-14, maxiter=5000, maxfun=5000)


def test_equals_scipy_on_censored_weibulls():
    x, gone = batch(groups=3)
    table = fit_many(x, gone)
    for i, row in table.iterrows():
        sample = stats.CensoredData(uncensored=x[i][~gone[i]], right=x[i][gone[i]])
        shape, _, scale = stats.weibull_min.fit(sample, floc=0, optimizer=tight)
        assert row["shape"] == pytest.approx(shape, rel=1e-6)
        assert row["scale"] == pytest.approx(scale, rel=1e-6)


SCIPY = {
    "normal": (stats.norm, {}, ("mean", "sd")),
    "lognormal": (stats.lognorm, {"floc": 0}, ("log_sd", None, "log_mean")),
    "gumbel_min": (stats.gumbel_l, {}, ("location", "scale")),
}


@pytest.mark.parametrize("family", SCIPY)
def test_equals_scipy_in_the_other_families(family):
    x, gone = batch(groups=1, n=25)  # SciPy takes long over the Gumbel
    dist, fixed, where = SCIPY[family]
    table = fit_many(x, gone, family)
    for i, row in table.iterrows():
        sample = stats.CensoredData(uncensored=x[i][~gone[i]], right=x[i][gone[i]])
        found = dist.fit(sample, optimizer=tight, **fixed)
        for name, value in zip(where, found, strict=True):
            if name is not None:
                assert row[name] == pytest.approx(np.log(value) if name == "log_mean" else value, rel=2e-6)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_row_is_the_single_fit(family):
    x, gone = batch(groups=5, n=30)
    x[2, 20:] = np.nan
    table = fit_many(x, gone, family)
    for i, row in table.iterrows():
        keep = ~np.isnan(x[i])
        one = fit(x[i][keep], gone[i][keep], family)
        assert (row["n"], row["withstood"], row["reason"]) == (one.n, one.withstood, "")
        assert row["log_likelihood"] == pytest.approx(one.log_likelihood, rel=1e-9)
        assert row["aicc"] == pytest.approx(one.aicc, rel=1e-9)
        for name, value in one.parameters.items():
            assert row[name] == pytest.approx(value, rel=1e-6, abs=1e-6)
        np.testing.assert_allclose(
            quantile_many(table.iloc[[i]], family, [0.01, 0.5])[0], one.quantile([0.01, 0.5]), rtol=1e-6
        )


def test_groups_that_cannot_be_fitted_say_why_and_harm_nobody():
    x, gone = batch(groups=6, n=5, ceiling=1000.0)
    x[1] = 50.0
    gone[2] = True
    x[3] = np.nan
    x[4, 1:] = np.nan
    gone[5, :4] = True
    table = fit_many(x, gone)
    words = ["", "equal", "withstood", "no values", "one value", "only one breakdown"]
    for reason, word in zip(table["reason"], words, strict=True):
        assert word in reason and bool(reason) == bool(word)
    assert table["shape"].notna().tolist() == [True] + [False] * 5
    assert table["log_likelihood"].notna().tolist() == [True] + [False] * 5


def test_equal_breakdowns_below_a_ceiling_have_a_fit():
    """Two breakdowns at 50 kV and four withstands at 60: the scatter is finite, because something lies above."""
    table = fit_many([[50, 50, 60, 60, 60, 60]], [[0, 0, 1, 1, 1, 1]])
    assert table["reason"].iloc[0] == "" and 0 < table["shape"].iloc[0] < 50
    same = fit_many([[60, 60, 60, 60, 60, 60]], [[0, 0, 1, 1, 1, 1]])
    assert "equal" in same["reason"].iloc[0]


def test_block_borders_change_nothing(monkeypatch):
    from methods.scatter import newton

    x, gone = batch(groups=50, n=20)
    whole = fit_many(x, gone, "normal")
    monkeypatch.setattr(newton, "BLOCK", 60)
    cut = fit_many(x, gone, "normal")
    np.testing.assert_allclose(whole["mean"], cut["mean"], rtol=1e-10)
    np.testing.assert_allclose(whole["log_likelihood"], cut["log_likelihood"], rtol=1e-10)


def test_bad_batches():
    with pytest.raises(InputError, match="two dimensions"):
        fit_many([50.0, 60])
    with pytest.raises(InputError, match="shape"):
        fit_many([[50.0, 60]], [[True]])
    with pytest.raises(InputError, match="Group 1, value 2"):
        fit_many([[50.0, -1]])
    with pytest.raises(InputError, match="no family"):
        fit_many([[50.0, 60]], family="cauchy")
    assert len(fit_many(np.empty((0, 5)))) == 0
    assert fit_many(np.empty((2, 0)))["reason"].tolist() == ["no values"] * 2


def test_hard_rows_converge():
    """Heavy censoring, huge outliers, tiny scatter, large and small units: every row must reach its maximum."""
    rng = np.random.default_rng(12)
    rows, flags = [], []
    for _ in range(300):
        n = 12
        x = rng.choice([1e-3, 1, 50, 1e4]) * np.exp(rng.choice([1e-4, 0.02, 0.2, 2.0]) * rng.standard_normal(n))
        x[0] *= rng.choice([1, 1, 8])
        cut = np.quantile(x, rng.choice([0.25, 0.5, 0.9, 1]))
        rows.append(np.minimum(x, cut))
        flags.append(x > cut)
    x, gone = np.array(rows), np.array(flags)
    for family in ("normal", "lognormal", "weibull", "gumbel_min", "logistic", "frechet"):
        table = fit_many(x, gone, family)
        assert (table["reason"] == "").all(), table.loc[table["reason"] != ""]
        assert np.isfinite(table[[c for c in table if c.endswith("_se")]].to_numpy()).all()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(5, 100), min_size=3, max_size=12, unique=True),
    st.integers(0, 3),
    st.sampled_from(["normal", "lognormal", "weibull", "gumbel_min"]),
)
def test_no_neighbour_is_better(values, censored, family):
    """The maximum is one: moving any parameter a little lowers the likelihood."""
    x = np.sort(np.array(values))
    gone = np.zeros(len(x), bool)
    if censored:
        gone[-censored:] = True
    try:
        found = fit(x, gone, family)
    except NotEstimable:
        assert (~gone).sum() < 2
        return
    dist = {"normal": stats.norm, "gumbel_min": stats.gumbel_l}.get(family)

    def value(first, second):
        if family == "weibull":
            d = stats.weibull_min(first, scale=second)
        elif family == "lognormal":
            d = stats.lognorm(second, scale=np.exp(first))
        else:
            d = dist(first, second)
        return d.logpdf(x[~gone]).sum() + d.logsf(x[gone]).sum()

    first, second = found.parameters.values()
    best = value(first, second)
    assert found.log_likelihood == pytest.approx(best, rel=1e-7, abs=1e-6)
    for name, se in zip(("first", "second"), found.standard_errors.values(), strict=True):
        for step in (-0.01 * se, 0.01 * se):
            moved = (first + step, second) if name == "first" else (first, second + step)
            assert value(*moved) <= best + 1e-9 * abs(best)
