"""The decision page gives the verdicts of ``methods``, refuses another method's limit, and shows the edition."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from dashboard import cache
from dashboard.pages import page_class
from dashboard.pages.base import Empty
from dashboard.study import Study
from methods.planning import decide_all
from methods.planning.case_budget import budget_of
from methods.planning.standing import series_of

LIMIT = "iec_60422_2013/b_good"


def _study(method="IEC 60156", levels=(("A", 70), ("B", 52), ("C", 35))):
    cache.forget()
    rng = np.random.default_rng(8)
    rows = [
        {"sample": s, "method": method, "filling": f"{s}{f}", "order": o + 1, "kv": round(float(v), 1)}
        for s, level in levels
        for f in range(3)
        for o, v in enumerate(level * (1 + 0.04 * rng.standard_normal() + 0.1 * rng.standard_normal(5)))
    ]
    made = Study()
    made.open(pd.DataFrame(rows).to_csv(index=False).encode(), "invented.csv")
    return made


def _page(study, **inputs):
    page = page_class("decision")(study)
    page.param.update(**inputs)
    page.shown = True
    return page


def test_verdicts_are_those_of_the_method():
    study = _study()
    page, expected = _page(study, limit=LIMIT, rule="guarded"), decide_all(study.selection, LIMIT, "guarded")
    table = page._shown_tables["decision_verdicts"].frame
    for name in ("verdict", "mean_kv", "probability_above", "wrong_verdict_probability", "guard_band_kv"):
        assert table[name].tolist() == [getattr(d, name) for d in expected.decisions]
    assert table["case"].tolist() == ["A", "B", "C"]
    passed = sum(d.verdict == "pass" for d in expected.decisions)
    assert f"{passed} pass" in page._answer.text


def test_edition_and_own_copy_are_always_named():
    page = _page(_study(), limit=LIMIT)
    assert "edition 2013" in page._cautions.object
    assert "heck against your own copy of the standard" in page._cautions.object


def test_another_methods_limit_is_refused_with_the_reason():
    page = _page(_study("ASTM D1816 2 mm"), limit=LIMIT)
    said = page._state.object
    assert "Not compared" in said and "no standard converts one into the other" in said
    assert not page._body.visible and not page._part.visible


def test_no_limit_is_applied_unasked():
    page = _page(_study())
    with pytest.raises(Empty) as caught:
        page.result()
    assert not page._answer.text and caught.value.missing == "Choose a limit."
    assert "applied unasked" in str(caught.value) and "go with these records" in str(caught.value)


def test_grades_and_departures_stand_in_the_verdicts():
    page, expected = _page(_study(), limit=LIMIT), decide_all(_study().selection, LIMIT)
    table = page._shown_tables["decision_verdicts"].frame
    assert table["grade"].tolist() == [d.grade for d in expected.decisions]
    for i, grade in enumerate(("good", "fair", "poor")):
        assert table[f"probability_{grade}"].tolist() == [d.grades[i].probability for d in expected.decisions]
    assert "Grades:" in page._answer.text


def test_what_may_make_the_verdict_none_comes_first():
    study = _study()
    page = _page(study, limit=LIMIT)
    codes = [c.code for c in page.cautions(page.result())]
    assert codes[0] == "liquid_unknown" and "check" in codes  # the invented rows do not say what liquid it is


def test_a_graded_limit_of_ones_own_needs_no_file():
    study = _study()
    page = _page(study, limit="typed", limit_kv=50.0, poor_kv=40.0, method="IEC 60156", liquid="mineral oil")
    shown, expected = page.result().found.decisions, decide_all(study.selection, LIMIT).decisions
    assert [d.grade for d in shown] == [d.grade for d in expected]
    assert [d.grades for d in shown] == [d.grades for d in expected]


def test_stage_and_equipment_can_be_said_where_the_limit_asks_for_them():
    study = _study()
    own = {"limit": "typed", "limit_kv": 45.0, "method": "IEC 60156"}
    plain = _page(study, **own)
    assert not plain._stages.visible and not plain._classes.visible
    page = _page(study, **own, limit_stage="in service", limit_equipment="up to 69 kV")
    assert page._stages.visible and page._classes.visible
    assert "say the stage and equipment of these oils" in page._cautions.object
    page._stages.value, page._classes.value = "in service", "up to 69 kV"
    assert page.stage == "in service" and "of these oils, or make sure" not in page._cautions.object
    page.equipment = "230 kV and above"
    assert "said to be 230 kV and above" in page._state.object


def test_a_typed_limit_belongs_to_a_method():
    study = _study()
    page = _page(study, limit="typed", limit_kv=45.0, method="IEC 60156")
    assert page.result().found.limit_kv == 45.0
    page.method = "ASTM D877"
    assert "There is no verdict." in page._state.object
    page.method = ""
    assert "for which method" in page._cautions.object


def test_one_oil_is_judged_in_its_own_sentence():
    study = _study(levels=(("A", 70),))
    page = _page(study, limit=LIMIT)
    assert page._answer.text == decide_all(study.selection, LIMIT).decisions[0].sentence


def test_the_budget_is_that_of_the_chosen_oil():
    study = _study()
    page = _page(study, limit=LIMIT, case="B", voltmeter=3.0, own_sources="resolution 0.1 kV")
    chosen = next(s for s in series_of(study.selection) if s.label == "B")
    assert page._part.answer.text == budget_of(chosen, voltmeter_percent=3.0, own="resolution 0.1 kV").sentence


def test_curves_are_of_the_method_and_of_the_records():
    page = _page(_study(), limit=LIMIT)
    designs = page.result().curves["design"].unique().tolist()
    assert designs[0] == "1 × 6: as the method prescribes"
    assert "3 × 5: as these records, typically" in designs


@pytest.mark.parametrize("rule", ["simple", "guarded", "every"])
def test_every_rule_draws(rule):
    page = _page(_study(), limit=LIMIT, rule=rule)
    assert page._body.visible


def test_coverage_is_counted_as_a_job():
    from dashboard.jobs import Progress

    page = _page(_study())
    work, _ = page._ask_proof()
    steps = []
    label, proof = work(Progress(lambda done, total: steps.append((done, total))))
    assert steps[0] == (0, 2000) and proof.rows[0].what == "mean" and proof.rows[0].held > 0.9
    page._proved((label, proof))
    assert proof.sentence in page._proof.answer.text and page._proof.visible


def test_scatter_is_borrowed_from_the_tests_that_the_filters_leave_out():
    from methods.planning import decide_all

    study = _study()
    page = _page(study, limit=LIMIT, borrow="aside")
    with pytest.raises(Empty, match="No tests are filtered out"):
        page.result()
    study.filters = {"sample": ["A"]}
    found, expected = page.result().found, decide_all(study.selection, LIMIT, history=study.set_aside)
    assert [d.mean_low_kv for d in found.decisions] == [d.mean_low_kv for d in expected.decisions]
    assert set(study.set_aside["sample"]) == {"B", "C"} and len(study.set_aside) + len(study.table) == len(
        study.everything
    )
    assert "history" in {c.code for d in found.decisions for c in d.cautions}
