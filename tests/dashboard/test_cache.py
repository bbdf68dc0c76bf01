"""What is kept is bounded by bytes, and goes with the sessions that could ask for it."""

from __future__ import annotations

import gc
import weakref

import numpy as np
import pandas as pd
import pytest

from dashboard import cache
from dashboard.study import Study

CSV = b"electrode,kv\n" + b"".join(b"%s,%d.5\n" % (e, 40 + i) for i in range(20) for e in (b"disk", b"sphere"))


@pytest.fixture(autouse=True)
def empty() -> None:
    gc.collect()
    cache.sweep()
    cache.forget()


def test_the_bytes_of_all_that_is_kept_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_BYTES", 1_000_000)
    for i in range(30):  # 30 changes of a filter, each with a table of its own
        cache.remember(("table", i), lambda: pd.DataFrame({"kv": np.zeros(25_000)}))
        assert cache.kept_bytes() <= 1_000_000
    assert cache.known(("table", 29)) and not cache.known(("table", 0))


def test_one_that_is_too_large_is_handed_out_and_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_BYTES_OF_ONE", 1_000)
    assert len(cache.remember("large", lambda: np.zeros(1_000))) == 1_000
    assert not cache.known("large")


@pytest.mark.parametrize(("made", "least", "most"), [
    (np.zeros(1_000_000), 8e6, 8.1e6),
    (pd.DataFrame({"kv": np.zeros(100_000), "n": np.zeros(100_000, np.int64)}), 1.6e6, 1.7e6),
    (pd.DataFrame({"a": pd.Series([("x",)] * 10_000, dtype=object)}), 0.3e6, 2e6),
    ({"tables": [pd.DataFrame({"kv": np.zeros(10_000)}) for _ in range(5)]}, 4e5, 5e5),
    ("word", 10, 200),
])  # fmt: skip
def test_what_a_result_weighs(made: object, least: float, most: float) -> None:
    assert least <= cache.weigh(made) <= most


def test_records_do_not_outlive_their_session() -> None:
    study, other = Study(), Study()
    study.open(CSV, "mine.csv")
    other.open(CSV + b"disk,71.5\n", "other.csv")
    study.filters = {"electrode": ["disk"]}
    assert len(study.table) == 20 and len(other.table) == 41
    mine = [k for k in cache._kept if "mine.csv" in repr(k) or study.fingerprint in repr(k)]
    assert mine
    assert cache.sweep() == 0  # both are alive
    del study
    gc.collect()
    assert cache.sweep() >= len(mine)
    assert not [k for k in cache._kept if "mine.csv" in repr(k)]
    assert [k for k in cache._kept if other.fingerprint in repr(k)]


def test_equal_content_is_read_once_and_stays_while_one_session_has_it() -> None:
    first, second = Study(), Study()
    first.open(CSV, "series.csv")
    second.open(CSV, "series.csv")
    assert first.files[0].records is second.files[0].records
    del first
    gc.collect()
    cache.sweep()
    assert any("read" in k for k in cache._kept if isinstance(k, tuple))


def test_another_content_under_the_same_name_is_never_shared() -> None:
    mine, theirs = Study(), Study()
    mine.open(CSV, "series.csv")
    theirs.open(CSV.replace(b"40.5", b"90.5"), "series.csv")
    assert mine.fingerprint != theirs.fingerprint
    assert 90.5 not in set(mine.table["kv"]) and 90.5 in set(theirs.table["kv"])


def test_records_too_large_to_keep_are_shared_while_a_session_has_them_open(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_BYTES_OF_ONE", 0)
    one, other = Study(), Study()
    first = one.open(CSV, "a.csv").records
    assert other.open(CSV, "a.csv").records is first
    assert Study().open(CSV.replace(b"40.5", b"41.5"), "a.csv").records is not first
    gone = weakref.ref(first)
    del first, one, other
    gc.collect()
    assert gone() is None


def test_what_stands_under_two_names_counts_once() -> None:
    table = pd.DataFrame({"kv": np.zeros(1000)})
    cache.remember(("everything", "x"), lambda: table)
    alone = cache.kept_bytes()
    cache.remember(("table", "x"), lambda: table)
    assert cache.kept_bytes() == alone > 8000
