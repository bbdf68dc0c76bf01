"""What the second look at a table says, and what it must not say."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.records import read
from methods.records.table import first_rows


def long(series: dict[str, list[float]], name: str = "x") -> bytes:
    """A long file of one sample: filling -> voltages."""
    rows = [f"{name},{f},{i},{v}" for f, values in series.items() for i, v in enumerate(values, 1)]
    return ("sample,filling,order,kv\n" + "\n".join(rows)).encode()


def remarks(raw: bytes) -> list[str]:
    return [r for r in read(raw, name="f.csv").problems["rule"] if "in the file before" in r]


def test_a_series_that_comes_again_is_told() -> None:
    again = {"1": [41.0, 52, 47], "2": [44.0, 43, 60], "3": [41.0, 52, 47]}
    assert remarks(long(again)) == ["the same series stands in the file before for this sample"]


def test_series_with_the_same_sums_are_not_the_same() -> None:
    """40, 50, 60 and 41, 48, 61 agree in their sum and in the sum weighted by place."""
    assert remarks(long({"1": [40.0, 50, 60], "2": [41.0, 48, 61]})) == []


def test_many_rounded_series_without_a_repeat_get_no_remark() -> None:
    rng = np.random.default_rng(3)
    kept: dict[tuple[float, ...], None] = {}
    while len(kept) < 20_000:
        kept[tuple(rng.normal(50, 8, 6).round(1).tolist())] = None
    assert remarks(long({str(i): list(v) for i, v in enumerate(kept)})) == []


def test_series_of_two_and_of_other_samples_may_be_alike() -> None:
    assert remarks(long({"1": [41.0, 52], "2": [41.0, 52]})) == []
    both = long({"1": [41.0, 52, 47]}) + b"\n" + long({"1": [41.0, 52, 47]}, "y").split(b"\n", 1)[1]
    assert remarks(both) == []


def test_first_rows() -> None:
    rng = np.random.default_rng(4)
    codes = np.r_[rng.integers(1, 5, 70_000), 7, rng.integers(0, 9, 70_000)]
    found = first_rows(codes)
    assert [codes[at] for at in found] == list(range(9))
    assert all(not (codes[:at] == code).any() for code, at in enumerate(found))
    assert first_rows(np.array([2, 0])).tolist() == [1, -1, 0]
    assert len(first_rows(np.empty(0, np.int64))) == 0


def test_empty_columns_are_not_changed_through_each_other() -> None:
    table = read(long({"1": [41.0, 52, 47]}), name="f.csv").table
    table.loc[0, "rise_kv_s"] = 2.0
    table.loc[1, "operator"] = "me"
    assert table["water_mg_kg"].isna().all() and table["laboratory"].isna().all()
    assert read(long({"1": [41.0, 52, 47]}), name="f.csv").table["rise_kv_s"].isna().all()


@pytest.mark.parametrize("refused", [False, True])
def test_a_long_text_is_read_alike_across_its_parts(refused: bool) -> None:
    """The text is parsed in parts of 8 MB; fillings run over the seams and labels come again behind them."""
    rows = 260_000
    at = np.arange(rows)
    frame = pd.DataFrame(
        {
            "sample": "oil " + pd.Series(at // 600 % 7).astype(str), "laboratory": np.where(at // 37 % 3, "L", ""),
            "filling": (at // 6).astype(str), "order": at % 6 + 1, "kv": (30 + at * 7 % 301 / 10).round(1).astype(str),
            "operator": pd.Series(at * 7919 % 13).map(lambda v: f"somebody number {v}"),
        }
    )  # fmt: skip
    if refused:
        frame.loc[[3, 200_001], "kv"] = "spilled"
    raw = frame.to_csv(index=False).encode()
    assert len(raw) > 8 << 20
    found = read(raw, name="long.csv")
    wanted = frame[frame["kv"] != "spilled"].reset_index(drop=True)
    assert (len(found.table), found.refused) == (len(wanted), 2 * refused)
    for name in ("sample", "filling", "operator"):
        assert found.table[name].tolist() == wanted[name].tolist()
    assert found.table["laboratory"].fillna("").tolist() == wanted["laboratory"].tolist()
    assert np.array_equal(found.table["kv"], wanted["kv"].astype(float))
    assert np.array_equal(found.table["order"], wanted["order"])


def test_stacked_tables_with_zeros_before_the_numbers_of_their_headings() -> None:
    part = "sample,01,02,03\nA,41,52,47\nB,44,43,60\n"
    found = read(f"New oil\n{part}\nOld oil\n{part}".encode(), name="s.csv")
    assert (len(found.table), found.refused) == (12, 0)
    assert found.table["table"].unique().tolist() == ["New oil", "Old oil"]


def test_a_reading_in_one_cell_with_others_is_rarely_their_mean() -> None:
    """Two cells whose last reading happens to be the mean of the others; three whose last number must be."""
    found = read(b"Oil,Filling,kV\nA,1,48.8; 49.5; 49.2\nA,2,45.5; 54.6; 50.1\n")
    assert len(found.table) == 6
    found = read(b"Oil,kV\nA,41.2/45.6/39.9/48.3/43.8\nB,52.1/58.3/49.0/55.5/53.7\nC,33.1/37.9/30.2/35.6/34.2\n")
    assert len(found.table) == 12 and "summaries" in found.guesses["code"].tolist()
