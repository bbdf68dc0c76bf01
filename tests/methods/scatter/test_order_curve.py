"""Points and trend line of the order plot."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.scatter import order_effects
from methods.scatter.order_curve import order_points, trend_line


def table(fillings: int = 4, n: int = 5, slope: float = 1.0) -> pd.DataFrame:
    rng = np.random.default_rng(3)
    rows = [
        {"sample": "A", "filling": str(f), "order": i + 1, "outcome": "breakdown", "kv": 40 + 5 * f + slope * i + e}
        for f in range(fillings)
        for i, e in enumerate(rng.normal(0, 0.5, n))
    ]
    return pd.DataFrame(rows)


def test_deviations_leave_no_filling_mean_behind() -> None:
    points = order_points(table())
    assert points.groupby("filling")["deviation_kv"].mean().abs().max() < 1e-9
    assert len(points) == 20


def test_fillings_without_a_mean_or_an_order_are_left_out() -> None:
    rows = table()
    rows.loc[0, "outcome"] = "withstood"
    rows.loc[5, "order"] = np.nan
    assert order_points(rows)["filling"].nunique() == 2


def test_of_many_fillings_whole_ones_are_shown() -> None:
    points = order_points(table(fillings=60), most=100)
    assert len(points) <= 100 and set(points.groupby("filling").size()) == {5}


def test_the_line_has_the_trend_as_its_slope_and_its_limits_as_band() -> None:
    effects = order_effects(table())
    line, trend = trend_line(effects), effects.trend
    assert trend is not None
    slope = np.polyfit(line["order"], line["deviation_kv"], 1)[0]
    assert slope == pytest.approx(trend.kv)
    last = line.iloc[-1]
    assert last["high_kv"] - last["low_kv"] == pytest.approx((trend.high_kv - trend.low_kv) * 2)
    middle = line[np.isclose(line["order"], 3)].iloc[0]
    assert middle["low_kv"] == pytest.approx(middle["high_kv"]) == pytest.approx(0)


def test_without_an_order_there_is_no_line() -> None:
    assert trend_line(order_effects(table().assign(order=np.nan))).empty


def test_six_on_one_filling_are_worth_what_the_variance_of_their_mean_says() -> None:
    from methods.scatter import components
    from methods.scatter.component_table import worth_on_one_filling

    found = components(table(slope=0), fixed=(), factors=["filling"])
    f, w = (c.sd for c in found.components)
    assert worth_on_one_filling(found, 6) == pytest.approx((f**2 + w**2) / (f**2 + w**2 / 6))
    assert worth_on_one_filling(found, 1) == pytest.approx(1)
