"""The shift page shows the numbers of ``methods`` and nothing else; states without an answer say what to do."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pytest

from dashboard import cache
from dashboard.jobs import Progress, carry_out
from dashboard.pages import page_class
from dashboard.study import Study
from methods import equivalence, percentile_shift, shift
from methods.shifts import all_pairs


def _csv(levels=("disk", "mushroom", "spherical"), fillings=4, each=5, seed=3):
    """Invented: each level 10 % above the one before, on one oil."""
    rng = np.random.default_rng(seed)
    rows = [
        {"sample": "A", "electrode": e, "filling": f"{e}-{f}", "order": o + 1, "kv": round(v, 1)}
        for i, e in enumerate(levels)
        for f in range(fillings)
        for o, v in enumerate(40 * 1.1**i * (1 + 0.03 * rng.standard_normal() + 0.1 * rng.standard_normal(each)))
    ]
    return pd.DataFrame(rows).to_csv(index=False).encode()


@pytest.fixture
def study():
    cache.forget()
    made = Study()
    made.open(_csv(), "invented.csv")
    made.by = "electrode"
    return made


def _page(study, **inputs):
    page = page_class("shift")(study)
    page.param.update(**inputs)
    page.shown = True
    return page


def test_sentence_and_table_are_those_of_the_method(study):
    page, expected = _page(study), shift(study.selection, "electrode")
    for one in expected.shifts:
        assert one.sentence[1:] in page._answer.text
    table = page._shown_tables["shift"].frame
    for name in ("mean_kv", "difference_percent", "low_kv", "high_percent", "p_value"):
        assert table[name].tolist() == [getattr(s, name) for s in expected.shifts]


def test_the_reference_of_the_sidebar_is_the_one_compared_with(study):
    page = _page(study)
    study.reference = "spherical"
    assert page.result().shift.reference == "spherical"
    assert page._shown_tables["shift"].frame["level"].tolist() == ["disk", "mushroom"]


def test_a_margin_asks_for_agreement(study):
    page, expected = _page(study, margin=5.0), equivalence(study.selection, "electrode", margin=0.05)
    assert page._shown_tables["shift_agreement"].frame["verdict"].tolist() == [v.verdict for v in expected.levels]
    assert expected.levels[0].sentence[1:] in page._answer.text


def test_every_pair_and_the_mixed_model(study):
    page = _page(study, pairs="tukey", model="mixed")
    expected = all_pairs(study.selection, "electrode", procedure="tukey")
    assert page._shown_tables["shift_pairs"].frame["p_value"].tolist() == [p.p_value for p in expected.pairs]
    mixed = shift(study.selection, "electrode", model="mixed")
    assert page._shown_tables["shift"].frame["low_kv"].tolist() == [s.low_kv for s in mixed.shifts]


def test_whole_distributions_come_from_the_job_and_stay_until_the_settings_change(study):
    page = _page(study)
    section = page._more[0]
    assert not section._found.visible
    carry_out(*(lambda ask: (ask[0], Progress(), ask[1]))(page._ask_whole()))
    page.refresh()
    assert section._found.visible
    expected = percentile_shift(study.selection, "electrode", repetitions=2000)
    assert expected.levels[0].sentence[1:] in section._said.text
    study.confidence = 0.9
    assert not section._found.visible


def test_what_changes_together_is_told_on_request(study):
    page = _page(study)
    carry_out(*(lambda ask: (ask[0], Progress(), ask[1]))(page._ask_design()))
    page.refresh()
    assert "electrode" in page._more[1]._said.text


def test_what_the_limits_hold_is_counted_on_request(study, monkeypatch):
    from dashboard.pages import shift as module

    monkeypatch.setattr(module, "PROVED", 20)
    page = _page(study)
    carry_out(*(lambda ask: (ask[0], Progress(), ask[1]))(page._ask_proof()))
    page.refresh()
    assert "of 100 invented studies (20 were made)" in page._more[2]._said.text


def test_one_level_left_says_what_to_do(study):
    page = _page(study)
    study.filters = {"electrode": ["disk"]}
    assert not page._body.visible and page._state.visible
    assert "Only one level of electrode is left: disk." in page._state.object
    assert not page._more[0].__panel__().visible


def test_no_factor_says_what_to_do():
    made = Study()
    made.open(_csv(levels=("disk",)), "one.csv")
    page = _page(made)
    assert "no factor with two levels" in page._state.object


def test_the_plot_has_a_row_for_each_level_and_the_reference(study):
    page = _page(study, margin=5.0)
    result = page.result()
    assert [name for _, name in page.draw(result).plots[0].y_ticks] == ["disk (reference)", "mushroom", "spherical"]
    assert "Shaded: agreement within ± 5 %" in page.describe(result)
    page.ratio = True
    assert page._unit() == "percent"  # a ratio has no kV


def test_one_filling_borrows_from_the_tests_that_the_filters_leave_out():
    cache.forget()
    made = Study()
    old = pd.read_csv(io.BytesIO(_csv(seed=8))).assign(sample=lambda d: "old " + d["electrode"])
    new = pd.read_csv(io.BytesIO(_csv(("disk", "mushroom"), fillings=1)))
    made.open(pd.concat([old, new]).to_csv(index=False).encode(), "invented.csv")
    made.by, made.filters = "electrode", {"sample": ["A"]}
    alone, lent = _page(made).result().shift, _page(made, borrow="aside").result().shift
    assert not np.isfinite(alone.shifts[0].low_kv)
    expected = shift(made.selection, "electrode", history=made.set_aside).shifts[0]
    assert (lent.shifts[0].low_kv, lent.shifts[0].high_kv) == (expected.low_kv, expected.high_kv)
