"""Shift, how many and decision as a person uses them: a complete study on each, the table saved, dark, on a phone."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest


def _save_first(tab: Any, folder: Path) -> list[dict[str, str]]:
    """Press the first table's download and read the file."""
    with tab.expect_download() as waiting:
        tab.get_by_role("link", name="Download CSV").or_(tab.get_by_role("button", name="Download CSV")).first.click()
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    with path.open(encoding="utf-8-sig", newline="") as file:
        assert next(file).startswith("# ")  # what it is, and the units
        return list(csv.DictReader(file))


def _type(tab: Any, label: str, text: str) -> None:
    """Type a number over what stands in a field, as a person does."""
    field = tab.get_by_role("textbox", name=label).or_(tab.get_by_role("spinbutton", name=label)).first
    field.click()
    field.press("Control+a")
    tab.keyboard.type(text)
    tab.keyboard.press("Tab")


def _wide_page(tab: Any) -> bool:
    """Whether anything makes the document wider than the window."""
    return bool(tab.evaluate("() => document.documentElement.scrollWidth > window.innerWidth + 1"))


def test_a_shift_is_read_judged_for_agreement_and_saved(visitor: Any, tmp_path: Path) -> None:
    tab = visitor.open("?page=shift&data=programme&by=electrode&only.method=IEC%2060156")
    tab.locator(".answer").filter(has_text="Mushroom reads").wait_for()
    assert "lower than spherical" in visitor.answer()
    visitor.choose("Compare by", "Stirring")
    tab.locator(".answer").filter(has_text="continuous").wait_for()
    assert "may be chance" in visitor.answer()
    _type(tab, "Agreement within ± (%)", "8")
    tab.locator(".answer").filter(has_text="agree within").wait_for()
    tab.wait_for_url("**shift.margin=8**")
    rows = _save_first(tab, tmp_path)
    assert {r["level"] for r in rows} == {"none"} and abs(float(rows[0]["difference_percent"])) < 5
    tab.get_by_label("Dark theme").click()
    visitor.idle()
    visitor.picture("dark")


def test_whole_distributions_are_compared_with_progress(visitor: Any) -> None:
    tab = visitor.open("?page=shift&data=bench")
    tab.get_by_role("button", name="Compare the whole distributions").click()
    tab.get_by_role("heading", name="Shift at every percentile").first.wait_for()
    assert tab.get_by_text("resamples of whole fillings").count()


@pytest.mark.parametrize("page", ["decision", "howmany"])
def test_work_that_a_page_begins_by_itself_ends_on_the_first_page_too(visitor: Any, page: str) -> None:
    """What changed before the browser had the page was lost once: a job that was done seemed to run for ever."""
    more = "0.9&decision.limit=iec_60422_2013%2Fb_good" if page == "decision" else "0.8"
    tab = visitor.open(f"?page={page}&data=programme&confidence={more}")
    tab.get_by_role("link", name="Download CSV").first.wait_for()
    tab.get_by_text("are being judged").wait_for(state="hidden")
    tab.get_by_role("button", name="Cancel").wait_for(state="hidden")
    tab.locator("canvas").first.wait_for()


@pytest.mark.parametrize("visitor", ["desk", "phone"], indirect=True)
def test_a_plan_follows_what_is_typed(visitor: Any, tmp_path: Path) -> None:
    tab = visitor.open("?page=howmany&data=bench&howmany.source=typed&howmany.fillings=5&howmany.half_width=12.5")
    tab.locator(".answer").filter(has_text="Take 5 fillings of").wait_for()
    assert "known from history" in visitor.answer()
    _type(tab, "Between fillings (%)", "1")
    tab.wait_for_url("**howmany.between=1**")
    assert not _wide_page(tab)
    rows = _save_first(tab, tmp_path)
    assert any(r["fillings"] == "5" for r in rows)
    visitor.choose("Plan for", "a difference")
    tab.locator(".answer").filter(has_text="true difference").wait_for()


@pytest.mark.parametrize("visitor", ["phone"], indirect=True)
def test_verdicts_are_given_and_another_methods_limit_refused(visitor: Any) -> None:
    tab = visitor.open("?page=decision&data=routine&decision.limit=astm_d3487%2Fd1816_2mm")
    tab.locator(".answer").filter(has_text="against 35 kV").wait_for()
    assert "not compared: another method, gap, edition or liquid" in visitor.answer()
    assert tab.get_by_text("heck against your own copy of the standard").count()
    assert not _wide_page(tab)
    visitor.picture("verdicts")
    visitor.open("?page=decision&data=routine&decision.limit=iec_60422_2013%2Fb_good")
    tab.get_by_text("no standard converts one into the other").first.wait_for()
