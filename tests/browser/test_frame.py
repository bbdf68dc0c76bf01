"""The frame, the records and the overlay page as a person uses them."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).resolve().parents[2] / "data"
FILES = sorted(f for f in DATA.iterdir() if f.suffix in (".csv", ".xlsx"))


@pytest.mark.parametrize("visitor", ["desk", "phone"], indirect=True)
def test_a_newcomer_sees_the_demo_and_goes_to_the_overlay(visitor: Any) -> None:
    tab = visitor.open()
    assert "breakdowns" in visitor.answer()
    assert tab.locator("h1").count() == 1
    assert "does not control, interlock or approve" in tab.locator("footer").inner_text()
    visitor.menu("Overlay")
    assert "kV" in visitor.answer()
    tab.get_by_role("img", name=re.compile("median")).wait_for(state="attached")
    assert "page=overlay" in tab.url
    visitor.picture("light")
    tab.get_by_label("Dark theme").click()
    visitor.idle()
    visitor.picture("dark")


def test_the_address_restores_the_view_and_back_goes_back(visitor: Any) -> None:
    tab = visitor.open("?page=overlay&by=gap_mm&conf=0.9&overlay.view=box")
    visitor.chosen("Compare by", "Gap (mm)")
    visitor.chosen("Confidence", "90 %")
    visitor.choose("Confidence", "99 %")
    tab.wait_for_url("**conf=0.99**")
    tab.go_back()
    tab.wait_for_url("**conf=0.9&**")
    visitor.chosen("Confidence", "90 %")
    tab.go_forward()
    tab.wait_for_url("**conf=0.99**")


def test_an_invalid_address_is_mended(visitor: Any) -> None:
    tab = visitor.open("?page=nowhere&conf=12&overlay.view=%3Cscript%3E")
    assert "nowhere" not in tab.url and "script" not in tab.url


def test_views_change_without_a_fault(visitor: Any) -> None:
    visitor.open("?page=overlay&data=programme&by=electrode")
    for view in ("Density", "Normal scale", "Weibull scale", "Boxes", "Steps", "Density"):
        visitor.press(view)
        visitor.idle()
        visitor.picture(view)
        box = visitor.tab.locator(".bk-Figure:visible").first.bounding_box()  # the others stand below it
        assert box["width"] > 900 and box["height"] > 200, (view, box)
    assert "kV" in visitor.answer()


def test_an_own_file_is_uploaded_compared_and_its_table_saved(visitor: Any, tmp_path: Path) -> None:
    file = tmp_path / "mine.csv"
    groups = [(e, f) for e in ("disc", "sphere") for f in (1, 2)]
    rows = [f"{e},{f},{40 + 5 * (e == 'sphere') + 3 * f + i}" for e, f in groups for i in range(5)]
    file.write_text("\n".join(["electrode,filling,kv", *rows]))
    tab = visitor.open()
    tab.locator("input[type=file]").first.set_input_files(str(file))
    tab.locator(".answer").filter(has_text="mine.csv").wait_for()
    assert "20 breakdowns" in visitor.answer()
    tab.wait_for_url("**data=own*")
    assert "mine" not in tab.url
    visitor.menu("Overlay")
    with tab.expect_download() as waiting:
        tab.get_by_role("link", name="Download CSV").or_(tab.get_by_role("button", name="Download CSV")).first.click()
    saved = Path(waiting.value.path()).read_text(encoding="utf-8-sig")
    note, head, *rows = saved.strip().splitlines()
    assert note == "# Fitted distributions" and head.startswith("electrode,") and len(rows) == 2


def test_every_demo_and_messy_file_opens_by_hand(visitor: Any) -> None:
    tab = visitor.open()
    for file in FILES:
        tab.locator("input[type=file]").first.set_input_files(str(file))
        tab.locator(".answer").filter(has_text=file.name).wait_for()
        visitor.idle()
        visitor.picture(file.stem)


def test_a_study_is_saved_and_opens_to_the_same_numbers(visitor: Any, tmp_path: Path) -> None:
    tab = visitor.open("?page=records&conf=0.9")
    visitor.choose("Compare by", "Gap (mm)")
    tab.wait_for_url("**by=gap_mm*")
    with tab.expect_download() as waiting:
        tab.get_by_role("link", name="Save study").or_(tab.get_by_role("button", name="Save study")).click()
    study = tmp_path / "study.json"
    waiting.value.save_as(study)
    assert json.loads(study.read_text())["settings"]["by"] == "gap_mm"
    before = visitor.answer()
    visitor.open()
    assert "by=gap_mm" not in tab.url
    tab.locator("input[type=file]").nth(1).set_input_files(str(study))
    tab.wait_for_url("**by=gap_mm*")
    assert "conf=0.9" in tab.url
    visitor.chosen("Confidence", "90 %")
    tab.locator(".answer").filter(has_text=before).wait_for()


@pytest.mark.parametrize("visitor", ["phone"], indirect=True)
def test_on_a_phone_the_menu_does_not_lie_over_the_page(visitor: Any) -> None:
    """Nor for a moment: from the first heading on, nothing lies over it."""
    tab = visitor.tab
    tab.goto(visitor.server, wait_until="commit")
    tab.locator("h1").first.wait_for()
    side = tab.get_by_role("complementary")
    assert not side.is_visible()
    visitor.idle()
    assert not side.is_visible()
    menu = tab.get_by_role("button", name="Menu")
    menu.click()
    tab.locator("nav").get_by_text("Overlay", exact=True).wait_for()
    assert menu.get_attribute("aria-expanded") == "true"
    tab.keyboard.press("Escape")
    side.wait_for(state="hidden")
    assert menu.get_attribute("aria-expanded") == "false"


def test_a_file_that_is_none_is_told_and_nothing_changes(visitor: Any, tmp_path: Path) -> None:
    file = tmp_path / "letter.csv"
    file.write_text("Dear all,\nthe oil was fine.\n")
    tab = visitor.open()
    before = visitor.answer()
    tab.locator("input[type=file]").first.set_input_files(str(file))
    tab.get_by_text("letter.csv was not read").wait_for()
    assert visitor.answer() == before


def _series(path: Path, low: float) -> Path:
    """Two electrodes, two fillings of five each, as a file."""
    rows = [
        f"{e},{f},{low + 5 * (e == 'sphere') + 3 * f + i}" for e in ("disc", "sphere") for f in (1, 2) for i in range(5)
    ]
    path.write_text("\n".join(["electrode,filling,kv", *rows]))
    return path


def test_loaded_anew_own_files_are_asked_for_and_their_settings_kept(visitor: Any, tmp_path: Path) -> None:
    file = _series(tmp_path / "mine.csv", 40)
    tab = visitor.open()
    tab.locator("input[type=file]").first.set_input_files(str(file))
    tab.locator(".answer").filter(has_text="mine.csv").wait_for()
    visitor.menu("Shift")
    assert tab.title() == "Shift · gapshift"
    before = visitor.answer()
    visitor.choose("Confidence", "90 %")
    tab.wait_for_url("**conf=0.9*")
    tab.reload()
    tab.get_by_text("Files are not kept when a page is loaded anew").wait_for()
    assert "data=own" in tab.url and "conf=0.9" in tab.url and "by=electrode" in tab.url
    visitor.menu("Records")
    tab.locator("input[type=file]").first.set_input_files(str(file))
    tab.locator("h1").filter(has_text="Shift").wait_for()  # back where one was
    visitor.chosen("Confidence", "90 %")
    tab.locator(".answer").filter(has_text=before.split(",")[0].split(":")[0]).wait_for()


def test_files_are_dropped_several_at_once_and_what_was_open_is_closed(visitor: Any, tmp_path: Path) -> None:
    one, other = _series(tmp_path / "one.csv", 40), _series(tmp_path / "other.csv", 50)
    tab = visitor.open()
    tab.locator("input[type=file]").first.set_input_files(str(one))
    tab.locator(".answer").filter(has_text="from one.csv").wait_for()
    drop = """([place, files]) => {
      const data = new DataTransfer()
      for (const [name, text] of files) { data.items.add(new File([text], name)) }
      place.dispatchEvent(new DragEvent("drop", {bubbles: true, composed: true, cancelable: true, dataTransfer: data}))
    }"""
    place = tab.locator(".drop.main").element_handle()
    tab.evaluate(drop, [place, [[f.name, f.read_text()] for f in (one, other)]])
    tab.locator(".answer").filter(has_text="one.csv and other.csv").wait_for()
    assert "40 breakdowns" in visitor.answer()


def test_the_theme_follows_the_device_until_one_is_chosen_and_is_remembered(visitor: Any) -> None:
    tab = visitor.tab
    tab.emulate_media(color_scheme="dark")
    visitor.open()
    button = tab.get_by_role("button", name="Dark theme")
    tab.wait_for_function("() => document.documentElement.dataset.theme === 'dark'")
    assert button.get_attribute("aria-pressed") == "true"
    button.click()
    visitor.idle()
    visitor.open()
    assert tab.evaluate("() => document.documentElement.dataset.theme") == "light"
    assert button.get_attribute("aria-pressed") == "false"


def test_a_number_out_of_range_is_told_with_its_range(visitor: Any) -> None:
    tab = visitor.open("?page=howmany&howmany.source=typed")
    field = tab.get_by_role("spinbutton", name="Half-width")
    field.fill("1000")
    field.press("Tab")
    tab.get_by_text("1000 cannot be: from 0.1 to 100. Taken: 100.").wait_for()
    assert field.input_value() == "100"
    field.fill("8")
    field.press("Tab")
    tab.get_by_text("1000 cannot be").wait_for(state="hidden")
    tab.wait_for_url("**howmany.half_width=8**")


def test_the_page_does_not_move_when_another_comes(visitor: Any) -> None:
    tab = visitor.open()
    first = tab.locator("h1").bounding_box()
    visitor.menu("Overlay")
    assert tab.locator("h1").bounding_box()["y"] == first["y"]
