"""The scatter page shows what methods give, one level at a time."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from dashboard import pages
from dashboard.levels import texts
from dashboard.study import Study
from methods.scatter import components, order_effects


def opened(**settings: Any) -> tuple[Study, Any]:
    study = Study()
    study.open_demo("bench")
    study.filters = {"study": ["gap"]}
    study.by = "gap_mm"
    page = pages.page_class("scatter")(study, **settings)
    page.shown = True
    assert not page._state.visible
    return study, page


def test_the_table_holds_the_components_of_the_chosen_level() -> None:
    study, page = opened(level="2")
    part = study.table[(texts(study.table["gap_mm"]) == "2").to_numpy()].reset_index(drop=True)
    found = components(part)
    shown = page._shown_tables["components"].frame
    assert shown["sd"].tolist() == [c.sd for c in found.components]
    assert shown["high"].tolist() == [c.high for c in found.components]
    assert page._answer.text.startswith("2: filling to filling")
    assert "tell as much as" in page._answer.text
    effects = order_effects(part)
    assert page._shown_tables["order"].frame["estimate"].iloc[0] == effects.trend.kv


def test_without_a_choice_it_is_the_reference() -> None:
    study, page = opened()
    study.reference = "1.5"
    assert page._answer.text.startswith("1.5:")
    page.level = "*"
    assert page._answer.text.startswith("Filling to filling")


def test_a_lost_order_is_told() -> None:
    study = Study()
    rows = "\n".join(f"A,{f},{50 + f + v}" for f in range(6) for v in (1, 2, 4, 7, 9))
    study.open(f"sample,filling,kv\n{rows}".encode(), "sorted.csv")
    page = pages.page_class("scatter")(study)
    page.shown = True
    assert "order_lost" in page._cautions.object
    assert "order" not in page._shown_tables


def test_a_value_that_stands_apart_is_flagged_and_kept() -> None:
    study = Study()
    rng = np.random.default_rng(3)
    kv = rng.normal(50, 3, 30).round(1)
    kv[7] = 11.0
    rows = "\n".join(f"A,{i // 6},{i % 6 + 1},{v}" for i, v in enumerate(kv))
    study.open(f"sample,filling,order,kv\n{rows}".encode(), "a.csv")
    page = pages.page_class("scatter")(study)
    page.shown = True
    flags = page._shown_tables["outliers"].frame
    assert set(flags["kv"]) == {11.0}
    assert "Nothing was left out" in page._cautions.object
    assert len(study.table) == 30


@pytest.mark.parametrize("rows", ["A,1,1,40", "A,1,1,40\nA,1,2,41"])
def test_next_to_nothing_is_answered_calmly(rows: str) -> None:
    study = Study()
    study.open(f"sample,filling,order,kv\n{rows}".encode(), "tiny.csv")
    page = pages.page_class("scatter")(study)
    page.shown = True
    assert "failed" not in page._state.object
