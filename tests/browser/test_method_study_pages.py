"""Scatter, precision and method study as a committee member uses them."""

from __future__ import annotations

import re
from typing import Any

import pytest


def test_the_scatter_of_one_level_is_looked_at_and_saved(visitor: Any) -> None:
    tab = visitor.open("?page=scatter&data=bench&by=electrode")
    tab.locator(".answer").filter(has_text="independent ones").wait_for()
    visitor.choose("Look at", "mushroom")
    tab.wait_for_url("**scatter.level=mushroom**")
    tab.locator(".answer").filter(has_text="mushroom: ").wait_for()
    assert tab.get_by_role("img", name=re.compile("Standard deviations")).count() == 1
    assert tab.get_by_role("img", name=re.compile("eighbours correlate")).count() == 1
    with tab.expect_download() as waiting:
        tab.get_by_role("link", name="Download CSV").or_(tab.get_by_role("button", name="Download CSV")).first.click()
    assert waiting.value.suggested_filename == "components.csv"


def test_a_round_is_read_a_cell_left_out_and_taken_back(visitor: Any) -> None:
    tab = visitor.open("?page=precision&data=labs")
    tab.locator(".answer").filter(has_text="9 laboratories, 4 levels").wait_for()
    before = visitor.answer()
    tab.get_by_role("button", name="Leave a cell out, with a reason").click()
    visitor.choose("Cell", "Erica · Alderholt T1")
    tab.get_by_role("textbox", name="Reason").last.fill("another oil was sent")
    tab.get_by_role("button", name="Leave out", exact=True).last.click()
    # Among the cautions, of which the gravest stands in front.
    told = tab.get_by_text("Left out on your word: Erica at Alderholt T1 (another oil was sent).")
    told.first.wait_for(state="attached")
    assert visitor.answer() != before
    visitor.picture("left out")
    tab.get_by_role("button", name="Take back").last.click()
    tab.locator(".answer").filter(has_text=before).wait_for()


@pytest.mark.parametrize("visitor", ["phone"], indirect=True)
def test_a_committee_member_goes_through_the_questions(visitor: Any) -> None:
    tab = visitor.open("?page=method_study&data=bench")
    tab.locator(".answer").filter(has_text="of tests of a sound oil").wait_for()
    for question, answer in (
        ("Is there a gap law?", "grows as gap to the power"),
        ("Is it the stressed oil?", "the weakest link predicts"),
        ("Fillings or breakdowns?", "One filling alone cannot show"),
    ):
        visitor.choose("Question", question)
        tab.locator(".answer").filter(has_text=answer).wait_for()
        visitor.idle()
        visitor.picture(question)
    tab.go_back()
    tab.locator(".answer").filter(has_text="the weakest link predicts").wait_for()


def test_a_simulation_runs_and_can_be_cancelled(visitor: Any) -> None:
    tab = visitor.open("?page=method_study&data=bench&method_study.family=weibull&method_study.between=5")
    tab.get_by_role("button", name="Simulate").click()
    tab.get_by_role("button", name="Cancel").click()
    tab.get_by_text("Cancelled. Nothing was changed.").wait_for()
    tab.get_by_role("button", name="Simulate").click()
    tab.get_by_text("What following the rule does to the reported mean").wait_for()
    visitor.picture("simulated")
