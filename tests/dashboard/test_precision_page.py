"""The precision page shows the experiment of methods, and leaves a cell out only on the user's word."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from dashboard import pages
from dashboard.study import Study
from methods.interlab import precision


def opened(name: str = "labs", **settings: Any) -> tuple[Study, Any]:
    study = Study()
    study.open_demo(name)
    page = pages.page_class("precision")(study, **settings)
    page.shown = True
    return study, page


@pytest.mark.parametrize("counts", ["filling", "breakdown"])
def test_the_table_holds_the_figures_of_the_method(counts: str) -> None:
    study, page = opened(counts=counts)
    found = precision(study.table, result=counts)
    shown = page._shown_tables["precision"].frame
    for name in ("mean", "s_r", "s_R", "r", "R", "s_R_high"):
        assert shown[name].tolist() == [getattr(lv, name) for lv in found.levels]
    assert "9 laboratories, 4 levels" in page._answer.text
    assert len(page._shown_tables["flags"].frame) == len(found.flags)


def test_a_cell_is_left_out_with_its_reason_and_taken_back() -> None:
    study, page = opened()
    before = page._shown_tables["precision"].frame["s_R"].tolist()
    label = next(k for k in page._cells._where if k.startswith("Erica · Alderholt"))
    page._cells._cell.value = label
    page._cells._pressed(None)
    assert "reason" in page._cells._word.text and not study.exclusions
    page._cells._reason.value = "another oil was sent"
    page._cells._pressed(None)
    assert [x.reason for x in study.exclusions] == ["another oil was sent"]
    out = page._shown_tables["left_out"].frame
    assert (out["laboratory"].iloc[0], out["reason"].iloc[0]) == ("Erica", "another oil was sent")
    assert "another oil was sent" in page._cautions.object
    assert page._shown_tables["precision"].frame["s_R"].iloc[0] < before[0]
    assert label not in page._cells._where
    study.take_back(0)
    assert page._shown_tables["precision"].frame["s_R"].tolist() == before
    assert label in page._cells._where


def test_exclusions_made_elsewhere_stay_out_too() -> None:
    study, page = opened()
    study.exclude({"laboratory": "Heather"}, "no reference voltmeter")
    assert page._shown_tables["precision"].frame["laboratories"].tolist() == [8] * 4
    left = page._shown_tables["left_out"].frame  # a laboratory as a whole is said cell by cell, with its reason
    assert len(left) == 4 and set(left["reason"]) == {"no reference voltmeter"}
    page.study.take_back(0)
    study.exclude({"electrode": "mushroom"}, "another pair of electrodes")
    assert "left_out" not in [k for k, t in page._shown_tables.items() if t.__panel__() in page._tables.objects]


def test_the_users_band_is_drawn_from_the_address_and_judged() -> None:
    study, page = opened(band=["20:5:30", "80:3:12"])
    assert set(page._shown_tables["cells"].frame["place"]) <= {"inside", "above", "below", "unknown"}
    assert page._band._field.value == "20  5  30\n80  3  12"
    page._band._field.value = "20\t5\t40\n80; 3; 12,0\n"
    assert study.inputs["precision.band"] == ["20:5:40", "80:3:12"]


def test_a_band_upside_down_is_told_and_not_drawn() -> None:
    _, page = opened(band=["20:30:5", "80:3:12"])
    assert "low not above high" in page._cautions.object
    assert not page._state.visible


def test_one_laboratory_gets_a_way_on() -> None:
    _, page = opened("bench")
    assert "No laboratory is named" in page._state.object
    study = Study()
    study.open(b"laboratory,sample,kv\nA,x,40\nA,x,41\nA,y,42\nA,y,50\n", "one.csv")
    page = pages.page_class("precision")(study)
    page.shown = True
    assert "Only one laboratory is named: A" in page._state.object
    assert "Round: nine laboratories" in page._state.object


def test_laboratories_that_filled_once_are_told_what_to_do() -> None:
    study = Study()
    rows = "\n".join(f"{lab},x,1,{i + 1},{40 + i + k}" for k, lab in enumerate("ABC") for i in range(5))
    study.open(f"laboratory,sample,filling,order,kv\n{rows}".encode(), "once.csv")
    page = pages.page_class("precision")(study)
    page.shown = True
    assert "single breakdowns" in page._state.object
    page.counts = "breakdown"
    assert not page._state.visible and "single breakdowns" in page._answer.text


@pytest.mark.parametrize("levels", [3, 20])
def test_every_cell_has_its_stem_and_a_level_without_cells_is_no_fault(levels: int) -> None:
    from dashboard.plots.precision import mandel

    names = [f"oil {i}" for i in range(levels)]
    pairs = [(name, lab, 0.1 * i + k) for i, name in enumerate(names[:-1]) for k, lab in enumerate("AB")]
    cells = pd.DataFrame(pairs, columns=["level", "laboratory", "h"])
    drawn = mandel(cells, names, "h", {}, dark=False)
    layers = drawn.plots[0].layers[1:]  # the first is the line at zero
    stems = [v for layer in layers if layer.kind == "segments" for v in layer.data["y1"]]
    marks = [v for layer in layers if layer.kind == "marks" for v in layer.data["y"]]
    assert sorted(stems) == sorted(marks) == sorted(cells["h"])
