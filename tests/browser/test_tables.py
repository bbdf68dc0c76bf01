"""Tables on every page: none wider than its place at 1440 pixels, sorted and selected by mouse and keyboard."""

from __future__ import annotations

from typing import Any

import pytest

from dashboard.pages import entries
from tests.browser.conftest import Visitor

#: Further settings of the address under which a page has its tables.
_FIRST = "&data=programme&by=procedure"
QUERIES = {
    "precision": "&data=labs", "method_study": "&data=bench&only.study=gap&method_study.question=gap",
    "classroom": "&classroom.taken=8", "decision": f"{_FIRST}&decision.limit=iec_60422_2013%2Fb_good",
}  # fmt: skip

#: For each table its name, how much wider than its place it is, and the headings that are seen.
TABLES = """() => {
  const found = []
  const look = (root) => {
    for (const place of root.querySelectorAll(".scroll")) {
      if (!place.querySelector("table") || !place.checkVisibility()) { continue }
      const headings = [...place.querySelectorAll("thead th")]
      const seen = headings.filter((th) => th.checkVisibility()).map((th) => th.innerText)
      found.push([place.getAttribute("aria-label"), place.scrollWidth - place.clientWidth, seen])
    }
    for (const element of root.querySelectorAll("*")) { if (element.shadowRoot) { look(element.shadowRoot) } }
  }
  look(document)
  return found
}"""


@pytest.mark.parametrize("page", [entry.key for entry in entries()])
def test_no_table_is_wider_than_its_place_and_headings_sort(visitor: Visitor, page: str) -> None:
    tab = visitor.open(f"?page={page}{QUERIES.get(page, _FIRST)}")
    tab.locator(".scroll table").first.wait_for(state="attached")
    visitor.idle()
    found = tab.evaluate(TABLES)
    assert found
    for name, wider, seen in found:
        assert wider <= 0, f"{name}: {wider} pixels too wide with {seen}"
        assert len(seen) >= 2, name
    heading = tab.locator(".scroll thead th[aria-sort]:not(.rest) button").nth(1)
    place = heading.locator("xpath=..")
    heading.focus()
    for wanted, key in (("ascending", "Enter"), ("descending", "Space"), ("none", None)):
        if key is None:
            heading.click()
        else:
            tab.keyboard.press(key)
        visitor.idle()
        assert place.get_attribute("aria-sort") == wanted
        if key is not None:
            focused = "() => { let e = document.activeElement; while (e.shadowRoot?.activeElement) { "
            focused += "e = e.shadowRoot.activeElement } return e.dataset.sort }"
            assert tab.evaluate(focused) == heading.get_attribute("data-sort"), "the keyboard stays where it was"


def test_further_columns_come_on_request(visitor: Visitor) -> None:
    tab = visitor.open(f"?page=shift{_FIRST}")
    visitor.idle()
    few = {name: len(seen) for name, _, seen in tab.evaluate(TABLES)}
    more = tab.locator("button.more").first
    more.click()
    tab.locator("button.more[aria-expanded=true]").first.wait_for()
    visitor.idle()
    many = {name: len(seen) for name, _, seen in tab.evaluate(TABLES)}
    assert sum(many.values()) > sum(few.values())


def selected(tab: Any) -> list[str]:
    return list(tab.locator("tr[aria-selected=true]").evaluate_all("rows => rows.map(r => r.dataset.row)"))


def test_a_row_is_selected_by_click_and_key_marked_in_the_plot_and_left_out(visitor: Visitor) -> None:
    tab = visitor.open(f"?page=scatter{_FIRST}&only.method=IEC%2060156")
    visitor.idle()
    rows = tab.locator("tr[data-row]")
    rows.first.locator("td").first.click()
    tab.locator(".tray").get_by_text("1 reading selected").wait_for()
    visitor.idle()
    assert len(selected(tab)) >= 1
    visitor.picture("selected")
    tab.get_by_role("button", name="Clear").click()
    visitor.idle()
    assert not selected(tab)
    visitor.menu("Records")
    rows = tab.locator("tr[data-row]")
    rows.first.focus()
    tab.keyboard.press("ArrowDown")
    tab.keyboard.press("Enter")
    tab.locator(".tray").get_by_text("1 reading selected").wait_for()
    visitor.idle()
    assert len(selected(tab)) == 1
    rows.nth(2).locator("td").first.click(modifiers=["Control"])
    tab.locator(".tray").get_by_text("2 readings selected").wait_for()
    visitor.idle()
    before = visitor.answer()
    tab.get_by_label("Leave out, because …").fill("invented: stirrer stopped")
    tab.get_by_role("button", name="Leave out", exact=True).click()
    tab.locator(".tray").wait_for(state="hidden")
    visitor.idle()
    assert visitor.answer() != before and not selected(tab)
