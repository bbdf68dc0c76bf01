"""Choices: labels in the browser, values behind them; numbers within their bounds."""

from __future__ import annotations

from typing import Any

import panel as pn
import pytest

from dashboard import parts
from dashboard.actions import Fold
from dashboard.controls import Amount, Choice, Several
from dashboard.menu import Menu
from dashboard.pages import entries, page_class
from dashboard.study import Study


@pytest.fixture(autouse=True)
def extension() -> None:
    pn.extension()


def told(control: Any) -> Any:
    """What the browser is told of a control."""
    return control.get_root().data


def test_the_browser_gets_labels_and_the_program_values() -> None:
    choice = Choice("Confidence", {"90 %": 0.9, "95 %": 0.95}, value=0.95)
    assert told(choice).labels == ["90 %", "95 %"] and told(choice).chosen == ["95 %"]
    choice.chosen = ["90 %"]
    assert choice.value == 0.9
    choice.value = 0.95
    assert choice.chosen == ["95 %"]


def test_values_may_say_themselves_and_one_that_is_not_offered_shows_nothing() -> None:
    choice = Choice("Cell", ["A", "B"], value="C")
    assert choice.labels == ["A", "B"] and choice.chosen == []
    choice.param.update(options=["C", "D"])
    assert choice.chosen == ["C"] and choice.value == "C"


def test_a_label_that_has_gone_since_changes_nothing() -> None:
    choice = Choice("Cell", ["A", "B"], value="A")
    choice.options = ["A"]
    choice.chosen = ["B"]
    assert choice.value == "A" and choice.chosen == ["A"]
    several = Several("Hold equal", ["gap", "method"], value=["gap"])
    several.chosen = ["gap", "state"]
    assert several.value == ["gap"]


def test_several_are_kept_in_the_order_of_choosing() -> None:
    several = Several("Split further by", {"Gap (mm)": "gap_mm", "Stirring": "stirring"}, most=2)
    seen: list[Any] = []
    several.param.watch(lambda event: seen.append(event.new), "value")
    several.chosen = ["Stirring"]
    several.chosen = ["Stirring", "Gap (mm)"]
    assert seen == [["stirring"], ["stirring", "gap_mm"]]
    several.value = ["gap_mm"]
    assert several.chosen == ["Gap (mm)"] and told(several).none == "nothing"


def test_a_control_brings_its_own_explanation() -> None:
    choice = Choice("Limit")
    assert parts.explained(choice, "By document and edition.", width=330) is choice
    assert told(choice).hint == "By document and edition." and choice.max_width == 330


def test_a_number_is_the_page_s_and_whole_where_it_is_to_be() -> None:
    page = page_class("howmany")(Study(), source="typed")
    for heading in page.__panel__().select(Fold):
        heading.open = True
    fields = {f.label: f for f in page.__panel__().select(Amount)}
    fillings, width = fields["Fillings"], fields["Half-width (± %)"]
    assert fillings.whole and (fillings.start, fillings.end) == page.param.fillings.bounds
    fillings.value = 7
    width.value = 12.5
    assert page.fillings == 7 and isinstance(page.fillings, int) and page.half_width == 12.5
    page.fillings = 3
    assert fillings.value == 3
    fillings.value = None  # empty: not asked
    assert page.fillings is None and fillings.optional
    width.value = None  # of this one a number is needed
    assert page.half_width == 12.5 and not width.optional


def test_the_menu_leads_to_every_page_and_says_where_one_is() -> None:
    from dashboard.app import App

    app = App(Study())
    menu = app._sidebar.__panel__().select(Menu)[0]
    assert [key for key, _, _ in menu.entries] == [e.key for e in entries()]
    assert all(sign.startswith("M") for _, _, sign in menu.entries)
    menu.page = "classroom"
    assert app.study.page == "classroom"
    app.study.page = "records"
    assert menu.page == "records"
