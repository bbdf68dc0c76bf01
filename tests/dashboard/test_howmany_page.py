"""The how-many page gives the plans of ``methods`` for what is typed and for what the records show."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from dashboard import cache
from dashboard.jobs import Progress, carry_out
from dashboard.pages import page_class
from dashboard.study import Study
from methods import plan
from methods.planning.pilot_data import pilot


@pytest.fixture
def study():
    cache.forget()
    rng = np.random.default_rng(5)
    rows = [
        {"sample": s, "method": "IEC 60156", "filling": f"{s}{f}", "order": o + 1, "kv": round(float(v), 1)}
        for s in "AB"
        for f in range(4)
        for o, v in enumerate(60 * (1 + 0.04 * rng.standard_normal() + 0.12 * rng.standard_normal(6)))
    ]
    made = Study()
    made.open(pd.DataFrame(rows).to_csv(index=False).encode(), "invented.csv")
    return made


def _page(study, **inputs):
    page = page_class("howmany")(study)
    page.param.update(**inputs)
    page.shown = True
    return page


def test_typed_scatter_gives_the_plan_of_the_method():
    page = _page(Study(), within=15.0, between=5.0, half_width=12.5, fillings=5)
    expected = plan.mean(0.15, 0.125, between_cov=0.05, fillings=5)
    assert expected.sentence in page._answer.text
    assert "±12.4 %, or ±8.8 % if the scatter is known from history" in page._answer.text  # 5 fillings of 3
    assert not page._next.visible  # no records, no series to stop


@pytest.mark.parametrize(
    ("goal", "expected"),
    [
        ("difference", lambda: plan.difference(0.15, 0.10, between_cov=0.05)),
        ("percentile", lambda: plan.percentile(0.15, 0.10, 0.20, between_cov=0.05)),
        ("decision", lambda: plan.decision(50, 60, 0.15, between_cov=0.05)),
        ("equivalence", lambda: plan.equivalence(0.15, 0.10, between_cov=0.05)),
    ],
)
def test_every_goal_has_its_plan(goal, expected):
    half_width = {"percentile": 20.0}.get(goal, 10.0)
    page = _page(Study(), goal=goal, half_width=half_width, p=10.0)
    assert expected().sentence in page._answer.text


def test_the_plan_is_also_told_in_fillings_as_the_records_have_them(study):
    typed = {"source": "typed", "within": 15.0, "between": 5.0, "half_width": 10.0}
    assert "That is 5 results of the method" in _page(study, **typed)._answer.text  # as the method reports
    page = _page(study, **typed, filling_minutes=2.0, breakdown_minutes=3.0)  # the user's own times: numbers are free
    expected = plan.mean(0.15, 0.10, between_cov=0.05, breakdowns_per_filling=6)
    said = f"In fillings of 6, as these records have: {expected.fillings} fillings, {expected.breakdowns} breakdowns."
    assert said in page._answer.text and expected.half_width_percent <= 10
    page.per_filling = 6  # asked for: said once
    assert "as these records have" not in page._answer.text
    assert f"Take {expected.fillings} fillings of 6" in page._answer.text
    assert "as these records have" not in _page(Study(), half_width=10.0)._answer.text


@pytest.mark.parametrize("half_width", [2.0, 3.0, 10.0])
def test_the_plan_lies_on_a_line_of_the_plot(half_width):
    result = _page(Study(), half_width=half_width).result()
    mine = result.curve[result.curve["fillings"] == result.plan.fillings].set_index("breakdowns_per_filling")
    at = mine.loc[result.plan.breakdowns_per_filling]
    assert at["half_width_percent"] == pytest.approx(result.plan.half_width_percent)
    assert result.curve["breakdowns_per_filling"].max() <= 100


def test_bench_times_are_typed():
    typed = _page(Study(), filling_minutes=0.5, breakdown_minutes=4.0).result().plan
    usual = _page(Study()).result().plan
    assert typed.fillings > usual.fillings and typed.breakdowns_per_filling < usual.breakdowns_per_filling
    assert typed.bench_minutes == typed.fillings * (0.5 + 4.0 * typed.breakdowns_per_filling)
    assert usual.bench_minutes is None


def test_a_plan_that_cannot_be_says_why():
    page = _page(Study(), half_width=1.0, fillings=2)
    assert "plan more fillings" in page._state.object


def test_the_records_are_the_pilot_once_they_were_read(study):
    page = _page(study)
    assert "is being read" in page._cautions.object
    ask = page._ask_pilot()
    carry_out(ask[0], Progress(), ask[1])
    page.refresh()
    found = pilot(study.selection)
    table = page._shown_tables["howmany_scatter"].frame
    assert table["cov_percent"][0] == pytest.approx(100 * found.within_sd / found.mean_kv)
    assert table["cov_upper_percent"][1] == pytest.approx(100 * found.between_upper / found.mean_kv)
    assert "minutes on the bench" in page._answer.text  # by the method of the records


def test_the_place_of_the_records_is_on_the_plot(study):
    page = _page(study, source="typed", within=15.0, between=5.0)
    here = plan.mean(0.15, between_cov=0.05, fillings=4, breakdowns_per_filling=6)
    label = page._marks(page.result())[0].label
    assert label.startswith("these records: 4 × 6") and f"{here.half_width_percent:.1f}" in label


def test_stop_or_go_on_is_about_one_series(study):
    page = _page(study, source="typed", series="B")
    kv = study.table.query("sample == 'B'")
    assert page._next.answer.text == plan.next(kv["kv"], 0.10, fillings=kv["filling"]).sentence


@pytest.mark.parametrize("goal", ["mean", "difference", "percentile", "decision", "equivalence"])
def test_the_plan_is_carried_out_as_a_job(goal):
    from methods.prove_plans import prove_plan

    page = _page(Study(), goal=goal, half_width=20.0, difference=20.0, margin=20.0, limit_kv=45.0, mean_kv=60.0)
    work, key = page._ask_proof()
    assert page.result().plan.sentence in key
    made = page.result().plan
    found = prove_plan(made, cov=0.15, between_cov=0.05, repetitions=40)
    page._proved((made.sentence, found))
    assert found.sentence in page._proof.answer.text and page._proof.visible
    page.within = 22.0
    assert found.sentence not in page._proof.answer.text
