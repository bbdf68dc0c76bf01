"""The censored random-filling model against published values, brute-force integration and the uncensored likelihood."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import integrate, optimize, stats
from scipy.special import log_ndtr

from methods.errors import InputError, NotEstimable
from methods.scatter import fit_censored
from methods.scatter.censored import hazard
from tests.reference import agrees, data, names


# Schmee & Hahn, Technometrics 21 (1979) 417: motorettes, right-censored normal regression; R survreg.
@pytest.mark.parametrize("name", names("B06"))
def test_motorettes(name):
    d = data("B06_motors.csv")
    x = np.column_stack([np.ones(len(d)), 1000 / (d["temp"] + 273.2)])
    fit = fit_censored(np.log10(d["time"]), d["cens"] == 0, x)
    value = {
        "intercept": fit.beta[0], "slope": fit.beta[1], "sigma": fit.residual_sd[0], "loglik": fit.log_likelihood,
        "se_intercept": fit.covariance[0, 0] ** 0.5, "se_slope": fit.covariance[1, 1] ** 0.5,
    }[name]  # fmt: skip
    agrees("B06", name, value)


DYESTUFF = [n for n in names("D01") if n.startswith("ml_") or n.startswith("profile95_ml_sd_batch")]


# Davies & Goldsmith 1972, no censoring: full maximum likelihood of R lme4.
@pytest.mark.parametrize("name", DYESTUFF)
def test_without_ceilings_it_is_maximum_likelihood(name):
    d = data("D01_dyestuff.csv")
    fit = fit_censored(d["Yield"], np.zeros(30, bool), filling=d["Batch"])
    value = {
        "ml_sd_Batch": fit.filling_sd, "ml_sd_Residual": fit.residual_sd[0], "ml_mean": fit.beta[0],
        "ml_se_mean": fit.covariance[0, 0] ** 0.5, "ml_loglik": fit.log_likelihood,
        "profile95_ml_sd_batch": [fit.filling_low, fit.filling_high],
    }[name]  # fmt: skip
    agrees("D01", name, value)


def test_without_ceilings_the_contrast_is_the_exact_one():
    d = data("D01_dyestuff.csv")
    found = fit_censored(d["Yield"], np.zeros(30, bool), filling=d["Batch"]).contrast([1])
    agrees("D01", "mean_ci95_t", [found.low, found.high])


def test_unbalanced_with_a_fixed_factor_equals_statsmodels():
    rng = np.random.default_rng(1)
    n = rng.integers(2, 8, 10)
    code = np.repeat(np.arange(10), n)
    level = code % 2
    y = 60 + 5 * level + rng.normal(0, 4, 10)[code] + rng.normal(0, 3, len(code))
    frame = pd.DataFrame({"y": y, "z": level})
    theirs = smf.mixedlm("y ~ z", frame, groups=code).fit(reml=False, method="powell")
    fit = fit_censored(y, np.zeros(len(y), bool), np.column_stack([np.ones(len(y)), level]), code)
    assert fit.log_likelihood == pytest.approx(float(theirs.llf), abs=1e-5)
    assert fit.beta == pytest.approx(theirs.fe_params.to_numpy(), rel=1e-4)
    assert fit.filling_sd**2 == pytest.approx(float(theirs.cov_re.iloc[0, 0]), rel=2e-3)


def capped(seed: int = 2, top: float = 63.0, fillings: int = 6, between: float = 4.0):
    rng = np.random.default_rng(seed)
    code = np.repeat(np.arange(fillings), 5)
    y = 60 + rng.normal(0, between, fillings)[code] + rng.normal(0, 5, len(code))
    return np.minimum(y, top), y > top, code


def brute_force(y, gone, code, mean, sd, tau):
    """The likelihood by adaptive integration over each filling effect (scipy.integrate.quad)."""
    total = 0.0
    for i in np.unique(code):
        yi, gi = y[code == i], gone[code == i]

        def density(u, yi=yi, gi=gi):
            z = (yi - mean - u) / sd
            each = np.where(gi, log_ndtr(-z), -z * z / 2 - np.log(2 * np.pi) / 2 - np.log(sd))
            return np.exp(each.sum() - (u / tau) ** 2 / 2) / (tau * (2 * np.pi) ** 0.5)

        total += np.log(integrate.quad(density, -9 * tau, 9 * tau, epsabs=0, epsrel=1e-8)[0])
    return total


def test_quadrature_equals_brute_force_and_is_at_the_top():
    y, gone, code = capped()
    fit = fit_censored(y, gone, filling=code)
    at = (fit.beta[0], fit.residual_sd[0], fit.filling_sd)
    best = brute_force(y, gone, code, *at)
    assert fit.log_likelihood == pytest.approx(best, abs=1e-5)
    for i in range(3):
        near = [v * (1.01 if i == j else 1) for j, v in enumerate(at)]
        assert brute_force(y, gone, code, *near) < best
    assert fit.withstood == int(gone.sum()) > 0
    assert "withstood" in {w.code for w in fit.cautions}


def test_without_fillings_it_is_the_censored_normal_fit():
    """Against scipy.stats.norm.fit of CensoredData."""
    y, gone, _ = capped()
    theirs = stats.norm.fit(stats.CensoredData.right_censored(y, gone), optimizer=optimize.fmin)
    fit = fit_censored(y, gone)
    assert (fit.beta[0], fit.residual_sd[0]) == pytest.approx(theirs, rel=1e-4)


def test_lognormal_is_the_normal_of_logarithms():
    y, gone, code = capped()
    logs, kv = fit_censored(np.log(y), gone, filling=code), fit_censored(y, gone, filling=code, family="lognormal")
    assert kv.beta == pytest.approx(logs.beta, rel=1e-8)
    assert kv.filling_sd == pytest.approx(logs.filling_sd, rel=1e-6)
    assert kv.log_likelihood == pytest.approx(logs.log_likelihood - np.log(y[~gone]).sum(), abs=1e-8)


def test_scatter_of_its_own_for_each_level():
    rng = np.random.default_rng(3)
    level = np.repeat([0, 1], 30)
    y = 60 + rng.normal(0, np.where(level, 8, 2))
    x = np.column_stack([level == 0, level == 1]).astype(float)
    gone = y > 66
    both = fit_censored(np.minimum(y, 66), gone, x, residual=level)
    single = [fit_censored(np.minimum(y, 66)[level == i], gone[level == i]) for i in (0, 1)]
    assert both.beta == pytest.approx([s.beta[0] for s in single], rel=1e-5)
    assert both.residual_sd == pytest.approx([s.residual_sd[0] for s in single], rel=1e-4)
    assert both.log_likelihood == pytest.approx(sum(s.log_likelihood for s in single), abs=1e-6)


def test_nothing_between_fillings_is_zero_with_an_upper_limit():
    y = np.tile([52.0, 58, 55, 62, 62], 4)
    fit = fit_censored(y, y >= 62, filling=np.repeat(np.arange(4), 5))
    assert (fit.filling_sd, fit.filling_low) == (0.0, 0.0)
    assert 0 < fit.filling_high < 10
    assert "at_zero" in {w.code for w in fit.cautions}


def test_refusals():
    y, gone, code = capped()
    with pytest.raises(NotEstimable, match="[Ee]very series"):
        fit_censored(y, np.ones(len(y), bool), filling=code)
    level = (code > 2).astype(int)
    x = np.column_stack([np.ones(len(y)), level])
    with pytest.raises(NotEstimable, match="levels"):
        fit_censored(y, gone | (level == 1), x, code)
    with pytest.raises(NotEstimable):
        fit_censored([60.0, 60, 60], [False, False, True])
    with pytest.raises(InputError):
        fit_censored(y, gone[:-1])
    with pytest.raises(InputError):
        fit_censored(y, gone, family="weibull")
    with pytest.raises(InputError):
        fit_censored(-y, gone, family="lognormal")


def test_the_mean_does_not_follow_the_ceiling():
    """Lowering the ceiling loses precision, not truth: 150 fillings, three ceilings, one mean."""
    rng = np.random.default_rng(5)
    code = np.repeat(np.arange(150), 3)
    y = 60 + rng.normal(0, 3, 150)[code] + rng.normal(0, 5, 450)
    for top in (70.0, 62.0, 58.0):
        fit = fit_censored(np.minimum(y, top), y > top, filling=code)
        assert abs(fit.beta[0] - 60) < 4 * fit.covariance[0, 0] ** 0.5
        assert fit.filling_sd == pytest.approx(3, abs=1.2)
        assert fit.residual_sd[0] == pytest.approx(5, abs=0.6)


def test_the_hazard_of_the_normal_far_out() -> None:
    """Mills' ratio: z + 1/z - 2/z**3 for large z (Abramowitz and Stegun 1964, 26.2.12); no overflow anywhere."""
    z = np.array([-400.0, -5.0, 0.0, 3.0, 1e3, 1e8, 1e12])
    found = hazard(z)
    assert found[:4] == pytest.approx(np.append(0.0, stats.norm.pdf(z[1:4]) / stats.norm.sf(z[1:4])), rel=1e-12)
    assert found[4:] == pytest.approx(z[4:] + 1 / z[4:] - 2 / z[4:] ** 3, rel=1e-12)


def test_wide_fillings_and_narrow_breakdowns() -> None:
    """Filling scatter far above the residual one, with ceilings: it settles, near the truth, without a fault."""
    for seed in range(12):
        rng = np.random.default_rng(seed)
        filling = np.repeat(np.arange(8), 6)
        kv = 55 + 14 * rng.standard_normal(8)[filling] + 1.5 * rng.standard_normal(48)
        gone = kv > 66
        found = fit_censored(np.minimum(kv, 66.0), gone, filling=filling)
        assert np.isfinite(found.covariance).all() and 0.9 < found.residual_sd[0] < 2.3
        assert 5 < found.filling_sd < 40
