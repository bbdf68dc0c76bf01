"""Rounds on disk against pandas on the same rows (invented)."""

from __future__ import annotations

import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from methods.errors import InputError, MissingExtra, UnusableFile
from methods.interlab import precision, precision_of_cells
from methods.records import read, read_all
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
    rounds = open_rounds(tmp_path, columns={"kv": "V", "laboratory": "Lab"}, unit="kV")
    found = summarise_rounds(rounds, by=["laboratory"])
    whole = read_all([tmp_path / "a.csv", tmp_path / "b.csv"], columns={"kv": "V", "laboratory": "Lab"}, unit="kV")
    assert (found.rows_read, found.rows, found.refused) == (whole.rows_read, 2, whole.refused) == (4, 2, 2)
    assert list(found.groups["mean_kv"]) == [50.5, 60.25]
    assert "refused" in {w.code for w in found.cautions} and set(found.problems["file"]) == {"a.csv", "b.csv"}
    assert summarise_rounds(rounds, by=[]).groups["n"].tolist() == [2]


def sheets(place: Path) -> Path:
    """A folder as it comes in the post: a record table in order, a workbook, title lines with commas, and a letter."""
    table = invented(600, seed=3).drop(columns="gap_mm")
    first, second, third = (table[table["laboratory"] == lab] for lab in ("A", "B", "C d'E"))
    first.to_csv(place / "a.csv", index=False)
    with pd.ExcelWriter(place / "b.xlsx") as book:
        pd.DataFrame([["Round of spring"], ["Laboratory: B"]]).to_excel(book, header=False, index=False)
        second.drop(columns="laboratory").to_excel(book, index=False, startrow=3)
    lines = third.to_csv(index=False, sep=";", decimal=",")
    (place / "c.csv").write_text("Round of spring\nsent in March\n\n" + lines, encoding="utf-8")
    (place / "letter.pdf").write_bytes(b"%PDF")
    (place / "notes.txt").write_text("Dear colleagues,\nhere are our readings.\n", encoding="utf-8")
    return place


def test_untidy_files_are_read_and_the_rest_is_named(tmp_path: Path) -> None:
    place = sheets(tmp_path)
    rounds = open_rounds(place, threads=1)
    assert list(rounds.read_first["file"]) == ["b.xlsx", "c.csv"] and rounds.files == 3
    assert list(rounds.skipped["file"]) == ["letter.pdf", "notes.txt"]
    assert all(len(why) > 20 for why in rounds.skipped["why"])
    found = summarise_rounds(rounds, by=["laboratory", "sample"])
    assert any(c.code == "skipped" and "letter.pdf" in c.text for c in found.cautions)
    whole = read_all([place / n for n in ("a.csv", "b.xlsx", "c.csv")])
    assert found.rows == len(whole.table) and found.rows_read == whole.rows_read
    assert found.groups["withstood"].sum() == whole.withstood > 0
    for row in found.groups.itertuples():
        part = whole.table[(whole.table["laboratory"] == row.laboratory) & (whole.table["sample"] == row.sample)]
        assert row.n == len(part) and row.max_kv == pytest.approx(part["kv"].max(), nan_ok=True) or row.withstood
        assert row.fillings == len(set(filling_codes(part)))
    cells = round_cells(rounds, level=["sample", "method"], result="filling")
    there = precision_of_cells(cells, level_columns=["sample", "method"], result="filling")
    here = precision(whole, level=["sample", "method"], result="filling")
    assert [v.s_R for v in there.levels] == pytest.approx([v.s_R for v in here.levels], nan_ok=True)
    assert any(v.s_R > 0 for v in here.levels)


def test_what_is_too_large_to_be_read_first_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table = invented(300, seed=6)
    table["kv"] = table["kv"].astype(str).where(table.index % 50 != 7, "-")
    table.to_csv(tmp_path / "a.csv", index=False)
    monkeypatch.setattr("methods.records.rounds_disk.TOO_LARGE", 1000)
    found = summarise_rounds(open_rounds(tmp_path), by=["sample"])
    assert (found.rows_read, found.rows, found.refused) == (300, 294, 6) and not len(found.read_first)
    assert {"large", "refused"} <= {c.code for c in found.cautions}


@pytest.mark.parametrize("change", [
    lambda t: t.assign(kv=t["kv"].map(lambda v: "> 60" if v > 60 else str(v))),
    lambda t: t.assign(kv=t["kv"].clip(upper=60.0)),
    lambda t: t.assign(kv=t["kv"] * 1000).rename(columns={"kv": "U (V)"}),
    lambda t: t.assign(gap_mm=t["gap_mm"].map(lambda v: f"{v} mm")),
], ids=["withstood in words", "wall", "volts", "units"])  # fmt: skip
def test_a_table_in_disorder_means_what_the_reader_says(tmp_path: Path, change: Callable[..., pd.DataFrame]) -> None:
    table = invented(300, seed=5).drop(columns="outcome")
    change(table).to_csv(tmp_path / "a.csv", index=False)
    whole = read(tmp_path / "a.csv")
    rounds = open_rounds(tmp_path / "a.csv")
    found = summarise_rounds(rounds, by=["sample"])
    assert len(found.read_first) == 1
    assert (found.rows_read, found.rows, found.refused) == (whole.rows_read, len(whole.table), whole.refused)
    assert found.groups["withstood"].sum() == whole.withstood
    assert found.groups["min_kv"].min() == pytest.approx(whole.table["kv"].min())


def test_options_of_the_reader_hold_for_every_file(tmp_path: Path, table: pd.DataFrame) -> None:
    table.to_csv(tmp_path / "a.csv", index=False)
    found = summarise_rounds(open_rounds(tmp_path / "a.csv", where={"sample": "dry"}), by=["sample"])
    assert list(found.groups["sample"]) == ["dry"] and found.rows == (table["sample"] == "dry").sum()


def test_what_cannot_be_opened(tmp_path: Path) -> None:
    with pytest.raises(UnusableFile, match="no file or folder"):
        open_rounds(tmp_path / "none")
    with pytest.raises(UnusableFile, match="There is no file"):
        open_rounds(tmp_path)
    (tmp_path / "a.csv").write_text('Lab,"V ""x"""\nA,50.5\n', encoding="utf-8")
    (tmp_path / "b.csv").write_text("Lab,Oil\nA,x\n", encoding="utf-8")
    with pytest.raises(UnusableFile, match="voltage"):
        open_rounds(tmp_path / "b.csv")
    rounds = open_rounds(tmp_path, columns={"kv": 'V "x"'})
    assert summarise_rounds(rounds, by=["Lab"]).rows == 1
    with pytest.raises(InputError, match="no column"):
        summarise_rounds(rounds, by=["sample; DROP TABLE x"])
    with pytest.raises(InputError, match="No file has a column 'W'|no heading|no column"):
        open_rounds(tmp_path, columns={"kv": 'V "x"', "sample": "W"})
    (tmp_path / "b.parquet").write_bytes(b"not parquet")
    assert list(open_rounds(tmp_path, columns={"kv": 'V "x"'}).skipped["file"]) == ["b.csv", "b.parquet"]
    with pytest.raises(UnusableFile):
        open_rounds(tmp_path / "b.parquet")


def test_without_duckdb(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "duckdb", None)
    with pytest.raises(MissingExtra, match="bigdata"):
        open_rounds(tmp_path)


def test_files_summed_on_workers_merge_to_what_they_are_together(
    folder: Path, table: pd.DataFrame, tmp_path: Path
) -> None:
    """Each file by itself; one lacks a column, and fillings stand in several files."""
    place = tmp_path / "cut"
    place.mkdir()
    for i in range(7):  # cut across fillings
        part = table.iloc[i::7]
        part = part.drop(columns="outcome") if (part["outcome"] == "breakdown").all() else part
        part.to_parquet(place / f"{i}.parquet")
    for where in (place, folder):
        rounds = open_rounds(where)
        here = summarise_rounds(rounds, by=["sample", "laboratory", "method"])
        with ThreadPoolExecutor(3) as pool:
            there = summarise_rounds(rounds, by=["sample", "laboratory", "method"], executor=pool)
            pd.testing.assert_frame_equal(there.groups[here.groups.columns], here.groups, rtol=1e-12)
            pd.testing.assert_frame_equal(there.histogram, here.histogram)
            assert (there.rows, there.rows_read, there.refused) == (here.rows, here.rows_read, here.refused)
            for result in ("filling", "breakdown"):
                one = round_cells(rounds, level=["sample", "gap_mm"], result=result)
                two = round_cells(rounds, level=["sample", "gap_mm"], result=result, executor=pool)
                keys = ["level", "laboratory"]
                pd.testing.assert_frame_equal(
                    two.sort_values(keys, ignore_index=True)[one.columns], one.sort_values(keys, ignore_index=True),
                    rtol=1e-11, check_dtype=False,
                )  # fmt: skip


def test_sums_do_not_depend_on_how_the_rows_are_cut(table: pd.DataFrame, tmp_path: Path) -> None:
    """To the last bit: voltages are added up as whole numbers."""
    found = []
    for cuts in (1, 5, 40):
        place = tmp_path / str(cuts)
        place.mkdir()
        for i in range(cuts):
            table.iloc[i::cuts].to_parquet(place / f"{i}.parquet")
        with ThreadPoolExecutor(2) as pool:
            found.append(summarise_rounds(open_rounds(place), by=["sample", "method"], executor=pool).groups)
    pd.testing.assert_frame_equal(found[0], found[1], check_exact=True)
    pd.testing.assert_frame_equal(found[0], found[2], check_exact=True)
