"""What is said of a sheet by clicks becomes a recipe with which the true readings come out. All sheets are invented."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from methods.errors import InputError
from methods.records import Recipe, open_sheets, read
from methods.records.by_click import Hand, Taken, cells_said
from methods.records.places import Place

P = Place.parse
#: Two columns that could hold the readings, and a row that sums up without a word that is known.
TWO = b"Wren tests,,,\nOil,no.,kV,BD kV\nA,1,40.5,44\nA,2,41.5,45\nB,1,42.5,46\nB,2,43.5,47\nZusatz,,42.0,45.5\n"


class Table:
    """A sheet that is put right step by step, as the page does it."""

    def __init__(self, data: bytes) -> None:
        self.data, self.recipe = data, Recipe()
        self.sheet = open_sheets(data, "a.csv")[0]
        self.cells = self._cells()

    def _cells(self) -> Any:
        try:
            return self.read().cells
        except InputError:
            return cells_said(self.recipe, self.sheet)

    def read(self) -> Any:
        return read(self.data, name="a.csv", recipe=Recipe.from_toml(self.recipe.to_toml()))

    def say(self, deed: str, *words: Any) -> Table:
        self.recipe = getattr(Hand(self.recipe, self.sheet, self.cells), deed)(*words)
        self.cells = self._cells()
        return self

    def kv(self) -> list[float]:
        return self.read().table["kv"].tolist()  # type: ignore[no-any-return]


def test_the_column_of_readings_is_chosen_and_a_summary_row_known_by_its_label() -> None:
    table = Table(TWO).say("heading_row", P("2:2")).say("readings", P("D:D")).say("out", P("7:7"), "summary")
    assert table.kv() == [44, 45, 46, 47]
    said = table.recipe.sheet("").whole
    assert said.headings == ("Oil", "no.", "kV", "BD kV") and said.summary == ("Zusatz",)
    # A longer sheet of the same shape: the label finds the row.
    longer = TWO.replace(b"Zusatz", b"C,1,48.5,50\nZusatz")
    assert read(longer, name="b.csv", recipe=table.recipe).table["kv"].tolist() == [44, 45, 46, 47, 50]


def test_a_meaning_leaves_the_rest_as_it_was_read() -> None:
    data = b"Participant,kV\nX,40\nX,41\nY,50\n"
    table = Table(data).say("means", P("A:A"), "laboratory")
    part = table.recipe.sheet("").whole
    assert (part.heading_row, part.values, dict(part.means)) == (1, (1,), {0: "laboratory"})
    assert table.read().table["laboratory"].tolist() == ["X", "X", "Y"]
    assert table.kv() == [40, 41, 50]


def test_a_column_that_was_read_holds_no_readings() -> None:
    table = Table(b"oil,b1,b2,b3\nA,40,41,7\nB,42,43,9\n").say("readings", P("D:D"), False)
    assert table.kv() == [40, 41, 42, 43]


def test_cells_are_left_out_and_taken_in_again() -> None:
    table = Table(b"oil,kV\nA,40\nA,41\nA,42\n").say("out", P("B3"), "leave_out")
    assert table.kv() == [40, 42]
    assert table.recipe.sheet("").rows == 4  # it names a row, so it fits sheets of as many rows only
    assert table.say("forget", P("B3")).kv() == [40, 41, 42]
    assert table.recipe == Recipe()


def test_two_tables_side_by_side_each_with_its_electrode() -> None:
    data = b"oil,1,2,,oil,1,2\nA,40,41,,A,60,61\nB,42,43,,B,62,63\n"
    table = Table(data).say("table", P("A1:C3")).say("table", P("E1:G3"))
    table.say("context", P("A1:C3"), "electrode", "disk").say("context", P("E1:G3"), "electrode", "mushroom")
    found = table.read().table
    assert found.groupby("electrode")["kv"].apply(sorted).to_dict() == {
        "disk": [40, 41, 42, 43], "mushroom": [60, 61, 62, 63],
    }  # fmt: skip
    assert found["sample"].tolist() == ["A", "A", "B", "B"] * 2
    # What is said inside of a table of its own is said of that table.
    table.say("means", P("E1:E3"), "laboratory")
    assert table.recipe.sheet("").whole.means == {}
    assert table.read().table["laboratory"].dropna().tolist() == ["A", "A", "B", "B"]


def test_samples_in_columns_and_the_rule_of_fillings() -> None:
    data = b"Series,Juno,Vesta\nfirst,40,50\nsecond,41,51\nthird,42,52\n"
    table = Table(data).say("heading_row", P("1:1")).say("readings", P("B:C")).say("heads", P("B:C"), "sample")
    table.say("filling", Place(), "column")
    found = table.read().table
    assert found.groupby("sample")["kv"].apply(list).to_dict() == {"Juno": [40, 41, 42], "Vesta": [50, 51, 52]}
    assert found["filling"].tolist() == ["1"] * 6
    assert table.say("filling", Place(), "2").read().fillings == 4


def test_context_of_the_file_the_sheet_and_a_range_and_taking_it_back() -> None:
    table = Table(b"oil,kV\nA,40\nA,41\nB,42\n").say("of_the_file", "stirring", "none")
    table.say("context", Place(), "electrode", "disk").say("context", P("A4:B4"), "electrode", "mushroom")
    assert table.read().table["electrode"].tolist() == ["disk", "disk", "mushroom"]
    assert set(table.read().table["stirring"]) == {"none"}
    table.say("context", P("A4:B4"), "electrode", "").say("of_the_file", "stirring", "")
    assert table.read().table["electrode"].tolist() == ["disk"] * 3
    assert table.say("context", Place(), "electrode", "").recipe == Recipe()


def test_a_wrong_word_is_refused_where_it_is_said() -> None:
    table = Table(TWO)
    for deed, words, told in (
        ("context", (Place(), "gap_mm", "wide"), "write a number"),
        ("readings", (Place(),), "Select a column"),
        ("heading_row", (P("B:B"),), "Select a row"),
        ("table", (P("3:3"),), "corner"),
    ):
        with pytest.raises(InputError, match=told):
            table.say(deed, *words)


def test_how_the_reader_took_a_sheet_is_told_from_its_account() -> None:
    records = read(b"oil,b1,b2\nA,40,41\n", name="a.csv")
    assert Taken.of(records.cells, "", Place()) == Taken(1, (1, 2))
    assert Taken.of(pd.DataFrame(), "", Place()) == Taken()


def test_what_is_said_of_a_sheet_that_cannot_be_read_is_shown() -> None:
    table = Table(TWO).say("heading_row", P("2:2")).say("out", P("7:7"), "leave_out").say("means", P("A:A"), "sample")
    found = cells_said(table.recipe, table.sheet)
    roles = {(c.row, c.column): c.role for c in found.itertuples()}
    assert roles[2, 1] == "heading" and roles[3, 1] == "sample" and roles[7, 1] == "left_out"


def test_a_row_is_not_known_by_a_label_that_others_have() -> None:
    table = Table(b"oil,kV\nA,40\nA,41\nA,42\n").say("out", P("3:3"), "leave_out")
    assert table.recipe.sheet("").whole.leave_out == ("3:3",)
    assert table.kv() == [40, 42]
    table.say("of_the_file", "stirring", "none")
    assert table.read().table["stirring"].tolist() == ["none", "none"]


def test_a_row_that_was_taken_for_a_summary_holds_readings() -> None:
    # The third oil reads exactly the mean of the two above it; the fourth has the name of a summary.
    table = Table(b"oil,b1,b2,b3\nA,40,41.5,42\nB,50,51.5,52\nC,45,46.5,47\nMax,61,62,63\n")
    assert len(table.kv()) < 12
    table.say("readings", P("4:5"))
    assert table.kv() == [40, 41.5, 42, 50, 51.5, 52, 45, 46.5, 47, 61, 62, 63]
    assert table.say("forget", P("4:5")).recipe.sheet("").whole.readings == ()
    table.say("out", P("3:3"), "summary").say("readings", P("B3:D3"))
    assert 50 in table.kv()


def test_choices_for_the_whole_file() -> None:
    table = Table(b"Oil;kV\nA;58,5\nA;no BD\nA;59,5\n").say("option", "ceiling_kv", "60 kV")
    assert table.kv() == [58.5, 60, 59.5]
    assert table.say("option", "unit", "V").kv() == pytest.approx([0.0585, 60, 0.0595])
    assert dict(table.recipe.options) == {"ceiling_kv": 60, "unit": "V"}
    table.say("option", "unit", "").say("option", "day_first", "day first").say("option", "decimal", "comma")
    assert dict(table.recipe.options) == {"ceiling_kv": 60, "day_first": True, "decimal": ","}
    assert table.say("option", "ceiling_kv", "none").recipe.options["ceiling_kv"] is False
    for name, text in (("unit", "mm"), ("ceiling_kv", "high"), ("layout", "round")):
        with pytest.raises(InputError):
            table.say("option", name, text)
