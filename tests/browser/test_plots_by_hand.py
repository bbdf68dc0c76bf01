"""Plots that answer to the hand: hover, click, box and lasso, legend, leaving out, the wheel, and the keyboard."""

from __future__ import annotations

from typing import Any

import pytest

from tests.browser.conftest import Visitor

_QUERY = "?page=overlay&data=programme&by=electrode&only.method=IEC%2060156&overlay.view=box"

#: For the ``at``-th figure with single readings: where each is in the window, what it is, and what is selected.
READINGS = """(at) => {
  const views = []
  const look = (view) => {
    if (view.model?.type === "Figure" && view.el.checkVisibility({visibilityProperty: true})) { views.push(view) }
    for (const child of view.child_views ?? []) { look(child) }
  }
  for (const view of Bokeh.index.roots) { look(view) }
  const told = views.map((view) => {
    const renderer = view.model.renderers.find((r) => r.glyph.type === "Scatter" && r.data_source.data.marker)
    return renderer && {view, renderer}
  }).filter(Boolean)
  const {view, renderer} = told[at]
  const box = view.canvas_view.el.getBoundingClientRect(), data = renderer.data_source.data
  const x = [...data.x], y = [...data.y]
  return {
    points: x.map((v, i) => [box.left + view.frame.x_scale.compute(v), box.top + view.frame.y_scale.compute(y[i])]),
    kv: [...data.kV], selected: [...renderer.data_source.selected.indices],
    range: [view.model.x_range.start, view.model.x_range.end],
  }
}"""

#: For each figure that is shown the readings on it, those that are selected, and all that is drawn on it.
EVERY = """() => {
  const out = []
  const look = (view) => {
    if (view.model?.type === "Figure" && view.el.checkVisibility({visibilityProperty: true})) {
      const found = {readings: [], selected: [], drawn: []}
      for (const {glyph, data_source: {data, selected}} of view.model.renderers) {
        found.drawn.push(Object.values(data).map((column) => [...column].flat().join(" ")).join(";"))
        if (glyph.type !== "Scatter" || !data.marker) { continue }
        const said = [...data.kV].map((kv, i) => [data.Oil?.[i], data.Filling?.[i], data.Order?.[i], kv].join(" · "))
        found.readings.push(...said)
        found.selected.push(...selected.indices.map((i) => said[i]))
      }
      out.push({...found, drawn: found.drawn.join("|")})
    }
    for (const child of view.child_views ?? []) { look(child) }
  }
  for (const view of Bokeh.index.roots) { look(view) }
  return out
}"""


def readings(tab: Any, at: int = 0) -> dict[str, Any]:
    return dict(tab.evaluate(READINGS, at))


def alone(points: list[list[float]], least: float = 9) -> int:
    """A mark with no other near it."""
    for i, (x, y) in enumerate(points):
        if all(abs(x - a) + abs(y - b) > least for j, (a, b) in enumerate(points) if j != i):
            return i
    raise AssertionError("every mark has another near it")


#: All text of an element, in its shadow trees too.
_TEXT = """(element) => {
  const text = (node) => [...(node.shadowRoot ?? node).childNodes].map(
    (child) => child.nodeType === 3 ? child.textContent : child.tagName === "STYLE" ? "" : text(child)).join(" ")
  return text(element)
}"""


def text_of(locator: Any) -> str:
    return str(locator.evaluate(_TEXT))


@pytest.fixture
def overlay(visitor: Visitor) -> Visitor:
    tab = visitor.open(_QUERY)
    tab.locator(".bk-Figure:visible").first.wait_for()
    visitor.idle()
    return visitor


def tray(visitor: Visitor) -> Any:
    return visitor.tab.locator(".tray")


def test_hover_says_what_a_reading_is(overlay: Visitor) -> None:
    found = readings(overlay.tab)
    i = alone(found["points"])
    overlay.tab.mouse.move(*found["points"][i], steps=3)
    told = overlay.tab.locator(".bk-Tooltip").filter(has_text="Filling").first
    told.wait_for()
    text = text_of(told)
    assert found["kv"][i].removeprefix("withstood ") in text
    assert all(name in text for name in ("Oil", "Procedure", "Filling", "Order", "kV"))


def test_hover_on_a_curve_says_its_value_with_limits(visitor: Visitor) -> None:
    tab = visitor.open(_QUERY.replace("box", "ecdf"))
    visitor.idle()
    at = tab.evaluate(
        """() => {
      const look = (view) => {
        if (view.model?.type === "Figure" && view.el.checkVisibility({visibilityProperty: true})) { return view }
        for (const child of view.child_views ?? []) { const found = look(child); if (found) { return found } }
      }
      const view = Bokeh.index.roots.map(look).find(Boolean)
      const curve = view.model.renderers.find((r) => r.data_source.data["from kV"])
      const data = curve.data_source.data, i = Math.floor(data.x.length / 2)
      const box = view.canvas_view.el.getBoundingClientRect()
      return [box.left + view.frame.x_scale.compute(data.x[i]), box.top + view.frame.y_scale.compute(data.y[i])]
    }"""
    )
    tab.mouse.move(*at, steps=3)
    told = tab.locator(".bk-Tooltip").filter(has_text="from kV").first
    told.wait_for()
    assert "Share" in text_of(told) and "to kV" in text_of(told)


def test_a_click_opens_the_reading_and_marks_it_in_every_plot(overlay: Visitor) -> None:
    tab = overlay.tab
    found = readings(tab)
    i = alone(found["points"])
    tab.mouse.click(*found["points"][i])
    tray(overlay).wait_for()
    overlay.idle()
    assert "1 reading selected" in text_of(tray(overlay))
    assert found["kv"][i].removeprefix("withstood ") in text_of(tray(overlay))
    assert readings(tab)["selected"] == [i]
    other = readings(tab, 1)  # the plot at one glance, below
    assert [other["kv"][k] for k in other["selected"]] == [found["kv"][i]]
    tray(overlay).get_by_role("button", name="Clear").click()
    tray(overlay).wait_for(state="hidden")
    overlay.idle()
    assert readings(tab)["selected"] == readings(tab, 1)["selected"] == []


@pytest.mark.parametrize("tool", ["Box Select", "Lasso Select"])
def test_a_box_and_a_lasso_select_many_which_are_left_out_with_a_reason(overlay: Visitor, tool: str) -> None:
    tab = overlay.tab
    found = readings(tab)
    low = sorted(range(len(found["points"])), key=lambda k: found["points"][k][0])[:4]
    x = [found["points"][k][0] for k in low]
    y = [p[1] for p in found["points"]]
    left, right, top, bottom = min(x) - 8, max(x) + 0.5, min(y) - 12, max(y) + 12
    if tool == "Lasso Select":
        tab.locator(".bk-Figure:visible").first.hover()
        tab.locator(f'.bk-tool-icon-lasso-select:visible, [title*="{tool}"]:visible').first.click()
    before = overlay.answer()
    tab.mouse.move(left, top)
    tab.mouse.down()
    for corner in ((right, top), (right, bottom), (left, bottom), *([(left, top)] if tool != "Box Select" else [])):
        if tool != "Box Select" or corner == (right, bottom):
            tab.mouse.move(*corner, steps=8)
    tab.mouse.up()
    tray(overlay).wait_for()
    overlay.idle()
    chosen = readings(tab)["selected"]
    assert set(low) <= set(chosen) and len(chosen) <= 6
    assert f"{len(chosen)} readings selected" in text_of(tray(overlay))
    tray(overlay).get_by_role("button", name="Leave out").click()
    tray(overlay).get_by_text("Give the reason").wait_for()
    tab.get_by_label("Leave out, because …").fill("stirrer stopped")
    tray(overlay).get_by_role("button", name="Leave out").click()
    tray(overlay).wait_for(state="hidden")
    overlay.idle()
    left_over = readings(tab)["points"]
    assert len(left_over) == len(found["points"]) - len(chosen) == len(readings(tab, 1)["points"])
    assert overlay.answer() != before


def test_a_line_of_the_legend_shows_it_alone(visitor: Visitor) -> None:
    tab = visitor.open("?page=overlay&data=programme&by=electrode")
    visitor.idle()
    every = readings(tab)
    line = tab.locator(".legend button").filter(has_text="disk").first
    line.focus()
    tab.keyboard.press("Enter")  # the keyboard does what a click does
    visitor.idle()
    assert line.get_attribute("aria-pressed") == "true"
    only = readings(tab)
    assert 0 < len(only["points"]) < len(every["points"]) and only["range"] == every["range"]
    line.click()
    visitor.idle()
    assert len(readings(tab)["points"]) == len(every["points"])


def test_a_reading_is_reached_and_left_out_by_keyboard_alone(overlay: Visitor) -> None:
    tab = overlay.tab
    button = tab.get_by_role("button", name="Go through the readings")
    button.focus()
    tab.keyboard.press("Enter")
    tray(overlay).wait_for()
    overlay.idle()
    first = text_of(tray(overlay))
    on = tray(overlay).get_by_role("button", name="›")
    on.focus()
    tab.keyboard.press("Enter")
    overlay.idle()
    assert text_of(tray(overlay)) != first and len(readings(tab)["selected"]) == 1
    count = len(readings(tab)["points"])
    reason = tab.get_by_label("Leave out, because …")
    reason.focus()
    tab.keyboard.type("cell not dry")
    tab.keyboard.press("Tab")
    tab.keyboard.press("Enter")
    tray(overlay).wait_for(state="hidden")
    overlay.idle()
    assert len(readings(tab)["points"]) == count - 1


def test_the_wheel_scrolls_the_page_until_the_plot_is_clicked(visitor: Visitor) -> None:
    tab = visitor.open("?page=howmany&data=bench&howmany.source=typed")
    figure = tab.locator(".bk-Figure:visible").first
    figure.wait_for()
    visitor.idle()
    box = figure.bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    tab.mouse.move(*middle)
    tab.mouse.wheel(0, 120)
    tab.wait_for_function("() => window.scrollY > 0")
    tab.evaluate("window.scrollTo(0, 0)")
    tab.wait_for_function("() => window.scrollY === 0")
    range_of = """() => {
      const look = (view) => {
        if (view.model?.type === "Figure") { return view }
        for (const child of view.child_views ?? []) { const found = look(child); if (found) { return found } }
      }
      const {x_range} = Bokeh.index.roots.map(look).find(Boolean).model
      return x_range.end - x_range.start
    }"""
    before = tab.evaluate(range_of)
    tab.mouse.click(*middle)
    tab.wait_for_timeout(400)
    tab.mouse.wheel(0, -120)
    tab.wait_for_timeout(600)
    assert tab.evaluate("window.scrollY") == 0
    assert tab.evaluate(range_of) < before


_TWO = "&data=programme&by=electrode&only.method=IEC%2060156&only.laboratory=Fenmark%20central"


@pytest.mark.parametrize("page", ["overlay", "shift", "scatter", "method_study"])
def test_what_is_selected_and_left_out_is_so_in_every_plot_of_the_page(visitor: Visitor, page: str) -> None:
    tab = visitor.open(f"?page={page}{_TWO}&method_study.question=family")
    tab.locator(".bk-Figure:visible").first.wait_for()
    visitor.idle()
    before = tab.evaluate(EVERY)
    at = next(i for i, figure in enumerate(before) if figure["readings"])
    tab.locator(".bk-Figure:visible").nth(at).scroll_into_view_if_needed()
    found = readings(tab)
    tab.mouse.click(*found["points"][alone(found["points"], 5)])
    tray(visitor).wait_for()
    visitor.idle()
    marked = tab.evaluate(EVERY)
    (one,) = {said for figure in marked for said in figure["selected"]}
    assert all((one in figure["readings"]) == (figure["selected"] == [one]) for figure in marked), "in every plot"
    reason = tab.get_by_label("Leave out, because …")
    reason.focus()
    tab.keyboard.type("stirrer stopped")
    tab.keyboard.press("Tab")
    tab.keyboard.press("Enter")
    tray(visitor).wait_for(state="hidden")
    visitor.idle()
    after = tab.evaluate(EVERY)
    assert len(after) == len(before) and not any(one in figure["readings"] for figure in after)
    assert all(now["drawn"] != was["drawn"] for now, was in zip(after, before, strict=True)), "every plot is another"
