"""Result tables: what is written in them, their pages and orders, and the CSV that they save."""

from __future__ import annotations

import base64
import html
import io
import re

import numpy as np
import pandas as pd
import pytest

from dashboard.tables import Table


def cells(table: Table) -> list[list[str]]:
    """The shown rows, as text."""
    rows = re.findall(r"<tr>(.*?)</tr>", table._text.object)[1:]
    return [[html.unescape(c) for c in re.findall(r"<td[^>]*>(.*?)</td>", row)] for row in rows]


def saved(table: Table) -> pd.DataFrame:
    """What the link in the table's heading saves."""
    (data,) = re.findall(r'href="data:text/csv;charset=utf-8;base64,([^"]*)"', table._text.object)
    return pd.read_csv(io.BytesIO(base64.b64decode(data)))


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


def test_long_tables_are_shown_in_the_order_asked_for() -> None:
    frame = pd.DataFrame({"kv": [5.0, np.nan, 7.0, 6.0, 1.0], "oil": ["b", "a", None, "a", "c"]})
    table = Table("rows", "Rows", frame, page_size=2, exact=True)
    pager = table._pager
    assert pager is not None
    pager._pages.value = 1
    pager._order.value = pager._order.options["Voltage (kV), highest first"]
    assert pager._pages.value == 0, "another order begins at its first page"
    assert [c[0] for c in cells(table)] == ["7", "6"]
    pager._order.value = pager._order.options["Voltage (kV), lowest first"]
    assert [c[0] for c in cells(table)] == ["1", "5"]
    pager._pages.value = 2
    assert [c[0] for c in cells(table)] == ["–"], "what is missing comes last"
    pager._order.value = pager._order.options["Oil"]
    assert [c[1] for c in cells(table)] == ["a", "a"]
    assert frame["kv"].iloc[0] == 5.0
