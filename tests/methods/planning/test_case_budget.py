"""The budget of one series, against sums by hand after JCGM 100:2008 (5.1, G.4)."""

import math

import numpy as np
import pytest
from scipy import stats

from methods.errors import NotEstimable
from methods.planning import decide_all
from methods.planning.case_budget import budget_of
from methods.planning.standing import Series


def _series(kv, filling, withstood=0):
    return Series("oil", "IEC 60156", np.array(kv, dtype=float), np.array(filling), withstood)


def test_several_fillings_scatter_by_their_means():
    found = budget_of(_series([50, 54, 60, 64, 55, 59], [0, 0, 1, 1, 2, 2]))
    u = np.std([52, 62, 57], ddof=1) / math.sqrt(3)
    assert found.mean_kv == pytest.approx(57)
    assert found.standard_uncertainty_kv == pytest.approx(u)
    assert found.expanded_uncertainty_kv == pytest.approx(stats.t.ppf(0.975, 2) * u)


def test_the_voltmeter_is_added_in_quadrature():
    series = _series([50, 54, 60, 64, 55, 59], [0, 0, 1, 1, 2, 2])
    alone, both = budget_of(series), budget_of(series, voltmeter_percent=3)
    meter = 0.03 * 57 / math.sqrt(3)  # rectangular, JCGM 100:2008, 4.3.7
    assert both.standard_uncertainty_kv == pytest.approx(math.hypot(alone.standard_uncertainty_kv, meter))


def test_one_filling_takes_the_scatter_between_fillings_from_history():
    kv = [50, 54, 60, 64, 55, 59]
    found = budget_of(_series(kv, [0] * 6), between_sd=3.0)
    assert found.standard_uncertainty_kv == pytest.approx(math.hypot(np.std(kv, ddof=1) / math.sqrt(6), 3.0))


@pytest.mark.parametrize(
    ("kv", "filling", "withstood"),
    [([50, 60], [0, 0], 1), ([50], [0], 0), ([50, 50], [0, 0], 0), ([50, 50], [0, 1], 0)],
)
def test_what_has_no_budget_says_so(kv, filling, withstood):
    with pytest.raises(NotEstimable):
        budget_of(_series(kv, filling, withstood))


def test_judging_tells_how_far_it_is_and_can_be_stopped():
    import pandas as pd

    table = pd.DataFrame({"sample": list("AABB"), "filling": "1", "kv": [50.0, 54, 40, 41], "outcome": "breakdown"})
    told = []
    decide_all(table, 45.0, progress=lambda done, of: told.append((done, of)))
    assert told == [(0, 2), (1, 2)]

    def stop(done, of):
        raise RuntimeError

    with pytest.raises(RuntimeError):
        decide_all(table, 45.0, progress=stop)
