"""Flags over a whole table agree with the tests on single fillings."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.errors import InputError
from methods.scatter import flag_outliers
from methods.scatter.outlier_table import flag_fillings


def table(seed: int = 5, fillings: int = 40) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for f in range(fillings):
        kv = rng.normal(50, 5, 5 + f % 3)
        if f % 8 == 0:
            kv[2] = 12.0
        rows += [
            {"sample": "A", "filling": str(f), "order": i + 1, "outcome": "breakdown", "kv": v}
            for i, v in enumerate(kv)
        ]
    return pd.DataFrame(rows)


def test_every_flag_is_that_of_the_filling_alone() -> None:
    rows = table()
    found = flag_fillings(rows)
    expected = set()
    for label, part in rows.groupby("filling"):
        hits = flag_outliers(part["kv"].to_numpy())
        for hit in hits[hits["flagged"]].itertuples():
            expected.add((label, hit.test, hit.side, hit.kv))
    given = {(r.filling, r.test, r.side, r.kv) for r in found.flags.itertuples()}
    assert given == expected and given
    assert found.flagged == len({g[0] for g in given})
    assert (found.tested, found.skipped) == (40, 0)
    assert set(found.flags.loc[found.flags["kv"] == 12.0, "order"]) == {3}


def test_sound_fillings_are_flagged_no_more_often_than_said() -> None:
    rng = np.random.default_rng(8)
    n = 600
    rows = pd.DataFrame({
        "sample": "A", "filling": np.repeat(np.arange(n), 6).astype(str), "order": np.tile(np.arange(1, 7), n),
        "outcome": "breakdown", "kv": rng.normal(50, 5, 6 * n),
    })  # fmt: skip
    found = flag_fillings(rows)
    assert 0.05 * n * 0.8 < found.flagged < found.by_chance


def test_withstood_short_and_flat_fillings_are_counted_as_skipped() -> None:
    rows = table(fillings=4)
    rows.loc[rows["filling"] == "1", "kv"] = 50.0
    rows.loc[(rows["filling"] == "2") & (rows["order"] == 1), "outcome"] = "withstood"
    rows = rows[(rows["filling"] != "3") | (rows["order"] <= 2)]
    assert flag_fillings(rows).skipped == 3


def test_a_level_that_is_none_is_refused() -> None:
    with pytest.raises(InputError):
        flag_fillings(table(), confidence=5)
