"""The sheet on the page, put right by clicks alone, comes to the readings that somebody would read off it.

All sheets, oils and numbers are invented for these tests.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.browser.test_accessibility import grave_faults, set_dark

#: Three oils and their level, kV.
OILS = (("A", 40), ("B", 50), ("C", 46))


class Bench:
    """A visitor who opens a file and puts its sheet right."""

    def __init__(self, visitor: Any, folder: Path) -> None:
        visitor.tab.set_default_timeout(20_000)
        self.visitor, self.tab, self.folder = visitor, visitor.open("?data=own&page=records"), folder

    def open(self, data: bytes, name: str = "sheet.csv") -> Bench:
        path = self.folder / name
        path.write_bytes(data)
        self.tab.locator("input[type=file]").first.set_input_files(str(path))
        self.tab.get_by_text(name).first.wait_for()
        self.visitor.idle()
        fold = self.tab.get_by_role("button", name="The sheet as it stands")
        if fold.get_attribute("aria-expanded") != "true":
            fold.click()
        self.tab.get_by_role("grid").wait_for()
        self.visitor.idle()
        return self

    def select(self, place: str) -> Bench:
        """Click a row's number (``3``), a column's letter (``B``), a cell, or drag over a range of any of them."""
        first, _, last = place.partition(":")
        start, end = self._spot(first), self._spot(last or first)
        start.click()
        if last:
            end.click(modifiers=["Shift"])
        self.visitor.idle()
        return self

    def _spot(self, text: str) -> Any:
        grid = self.tab.get_by_role("grid")
        if text.isdigit():
            return grid.get_by_role("button", name=f"Row {text}", exact=True)
        if text.isalpha():
            return grid.get_by_role("button", name=f"Column {text}", exact=True)
        letters = text.rstrip("0123456789")
        at = grid.locator("thead th").all_inner_texts().index(letters)
        row = self.tab.get_by_role("button", name=f"Row {text[len(letters) :]}", exact=True)
        return grid.locator("tbody tr").filter(has=row).locator("td").nth(at - 1)

    def press(self, label: str) -> Bench:
        self.tab.get_by_role("button", name=label, exact=True).click()
        self.visitor.idle()
        return self

    def means(self, name: str) -> Bench:
        self.visitor.choose("Its heading means", name)
        self.visitor.idle()
        return self

    def set(self, what: str, value: str, scope: str = "the selection") -> Bench:
        self.visitor.press(scope)
        self.visitor.choose("What", what)
        self.visitor.idle()
        self.tab.get_by_role("combobox", name="is", exact=True).select_option(label=value)
        self.visitor.idle()
        return self.press("Set it")

    def readings(self, *columns: str) -> list[tuple[str, ...]]:
        """What the page gives to take home: these columns of each reading, in its order."""
        self.visitor.idle()
        saved = self.tab.get_by_role("link", name="Download CSV").or_(
            self.tab.get_by_role("button", name="Download CSV")
        )
        with self.tab.expect_download() as waiting:
            saved.last.click()
        text = Path(waiting.value.path()).read_text(encoding="utf-8-sig")
        return [tuple(r.get(c) or "" for c in columns) for r in csv.DictReader(io.StringIO(text.partition("\n")[2]))]

    def kv(self) -> list[float]:
        return [float(v) for (v,) in self.readings("kv")]


@pytest.fixture
def bench(visitor: Any, tmp_path: Path) -> Bench:
    return Bench(visitor, tmp_path)


def workbook(**sheets: list[list[Any]]) -> bytes:
    held = io.BytesIO()
    with pd.ExcelWriter(held, engine="openpyxl") as book:
        for name, rows in sheets.items():
            pd.DataFrame(rows).to_excel(book, sheet_name=name.replace("_", " "), header=False, index=False)
    return held.getvalue()


# ------------------------------------------------------------------------------- one sheet of each class


def test_two_columns_could_hold_the_readings(bench: Bench) -> None:
    bench.open(b"Oil,first kV,second kV\nA,40.5,1\nA,41.5,2\nB,42.5,3\n")
    bench.select("1").press("Headings").select("B").press("Readings").select("C").press("No readings")
    assert bench.kv() == [40.5, 41.5, 42.5]


def test_withstood_without_a_ceiling(bench: Bench) -> None:
    bench.open(b"Oil,kV\nA,58.5\nA,no BD\nA,59.5\n")
    bench.visitor.choose("What", "Ceiling (kV)")
    bench.visitor.idle()
    bench.tab.get_by_role("combobox", name="is", exact=True).select_option(label="60")
    bench.visitor.idle()
    bench.press("Set it")
    found = bench.readings("kv", "outcome")
    assert found == [("58.5", "breakdown"), ("60.0", "withstood"), ("59.5", "breakdown")]


def test_a_heading_means_something_else(bench: Bench) -> None:
    bench.open(b"Participant,kV\nX,40\nX,41\nY,50\nY,51\n")
    bench.select("A").means("Laboratory")
    assert bench.readings("laboratory", "kv") == [("X", "40.0"), ("X", "41.0"), ("Y", "50.0"), ("Y", "51.0")]


def test_summary_rows_without_a_known_word(bench: Bench) -> None:
    bench.open(b"Oil,b1,b2,b3\nA,40,41,42\nB,50,51,52\nfoot,47.1,44.9,44.8\n")
    bench.select("4").press("Summary")
    assert bench.kv() == [40, 41, 42, 50, 51, 52]
    sign = bench._spot("B4").get_attribute("data-sign")
    assert sign == "S"


def test_numbers_that_are_no_readings_are_left_out(bench: Bench) -> None:
    bench.open(b"Oil,kV\nA,40\nA,41\nA,42\nB,50\nB,51\nB,52\n,33\n,34\n")
    bench.select("A8:B9").press("Leave out")
    assert bench.kv() == [40, 41, 42, 50, 51, 52]


def test_a_form_whose_readings_stand_in_an_area(bench: Bench) -> None:
    rows = b"Tester,M. Brandl,Room,22\nOil,Juno,Limit,30\n,,,\n,40.5,41.5,42.5\n,43.5,44.5,45.5\n"
    bench.open(rows, "form.csv")
    bench.select("B4:D5").press("A table").select("B4:D4").press("No headings").select("B4:D5").press("Readings")
    assert bench.kv() == [40.5, 41.5, 42.5, 43.5, 44.5, 45.5]
    bench.visitor.choose("Fillings", "all are on one filling")
    bench.visitor.idle()
    assert {f for (f,) in bench.readings("filling")} == {"1"}


def test_tables_side_by_side_each_with_its_electrodes(bench: Bench) -> None:
    bench.open(b"left,,,,right,,\noil,1,2,,oil,1,2\nA,40,41,,A,60,61\nB,42,43,,B,62,63\n")
    bench.select("A2:C4").press("A table").set("Electrode", "disk")
    bench.select("E2:G4").press("A table").set("Electrode", "mushroom")
    assert sorted(bench.readings("electrode", "sample", "kv")) == [
        ("disk", "A", "40.0"), ("disk", "A", "41.0"), ("disk", "B", "42.0"), ("disk", "B", "43.0"),
        ("mushroom", "A", "60.0"), ("mushroom", "A", "61.0"), ("mushroom", "B", "62.0"), ("mushroom", "B", "63.0"),
    ]  # fmt: skip


def test_oils_in_columns(bench: Bench) -> None:
    bench.open(b"Series,Juno,Vesta\nfirst,40,50\nsecond,41,51\nthird,42,52\n")
    bench.select("1").press("Headings").select("B:C").press("Readings")
    bench.visitor.choose("The headings above readings", "Sample")
    bench.visitor.idle()
    bench.visitor.choose("Fillings", "each column is one filling")
    found = bench.readings("sample", "order", "kv")
    assert [r for r in found if r[0] == "Juno"] == [
        ("Juno", "1.0", "40.0"), ("Juno", "2.0", "41.0"), ("Juno", "3.0", "42.0"),
    ]  # fmt: skip
    assert len(found) == 6


def test_no_row_of_headings(bench: Bench) -> None:
    bench.open(b"A;x;40,5;41,5\nB;x;42,5;43,5\n")
    bench.select("1").press("No headings").select("C:D").press("Readings").select("A").means("Sample")
    assert bench.readings("sample", "kv") == [("A", "40.5"), ("A", "41.5"), ("B", "42.5"), ("B", "43.5")]


def test_sheets_are_chosen_and_told_apart(bench: Bench) -> None:
    rows: list[list[Any]] = [["Oil", "kV"], ["A", 40.5], ["A", 41.5]]
    old: list[list[Any]] = [["Oil", "kV"], ["A", 99.5], ["A", 98.5]]
    bench.open(workbook(one=rows, two=rows, old=old), "book.xlsx")
    for name, electrode in (("one", "disk"), ("two", "spherical")):
        bench.visitor.choose("Sheet", name)
        bench.set("Electrode", electrode, "this sheet")
    bench.visitor.choose("Sheet", "old")
    bench.press("Do not read this sheet")
    assert bench.readings("electrode", "kv") == [
        ("disk", "40.5"), ("disk", "41.5"), ("spherical", "40.5"), ("spherical", "41.5"),
    ]  # fmt: skip


# ------------------------------------------------------------------------------- what goes with it


def test_words_are_taken_back_one_by_one(bench: Bench) -> None:
    bench.open(b"Oil,kV\nA,40\nA,41\nA,42\n")
    bench.select("3").press("Leave out").set("Stirring", "none", "the whole file")
    assert bench.readings("stirring", "kv") == [("none", "40.0"), ("none", "42.0")]
    bench.press("Take back")
    assert bench.readings("kv") == [("40.0",), ("42.0",)]
    bench.press("Start over")
    assert bench.kv() == [40, 41, 42]


def test_the_recipe_is_saved_and_offered_for_the_next_file_of_the_shape(bench: Bench) -> None:
    bench.open(b"Participant,kV\nX,40\nX,41\n", "march.csv").select("A").means("Laboratory")
    bench.press("The recipe: save it, copy it, or open one")
    with bench.tab.expect_download() as waiting:
        bench.tab.get_by_role("button", name="Save the recipe").click()
    text = Path(waiting.value.path()).read_text()
    assert 'means = { A = "laboratory" }' in text and "40" not in text
    assert 'means = { A = "laboratory" }' in bench.tab.locator("pre.code").inner_text()
    bench.tab.get_by_label("Add to the files that are open").check()
    bench.open(b"Participant,kV\nY,50\nY,51\nY,52\n", "april.csv")
    bench.visitor.choose("File", "april.csv")
    bench.press("Read it as march.csv was read")
    assert [r[0] for r in bench.readings("laboratory")] == ["X", "X", "Y", "Y", "Y"]


def test_the_keyboard_alone(bench: Bench) -> None:
    bench.open(b"Oil,kV\nA,40\nA,41\nA,42\n")
    bench._spot("A3").focus()
    bench.tab.keyboard.press("Space")
    bench.tab.keyboard.press("Shift+ArrowRight")
    bench.visitor.idle()
    assert bench.tab.get_by_label("Selected").input_value() == "A3:B3"
    bench.tab.get_by_role("button", name="Leave out").focus()
    bench.tab.keyboard.press("Enter")
    assert bench.kv() == [40, 42]


def test_what_stands_in_a_cell_is_shown_and_not_run(bench: Bench) -> None:
    bench.open(b"Oil,kV\n<img src=x onerror=alert(1)>,40\nA,41\n")
    assert bench.tab.get_by_role("grid").locator("img").count() == 0
    assert "<img" in bench._spot("A2").inner_text()


@pytest.mark.parametrize("visitor", ["phone"], indirect=True)
def test_on_a_phone(bench: Bench) -> None:
    bench.open(b"Participant,kV\nX,40\nX,41\nY,50\n").select("A").means("Laboratory")
    bench.visitor.picture("sheet")
    wide = bench.tab.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390
    assert [r[0] for r in bench.readings("laboratory")] == ["X", "X", "Y"]


def test_a_page_that_lacks_a_laboratory_leads_to_the_sheet_where_it_is_named(bench: Bench) -> None:
    rows = [f"{p},A,{40 + i + 2 * k}.5" for k, p in enumerate("XYZ") for i in range(6)]
    bench.open("\n".join(["Crew,Oil,kV", *rows]).encode())
    bench.visitor.menu("Precision")
    bench.tab.get_by_text("No laboratory is named.").wait_for()
    bench.press("Name it on the sheet")
    bench.tab.get_by_role("grid").wait_for()
    bench.visitor.chosen("What", "Laboratory")
    bench.select("A").means("Laboratory")
    bench.visitor.choose("Fillings", "a new one after 3")
    bench.visitor.idle()
    bench.visitor.menu("Precision")
    bench.visitor.press("a filling's mean")
    bench.tab.locator(".answer").filter(has_text="laborator").wait_for()


# ------------------------------------------------------------------------------- three methods, without a word


def _levels(bench: Bench) -> str:
    """What Shift compares, as its tables say."""
    bench.visitor.menu("Shift")
    assert " higher than " in bench.visitor.answer()
    return " ".join(bench.tab.locator("table").all_inner_texts())


def test_a_workbook_of_three_method_sheets_shows_three_procedures(bench: Bench) -> None:
    def rows(shift: float) -> list[list[Any]]:
        return [["Oil", "b1", "b2", "b3"]] + [[o, *(v + shift + b for b in (0, 1.5, 2))] for o, v in OILS]

    bench.open(workbook(D877=rows(0), D1816_1_mm=rows(3), IEC_60156=rows(6)), "methods.xlsx")
    shown = _levels(bench)
    assert all(method in shown for method in ("D877", "D1816", "60156"))


@pytest.mark.parametrize(
    ("names", "shown"),
    [
        (("march", "april", "may"), ("march", "april", "may")),
        (("disks 2.5 mm", "mushrooms 2 mm stirred", "spheres 2.5 mm"), ("disk", "mushroom", "spherical")),
    ],
)
def test_three_files_of_one_method_each_show_three_procedures(
    bench: Bench, tmp_path: Path, names: tuple[str, ...], shown: tuple[str, ...]
) -> None:
    files = []
    for k, name in enumerate(names):
        rows = ["Oil,b1,b2,b3", *(f"{o},{v + 3 * k},{v + 3 * k + 1.5},{v + 3 * k + 2}" for o, v in OILS)]
        files.append(tmp_path / f"{name}.csv")
        files[-1].write_text("\n".join(rows))
    bench.tab.locator("input[type=file]").first.set_input_files([str(f) for f in files])
    bench.tab.locator(".answer").filter(has_text=f"{names[-1]}.csv").wait_for()
    levels = _levels(bench)
    assert all(level in levels for level in shown)


def test_the_sheet_has_no_grave_fault_in_either_theme(bench: Bench) -> None:
    bench.open(b"Participant,Oil,kV\nX,A,40\nX,A,41\nY,A,50\n").select("B2:C3")
    bench.press("The recipe: save it, copy it, or open one")
    bench.tab.emulate_media(reduced_motion="reduce")
    for dark in (False, True):
        set_dark(bench.visitor, dark)
        assert not (found := grave_faults(bench.tab, 3)), f"{'dark' if dark else 'light'}: {found}"
