"""Every file that a test reads is held to its account; the holding bites. Invented rows."""

from __future__ import annotations

import io
import os
from pathlib import Path

import pandas as pd
import pytest

from methods import read
from methods.cage import read_in_cage
from methods.records import balance
from methods.records.account import Account

SHEETS = Path(__file__).parents[2] / "reference" / "sheets"
ROWS = b"Oil,No.,kV,water mg/kg\nA,1,40.5,9\nA,2,41.5,9\nA,3,lost,9\nmean,,41.0,\n"


def test_it_is_asked_for_in_every_test() -> None:
    assert os.environ[balance.SWITCH] == "1"
    records = read(ROWS, name="balanced.csv")
    assert records.account.numbers == {"": 9} and balance.faults(records) == []
    assert read_in_cage(ROWS, name="balanced.csv").account.numbers == {"": 9}


def test_a_cell_that_is_lost_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = Account.frame
    raw = ROWS.replace(b"40.5", b"40.7")
    monkeypatch.setattr(Account, "frame", lambda self: whole(self).query("text != '40.7'"))
    with pytest.raises(AssertionError, match="8 of 9 numbers of sheet"):
        read(raw, name="unbalanced.csv")
    with pytest.raises(AssertionError, match="8 of 9 numbers"):
        read_in_cage(raw, name="unbalanced.csv")


def test_a_reading_that_is_neither_kept_nor_refused_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    from methods.records.kept import Log

    whole = Log.problems
    monkeypatch.setattr(Log, "problems", lambda self: whole(self).query("code != 'summary'"))
    with pytest.raises(AssertionError, match="4 read, 2 kept, 1 refused"):
        read(ROWS.replace(b"40.5", b"40.9"), name="unbalanced.csv")


def test_sheets_that_nobody_asked_for_are_accounted_for() -> None:
    held = io.BytesIO()
    with pd.ExcelWriter(held, engine="openpyxl") as book:
        for name in ("one", "two"):
            pd.DataFrame({"Oil": ["A", "A"], "kV": [40.5, 41.5]}).to_excel(book, sheet_name=name, index=False)
    records = read(held.getvalue(), sheet="two")
    assert records.account.numbers == {"one": 2, "two": 2} and len(records.table) == 2
    told = records.cells.query("sheet == 'one' and number")
    assert set(told["role"]) == {"not_used"} and set(told["why"]) == {"the sheet was not asked for"}


def test_a_long_text_balances() -> None:
    lines = [f"oil {i % 9},{i % 6 + 1},{40 + i % 17}.{i % 10},{'OL' if i % 5000 == 7 else 'x'}" for i in range(260_000)]
    records = read(("sample,order,kv,remark\n" + "\n".join(lines) + "\n").encode(), name="long.csv")
    assert records.account.sheets[0].long and balance.faults(records) == []
