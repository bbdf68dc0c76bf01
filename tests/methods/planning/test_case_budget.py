"""The budget of one series, against sums by hand after JCGM 100:2008 (5.1, G.4)."""

import math

import numpy as np
import pytest
from scipy import stats

from methods.errors import InputError, NotEstimable
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


def test_sources_of_ones_own():
    """Resolution: JCGM 100:2008, F.2.2.1, u = 0.29 of the last digit; others 4.3.7; the rest recomputed by hand."""
    series = _series([50, 54, 60, 64, 55, 59], [0, 0, 1, 1, 2, 2])
    own = "resolution 0,1 kV; trip delay 0.05 s at 3 kV/s; crest factor 1 %; air 0.4 kV normal"
    own += "; rate of rise 5 % exponent 17"
    found = budget_of(series, own=own)
    part = found.table().set_index("source").contribution_kv
    assert part["resolution"] == pytest.approx(0.29 * 0.1, rel=0.01)
    draws = np.random.default_rng(1).uniform(0, 0.05, 200_000) * 3  # too much by so many kV
    assert part["trip delay"] == pytest.approx(draws.std(), rel=0.01)
    (said,) = [c.text for c in found.cautions if c.code == "trip_delay"]
    assert "0.15 kV too much, 0.075 kV on average" in said and draws.mean() == pytest.approx(0.075, rel=0.01)
    assert part["crest factor"] == pytest.approx(0.57 / math.sqrt(3))
    step = 57 * (1.05 ** (1 / 18) - 0.95 ** (1 / 18)) / 2  # V goes as rate^(1/(n+1))
    assert part["rate of rise"] == pytest.approx(step / math.sqrt(3), rel=1e-3)
    assert part["air"] == 0.4
    assert found.standard_uncertainty_kv == pytest.approx(math.sqrt((part**2).sum()))
    assert budget_of(_series([50, 54, 60], [0] * 3), between_sd=2.0, own="resolution 1 kV").table().shape[0] == 3
    for wrong in ("resolution", "trip delay 0.05 s", "rate of rise 5 %", "air 0.4 kV pointed", "air 3 mm"):
        with pytest.raises(InputError, match="resolution 0.1 kV|no distribution"):
            budget_of(series, own=wrong)


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


def test_history_lends_its_scatter_as_it_does_to_the_verdict():
    """One filling with earlier tests behind it: the same mean, uncertainty and degrees of freedom as decide gives."""
    import pandas as pd

    from methods.planning import decide
    from methods.scatter.history import scatter_history

    rng = np.random.default_rng(3)
    past = pd.concat([
        pd.DataFrame({"sample": f"earlier {i}", "filling": np.repeat(["a", "b", "c"], 5),
                      "kv": 50 + np.repeat(rng.normal(0, 3, 3), 5) + rng.normal(0, 5, 15)})
        for i in range(5)
    ], ignore_index=True)  # fmt: skip
    known = scatter_history(past)
    series = _series([50, 54, 60, 64, 55], [0] * 5)
    found, alone = budget_of(series, history=known), budget_of(series)
    judged = decide(series.kv, 40.0, fillings=series.filling, history=known)
    assert found.standard_uncertainty_kv == pytest.approx(judged.standard_uncertainty_kv)
    assert found.expanded_uncertainty_kv == pytest.approx(judged.expanded_uncertainty_kv)
    assert found.expanded_uncertainty_kv > alone.expanded_uncertainty_kv
    assert "history" in {c.code for c in found.cautions}
