"""Serial correlation: the exact effective number, and the table of the trade."""

from __future__ import annotations

import re

import numpy as np
import pytest

from methods.planning.nested import filling_variance
from methods.scatter.serial import effective_number, variance_inflation
from tests.reference import agrees, names


@pytest.mark.parametrize("name", names("G10"))
def test_effective_number(name):
    """Standard result, R's toeplitz sum (case G10); for the asymptotic form a series of two million."""
    kind, n, rho = re.fullmatch(r"(neff|neff_asympt)_n(\d+)_rho([\d.]+)", name).groups()
    if kind == "neff":
        agrees("G10", name, effective_number(float(rho), int(n)))
        one = float(filling_variance(1.0, 0.0, int(n), float(rho)))
        agrees("G10", name, 1 / one)
    else:  # what is left of each breakdown in an endless series, which is the textbook form
        agrees("G10", name, int(n) * effective_number(float(rho), 2_000_000) / 2_000_000)


@pytest.mark.parametrize(("rho", "inflation", "effective"), [(0.1, 1.18, 5.1), (0.2, 1.40, 4.3), (0.3, 1.65, 3.6)])
def test_six_breakdowns(rho, inflation, effective):
    assert variance_inflation(rho, 6) == pytest.approx(inflation, abs=0.006)
    assert effective_number(rho, 6) == pytest.approx(effective, abs=0.06)


def test_variance_of_simulated_series():
    rng = np.random.default_rng(3)
    rho, n = 0.5, 6
    x = np.empty((40000, n))
    x[:, 0] = rng.standard_normal(40000)
    for i in range(1, n):
        x[:, i] = rho * x[:, i - 1] + np.sqrt(1 - rho**2) * rng.standard_normal(40000)
    assert x.mean(axis=1).var() * n == pytest.approx(variance_inflation(rho, n), rel=0.03)
