"""The chosen relation drawn as a curve."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.interlab.relation import relation_curve, relations


@pytest.mark.parametrize(("spread", "form"), [(lambda m: 0 * m + 3, "constant"), (lambda m: 0.1 * m, "proportional")])
def test_the_curve_goes_through_levels_that_follow_the_form(spread: object, form: str) -> None:
    m = np.array([10.0, 20, 40, 80])
    levels = pd.DataFrame({"mean": m, "s_r": spread(m), "df_r": 50.0, "s_R": spread(m), "df_R": 20.0})
    fitted = relations(levels)
    assert set(fitted.loc[fitted["chosen"], "form"]) == {form}
    assert relation_curve(fitted, "s_r", m) == pytest.approx(spread(m), rel=1e-6)


def test_without_a_fit_there_is_no_curve() -> None:
    assert np.isnan(relation_curve(relations(pd.DataFrame(columns=["mean", "s_r", "df_r", "s_R", "df_R"])), "s_r", [1]))
