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
#: Pages whose answers, at these settings, hang on something that the reader must know.
CAUTIONED = ("overlay", "shift", "howmany", "scatter", "check_oil", "decision", "precision", "choose", "bench_plan")
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

#: Of what a selector finds, its text, the width that it wants and has, and the height that it wants and has.
ROOM = RECTANGLES.replace(
    "[box.left, box.top, box.right, box.bottom]",
    "[element.textContent, element.scrollWidth, element.clientWidth, element.scrollHeight, element.clientHeight]",
)


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
    assert bool(cautions) or page not in CAUTIONED, "the gravest caution"
    cut = [told for told, wanted, given, _, _ in tab.evaluate(ROOM, ".cautions .line") if wanted > given]
    assert not cut, "a sentence that is short enough"
    plot = min(rectangles(tab, ".canvas"), key=lambda box: box[1])
    assert inside(plot, size), ("the whole plot", plot)
    panels = [p for p in rectangles(tab, ".bk-Figure") if p[1] < plot[3]]
    assert panels and all(inside(p, size) and p[3] <= plot[3] + 1 for p in panels), ("all of its panels", panels)
    assert plot[3] - plot[1] >= 280 and plot[2] - plot[0] >= 500, ("large enough to read", plot)
    controls = rectangles(tab, ".beside")
    assert len(controls) == 1 and inside(controls[0], size), ("its controls", controls)
    assert controls[0][0] >= plot[2] - 1, "beside it"
    ((_, _, _, high, room),) = tab.evaluate(ROOM, ".beside")
    assert high <= room + 2, "none of them is out of sight"
    assert tab.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth"), "nothing is cut"
    tab.mouse.move((plot[0] + plot[2]) / 2, (plot[1] + plot[3]) / 2)
    tab.mouse.wheel(0, 120)
    tab.wait_for_function("() => window.scrollY > 0")  # the wheel over the plot scrolls the page


@pytest.mark.parametrize("screen", SCREENS)
def test_records_says_what_was_read_and_leads_on(visitor: Visitor, screen: str) -> None:
    size = SCREENS[screen]
    visitor.tab.set_viewport_size({"width": size[0], "height": size[1]})
    tab = visitor.open(f"?page=records{_FIRST}")
    (answer,) = rectangles(tab, ".answer")
    assert inside(answer, size) and answer[3] - answer[1] <= 60
    asked = [tab.get_by_role("combobox", name="Demo set")]
    asked += [tab.get_by_role("button", name=name) for name in ("Save study", "Open study", "What shifts?")]
    asked.append(tab.get_by_text("Open files", exact=True))
    for control in asked:
        box = control.first.bounding_box()
        assert inside([box["x"], box["y"], box["x"] + box["width"], box["y"] + box["height"]], size)


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
    below = [c for c in rectangles(tab, ".caption") if c[1] > plot[1] and c[3] < controls[1] + 1]
    assert all(plot[3] <= c[1] + 1 for c in below), ("what is said below it lies over it", plot, below)
    assert plot[1] < 844 * 0.75 and plot[3] - plot[1] >= 240
    assert tab.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth")


@pytest.mark.parametrize("visitor", ["phone"], indirect=True)
def test_on_a_phone_small_panels_stand_above_the_controls(visitor: Visitor) -> None:
    tab = visitor.open("?page=overlay&data=programme")
    tab.locator(".bk-Figure:visible").first.wait_for()
    visitor.idle()
    (controls,) = rectangles(tab, ".beside")
    panels = [box for box in rectangles(tab, ".bk-Figure") if box[1] < controls[1]]
    assert len(panels) > 4 and all(box[3] <= controls[1] + 1 and box[3] - box[1] >= 120 for box in panels)


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
