"""Censored regression against published values (tests/reference, cases A02, A05, B06, I05)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from methods.errors import InputError, NotEstimable
from methods.scatter import fit, location_scale_regression, power_law
from tests.reference import agrees, data, names


def dummies(labels) -> np.ndarray:
    return (np.asarray(labels)[:, None] == np.unique(labels)[None, :]).astype(float)


def fluid_values() -> dict[str, object]:
    """Case A02: Nelson's insulating fluid, inverse power law (Nelson 1972; Lawless 2003)."""
    fluid = data("A01_nelson_fluid.csv")
    kv, t = fluid["kV"].to_numpy(float), fluid["minutes"].to_numpy()
    law = power_law(kv, t)
    free = location_scale_regression(t, dummies(kv))
    separate = sum(fit(t[kv == v]).log_likelihood for v in np.unique(kv))
    pair = np.isin(kv, [34, 36])
    x = np.column_stack([np.ones(pair.sum()), kv[pair] == 36])
    two, one = location_scale_regression(t[pair], x), location_scale_regression(t[pair], x[:, :1])
    lr_shapes = 2 * (separate - free.log_likelihood)
    lr_law = 2 * (free.log_likelihood - law.log_likelihood)
    lr_pair = 2 * (two.log_likelihood - one.log_likelihood)
    b0, b1 = law.coefficients.values()
    return {
        "intercept": b0, "slope_logV": b1, "sigma": law.sigma, "shape": law.shape, "loglik": law.log_likelihood,
        "se_intercept": law.standard_errors["intercept"], "se_slope": law.standard_errors["exponent"],
        "se_logsigma": law.sigma_log_se, "scale_at_20kV": law.quantile([1, np.log(20)], 1 - np.exp(-1))[0][0],
        "common_shape_saturated": free.shape, "loglik_common_shape_saturated": free.log_likelihood,
        "loglik_separate_shapes": separate, "LR_equal_shapes": lr_shapes, "LR_equal_shapes_df": 6,
        "LR_equal_shapes_p": stats.chi2.sf(lr_shapes, 6), "LR_powerlaw_vs_saturated": lr_law, "LR_powerlaw_df": 5,
        "LR_powerlaw_p": stats.chi2.sf(lr_law, 5), "pair34_36_log_scale_ratio": two.coefficients["b1"],
        "pair34_36_se": two.standard_errors["b1"], "pair34_36_common_shape": two.shape, "pair34_36_LR": lr_pair,
        "pair34_36_p": stats.chi2.sf(lr_pair, 1),
    }  # fmt: skip


@pytest.fixture(scope="module")
def fluid():
    return fluid_values()


@pytest.mark.parametrize("name", names("A02"))
def test_power_law_of_the_insulating_fluid(name, fluid):
    agrees("A02", name, fluid[name])


def test_remission_times_regression():
    """Case A05: Freireich/Gehan, treatment as the only column (Lawless 2003)."""
    gehan = data("A05_gehan.csv")
    t, gone = gehan["weeks"].to_numpy(float), gehan["event"].to_numpy() == 0
    x = np.column_stack([np.ones(len(t)), gehan["treat"] == "control"])
    found, null = location_scale_regression(t, x, gone), location_scale_regression(t, x[:, :1], gone)
    agrees("A05", "reg_intercept_6MP", found.coefficients["b0"])
    agrees("A05", "reg_treat_control_minus_6MP", found.coefficients["b1"])
    agrees("A05", "reg_se", found.standard_errors["b1"])
    agrees("A05", "reg_sigma", found.sigma)
    agrees("A05", "reg_loglik", found.log_likelihood)
    agrees("A05", "reg_LR", 2 * (found.log_likelihood - null.log_likelihood))


def test_motorettes():
    """Case B06: Schmee & Hahn, Technometrics 21 (1979) 417, right-censored normal regression."""
    motors = data("B06_motors.csv")
    x = np.column_stack([np.ones(len(motors)), 1000 / (motors["temp"] + 273.2)])
    y = np.log10(motors["time"].to_numpy(float))
    found = location_scale_regression(
        y, x, motors["cens"].to_numpy() == 0, family="normal", names=("intercept", "slope")
    )
    values = found.coefficients | {"sigma": found.sigma, "loglik": found.log_likelihood}
    values |= {f"se_{k}": v for k, v in found.standard_errors.items()}
    for name in names("B06"):
        agrees("B06", name, values[name])


def test_weakest_link_with_area():
    """Case I05: areas 1 and 10; the logarithm of the area is a known offset of the hazard."""
    rows = data("I05_area_synthetic.csv")
    kv, area = rows["kV"].to_numpy(), rows["area"].to_numpy(float)
    ones = np.ones(len(kv))
    link = location_scale_regression(kv, ones, offset=np.log(area))
    common = location_scale_regression(kv, np.column_stack([ones, area == 10]))
    agrees("I05", "weakest_link_eta_at_area1", np.exp(link.coefficients["b0"]))
    agrees("I05", "weakest_link_shape", link.shape)
    agrees("I05", "weakest_link_loglik", link.log_likelihood)
    agrees("I05", "common_shape", common.shape)
    agrees("I05", "log_scale_ratio", common.coefficients["b1"])
    agrees("I05", "common_loglik", common.log_likelihood)
    agrees("I05", "separate_loglik", sum(fit(kv[area == a]).log_likelihood for a in (1, 10)))
    agrees("I05", "LR_weakestlink_vs_common", 2 * (common.log_likelihood - link.log_likelihood))
    agrees("I05", "empirical_area_exponent", -common.coefficients["b1"] / np.log(10))


def test_one_column_of_ones_is_the_plain_fit():
    kv = data("A03_ball_bearings.csv")["cycles"].to_numpy()
    for family in ("weibull", "lognormal", "normal", "gumbel_min", "logistic"):
        plain, line = fit(kv, family=family), location_scale_regression(kv, np.ones(len(kv)), family=family)
        assert line.log_likelihood == pytest.approx(plain.log_likelihood, rel=1e-10)


def test_what_cannot_be_told_apart_is_refused():
    kv = np.array([40.0, 42, 45, 47, 51, 55])
    x = np.column_stack([np.ones(6), [0, 0, 0, 1, 1, 1], [1, 1, 1, 0, 0, 0]])
    with pytest.raises(NotEstimable, match="apart"):
        location_scale_regression(kv, x)
    with pytest.raises(NotEstimable, match="apart"):  # the second level never broke down
        location_scale_regression(kv, x[:, :2], withstood=[0, 0, 0, 1, 1, 1])
    with pytest.raises(NotEstimable, match="scatter"):
        location_scale_regression(2 * np.arange(1.0, 7), np.arange(1.0, 7), family="normal")
    with pytest.raises(InputError, match="rows"):
        location_scale_regression(kv, np.ones(5))
    with pytest.raises(InputError, match="power law"):
        power_law(kv, kv, family="normal")
