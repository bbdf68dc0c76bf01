"""The low end under each family."""

from __future__ import annotations

import numpy as np
import pytest

from methods.scatter import fit, plotting_positions
from methods.scatter.compare import low_end_curves


def test_curves_are_the_fitted_quantiles_and_points_the_plotting_positions() -> None:
    kv = np.random.default_rng(1).normal(60, 7, 40)
    curves, points = low_end_curves(kv, families=["normal", "weibull"])
    assert set(curves) == {"normal", "weibull"}
    line = curves["weibull"]
    at = line.iloc[5]
    assert fit(kv, family="weibull").cdf(at["kv"]) == pytest.approx(at["percent"] / 100)
    assert line["percent"].min() == pytest.approx(0.1)
    assert points["percent"].to_numpy() == pytest.approx(100 * plotting_positions(kv)["probability"].to_numpy())


def test_withstood_readings_have_no_point() -> None:
    kv = np.array([50.0, 55, 60, 65, 70, 75, 75, 75])
    _, points = low_end_curves(kv, kv == 75, families=["normal"])
    assert len(points) == 5


def test_every_point_says_which_reading_it_is() -> None:
    kv = np.array([70.0, 55, 75, 60, 50, 75, 60])
    _, points = low_end_curves(kv, np.array([0, 0, 1, 0, 0, 0, 0], dtype=bool), families=["normal"])
    assert kv[points["row"]].tolist() == points["kv"].tolist() == [50, 55, 60, 60, 70, 75]
    assert sorted(points["row"]) == [0, 1, 3, 4, 5, 6]
