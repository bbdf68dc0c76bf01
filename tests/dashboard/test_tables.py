"""Result tables: what is written in them, their pages and orders, and the CSV that they save."""

from __future__ import annotations

import base64
import html
import io
import re

import numpy as np
import pandas as pd
import pytest

from dashboard.study import Study
from dashboard.tables import Table
from methods.answers.heads import OWN


def cells(table: Table) -> list[list[str]]:
    """The shown rows, as text."""
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", table._text.object)[1:]
    return [[html.unescape(c) for c in re.findall(r"<td[^>]*>(.*?)</td>", row)] for row in rows]


def saved(table: Table) -> pd.DataFrame:
    """What the link in the table's heading saves."""
    (data,) = re.findall(r'href="data:text/csv;charset=utf-8;base64,([^"]*)"', table._text.object)
    return pd.read_csv(io.BytesIO(base64.b64decode(data)), skiprows=1)


@pytest.fixture
def results() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "level": ["disk", "<b>cap</b>"], "mean_kv": [51.23456789, np.nan], "n": [30, 1], "few": [False, True],
            "p_value": [0.00001, 0.0312],
        }
    )  # fmt: skip


def test_numbers_are_rounded_for_reading_and_texts_escaped(results: pd.DataFrame) -> None:
    table = Table("means", "Means", results)
    assert cells(table) == [["disk", "51.2", "30", "no", "< 0.001"], ["<b>cap</b>", "–", "1", "yes", "0.031"]]
    assert "<b>cap</b>" not in table._text.object
    assert table._text.object.count('scope="col"') == 5


def test_missing_counts_are_dashes() -> None:
    assert cells(Table("n", "N", pd.DataFrame({"n": pd.array([3, None], dtype="Int64")}))) == [["3"], ["–"]]


def test_the_link_saves_every_digit(results: pd.DataFrame) -> None:
    table = Table("means by level", "Means", results)
    assert 'download="means_by_level.csv"' in table._text.object
    pd.testing.assert_frame_equal(saved(table), results)
    table.frame = results.assign(mean_kv=[1.23456789, 2.0])
    assert saved(table)["mean_kv"].tolist() == [1.23456789, 2.0]


def test_a_cell_that_a_spreadsheet_would_run_is_saved_as_text() -> None:
    table = Table("notes", "Notes", pd.DataFrame({"note": ["=1+1"]}))
    assert saved(table)["note"].iloc[0] != "=1+1" and "=1+1" in saved(table)["note"].iloc[0]


def test_long_tables_are_shown_by_pages() -> None:
    table = Table("rows", "Rows", pd.DataFrame({"kv": np.arange(60.0)}), page_size=25)
    pager = table._pager
    assert pager is not None and pager.view.visible and "base64" not in table._text.object
    assert (pager._pages.count, len(cells(table))) == (3, 25)
    pager._pages.value = 2
    assert [c[0] for c in cells(table)] == [f"{v}.0" for v in range(50, 60)]
    assert "Rows 51 to 60 of 60" in pager._where.object
    table.frame = pd.DataFrame({"kv": np.arange(30.0)})
    assert pager._pages.value == 1 and len(cells(table)) == 5
    table.frame = pd.DataFrame({"kv": np.arange(3.0)})
    assert not pager.view.visible and len(cells(table)) == 3 and "base64" in table._text.object


def press(table: Table, column: str) -> None:
    """Press a heading as the browser does."""
    table._text.heard({"sort": list(table.frame.columns).index(column)})


def test_a_press_on_a_heading_sorts_all_pages() -> None:
    frame = pd.DataFrame({"kv": [5.0, np.nan, 7.0, 6.0, 1.0], "oil": ["b", "a", None, "a", "c"]})
    table = Table("rows", "Rows", frame, page_size=2, exact=True)
    pager = table._pager
    assert pager is not None and 'aria-sort="none"' in table._text.object
    pager._pages.value = 1
    press(table, "kv")
    assert pager._pages.value == 0, "another order begins at its first page"
    assert [c[0] for c in cells(table)] == ["1", "5"] and table._text.object.count('aria-sort="ascending"') == 1
    press(table, "kv")
    assert [c[0] for c in cells(table)] == ["7", "6"] and table._text.object.count('aria-sort="descending"') == 1
    pager._pages.value = 2
    assert [c[0] for c in cells(table)] == ["–"], "what is missing comes last"
    press(table, "oil")
    assert [c[1] for c in cells(table)] == ["a", "a"]
    press(table, "oil")
    press(table, "oil")
    assert [c[0] for c in cells(table)] == ["5", "–"], "as given"
    assert frame["kv"].iloc[0] == 5.0
    table._text.heard({"sort": 99})
    table._text.heard("nonsense")


def shown(table: Table) -> list[str]:
    """The headings that are seen."""
    pattern = r'<th scope="col"(?! class="[^"]*rest)[^>]*><button[^>]*>(.*?)</b'
    return [html.unescape(h) for h in re.findall(pattern, table._text.object)]


def test_what_the_reader_decides_by_is_seen_and_the_rest_on_request() -> None:
    names = ["level", "fillings", "breakdowns", "withstood", "mean_kv", "difference_percent", "low_percent",
             "high_percent", "difference_kv", "low_kv", "high_kv", "p_value", "reference_fillings",
             "reference_mean_kv", "df", "method"]  # fmt: skip
    frame = pd.DataFrame({n: ["a long word of a level"] if n in ("level", "method") else [1234.5] for n in names})
    table = Table("shift", "Shift", frame, OWN["shift"])
    first = shown(table)
    assert 5 <= len(first) < len(names)
    for column in ("level", "difference_percent", "low_percent", "high_percent", "p_value"):
        assert table._headings()[column] in first
    assert f"{len(names) - len(first)} more columns" in table._text.object
    table._text.heard({"more": True})
    assert len(shown(table)) == len(names) and "Fewer columns" in table._text.object
    assert saved(table).shape == frame.shape, "the download has all"
    assert len(shown(Table("n", "N", frame[["level", "mean_kv"]]))) == 2


def test_rows_that_are_readings_are_selected_and_marked() -> None:
    study = Study()
    study.open(b"oil,filling,kV\nA,1,50\nA,1,52\nA,2,47\n", "invented.csv")
    table = Table("readings", "Readings", study.table[["filling", "kv"]], study=study)
    assert "data-row" not in table._text.object
    table.select_by(study.places)
    assert table._text.object.count('data-row="') == 3 and table._text.object.count('tabindex="-1"') == 2
    table._text.heard({"row": 1, "several": False})
    assert study.selected == [1] == table._text.marked
    table._text.heard({"row": 2, "several": True})
    assert study.selected == [1, 2] == table._text.marked
    table._text.heard({"row": 2, "several": True})
    table._text.heard({"row": 77, "several": True})
    assert study.selected == [1]
    table._text.heard({"row": 1, "several": False})
    assert study.selected == []
    press(table, "kv")
    assert [int(r) for r in re.findall(r'data-row="(\d+)"', table._text.object)] == [2, 0, 1]
