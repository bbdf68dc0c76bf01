"""The readings' own median: order statistics, fillings, withstands."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods.scatter import median, medians


def test_independent_values_by_the_binomial_law():
    """SciPy's own distribution-free interval of a quantile as the peer."""
    kv = np.random.default_rng(1).normal(50, 6, 30)
    found = median(kv)
    ends = stats.quantile_test(kv, q=0, p=0.5).confidence_interval(0.95)
    assert found.low <= found.kv <= found.high and found.holds_for == "these values"
    assert (found.low, found.high) == (ends.low, ends.high)
    assert found.confidence == pytest.approx(1 - 2 * stats.binom.cdf(9, 30, 0.5)) and found.confidence >= 0.95


def test_few_values_say_what_confidence_the_extremes_have():
    five = median([52.0, 48, 55, 60, 57])
    assert (five.low, five.high, five.confidence) == (48, 60, 1 - 2 * 0.5**5)
    assert median([52.0, 48, 55, 60, 57, 51]).confidence == pytest.approx(0.96875)


def test_withstands_lie_above_their_ceiling():
    found = median([50.0, 55, 58, 60, 60, 60, 60], [False, False, False, False, True, True, True])
    assert found.kv == 60 and found.low == 50 and math.isnan(found.high)
    assert math.isnan(median([60.0, 60], [True, True]).kv)


@pytest.mark.parametrize(("between", "seed"), [(0.0, 2), (7.0, 3)])
def test_fillings_are_respected(between, seed):
    """400 invented oils on 3 fillings of 5: the true median lies inside 92 times in 100 at least."""
    rng, label, hits = np.random.default_rng(seed), np.repeat([0, 1, 2], 5), 0
    for _ in range(400):
        kv = 55 + between * rng.standard_normal(3)[label] + 7 * rng.standard_normal(15)
        found = median(kv, fillings=label)
        hits += found.low <= 55 <= found.high
    assert hits / 400 > 0.92 and found.holds_for == "this oil"
    rest = np.random.default_rng(seed).normal(50, 5, 900)
    many = median(rest, fillings=np.repeat(np.arange(90), 10))  # more than are simulated
    assert many.low < 50 < many.high and many.high - many.low < 1.6


def test_groups_of_a_table():
    table = pd.DataFrame({"kv": [50.0, 52, 51, 60, 62, 61], "sample": list("aaabbb")})
    assert [m.kv for m in medians(table, ["sample"])] == [51, 61]
