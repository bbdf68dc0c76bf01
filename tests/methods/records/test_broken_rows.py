"""Two short rows that are one row cut in two, and two that are lines of a form."""

from __future__ import annotations

from methods import read


def test_two_lines_of_a_form_are_not_one_row() -> None:
    form = "Eletrodos:;planos\nGap:;2,5 mm\n\nAmostra;Enchimento;kV\nLot A7;1;28,6/38,1/35,3\nLot A7;2;36,5/31,3/32,2\n"
    records = read(form.encode(), name="sheet.csv")
    assert set(records.table["electrode"]) == {"disk"} and set(records.table["gap_mm"]) == {2.5}
    assert not (records.guesses["code"] == "row_cut").any()


def test_a_row_that_a_line_break_cut_is_one_row() -> None:
    cut = "sample;remark;kv\nA;clear;40.1\nA;a little\nhazy;41.2\nA;clear;42.3\nA;clear;43.4\n"
    records = read(cut.encode(), name="sheet.csv")
    assert records.table["kv"].tolist() == [40.1, 41.2, 42.3, 43.4]
    assert (records.guesses["code"] == "row_cut").any()


def test_a_number_is_not_joined_to_a_text_that_hides_it() -> None:
    cut = "electrode;filling;kv\ndisk;first;no breakdown at 60\ndisk;41.0\n42.0;worn\n"
    records = read(cut.encode(), name="sheet.csv")
    assert not (records.guesses["code"] == "row_cut").any()
    assert (records.cells["number"] & records.cells["text"].isin(["41.0", "42.0"])).sum() == 2


def test_a_reading_at_the_foot_stays_one() -> None:
    records = read(b"kv\n0.0\nkv  1", name="a.csv")
    assert records.table["kv"].tolist() == [1.0]
    assert list(records.cells["role"]) == ["heading", "refused", "breakdown"]


def test_readings_in_one_cell_at_the_foot_stay_readings() -> None:
    records = read(b"kv\n1\nkv\n45/46/47", name="a.csv")
    assert {45.0, 46.0, 47.0} <= set(records.table["kv"])
