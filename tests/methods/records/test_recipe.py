"""Recipes: what they say is read, they come back from their own text, and one that does not fit says so in a line."""

from __future__ import annotations

import io
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from methods.columns import COLUMNS
from methods.errors import InputError
from methods.records import Recipe, open_sheets, read
from methods.records.places import Place, column_number, letter
from methods.records.recipe import CONTEXT, MEANINGS, Part, SheetRecipe

HEAD = "gapshift_recipe = 1\n"
#: Invented readings; the second column counts, the last row sums up without saying so in a word that is known.
ODD = b"Oil,1,2,3,4\nA,40,41,1,42\nB,50,51,2,52\nC,30,31,3,32\nStreu,1,1,1,1\n"


def sheet(**keys: str) -> str:
    lines = [f"{k} = {v}" for k, v in keys.items()]
    return HEAD + "[[sheet]]\nname = ''\n" + "\n".join(lines) + "\n"


def kv(records: object) -> list[float]:
    return records.table["kv"].tolist()  # type: ignore[attr-defined]


def workbook(**sheets: list[list[object]]) -> bytes:
    held = io.BytesIO()
    with pd.ExcelWriter(held, engine="openpyxl") as book:
        for name, rows in sheets.items():
            pd.DataFrame(rows).to_excel(book, sheet_name=name, header=False, index=False)
    return held.getvalue()


def test_values_meanings_and_summaries_are_read_as_said() -> None:
    said = sheet(
        heading_row="1", values="['B:C', 'E']", means="{ A = 'laboratory', D = 'unused' }", summary="['Streu']"
    )
    found = read(ODD, name="a.csv", recipe=said)
    assert kv(found) == [40, 41, 42, 50, 51, 52, 30, 31, 32]
    assert found.table["laboratory"].tolist() == ["A"] * 3 + ["B"] * 3 + ["C"] * 3
    assert found.table["sample"].isna().all()
    roles = {(c.row, c.column): c.role for c in found.cells.itertuples()}
    assert [roles[5, c] for c in range(1, 6)] == ["summary"] * 5
    assert roles[2, 2] == "breakdown" and roles[2, 1] == "laboratory"


def test_what_is_left_out_is_accounted_for_and_not_read() -> None:
    found = read(ODD, name="a.csv", recipe=sheet(values="['B']", heading_row="1", leave_out="['3:3', 'B4', '=Streu']"))
    assert kv(found) == [40]
    assert set(found.cells.query("role == 'left_out'")["row"]) == {3, 4, 5}


def test_context_holds_for_the_file_a_sheet_and_an_area_the_narrowest_last() -> None:
    text = (
        HEAD + "[context]\nstirring = 'none'\nelectrode = 'disk'\n[[sheet]]\nname = ''\nheading_row = 1\n"
        "values = ['B:C', 'E']\nmeans = { A = 'sample' }\nsummary = ['Streu']\ncontext = { gap_mm = '2.5' }\n"
        "[[sheet.block]]\ncells = 'B2:C3'\ncontext = { electrode = 'spherical', gap_mm = '0.1 in' }\n"
    )
    table = read(ODD, name="a.csv", recipe=text).table
    assert table["stirring"].tolist() == ["none"] * 9
    assert table["electrode"].tolist() == [*["spherical", "spherical", "disk"] * 2, *["disk"] * 3]
    assert table["gap_mm"].tolist() == pytest.approx([2.54, 2.54, 2.5] * 2 + [2.5] * 3)
    # Readings of another condition on the same row are another filling; each counts its own.
    assert table["order"].tolist() == [1, 2, 1, 1, 2, 1, 1, 2, 3]


@pytest.mark.parametrize(
    ("rule", "filling", "order"),
    [
        ("row", "111222", [1, 2, 3] * 2),
        ("column", "123123", [1, 1, 1, 2, 2, 2]),
        ("one", "111111", [1, 2, 3, 4, 5, 6]),
        ("2", "112233", [1, 2] * 3),
    ],
)
def test_the_rule_of_fillings(rule: str, filling: str, order: list[int]) -> None:
    text = sheet(heading_row="1", values="['A:C']", filling=f"'{rule}'")
    table = read(b"1,2,3\n40,41,42\n50,51,52\n", name="a.csv", recipe=text).table
    assert "".join(table["filling"]) == filling
    assert table["order"].tolist() == order


def test_headings_of_the_values_can_be_levels() -> None:
    said = sheet(heading_row="1", values="['B:C']", heads="'sample'", filling="'column'", means="{ A = 'unused' }")
    table = read(b"no,Juno,Vesta\n1,40,50\n2,41,51\n3,42,52\n", name="a.csv", recipe=said).table
    assert sorted(zip(table["sample"], table["filling"], table["order"], table["kv"], strict=True)) == [
        ("Juno", "1", 1, 40), ("Juno", "1", 2, 41), ("Juno", "1", 3, 42),
        ("Vesta", "1", 1, 50), ("Vesta", "1", 2, 51), ("Vesta", "1", 3, 52),
    ]  # fmt: skip


def test_areas_are_tables_of_their_own() -> None:
    text = (
        HEAD + "[[sheet]]\nname = ''\n"
        "[[sheet.block]]\ncells = 'A2:C4'\ntable = true\nheading_row = 2\nvalues = ['B:C']\nmeans = { A = 'sample' }\n"
        "context = { electrode = 'disk' }\n"
        "[[sheet.block]]\ncells = 'E2:G4'\ntable = true\nheading_row = 2\nvalues = ['F:G']\nmeans = { E = 'sample' }\n"
        "context = { electrode = 'mushroom' }\n"
    )
    data = b"left,,,,right,,\noil,1,2,,oil,1,2\nA,40,41,,A,60,61\nB,42,43,,B,62,63\n"
    found = read(data, name="a.csv", recipe=text)
    got = found.table[["sample", "electrode", "kv"]].apply(tuple, axis=1).tolist()
    assert got == [
        ("A", "disk", 40), ("A", "disk", 41), ("B", "disk", 42), ("B", "disk", 43),
        ("A", "mushroom", 60), ("A", "mushroom", 61), ("B", "mushroom", 62), ("B", "mushroom", 63),
    ]  # fmt: skip
    assert found.origin["source_place"].tolist() == [2, 3, 2, 3, 6, 7, 6, 7]


def test_no_heading_row() -> None:
    table = read(
        b"A,40,41\nB,42,43\n", name="a.csv", recipe=sheet(heading_row="0", values="['B:C']", means="{A='sample'}")
    )
    assert kv(table) == [40, 41, 42, 43]
    assert table.table["sample"].tolist() == ["A", "A", "B", "B"]


def test_sheets_are_chosen_and_carry_their_context() -> None:
    rows: list[list[object]] = [["Oil", "kV"], ["A", 40.5], ["A", 41.5]]
    data = workbook(one=rows, two=rows, notes=[["nothing here"]])
    text = HEAD + "".join(
        f"[[sheet]]\nname = '{n}'\ncontext = {{ electrode = '{e}' }}\n"
        for n, e in (("one", "disk"), ("two", "mushroom"))
    )
    table = read(data, name="b.xlsx", recipe=text).table
    assert table["electrode"].tolist() == ["disk"] * 2 + ["mushroom"] * 2
    only = text + "use = false\n"
    assert read(data, name="b.xlsx", recipe=only).table["electrode"].tolist() == ["disk"] * 2
    none = HEAD + "".join(f"[[sheet]]\nname = '{n}'\nuse = false\n" for n in ("one", "two", "notes"))
    with pytest.raises(InputError, match="leaves no sheet"):
        read(data, name="b.xlsx", recipe=none)


def test_options_of_the_recipe_and_those_given_which_win() -> None:
    data = b"sample;kV\nA;40,5\nA;41,5\n"
    assert kv(read(data, name="a.csv", recipe=HEAD + "unit = 'V'\n")) == pytest.approx([0.0405, 0.0415])
    assert kv(read(data, name="a.csv", recipe=HEAD + "unit = 'V'\n", unit="kV")) == [40.5, 41.5]


# ------------------------------------------------------------------------------------------------ the next file


def fit(data: bytes, text: str, name: str = "a.csv") -> str:
    return Recipe.from_toml(text).fits(open_sheets(data, name))


def test_a_recipe_of_columns_fits_more_rows_and_no_other_headings() -> None:
    said = sheet(heading_row="1", headings="['Oil', '1', '2', '3', '4']", values="['B:C', 'E']")
    assert fit(ODD, said) == ""
    assert fit(ODD + b"D,1,2,3,4\n", said) == ""
    assert "holds 'Part' where the recipe has 'Oil'" in fit(ODD.replace(b"Oil", b"Part"), said)
    assert "a heading '5' more, in F" in fit(ODD.replace(b"3,4\n", b"3,4,5\n", 1), said)
    with pytest.raises(InputError, match=r"^The recipe does not fit this file: cell A1 holds 'X'.*\.$"):
        read(ODD.replace(b"Oil", b"X"), name="a.csv", recipe=said)


def test_a_recipe_that_names_rows_fits_sheets_of_as_many_rows_only() -> None:
    said = sheet(rows="5", leave_out="['5:5']")
    assert fit(ODD, said) == ""
    assert "5 rows, and the sheet here has 6" in fit(ODD + b"D,1,2,3,4\n", said)


def test_of_several_recipes_the_first_that_fits_is_taken() -> None:
    other = sheet(heading_row="1", headings="['Part', '1']", values="['B']")
    said = sheet(heading_row="1", headings="['Oil', '1', '2', '3', '4']", values="['B']", summary="['Streu']")
    assert kv(read(io.BytesIO(ODD), name="a.csv", recipe=[other, said])) == [40, 50, 30]
    assert kv(read(ODD, name="a.csv", recipe=[said])) == [40, 50, 30]
    with pytest.raises(InputError, match=r"None of the recipes fits this file: 1: cell A1 .*; 2: cell A1 .*\."):
        read(ODD, name="a.csv", recipe=[other, other])


def test_a_recipe_for_a_sheet_that_is_not_there() -> None:
    said = HEAD + "[[sheet]]\nname = 'one'\nheading_row = 1\n[[sheet]]\nname = 'two'\n"
    assert "a sheet 'one', and the sheets here are 'x'" in fit(workbook(x=[["kV"], [40]]), said, "b.xlsx")


# ------------------------------------------------------------------------------------------------ the text

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
places = st.sampled_from(["B5:F9", "10:12", "C:F", "B5"]).map(Place.parse)
contexts = st.dictionaries(st.sampled_from(["electrode", "sample", "stirring", "method"]),
                           st.sampled_from(["disk", 'a "b" c', "x = 1 # no", "ä\\n"]), max_size=3)  # fmt: skip
parts = st.builds(
    Part,
    table=st.booleans(),
    heading_row=st.none() | st.integers(0, 50),
    headings=st.lists(texts, max_size=4).map(tuple),
    values=st.lists(st.integers(0, 800), max_size=5, unique=True).map(sorted).map(tuple),
    means=st.dictionaries(st.integers(0, 800), st.sampled_from(MEANINGS), max_size=3),
    heads=st.sampled_from(["", *CONTEXT]),
    summary=st.lists(texts, max_size=2).map(tuple),
    leave_out=st.lists(texts, max_size=2).map(tuple),
    filling=st.sampled_from(["", "row", "column", "one", "5"]),
    context=contexts,
)
blocks = st.builds(lambda part, cells: replace(part, cells=cells), parts, places)
sheets = st.builds(
    SheetRecipe,
    name=texts,
    use=st.booleans(),
    rows=st.none() | st.integers(1, 99),
    whole=parts.map(lambda p: replace(p, table=False)),
    blocks=st.lists(blocks, max_size=2).map(tuple),
)
recipes = st.builds(
    Recipe,
    name=texts,
    options=st.sampled_from(
        [{}, {"unit": "V", "ceiling_kv": False}, {"ceiling_kv": 60.5, "day_first": True, "decimal": ","}]
    ),
    context=contexts,
    sheets=st.lists(sheets, max_size=2).map(tuple),
)


@settings(max_examples=150, deadline=None)
@given(recipes)
def test_every_recipe_comes_back_from_its_own_text(recipe: Recipe) -> None:
    assert Recipe.from_toml(recipe.to_toml()) == recipe


WHOLE = (
    HEAD + "name = 'odd'\nunit = 'kV'\n[context]\nelectrode = 'disk'\n[[sheet]]\nname = ''\nrows = 5\nheading_row = 1\n"
    "headings = ['Oil', '1', '2', '3', '4']\nvalues = ['B:C', 'E']\nmeans = { A = 'sample' }\nsummary = ['5:5']\n"
    "filling = 'row'\n[[sheet.block]]\ncells = 'B2:C3'\ncontext = { gap_mm = '2.5' }\n"
)


@settings(max_examples=300, deadline=None)
@given(st.integers(0, len(WHOLE) - 1), st.sampled_from(["", "x", "9", "'", "=", "[", "\n", "-", "\x00"]))
def test_a_tampered_recipe_reads_the_sheet_or_says_what_is_wrong_in_one_line(at: int, put: str) -> None:
    text = WHOLE[:at] + put + WHOLE[at + 1 :]
    try:
        found = read(ODD, name="a.csv", recipe=Recipe.from_toml(text))
    except InputError as error:
        assert str(error) and "\n" not in str(error)
    else:
        assert found.rows_read == len(found.table) + found.refused


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("unit = 'kV'\n", "this is no recipe"),
        ("gapshift_recipe = 2\n", "format is 2"),
        (HEAD + "colour = 1\n", "'colour' that means nothing"),
        (HEAD + "unit = 3\n", "unit cannot be 3"),
        (HEAD + "[context]\nkv = '3'\n", "speaks of 'kv'"),
        (HEAD + "[context]\ngap_mm = 'wide'\n", "gap_mm is 'wide'"),
        (sheet(values="['5:6']"), "names no columns"),
        (sheet(means="{ A = 'volume' }"), "cannot mean 'volume'"),
        (sheet(filling="'often'"), "filling is 'often'"),
        (sheet(heading_row="-1"), "heading_row cannot be -1"),
        (HEAD + "[[sheet.block]]\ntable = true\n", "no list of tables"),
        (sheet(block="[{ table = true }]"), "which cells"),
        ("gapshift_recipe = ", "no TOML"),
    ],
)
def test_what_is_wrong_is_said(text: str, word: str) -> None:
    with pytest.raises(InputError, match=f"(?i){word}"):
        Recipe.from_toml(text)


def test_a_recipe_that_is_not_there() -> None:
    with pytest.raises(InputError, match="cannot be read"):
        Recipe.of("/no/such/recipe.toml")


def test_places_are_written_as_a_spreadsheet_does() -> None:
    for text in ("A", "AA", "C:F", "12:12", "10:12", "B5", "B5:F9"):
        shown = str(Place.parse(text))
        assert Place.parse(shown) == Place.parse(text)
    assert [letter(i) for i in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]
    assert all(column_number(letter(i)) == i for i in range(800))
    assert set(CONTEXT) < set(COLUMNS)
