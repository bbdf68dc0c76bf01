"""One oil that several people spell differently is one oil; two that one file tells apart stay two."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from dashboard.pages import page_class
from dashboard.study import Study
from methods import choose, read, read_all
from methods.records.one_name import key_of, renamed


def _table(*names: str) -> pd.DataFrame:
    return pd.DataFrame({"sample": list(names)})


@pytest.mark.parametrize(
    ("one", "other"), [("TR-12", "tr 12"), ("TR 12", "TR12"), ("Tank 4", "TANK_4"), ("No. 4", "no 4"), ("Öl 3", "öl3")]
)
def test_capitals_spaces_and_marks_tell_nothing_apart(one: str, other: str) -> None:
    assert key_of(one) == key_of(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("A", "A'"),
        ("A", "A*"),
        ("T1-1", "T11"),
        ("oil 1", "oil 01"),
        ("Tank 4", "Tank 4 old"),
        ("1+", "1"),
        ("-", "--"),
    ],
)
def test_what_may_be_meant_tells_apart(one: str, other: str) -> None:
    assert key_of(one) != key_of(other)


def test_the_first_spelling_stays_and_who_tells_two_apart_is_heeded() -> None:
    found = renamed([_table("TR-12", "Tank 4"), _table("tr 12", "tank-4"), _table("Tank 4", "TANK 4")], ["a", "b", "c"])
    assert [(r.place, r.name, r.taken, r.first) for r in found] == [("b", "tr 12", "TR-12", "a")]


def _files(folder: Path) -> list[Path]:
    """Invented: three files of one method each, the oils typed by three people."""
    out = []
    typed = {
        "ASTM D877 A": ("TR-12", "Tank 4"),
        "ASTM D1816 2 mm": ("tr 12", "tank 4"),
        "IEC 60156": ("TR12", "Tank-4"),
    }
    for i, (method, oils) in enumerate(typed.items()):
        lines = ["oil,filling,1,2,3,4,5"]
        for o, oil in enumerate(oils):
            lines += [
                f"{oil},{f},{','.join(str(40 + 9 * o + 4 * i + (7 * f + 3 * k * (f + 1)) % 9) for k in range(5))}"
                for f in (1, 2, 3)
            ]
        out.append(folder / f"{method}.csv")
        out[-1].write_text("\n".join(lines), encoding="utf-8")
    return out


def test_three_people_s_files_are_compared_and_said_to_be_of_the_same_oils(tmp_path: Path) -> None:
    paths = _files(tmp_path)
    records = read_all(paths)
    assert set(records.table["sample"]) == {"TR-12", "Tank 4"}
    told = records.guesses[records.guesses["code"] == "same_sample"]
    assert list(told["guess"])[:2] == ["'tr 12' is 'TR-12'", "'tank 4' is 'Tank 4'"] and len(told) == 4
    found = choose(records)
    assert len(found.procedures) == 3 and found.oils == ["TR-12", "Tank 4"]
    study = Study()
    for path in paths:
        study.open(path)
    page = page_class("choose")(study)
    page.shown = True
    assert page._answer.text == found.sentence
    assert "Taken as one oil" in page._cautions.object and "TR12" in page._cautions.object


def test_the_sheets_of_a_workbook_too(tmp_path: Path) -> None:
    path = tmp_path / "three.xlsx"
    with pd.ExcelWriter(path, engine="xlsxwriter") as book:
        for name, oil in (("D877 A", "TR-12"), ("D1816 2 mm", "tr 12")):
            rows = {"oil": oil, "filling": [1] * 5 + [2] * 5, "kV": [40.1, 42, 39, 44, 41, 38, 45, 43, 40, 42]}
            pd.DataFrame(rows).to_excel(book, sheet_name=name, index=False)
    records = read(path)
    assert set(records.table["sample"]) == {"TR-12"}
    assert "same_sample" in set(records.guesses["code"])
