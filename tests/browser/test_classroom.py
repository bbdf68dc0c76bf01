"""The classroom as an instructor uses it: draw, look, challenge, reveal, save what was drawn."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest


@pytest.mark.parametrize("visitor", ["desk", "phone"], indirect=True)
def test_an_instructor_draws_and_sets_a_challenge(visitor: Any) -> None:
    tab = visitor.open("?page=classroom&classroom.count=20")
    tab.locator(".answer").filter(has_text="Take the first breakdown").wait_for()
    tab.get_by_role("button", name="Take one").click()
    tab.locator(".answer").filter(has_text="After 1 breakdown on 1 filling").wait_for()
    tab.wait_for_url("**classroom.taken=1*")
    tab.get_by_role("button", name="Finish the filling").click()
    tab.locator(".answer").filter(has_text=re.compile("After 6 breakdowns.* lies (inside|outside)")).wait_for()
    visitor.idle()
    visitor.picture("drawn")
    tab.get_by_label("Dark theme").click()
    visitor.idle()
    visitor.picture("drawn dark")
    tab.get_by_role("checkbox", name="Challenge").check()
    tab.locator(".answer").filter(has_text="Guess, then reveal it").wait_for()
    tab.get_by_role("button", name="Reveal the oil").click()
    tab.locator(".answer").filter(has_text=re.compile("lies (inside|outside)")).wait_for()
    visitor.idle()
    saver = tab.get_by_role("link", name="Download CSV").or_(tab.get_by_role("button", name="Download CSV"))
    with tab.expect_download() as waiting:
        saver.nth(1).click()
    assert Path(waiting.value.path()).read_text(encoding="utf-8-sig").splitlines()[0].count(",") >= 2
    assert waiting.value.suggested_filename.startswith("classroom_")
