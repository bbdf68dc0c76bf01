"""What is said of a file in words: the true readings come out, for cells, a sheet, one of several files."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from dashboard.cli import main
from methods import InputError, read, read_all
from methods.records.by_word import DEEDS

TWO = b"Wren tests,,,\nOil,no.,kV,BD kV\nA,1,40.5,44\nA,2,41.5,45\nB,1,42.5,46\nB,2,43.5,47\nZusatz,,42.0,45.5\n"
ROWS = b"Oil,b1,b2\nA,40.5,41\nA,42,43\nB,50,51\n"
WIDE = b"Oil,x,y\nA,40.5,41\nA,42,43\nB,50,51\n"


def book(**sheets: list[list[object]]) -> bytes:
    held = io.BytesIO()
    with pd.ExcelWriter(held, engine="openpyxl") as writer:
        for name, rows in sheets.items():
            pd.DataFrame(rows).to_excel(writer, sheet_name=name, header=False, index=False)
    return held.getvalue()


#: A word or several -> the readings, and what a column then holds.
SAID: dict[str, tuple[bytes, list[str], list[float], str, list[Any]]] = {
    "headings": (b"kV,of,May\noil,b1,b2\nA,40,41\nB,50,51\n", ["headings@2", "readings@B:C", "means=sample@A"],
                 [40, 41, 50, 51], "sample", list("AABB")),
    "no-headings": (b"A,40,41\nB,42,43\n", ["no-headings", "readings@B:C", "means=sample@A"],
                    [40, 41, 42, 43], "sample", list("AABB")),
    "readings": (TWO, ["readings@D", "no-readings@C", "summary@7"], [44, 45, 46, 47], "sample", list("AABB")),
    "no-readings": (TWO, ["readings@C:D", "no-readings@C", "summary@7"], [44, 45, 46, 47], "order", [1, 2, 1, 2]),
    "summary": (TWO, ["readings@C", "summary@7"], [40.5, 41.5, 42.5, 43.5], "sample", list("AABB")),
    "leave-out": (TWO, ["readings@C", "leave-out@5:7"], [40.5, 41.5], "sample", list("AA")),
    "table": (b"left,,,,right,,\noil,1,2,,oil,1,2\nA,40,41,,C,60,61\nB,42,43,,D,62,63\n", ["table@E2:G4"],
              [60, 61, 62, 63], "sample", list("CCDD")),
    "means": (TWO, ["readings@C", "summary@7", "means=laboratory@A"], [40.5, 41.5, 42.5, 43.5],
              "laboratory", list("AABB")),
    "heads": (WIDE, ["means=unused@A", "readings@B:C", "heads=sample"], [40.5, 41, 42, 43, 50, 51],
              "sample", ["x", "y"] * 3),
    "fillings": (WIDE, ["readings@B:C", "fillings=column"], [40.5, 41, 42, 43, 50, 51], "filling", ["1", "2"] * 3),
    "unread": (book(one=[["Oil", "kV"], ["A", 40.5], ["A", 41.5]], two=[["Oil", "kV"], ["B", 50.5], ["B", 51.5]]),
               ["unread@two"], [40.5, 41.5], "sample", list("AA")),
}  # fmt: skip


@pytest.mark.parametrize("role", list(DEEDS))
def test_what_cells_are(role: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data, say, kv, column, held = SAID[role]
    records = read(data, name="a.csv", say=say)
    assert records.table["kv"].tolist() == kv and records.table[column].tolist() == held
    assert any(w.startswith(role) for w in say)
    path = tmp_path / ("a.xlsx" if data[:2] == b"PK" else "a.csv")
    path.write_bytes(data)
    main(["check", str(path), "--json", *(x for m in say for x in ("--say", m))])
    assert json.loads(capsys.readouterr().out)["breakdowns"] == len(kv)


def test_what_stands_nowhere_in_the_file() -> None:
    table = read(ROWS, name="a.csv", context={"electrode": "disk", "gap": "0.1 in"}).table
    assert set(table["electrode"]) == {"disk"} and table["gap_mm"].tolist() == pytest.approx([2.54] * 6)
    table = read(ROWS, name="a.csv", context=["electrode=disk", "electrode=VDE@B2:C3", "sample=me@home@"]).table
    assert table["electrode"].tolist() == ["mushroom"] * 4 + ["disk"] * 2 and set(table["sample"]) == {"me@home"}
    rows: list[list[object]] = [["Oil", "kV"], ["A", 40.5], ["A", 41.5]]
    data = book(one=rows, two=[*rows, ["A", 42.5]])
    table = read(data, context=["stirring=none@one", "stirring=continuous@two!B2:B3"]).table
    assert table["stirring"].fillna("").tolist() == ["none"] * 2 + ["continuous"] * 2 + [""]


def test_one_of_several_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, two = tmp_path / "a@b.csv", tmp_path / "two.csv"
    one.write_bytes(ROWS)
    two.write_bytes(ROWS.replace(b"50", b"52"))
    words = ["electrode=disk", "electrode=mushroom@two.csv!B2:C3", "gap_mm=2.5@a@b.csv", f"gap_mm=1@{two}"]
    table = read_all([one, two], context=words).table
    assert table["electrode"].tolist() == ["disk"] * 6 + ["mushroom"] * 4 + ["disk"] * 2
    assert table["gap_mm"].tolist() == [2.5] * 6 + [1] * 6
    spoken = [x for w in ("electrode=disk@a@b.csv", "electrode=mushroom@two.csv") for x in ("--context", w)]
    assert main(["shift", str(one), str(two), "--by", "electrode", "--json", *spoken]) == 0
    assert [s["level"] for s in json.loads(capsys.readouterr().out)["shifts"]] in (["mushroom"], ["disk"])


def test_a_place_goes_with_a_recipe_and_an_archive_takes_none(tmp_path: Path) -> None:
    recipe = "gapshift_recipe = 1\n[context]\nelectrode = 'disk'\n"
    table = read(ROWS, name="a.csv", recipe=recipe, context="stirring=none").table
    assert set(table["electrode"]) == {"disk"} and set(table["stirring"]) == {"none"}
    with pytest.raises(InputError, match="when they were added"):
        read(tmp_path / "oils.duckdb", context="stirring=none")


@pytest.mark.parametrize(
    ("context", "say", "word"),
    [
        ("disk", None, "NAME=TEXT"),
        ("kv=40", None, "cannot be said"),
        ("colour=red", None, "one of sample"),
        ("gap_mm=wide", None, "write a number"),
        ("electrode=disk@two.csv", None, "no sheet and no cells"),
        (None, "nonsense@B", "they are headings"),
        (None, "summary=3@B", "summary@PLACE"),
        (None, "means@B", "means=sample"),
        (None, "means=colour@B", "it may be sample"),
        (None, "heads=kv", "it may be sample"),
        (None, "fillings=some", "fillings=row"),
        (None, "readings", "Select"),
    ],
)
def test_what_is_no_word(context: str | None, say: str | None, word: str) -> None:
    with pytest.raises(InputError, match=word):
        read(ROWS, name="a.csv", context=context, say=say)


def test_cells_of_several_sheets_want_the_name_of_one() -> None:
    rows: list[list[object]] = [["Oil", "kV"], ["A", 40.5], ["A", 41.5]]
    data = book(one=rows, two=[["Oil", "kV"], ["B", 50.5], ["B", 51.5]])
    with pytest.raises(InputError, match="does not say of which sheet; there are 'one', 'two'"):
        read(data, say="summary@3")
    assert read(data, say="fillings=1").fillings == 4
