"""The record table: codes of fillings and conditions, against pandas' own grouping."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.errors import InputError
from methods.records import (
    CONDITION,
    as_table,
    condition_codes,
    filling_codes,
    fillings_known,
    group_codes,
    read,
    withstood,
)


def invented(rows: int = 400) -> pd.DataFrame:
    rng = np.random.default_rng(5)

    def pick(words: list[str | None]) -> np.ndarray:
        return rng.choice(np.array(words, dtype=object), rows)

    frame = pd.DataFrame(
        {
            "kv": rng.normal(50, 5, rows),
            "sample": pick(["A", "B", None]),
            "electrode": pick(["disk", "mushroom"]),
            "filling": pick(["1", "2", None]),
            "laboratory": pick(["L"]),
            "gap_mm": rng.choice([1, 2, np.nan], rows),
            "tested_on": pick(["2025-01-01 10:00", "2025-01-01 11:00", "2025-01-02", None]),
        }
    )
    return as_table(frame)


def same_partition(one: np.ndarray, two: np.ndarray) -> bool:
    pairs = len(set(zip(one.tolist(), two.tolist(), strict=True)))
    return pairs == len(set(one.tolist())) == len(set(two.tolist()))


def test_codes_are_those_of_a_group_by() -> None:
    table = invented()
    day = table.assign(day=table["tested_on"].str.slice(0, 10))
    keys = ["sample", *CONDITION, "day", "filling"]
    assert same_partition(filling_codes(table), day.groupby(keys, dropna=False).ngroup().to_numpy())
    assert same_partition(condition_codes(table), table.groupby(list(CONDITION), dropna=False).ngroup().to_numpy())
    codes = group_codes(table, ["sample", "filling"])
    assert set(codes) == set(range(codes.max() + 1))


def test_known_codes_change_nothing() -> None:
    table = invented()
    known = {"sample": pd.factorize(table["sample"])[0] + 1, "filling": pd.factorize(table["filling"])[0] + 1}
    assert np.array_equal(filling_codes(table, known=known), filling_codes(table))


def test_no_columns_and_no_rows() -> None:
    table = invented()
    assert group_codes(table, []).tolist() == [0] * len(table)
    assert filling_codes(table.iloc[:0]).size == 0
    assert fillings_known(table) is False and fillings_known(table[table["filling"].notna()]) is True


def test_what_is_no_record_table_is_refused() -> None:
    with pytest.raises(InputError):
        as_table(pd.DataFrame({"a": [1]}))
    with pytest.raises(InputError, match="Row 2"):
        as_table(pd.DataFrame({"kv": [1, -1]}))
    with pytest.raises(InputError, match="outcome"):
        as_table(pd.DataFrame({"kv": [1], "outcome": ["maybe"]}))
    records = read(b"s,kV\nA,44\nA,>60\n", name="x.csv")
    assert as_table(records) is records.table
    assert withstood(records.table).tolist() == [False, True]
