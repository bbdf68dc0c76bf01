"""Where the records at hand stand: counts by hand on small tables."""

import numpy as np
import pandas as pd
import pytest

from methods.errors import NotEstimable
from methods.planning.pilot_data import Pilot
from methods.planning.standing import coefficients, series_of, standing, telling
from methods.records.table import as_table


def _table(rows):
    return as_table(pd.DataFrame(rows, columns=["sample", "method", "filling", "order", "kv", "outcome"]))


ROWS = [
    (oil, method, filling, order, 40.0 + order, "withstood" if (oil, filling, order) == ("B", "2", 3) else "breakdown")
    for oil, fillings in (("A", "12"), ("B", "123"))
    for method in ("IEC 60156",)
    for filling in fillings
    for order in (1, 2, 3)
]


def test_a_series_is_an_oil_under_a_condition():
    found = series_of(_table(ROWS))
    assert [s.label for s in found] == ["A", "B"]
    assert [len(np.unique(s.filling)) for s in found] == [2, 3]
    assert [len(s.kv) for s in found] == [6, 9]
    assert [s.withstood for s in found] == [0, 1]


def test_columns_that_repeat_others_are_left_out_of_a_name():
    rows = [
        {"sample": "A", "laboratory": "X", "operator": "x", "gap_mm": 2.0},
        {"sample": "A", "laboratory": "Y", "operator": "y", "gap_mm": 2.0},
    ]
    assert telling(rows) == ["sample", "laboratory"]
    assert telling(rows[:1]) == ["sample"]


def test_standing_takes_medians_rounded_down_and_the_commonest_method():
    found = standing(_table(ROWS))
    assert (found.series, found.fillings, found.breakdowns_per_filling) == (2, 2, 3)  # median of 2 and 3 fillings
    assert found.method == "IEC 60156"


def test_an_empty_table_has_no_standing():
    with pytest.raises(NotEstimable):
        standing(_table(ROWS).iloc[:0])


def _pilot(**changes):
    values = dict(
        group=None, mean_kv=50.0, within_sd=7.5, within_upper=10.0, between_sd=2.5, between_upper=5.0,
        serial_correlation=-0.2, serial_upper=0.1, fillings=6, breakdowns=30, withstood=0, assured=0.8, cautions=(),
    )  # fmt: skip
    return Pilot(**{**values, **changes})


def test_coefficients_are_fractions_of_the_mean():
    found = coefficients(_pilot())
    assert (found.cov, found.cov_upper, found.between_cov, found.between_cov_upper) == (0.15, 0.2, 0.05, 0.1)
    assert found.serial_correlation == 0.0  # a negative correlation is planned as none


def test_what_cannot_be_seen_stays_unknown():
    found = coefficients(_pilot(between_sd=None, between_upper=None, serial_correlation=None))
    assert found.between_cov is None and found.between_cov_upper is None and found.serial_correlation == 0.0
