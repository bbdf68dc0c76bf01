"""Mixed models: exact in balanced designs, equal to statsmodels elsewhere, and honest with few fillings."""

from __future__ import annotations

import os

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats

from methods.errors import InputError, NotEstimable
from methods.scatter import fit_mixed
from tests.reference import agrees, data

LONG = os.environ.get("GAPSHIFT_LONG") == "1"


def two_levels(rng, fillings=(3, 3), numbers=(5,), between=1.0, within=1.0, shift=0.0):
    """y, design (mean, difference) and filling codes of two levels."""
    n = rng.choice(numbers, sum(fillings))
    code = np.repeat(np.arange(sum(fillings)), n)
    level = np.repeat([0.0, 1.0], fillings)[code]
    y = 60 + shift * level + rng.normal(0, between, sum(fillings))[code] + rng.normal(0, within, len(code))
    return y, np.column_stack([np.ones(len(y)), level]), code


@pytest.mark.parametrize("between", [0.0, 2.0])
def test_balanced_difference_is_the_t_test_of_filling_means(between):
    """Whether or not the filling component comes out at zero: Student's t on the filling means (scipy)."""
    rng = np.random.default_rng(8)
    seen = set()
    for _ in range(12):
        y, x, code = two_levels(rng, (4, 4), (5,), between)
        fit = fit_mixed(y, x, {"filling": code})
        means = np.bincount(code, y) / 5
        theirs = stats.ttest_ind(means[4:], means[:4])
        limits = theirs.confidence_interval(0.95)
        found = fit.contrast([0, 1])
        assert found.estimate == pytest.approx(means[4:].mean() - means[:4].mean())
        assert found.df == pytest.approx(6, rel=1e-5)
        assert found.p_value == pytest.approx(theirs.pvalue, rel=1e-4, abs=1e-12)
        assert (found.low, found.high) == pytest.approx((limits.low, limits.high), rel=1e-4, abs=1e-4)
        seen.add(fit.unit)
    assert ("filling" in seen) == (between == 0)


def test_paired_by_sample_is_the_paired_t_test():
    """Each sample filled once under both levels: t on the differences of its filling means (scipy)."""
    rng = np.random.default_rng(3)
    sample, level = np.repeat(np.arange(6), 10), np.tile(np.repeat([0.0, 1.0], 5), 6)
    filling = np.repeat(np.arange(12), 5)
    y = 60 + rng.normal(0, 6, 6)[sample] + 2 * level + rng.normal(0, 2, 12)[filling] + rng.normal(0, 3, 60)
    fit = fit_mixed(y, np.column_stack([np.ones(60), level]), {"sample": sample, "filling": filling})
    means = (np.bincount(filling, y) / 5).reshape(6, 2)
    theirs = stats.ttest_rel(means[:, 1], means[:, 0])
    found = fit.contrast([0, 1])
    assert found.p_value == pytest.approx(theirs.pvalue, rel=1e-3)
    assert found.df == pytest.approx(5, rel=1e-3)


def test_samples_nested_in_levels_are_the_unit():
    """Balanced: F of levels over samples within levels is the square of t, on samples - 2 degrees of freedom."""
    rng = np.random.default_rng(4)
    for spread in (0.0, 0.0, 0.0, 5.0):
        sample = np.repeat(np.arange(6), 8)
        filling = np.repeat(np.arange(12), 4)
        level = (sample >= 3).astype(float)
        y = 50 + rng.normal(0, spread, 6)[sample] + rng.normal(0, 1, 12)[filling] + rng.normal(0, 3, 48)
        fit = fit_mixed(y, np.column_stack([np.ones(48), level]), {"sample": sample, "filling": filling})
        means = np.bincount(sample, y) / 8
        theirs = stats.f_oneway(means[:3], means[3:])
        found = fit.contrast([0, 1])
        assert found.p_value == pytest.approx(theirs.pvalue, rel=1e-3)
        assert found.df == pytest.approx(4, rel=1e-3)


def test_dyestuff_mean():
    """Davies & Goldsmith 1972; R lmerTest."""
    d = data("D01_dyestuff.csv")
    found = fit_mixed(d["Yield"], np.ones((30, 1)), {"batch": d["Batch"]}).contrast([1])
    agrees("D01", "satt_df_mean", found.df)
    agrees("D01", "mean_ci95_t", [found.low, found.high])


@pytest.mark.filterwarnings("ignore:The MLE may be on the boundary")
@pytest.mark.parametrize("seed", range(3))
def test_unbalanced_equals_statsmodels(seed):
    rng = np.random.default_rng(seed)
    y, x, code = two_levels(rng, (5, 6), (3, 5, 8), 2.0, 1.5, 3.0)
    theirs = smf.mixedlm("y ~ z", pd.DataFrame({"y": y, "z": x[:, 1]}), groups=code).fit(reml=True, method="powell")
    fit = fit_mixed(y, x, {"filling": code})
    assert fit.beta == pytest.approx(theirs.fe_params.to_numpy(), rel=1e-4, abs=1e-3)
    assert fit.variances["filling"] == pytest.approx(float(theirs.cov_re.iloc[0, 0]), rel=2e-3)
    assert fit.log_likelihood == pytest.approx(float(theirs.llf), abs=1e-5)
    # statsmodels' own standard errors come from a numerical Hessian; the textbook formula is formed here instead
    v = fit.residual[0] * np.eye(len(y)) + fit.variances["filling"] * (code[:, None] == code)
    assert fit.known.covariance == pytest.approx(np.linalg.inv(x.T @ np.linalg.solve(v, x)), rel=1e-8)
    assert np.all(np.diag(fit.covariance) >= np.diag(fit.known.covariance) * (1 - 1e-9))  # Kenward-Roger adds


def test_residual_groups_without_fillings_are_welch():
    """Two levels, two residual variances: Welch's t (scipy), degrees of freedom included."""
    rng = np.random.default_rng(5)
    y = np.concatenate([rng.normal(50, 2, 6), rng.normal(55, 8, 9)])
    level = np.repeat([0, 1], [6, 9])
    fit = fit_mixed(y, np.column_stack([np.ones(15), level]), {}, residual=level)
    theirs = stats.ttest_ind(y[6:], y[:6], equal_var=False)
    found = fit.contrast([0, 1])
    assert found.df == pytest.approx(theirs.df, rel=1e-6)
    assert found.p_value == pytest.approx(theirs.pvalue, rel=1e-6)


def test_without_random_factors_it_is_ordinary_regression():
    import statsmodels.api as sm

    rng = np.random.default_rng(6)
    x = np.column_stack([np.ones(12), rng.normal(size=(12, 2))])
    y, w = x @ [60, 2, -1] + rng.normal(size=12), rng.uniform(0.5, 3, 12)
    for weights in (None, w):
        theirs = sm.WLS(y, x, weights=1 if weights is None else weights).fit()
        fit = fit_mixed(y, x, {}, weights=weights)
        for j in range(3):
            found = fit.contrast(np.eye(3)[j])
            assert (found.estimate, found.standard_error, found.p_value) == pytest.approx(
                (theirs.params[j], theirs.bse[j], theirs.pvalues[j]), rel=1e-6
            )
            assert found.df == pytest.approx(9)


def test_a_large_constant_costs_no_digits():
    rng = np.random.default_rng(7)
    y, x, code = two_levels(rng, (3, 4), (3, 6))
    near, far = (fit_mixed(y + c, x, {"filling": code}) for c in (0.0, 1e7))
    assert far.beta - [1e7, 0] == pytest.approx(near.beta, abs=1e-6)
    assert far.variances["filling"] == pytest.approx(near.variances["filling"], rel=1e-5)


def test_numerical_information_agrees_with_the_exact_one():
    from methods.scatter import degrees
    from methods.scatter.reml import Criterion, collapse
    from methods.scatter.search import minimise

    rng = np.random.default_rng(9)
    y, x, code = two_levels(rng, (30, 30), (3, 5, 8), 2.0)
    criterion = Criterion(collapse(y, x, [code], np.zeros(len(y), int)))
    estimate = minimise(criterion)
    exact, rough = degrees.fixed_effects(criterion, estimate), degrees._numerical(criterion, estimate)
    row = np.array([0.0, 1.0])
    assert rough.degrees(row) == pytest.approx(exact.degrees(row), rel=0.1)  # observed against expected information
    assert rough.covariance == pytest.approx(exact.covariance, rel=1e-9)


def test_refusals():
    y, x, code = two_levels(np.random.default_rng(1))
    with pytest.raises(NotEstimable):
        fit_mixed(y, np.column_stack([x, x[:, 1]]), {"filling": code})
    with pytest.raises(NotEstimable):
        fit_mixed(y[:2], x[:2], {})
    with pytest.raises(InputError):
        fit_mixed(y, x, {"filling": code[:-1]})
    with pytest.raises(InputError):
        fit_mixed(np.where(y > 60, np.nan, y), x, {"filling": code})
    with pytest.raises(InputError):
        fit_mixed(y, x, {"filling": code}, weights=-np.ones(len(y)))
    with pytest.raises(InputError):
        fit_mixed(y, x, {"filling": code}).contrast([1])
    swallowed = fit_mixed(y, x, {"level": x[:, 1].astype(int)})
    assert {w.code for w in swallowed.cautions} == {"confounded"}


@pytest.mark.parametrize("fillings", [(2, 2), (3, 3), (5, 5), (2, 5)])
@pytest.mark.parametrize("between", [0.0, 0.33, 1.0])
def test_intervals_cover_with_few_fillings(fillings, between):
    """95 % intervals of a shift at 2 to 5 fillings a level, unequal numbers of breakdowns: 93 to 97 % in the long
    setting; the short one allows for its few repeats."""
    repeats = 4000 if LONG else 60
    rng = np.random.default_rng(20 + int(10 * between) + sum(fillings))
    hits = 0
    for _ in range(repeats):
        y, x, code = two_levels(rng, fillings, (3, 5, 8), between)
        found = fit_mixed(y, x, {"filling": code}).contrast([0, 1])
        hits += found.low <= 0 <= found.high
    room = 0.02 if LONG else 0.1
    assert abs(hits / repeats - 0.95) < room
