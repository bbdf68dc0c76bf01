"""The classroom as an instructor uses it: draw, play, guess, reveal, save what was drawn; by clicks and by keys."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from tests.browser.test_first_screen import inside, rectangles


@pytest.mark.parametrize("visitor", ["desk", "phone"], indirect=True)
def test_an_instructor_draws_and_sets_a_challenge(visitor: Any) -> None:
    tab = visitor.open("?page=classroom&classroom.count=20")
    said = tab.locator(".answer")
    said.filter(has_text="One breakdown").wait_for()
    tab.get_by_role("button", name="Take one").click()
    said.filter(has_text="2 breakdowns on 1 filling").wait_for()
    tab.wait_for_url("**classroom.taken=2*")
    tab.get_by_role("button", name="Finish the filling").click()
    said.filter(has_text="6 breakdowns on 1 filling").wait_for()
    visitor.idle()
    visitor.picture("drawn")
    tab.get_by_label("Dark theme").click()
    visitor.idle()
    visitor.picture("drawn dark")
    guesses = tab.get_by_label("Guesses of the true mean (kV)")
    guesses.fill("AB 70\nCD 54,5, EF 41")
    guesses.blur()
    tab.get_by_text(re.compile("3 guesses, the middle one at 54.5")).wait_for()
    assert "truth" not in visitor.answer()
    tab.get_by_role("button", name="Reveal the truth").click()
    said.filter(has_text=re.compile("The truth is .* Nearest: CD")).wait_for()
    assert tab.locator("ol.score li").count() == 3
    visitor.idle()
    visitor.picture("revealed")
    assert tab.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth")
    saver = tab.get_by_role("link", name="Download CSV").or_(tab.get_by_role("button", name="Download CSV"))
    with tab.expect_download() as waiting:
        saver.last.click()
    assert Path(waiting.value.path()).read_text(encoding="utf-8-sig").splitlines()[1].count(",") >= 2
    assert waiting.value.suggested_filename.startswith("classroom_")


def test_laboratories_play_and_pause_by_keys_on_one_projected_screen(visitor: Any) -> None:
    size = (1280, 720)
    visitor.tab.set_viewport_size({"width": size[0], "height": size[1]})
    tab = visitor.open("?page=classroom&classroom.lesson=laboratories")
    tab.wait_for_url("**classroom.view=laboratories*")
    said = tab.locator(".answer")
    said.filter(has_text="The first laboratory reports").wait_for()
    tab.get_by_label("fast", exact=True).focus()
    tab.keyboard.press("Space")
    tab.get_by_role("button", name="Play").focus()
    tab.keyboard.press("Enter")
    said.filter(has_text=re.compile(r"^([5-9]|\d\d) laboratories")).wait_for()
    tab.get_by_role("button", name="Pause").focus()
    tab.keyboard.press("Space")
    visitor.idle()
    stood = visitor.answer()
    tab.wait_for_timeout(900)
    assert visitor.answer() == stood, "paused"
    tab.wait_for_url(re.compile(r"classroom\.reported=\d+"))
    visitor.picture("paused")
    tab.get_by_role("button", name="All of them").click()
    said.filter(has_text=re.compile(r"100 laboratories, one oil.*: \d+ fail it at 50\s*kV, \d+ pass it")).wait_for()
    visitor.idle()
    visitor.picture("all")
    (answer,) = rectangles(tab, ".answer")
    plot = min(rectangles(tab, ".bk-Figure"), key=lambda box: box[1])
    assert inside(answer, size) and inside(plot, size) and inside(rectangles(tab, ".beside")[0], size)
    assert plot[3] - plot[1] >= 300
    assert float(tab.locator(".answer").evaluate("e => parseFloat(getComputedStyle(e).fontSize)")) >= 24
    button = tab.get_by_role("button", name="Next laboratory").bounding_box()
    assert 0 <= button["y"] <= plot[1], "the button stands between the sentence and the plot"
