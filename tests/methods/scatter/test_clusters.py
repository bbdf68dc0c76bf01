"""Fillings as clusters, against pandas' own grouping and SciPy's interval (both general-purpose libraries)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import scipy.stats

from methods.errors import NotEstimable
from methods.records import read
from methods.scatter.clusters import clusters


def _table() -> pd.DataFrame:
    rng = np.random.default_rng(4)
    rows = [
        {"sample": oil, "electrode": e, "gap_mm": gap, "filling": f, "order": o,
         "kv": round(float(level + shift + rng.normal(0, 4)), 1)}
        for oil, level in (("A", 60), ("B", 45))
        for e, gap, shift in (("spherical", 2.5, 0), ("disk", 2.54, -20))
        if not (oil == "B" and e == "disk")
        for f in range(1, 5)
        for o in range(1, 6)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def _records(table: pd.DataFrame) -> object:
    return read(table.to_csv(index=False).encode(), name="clusters.csv")


def test_means_of_fillings_and_their_limits_are_those_of_other_libraries() -> None:
    table = _table()
    found = clusters(_records(table), ["electrode", "gap_mm"], confidence=0.9)
    assert found.oils == ("A", "B")  # A was tested under more procedures
    assert list(found.groups["electrode"]) == ["disk", "spherical"]
    fillings = table.groupby(["electrode", "sample", "filling"])["kv"].mean()
    for row in found.means.itertuples():
        electrode, oil = found.groups["electrode"][row.group], found.oils[row.oil]
        mine = fillings[electrode, oil]
        assert row.fillings == len(mine) == 4 and row.readings == 20
        assert row.mean_kv == pytest.approx(mine.mean())
        low, high = scipy.stats.t.interval(0.9, 3, mine.mean(), scipy.stats.sem(mine))
        assert (row.low_kv, row.high_kv) == pytest.approx((low, high))
    assert len(found.means) == 3 and len(found.filling_means) == 12
    assert sorted(found.filling_means["mean_kv"]) == pytest.approx(sorted(fillings))
    assert np.array_equal(found.rows["kv"], table["kv"])


def test_a_ceiling_is_no_value_and_one_filling_has_no_limits() -> None:
    table = _table().astype({"kv": object})
    table.loc[0, "kv"] = ">80"
    table = table[~((table["sample"] == "B") & (table["filling"] > 1))]
    found = clusters(_records(table), ["electrode"])
    means = {(found.groups["electrode"][m.group], found.oils[m.oil]): m for m in found.means.itertuples()}
    stood = means["spherical", "A"]
    assert stood.withstood == 1 and np.isnan(stood.mean_kv) and np.isnan(stood.low_kv)
    one = means["spherical", "B"]
    assert one.fillings == 1 and np.isfinite(one.mean_kv) and np.isnan(one.low_kv)
    assert found.filling_means["mean_kv"].isna().sum() == 1


def test_readings_of_an_oil_without_a_name_are_seen_too() -> None:
    found = clusters(_records(_table().drop(columns="sample")), ["electrode"])
    assert found.oils == ("not named",) and len(found.rows) == len(_table()) and (found.rows["oil"] == 0).all()


def test_without_readings_there_is_nothing_to_look_at() -> None:
    with pytest.raises(NotEstimable, match="no readings"):
        clusters(_table().head(0).assign(outcome="breakdown"), ["electrode"])
