"""Robust figures and the relation to the level, against statsmodels."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from methods.errors import NotEstimable
from methods.interlab import algorithm_a, algorithm_s, relations, z_scores
from methods.interlab.relation import FORMS


def test_algorithm_a_is_hubers_second_proposal() -> None:
    """statsmodels' Huber scale with c = 1.5 solves the same equations, with the exact factor for the rounded 1.134."""
    x = np.r_[np.random.default_rng(4).normal(60, 5, 15), 20.0, 110.0]
    location, scale = sm.robust.scale.Huber(c=1.5, tol=1e-10, maxiter=500)(x)
    found = algorithm_a(x)
    assert found.mean == pytest.approx(float(location), rel=2e-4)
    assert found.sd == pytest.approx(float(scale), rel=3e-3)
    assert found.standard_uncertainty == pytest.approx(1.25 * found.sd / np.sqrt(17))
    with pytest.raises(NotEstimable):
        algorithm_a(np.array([1.0, 2.0]))


def test_one_wild_laboratory_hardly_moves_it() -> None:
    x = np.random.default_rng(1).normal(50, 2, 12)
    wild = np.r_[x[:-1], 500.0]
    assert abs(algorithm_a(wild).mean - x.mean()) < 1.5 < abs(wild.mean() - x.mean())


def test_algorithm_s_on_clean_cells_estimates_sigma() -> None:
    """ISO 5725-5 table of η and ξ, 1 degree of freedom: 1.645 and 1.097 (from memory), through a two-valued case."""
    rng = np.random.default_rng(2)
    for n in (2, 3, 6):
        s = rng.normal(0, 3.0, (20_000, n)).std(axis=1, ddof=1)
        assert algorithm_s(s, np.full(s.size, n)) == pytest.approx(3.0, rel=0.02)
    s[0] = 900.0
    assert algorithm_s(s, np.full(s.size, 6)) == pytest.approx(3.0, rel=0.02)
    one = algorithm_s(np.full(50, 2.0), np.full(50, 2))  # no cell beyond η w: w = ξ times the spread
    assert one == pytest.approx(1.097 * 2.0, rel=1e-3)


def gamma(kind: str, m: np.ndarray, s: np.ndarray, df: np.ndarray) -> object:
    """statsmodels' gamma regression of s² with weights ν/2: the same likelihood by another route."""
    exog, link = {
        "constant": (np.ones((m.size, 1)), sm.families.links.Identity()),
        "proportional": (m[:, None] ** 2, sm.families.links.Identity()),
        "linear": (sm.add_constant(m), sm.families.links.Power(0.5)),
        "log_log": (sm.add_constant(np.log(m)), sm.families.links.Log()),
    }[kind]
    family = sm.families.Gamma(link=link, check_link=False)
    return sm.GLM(s**2, exog, family=family, var_weights=df / 2).fit(tol=1e-12)


@pytest.mark.parametrize("form", [f[0] for f in FORMS])
@pytest.mark.filterwarnings("ignore::statsmodels.tools.sm_exceptions.DomainWarning")
def test_relation_against_gamma_regression(form: str) -> None:
    m, s, df = np.array([12.0, 25, 40, 58, 75]), np.array([2.1, 2.9, 5.4, 5.9, 8.8]), np.array([16.0, 14, 16, 12, 16])
    table = relations(pd.DataFrame({"mean": m, "s_r": s, "df_r": df}), kinds=(("s_r", "df_r"),)).set_index("form")
    fit = gamma(form, m, s, df)
    a, b = table.loc[form, ["a", "b"]]
    mine = {
        "constant": [a**2], "proportional": [b**2], "linear": [a, b], "log_log": [2 * np.log(a), 2 * b],
    }[form]  # fmt: skip
    np.testing.assert_allclose(mine, fit.params, rtol=2e-5)
    assert table.loc[form, "lack_of_fit_p"] == pytest.approx(stats.chi2.sf(fit.deviance, 5 - len(fit.params)), rel=1e-4)


def test_the_true_relation_is_chosen() -> None:
    rng = np.random.default_rng(8)
    m, df = np.array([10.0, 20, 40, 80]), np.full(4, 200.0)
    for truth, sigma in (("constant", np.full(4, 4.0)), ("proportional", 0.1 * m), ("log_log", 2 * m**0.4)):
        s = sigma * np.sqrt(rng.chisquare(df) / df)
        table = relations(pd.DataFrame({"mean": m, "s_r": s, "df_r": df}), kinds=(("s_r", "df_r"),))
        assert list(table.loc[table["chosen"], "form"]) == [truth]
    assert relations(pd.DataFrame({"mean": m[:2], "s_r": [1.0, 2], "df_r": df[:2]}), kinds=(("s_r", "df_r"),)).empty


def test_scores() -> None:
    cells = pd.DataFrame(
        {"level": "oil", "laboratory": list("abcdefgh"), "mean": [50.0, 51, 49, 50.5, 49.5, 50, 52, 70]}
    )
    own = z_scores(cells).set_index("laboratory")
    assert own.loc["h", "verdict"] == "unsatisfactory" and own.loc["a", "verdict"] == "satisfactory"
    assert np.allclose(own["score"], own["z_prime"]) and (own["z_prime"].abs() <= own["z"].abs()).all()
    given = z_scores(cells, assigned={"oil": 50.0}, sigma={"oil": 8.0}).set_index("laboratory")
    assert given.loc["h", "z"] == pytest.approx(2.5) and given.loc["h", "verdict"] == "questionable"
    assert given.loc["h", "score"] == given.loc["h", "z"]
