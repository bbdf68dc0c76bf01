"""One screen, one answer: sentence, gravest caution, the whole main plot and its controls without scrolling."""

from __future__ import annotations

from typing import Any

import pytest

from dashboard.pages import entries
from tests.browser.conftest import Visitor

#: Further settings of the address under which each page has a plot to show.
_FIRST = "&data=programme&by=electrode"
QUERIES = {
    "precision": "&data=labs", "method_study": "&data=bench&only.study=gap&method_study.question=gap",
    "classroom": "&classroom.taken=8&classroom.limit_kv=70",
    "decision": f"{_FIRST}&decision.limit=iec_60422_2013%2Fb_good",
}  # fmt: skip
#: The page of the readings themselves has a table for a plot.
PICTURED = [entry.key for entry in entries() if entry.key != "records"]
SCREENS = {"desk": (1440, 900), "small": (1280, 720)}

#: Rectangles, in every shadow tree, of what a selector finds and is shown.
RECTANGLES = """(selector) => {
  const found = []
  const look = (root) => {
    for (const element of root.querySelectorAll("*")) {
      const box = element.getBoundingClientRect()
      if (element.matches(selector) && box.width > 0 && element.checkVisibility({visibilityProperty: true})) {
        found.push([box.left, box.top, box.right, box.bottom])
      }
      if (element.shadowRoot) { look(element.shadowRoot) }
    }
  }
  look(document)
  return found
}"""


def rectangles(tab: Any, selector: str) -> list[list[float]]:
    return list(tab.evaluate(RECTANGLES, selector))


def inside(box: list[float], size: tuple[int, int]) -> bool:
    return box[0] >= 0 and box[1] >= 0 and box[2] <= size[0] + 0.5 and box[3] <= size[1] + 0.5


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("page", PICTURED)
def test_the_answer_is_on_one_screen(visitor: Visitor, page: str, screen: str) -> None:
    size = SCREENS[screen]
    visitor.tab.set_viewport_size({"width": size[0], "height": size[1]})
    tab = visitor.open(f"?page={page}{QUERIES.get(page, _FIRST)}")
    tab.locator(".bk-Figure:visible").first.wait_for()
    visitor.idle()
    visitor.picture(screen)
    (answer,) = rectangles(tab, ".answer")
    line = tab.locator(".answer").evaluate("e => parseFloat(getComputedStyle(e).lineHeight)")
    assert inside(answer, size) and answer[3] - answer[1] <= 2 * line + 2, "two lines"
    cautions = rectangles(tab, ".cautions > summary")
    assert all(inside(c, size) and c[3] - c[1] <= 26 for c in cautions), "one line"
    plot = min(rectangles(tab, ".bk-Figure"), key=lambda box: box[1])
    assert inside(plot, size), ("the whole plot", plot)
    assert plot[3] - plot[1] >= 280 and plot[2] - plot[0] >= 500, ("large enough to read", plot)
    controls = rectangles(tab, ".beside")
    assert len(controls) == 1 and inside(controls[0], size), ("its controls", controls)
    assert controls[0][0] >= plot[2] - 1, "beside it"
    assert tab.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth"), "nothing is cut"


@pytest.mark.parametrize("visitor", ["phone"], indirect=True)
@pytest.mark.parametrize("page", PICTURED)
def test_on_a_phone_sentence_plot_and_controls_follow_each_other(visitor: Visitor, page: str) -> None:
    tab = visitor.open(f"?page={page}{QUERIES.get(page, _FIRST)}")
    tab.locator(".bk-Figure:visible").first.wait_for()
    visitor.idle()
    visitor.picture()
    (answer,) = rectangles(tab, ".answer")
    plot = min(rectangles(tab, ".bk-Figure"), key=lambda box: box[1])
    (controls,) = rectangles(tab, ".beside")
    assert answer[3] <= plot[1] and plot[3] <= controls[1] + 1
    assert plot[1] < 844 * 0.75 and plot[3] - plot[1] >= 240
    assert tab.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth")


def test_the_rest_of_the_sentence_and_all_cautions_unfold(visitor: Visitor) -> None:
    tab = visitor.open(f"?page=decision{QUERIES['decision']}")
    tab.locator(".bk-Figure:visible").first.wait_for()
    visitor.idle()
    closed = rectangles(tab, ".answer")[0]
    tab.locator(".answer summary").click()
    assert rectangles(tab, ".answer")[0][3] >= closed[3]
    assert not tab.locator(".cautions .notice").first.is_visible()
    tab.locator(".cautions > summary").click()
    assert tab.locator(".cautions .notice").first.is_visible()


def test_an_explanation_comes_when_it_is_asked_for(visitor: Visitor) -> None:
    tab = visitor.open(f"?page=shift{_FIRST}")
    visitor.idle()
    hint = tab.locator(".control .hint").filter(has_text="Choose it before looking at the results").first
    assert not hint.is_visible()
    tab.locator(".control").filter(has_text="Agreement within").locator(".ask").hover()
    hint.wait_for()
    tab.mouse.move(5, 5)
    hint.wait_for(state="hidden")
    tab.get_by_label("Agreement within ± (%)", exact=True).focus()
    described = tab.get_by_label("Agreement within ± (%)", exact=True).get_attribute("aria-describedby")
    assert described


def test_the_plot_follows_a_slider_and_an_empty_field_asks_nothing(visitor: Visitor) -> None:
    tab = visitor.open(f"?page=shift{_FIRST}")
    visitor.idle()
    assert "agree" not in visitor.answer().lower()
    tab.get_by_label("Agreement within ± (%), slider").fill("8")
    tab.wait_for_url("**shift.margin=8**")
    visitor.idle()
    before = visitor.answer()
    assert "8\u00a0%" in before
    tab.get_by_label("Agreement within ± (%)", exact=True).fill("")
    tab.keyboard.press("Tab")
    tab.wait_for_function("() => !location.search.includes('shift.margin')")
    visitor.idle()
    assert visitor.answer() != before
