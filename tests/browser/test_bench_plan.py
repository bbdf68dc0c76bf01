"""A run sheet as a person makes it: from the caution of a shift, taken away, filled in, and opened again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd


def test_from_a_caution_to_a_sheet_and_back(visitor: Any, tmp_path: Path) -> None:
    tab = visitor.open("?page=shift&data=programme&by=electrode")
    tab.get_by_role("button", name="Plan the missing tests").click()
    tab.locator(".answer").filter(has_text="Test these").wait_for()
    visitor.choose("Plan", "a comparison")
    tab.locator(".answer").filter(has_text="or narrower in").wait_for()
    with tab.expect_download() as waiting:
        tab.get_by_role("button", name="csv", exact=False).first.click()
    path = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(path)
    sheet = pd.read_csv(path)
    assert {"sample", "filling", "order", "kv", "before"} <= set(sheet.columns) and sheet["kv"].isna().all()
    visitor.picture("bench_plan")
