"""Rounds on disk against pandas on the same rows (invented)."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from methods.errors import InputError, MissingExtra, UnusableFile
from methods.interlab import precision, precision_of_cells
from methods.records.rounds import open_rounds, round_cells, summarise_rounds
from methods.records.table import as_table, filling_codes

pytest.importorskip("duckdb")


def invented(rows: int = 4000, seed: int = 0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    base = np.array([35.0, 55.0])
    sample = rng.integers(0, 2, rows)
    lab = rng.integers(0, 3, rows)
    table = pd.DataFrame(
        {
            "sample": np.array(["dry", "wet"])[sample],
            "laboratory": np.array(["A", "B", "C d'E"])[lab],
            "method": np.array(["one", "two"])[rng.integers(0, 2, rows)],
            "gap_mm": np.array([2.0, 2.5])[rng.integers(0, 2, rows)],
            "filling": rng.integers(1, 9, rows).astype(str),
            "tested_on": "2025-03-04",
            "kv": np.round(base[sample] * (1 + 0.05 * lab) * rng.weibull(9, rows), 1),
            "outcome": "breakdown",
        }
    )
    top = (table["method"] == "two") & (table["gap_mm"] == 2.5) & (table["kv"] >= 60)
    table.loc[top, "kv"] = 60.0
    table.loc[top, "outcome"] = "withstood"
    return table


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return invented()


@pytest.fixture(scope="module")
def folder(table: pd.DataFrame, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Partitioned by laboratory, under a name full of what must be quoted."""
    place = tmp_path_factory.mktemp("data") / "it's [a] round? *2025*"
    for lab, part in table.groupby("laboratory"):
        inner = place / f"laboratory={lab.replace(' ', '%20')}"
        inner.mkdir(parents=True)
        part.drop(columns="laboratory").to_parquet(inner / "part.parquet")
    return place


def test_groups_equal_pandas(folder: Path, table: pd.DataFrame) -> None:
    rounds = open_rounds(folder, threads=1)
    found = summarise_rounds(rounds, by=["method", "gap_mm"], bins=20)
    assert (found.files, found.rows_read, found.rows, found.refused) == (3, 4000, 4000, 0)
    codes = filling_codes(as_table(table))
    for row in found.groups.itertuples():
        part = table[(table["method"] == row.method) & (table["gap_mm"] == row.gap_mm)]
        assert row.n == len(part) and row.withstood == (part["outcome"] == "withstood").sum()
        assert row.fillings == len(set(codes[part.index]))
        if row.withstood:
            assert np.isnan(row.mean_kv) and np.isnan(row.sd_kv) and np.isnan(row.max_kv)
            assert np.isnan(row.q99)
        else:
            assert row.mean_kv == pytest.approx(part["kv"].mean()) and row.sd_kv == pytest.approx(part["kv"].std())
            assert row.q99 == pytest.approx(np.quantile(part["kv"], 0.99))
        assert row.q1 == pytest.approx(np.quantile(part["kv"], 0.01)) and row.q50 == pytest.approx(part["kv"].median())
    assert found.histogram["breakdowns"].sum() + found.histogram["withstood"].sum() == 4000
    assert {w.code for w in found.cautions} == {"withstood"}


def test_precision_equals_the_in_memory_path(folder: Path, table: pd.DataFrame) -> None:
    rounds = open_rounds(folder)
    for result in ("breakdown", "filling"):
        cells = round_cells(rounds, level=["sample", "method", "gap_mm"], result=result)
        there = precision_of_cells(cells, level_columns=["sample", "method", "gap_mm"], result=result)
        here = precision(table, level=["sample", "method", "gap_mm"], result=result)
        assert [v.level for v in there.levels] == [v.level for v in here.levels]
        for a, b in zip(there.levels, here.levels, strict=True):
            assert bool(a.error) == bool(b.error) and a.withstood == b.withstood and a.n == b.n
            if not a.error:
                assert [a.s_r, a.s_R, a.mean] == pytest.approx([b.s_r, b.s_R, b.mean])
                assert list(a.h.values()) == pytest.approx(list(b.h.values()))


def test_csv_with_other_headings_and_bad_rows(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Lab,V\nA,50.5\nA,\nB,x\n", encoding="utf-8")
    (tmp_path / "b.csv").write_text("Lab,V\nB,-3\nB,60.25\n", encoding="utf-8")
    rounds = open_rounds(tmp_path, columns={"kv": "V", "laboratory": "Lab"})
    found = summarise_rounds(rounds, by=["laboratory"])
    assert (found.rows_read, found.rows, found.refused) == (5, 2, 3)
    assert list(found.groups["mean_kv"]) == [50.5, 60.25]
    assert "refused" in {w.code for w in found.cautions}
    assert summarise_rounds(rounds, by=[]).groups["n"].tolist() == [2]


def test_what_cannot_be_opened(tmp_path: Path) -> None:
    with pytest.raises(UnusableFile, match="no file or folder"):
        open_rounds(tmp_path / "none")
    with pytest.raises(UnusableFile, match="no Parquet or CSV"):
        open_rounds(tmp_path)
    (tmp_path / "a.csv").write_text('Lab,"V ""x"""\nA,50.5\n', encoding="utf-8")
    with pytest.raises(UnusableFile, match="no column kv"):
        open_rounds(tmp_path)
    rounds = open_rounds(tmp_path, columns={"kv": 'V "x"'})
    assert summarise_rounds(rounds, by=["Lab"]).rows == 1
    with pytest.raises(InputError, match="no column"):
        summarise_rounds(rounds, by=["sample; DROP TABLE x"])
    (tmp_path / "b.parquet").write_bytes(b"not parquet")
    with pytest.raises(UnusableFile, match="one kind"):
        open_rounds(tmp_path)
    with pytest.raises(UnusableFile, match="cannot be read together"):
        open_rounds(tmp_path / "b.parquet")


def test_without_duckdb(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "duckdb", None)
    with pytest.raises(MissingExtra, match="bigdata"):
        open_rounds(tmp_path)
