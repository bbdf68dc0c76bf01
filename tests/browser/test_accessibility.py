"""Each page in both themes, by keyboard, at a phone's width and on paper.

Checked with axe-core (Deque Systems, MPL 2.0, bundled by axe-playwright-python) against WCAG 2.2 A and AA.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.pages import entries
from tests.browser.conftest import Visitor
from tests.browser.test_first_screen import QUERIES

#: Faults that are the libraries' own and cannot be mended from outside: rule -> reason.
ALLOWED: dict[str, str] = json.loads((Path(__file__).parent / "axe_allowed.json").read_text(encoding="utf-8"))
PAGES = [(e.key, e.label) for e in entries()]
#: Further settings of pages that show no plot before something is chosen.
CHOSEN = {key: QUERIES[key] for key in ("precision", "method_study", "decision", "classroom")}

#: What a rule found, with the elements: enough to find them.
_GRAVE = ("serious", "critical")


@pytest.fixture(scope="module")
def walker(chromium: Any, server: str) -> Iterator[Visitor]:
    """One window for the module: each page is looked at as the menu gives it."""
    someone = Visitor(chromium, server, "walk")
    someone.tab.emulate_media(reduced_motion="reduce")  # a colour halfway between two themes is no fault
    someone.open()
    yield someone
    someone.context.close()
    assert not someone.wrong, someone.wrong


def grave_faults(tab: Any, patience: int = 8) -> dict[str, list[str]]:
    """Serious and critical faults that nobody has allowed and that stay: rule -> the elements.

    A colour that is still on its way from one theme to the other, or a part that is still being drawn, is none.
    """
    found: dict[str, list[str]] = {}
    for _ in range(patience):
        found = _grave(tab)
        if not found:
            return {}
        tab.wait_for_timeout(1000)
    return found


def _grave(tab: Any) -> dict[str, list[str]]:
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(tab, options={"resultTypes": ["violations"]}).response["violations"]
    return {
        f"{v['impact']} {v['id']}: {v['help']}": [n["html"][:200] for n in v["nodes"]]
        for v in found
        if v["impact"] in _GRAVE and v["id"] not in ALLOWED
    }


def set_dark(visitor: Visitor, dark: bool) -> None:
    button = visitor.tab.get_by_role("button", name="Dark theme")
    if button.get_attribute("aria-pressed") != str(dark).lower():
        button.click()
        visitor.idle()


@pytest.mark.parametrize(("key", "label"), PAGES, ids=[k for k, _ in PAGES])
def test_a_page_in_both_themes_narrow_and_on_paper(walker: Visitor, key: str, label: str) -> None:
    tab = walker.tab
    if key in CHOSEN:
        walker.open(f"?page={key}{CHOSEN[key]}")
    else:
        walker.menu(label)
    assert tab.locator("h1").count() == 1
    assert tab.get_by_role("main").count() == 1
    assert label in tab.locator("nav.pages [aria-current=page]").inner_text()
    plots, words = tab.locator(".bk-Canvas").count(), tab.get_by_role("img").count()
    assert words >= min(plots, 1), "a plot without its text alternative"
    assert plots or key == "records"
    for dark in (False, True):
        set_dark(walker, dark)
        assert not (found := grave_faults(tab)), f"{'dark' if dark else 'light'}: {found}"
    set_dark(walker, False)
    try:
        tab.set_viewport_size({"width": 390, "height": 844})
        walker.idle()
        tab.get_by_role("complementary").wait_for(state="hidden")
        wide = tab.evaluate(
            "() => [document.scrollingElement, ...document.querySelectorAll('body > *')]"
            ".filter(e => e.scrollWidth > document.documentElement.clientWidth).length"
        )
        over = tab.get_by_role("main").evaluate("e => e.scrollWidth - e.clientWidth")
        walker.picture(f"{key} narrow")
        assert wide == 0 and over <= 0, (wide, over)
    finally:
        tab.set_viewport_size({"width": 1440, "height": 900})
        walker.idle()


def test_paper_shows_the_page_without_menu_and_bar(walker: Visitor) -> None:
    tab = walker.tab
    walker.menu("Records")
    tab.emulate_media(media="print")
    try:
        assert not tab.locator("nav").first.is_visible() and not tab.locator("header").first.is_visible()
        assert not tab.get_by_text("Skip to the page").is_visible()
        assert tab.locator("h1").is_visible() and tab.locator(".answer").first.is_visible()
        high = "e => [e.scrollHeight, e.clientHeight, getComputedStyle(e).overflowY]"
        full, shown, overflow = tab.get_by_role("main").evaluate(high)
        assert overflow == "visible" or full <= shown + 1
    finally:
        tab.emulate_media(media="screen")


def test_paper_is_light_whatever_the_theme(walker: Visitor) -> None:
    tab = walker.tab
    walker.menu("Shift")
    set_dark(walker, True)
    tab.emulate_media(media="print")
    try:
        colour = "e => getComputedStyle(e).color"
        assert tab.locator("h1").evaluate(colour) == "rgb(28, 35, 38)"
        assert tab.evaluate("() => getComputedStyle(document.body).backgroundColor") == "rgba(0, 0, 0, 0)"
        walker.picture("paper")
    finally:
        tab.emulate_media(media="screen")
        set_dark(walker, False)


def test_who_wants_no_motion_gets_none(walker: Visitor) -> None:
    tab = walker.tab
    walker.menu("Records")
    moves = "e => [getComputedStyle(e).transitionDuration, getComputedStyle(e).animationName]"
    button = tab.get_by_role("button", name="Save study")
    durations, animation = button.evaluate(moves)
    assert set(durations.replace("s", "").split(", ")) == {"0"} and animation == "none"
    tab.emulate_media(reduced_motion="no-preference")
    try:
        assert set(button.evaluate(moves)[0].replace("s", "").split(", ")) != {"0"}
    finally:
        tab.emulate_media(reduced_motion="reduce")


_FOCUSED = """() => {
  let at = document.activeElement
  while (at?.shadowRoot?.activeElement) { at = at.shadowRoot.activeElement }
  const labelled = at.getAttribute("aria-labelledby")?.split(" ").map((id) => at.getRootNode().getElementById(id))
  const words = (elements) => elements?.length && [...elements].map((e) => e?.textContent ?? "").join(" ")
  const name = at.getAttribute("aria-label") ?? (words(labelled) || words(at.labels))
  const ringed = at.matches(".buttons input") ? at.nextSibling : at
  return {role: at.getAttribute("role") ?? at.tagName, name: name || at.innerText || "",
          ring: getComputedStyle(ringed).outlineStyle}
}"""


def tab_to(tab: Any, words: str, most: int = 40) -> dict[str, str]:
    """Press the tabulator key until the focus is on what is called so."""
    seen = []
    for _ in range(most):
        tab.keyboard.press("Tab")
        at = tab.evaluate(_FOCUSED)
        seen.append(at["name"])
        if words in at["name"]:
            return dict(at)
    raise AssertionError(f"{words!r} was not reached; the keyboard went through {seen}")


def test_a_study_by_keyboard_alone(visitor: Visitor) -> None:
    tab = visitor.open()
    first = tab_to(tab, "Skip to the page", most=1)
    assert first["ring"] == "solid"
    assert tab_to(tab, "Overlay")["ring"] == "solid"
    tab.keyboard.press("Enter")
    tab.wait_for_url("**page=overlay*")
    tab.locator("h1").filter(has_text="Overlay").wait_for()
    visitor.idle()
    tab_to(tab, "Confidence")
    tab.keyboard.press("End")
    tab.wait_for_url("**conf=0.99*")
    visitor.idle()
    tab_to(tab, "Steps")
    tab.keyboard.press("ArrowRight")
    focus_is(tab, name="Density")
    tab.wait_for_url("**overlay.view=density*")
    visitor.idle()
    assert "kV" in visitor.answer()
    tab_to(tab, "All cautions", most=120)  # through plots, tables and their headings: nothing keeps the keyboard


def focus_is(tab: Any, **wanted: str) -> None:
    """Wait until the focus is on what has this role or name."""
    tab.wait_for_function(
        f"(wanted) => {{ const at = ({_FOCUSED})(); "
        "return Object.entries(wanted).every(([key, value]) => at[key].trim() === value) }",
        arg=wanted,
    )


def test_the_first_stop_leads_past_the_menu(visitor: Visitor) -> None:
    tab = visitor.open()
    tab_to(tab, "Skip to the page", most=1)
    tab.keyboard.press("Enter")
    tab.keyboard.press("Tab")
    assert tab.get_by_role("main").evaluate("main => main.matches(':focus-within')")


def test_at_twice_the_size_nothing_is_cut(visitor: Visitor) -> None:
    """200 % zoom of a 1440 px window is a window of 720 px (WCAG 1.4.10 asks for 320 px: a phone's width)."""
    tab = visitor.open("?page=overlay")
    tab.set_viewport_size({"width": 720, "height": 450})
    visitor.idle()
    assert tab.get_by_role("main").evaluate("e => e.scrollWidth <= e.clientWidth")
    assert tab.get_by_text("Density", exact=True).is_visible()
