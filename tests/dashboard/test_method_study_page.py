"""Each question of the method-study page shows the numbers of its method, or says why there are none."""

from __future__ import annotations

from typing import Any

import pytest

from dashboard import pages
from dashboard.jobs import Progress
from dashboard.pages.method_study_words import QUESTIONS
from dashboard.study import Study
from methods.agreement import compare_methods
from methods.consistency import judge_table
from methods.laws import compare_geometry, gap_laws, rate_laws
from methods.protocols import load_rules, own_rule, trip_rate


def opened(demo: str, by: str = "", **settings: Any) -> tuple[Study, Any]:
    study = Study()
    study.open_demo(demo)
    study.by = by or study.by
    study.inputs = {f"method_study.{name}": value for name, value in settings.items()}
    page = pages.page_class("method_study")(study)
    page.shown = True
    return study, page


def frame(page: Any, name: str) -> Any:
    assert not page._state.visible, page._state.object
    return page._shown_tables[name].frame


def test_rules_stand_at_the_scatter_of_the_records() -> None:
    _, page = opened("bench", own_kind="range_percent", own_limit=40.0)
    rows = frame(page, "rules_records")
    assert rows["rule"].iloc[-1] == "range of 5 at most 40 % of the mean"
    cov = rows["own_cov_percent"].iloc[0] / 100
    assert rows["expected_percent"].iloc[0] == pytest.approx(100 * trip_rate(load_rules()["three_r"], cov).probability)
    assert rows["judged"].iloc[-1] > 0
    assert "ASTM D877" in page._answer.text


def test_a_rule_is_chosen_and_judges_any_number() -> None:
    """The same verdicts as the command gives with that rule; what is incomplete is not counted as judged."""
    _, plain = opened("routine")
    study, chosen = opened("routine", judged_by="three_r")
    for page, rule in ((plain, None), (chosen, load_rules()["three_r"])):
        found = judge_table(study.selection, rule)
        assert frame(page, "rules_judged")["sentence"].tolist() == [v.sentence for _, v in found]
    _, own = opened("routine", own_kind="cov_ceiling", own_limit=20.0, own_n=8, judged_by="own")
    shown = frame(own, "rules_judged")
    assert set(shown["breakdowns"]) == {5} and set(shown["step"]) == {"incomplete"} and not shown["judged"].any()
    assert frame(own, "rules_records")["judged"].iloc[-1] == 0
    study, second = opened(
        "routine", own_kind="range_percent", own_limit=10.0, own_n=3, own_more=2, own_second=60.0, judged_by="own"
    )
    rule = own_rule("range_percent", 10.0, n=3, more=2, second_limit=60.0)
    said = [v.sentence for _, v in judge_table(study.selection, rule)]
    without = own_rule("range_percent", 10.0, n=3, more=2)
    assert frame(second, "rules_judged")["sentence"].tolist() == said
    assert said != [v.sentence for _, v in judge_table(study.selection, without)]
    _, three = opened("routine", own_kind="cov_ceiling", own_limit=20.0, own_n=5, judged_by="own")
    assert frame(three, "rules_judged")["judged"].sum() > 0


def test_simulated_rules_fill_the_curves_and_the_effect(monkeypatch: pytest.MonkeyPatch) -> None:
    from dashboard.cache import remember
    from dashboard.pages import method_study_rules

    monkeypatch.setattr(method_study_rules, "REPETITIONS", 500)
    _, page = opened("bench", family="lognormal")
    assert "simulate" in page._cautions.object
    work, key = page.view._prepare()
    told: list[float] = []
    found = work(Progress(lambda done, total: told.append(done / total)))
    assert told == sorted(told) and told[-1] == pytest.approx(1)
    remember(key, lambda: found)
    page.refresh()
    assert "Simulate" not in page._cautions.object
    assert len(frame(page, "rules_effect")) == 4 * 5


def test_the_gap_law_is_that_of_the_method_and_refuses_to_go_far() -> None:
    study, page = opened("bench", question="gap", at_gap=3.0)
    law = next(w for w in gap_laws(study.table) if w.fit is not None)
    assert frame(page, "gap_laws")["m"].iloc[0] == law.m
    assert "At 3 mm it predicts" in page._answer.text
    page.at_gap = 9.0
    assert "lies more than half beyond the tested gaps" in page._cautions.object


def test_the_rate_law_gives_the_shift_between_two_rates() -> None:
    study, page = opened("bench", question="rate")
    best = max((w for w in rate_laws(study.table) if w.fit is not None), key=lambda w: len(w.fit.levels))
    assert best.n in frame(page, "rate_laws")["n_exponent"].tolist()
    assert "from 2 to 0.5 kV/s" in page._answer.text


def test_geometry_stands_beside_what_was_observed_and_disks_are_out_of_reach() -> None:
    study, page = opened("bench", question="geometry", geometry_one="spherical at 2.5 mm",
                         geometry_two="mushroom at 2.5 mm")  # fmt: skip
    found = compare_geometry(study.table, ("spherical", 2.5), ("mushroom", 2.5))
    assert frame(page, "geometry_criteria")["ratio"].tolist() == found.criteria["ratio"].tolist()
    _, page = opened("programme", question="geometry", geometry_one="disk at 2.54 mm")
    assert "edge" in page._answer.text
    assert "out_of_reach" in page._cautions.object


def test_agreement_is_an_association_and_names_its_limits() -> None:
    first, second = "ASTM D1816 1 mm", "ASTM D1816 2 mm"
    study, page = opened("programme", by="method", question="agreement", first=first, second=second, reading=30.0)
    found = compare_methods(study.table, by="method", first=first, second=second)
    shown = frame(page, "agreement_limits").set_index("quantity")
    assert shown.loc["Mean difference (kV)", "value"] == found.absolute.bias
    assert shown.loc["Upper limit (kV)", "high"] == found.absolute.upper_high
    assert "association in these data, not a conversion" in page._answer.text
    page.scale = "percent"
    assert "%" in page._answer.text


def test_methods_are_ranked_by_bench_hour() -> None:
    _, page = opened("programme", by="procedure", question="apart")
    rows = frame(page, "apart_discrimination")
    assert rows["per_hour"].is_monotonic_decreasing and rows["minutes"].notna().all()
    assert page._answer.text.startswith(rows["method"].iloc[0])


def test_designs_share_out_the_breakdowns_asked_for() -> None:
    _, page = opened("bench", question="design", total=12)
    assert frame(page, "design_designs")["design"].tolist() == ["1 × 12", "2 × 6", "3 × 4", "4 × 3", "6 × 2", "12 × 1"]
    assert "One filling alone cannot show" in page._answer.text


def test_families_part_at_the_low_end() -> None:
    _, page = opened("bench", question="family", low="0.1 %")
    rows = frame(page, "family_families")
    assert rows["kv"].max() - rows["kv"].min() > rows["median_kv"].max() - rows["median_kv"].min()
    assert "hold none so low" in page._cautions.object


@pytest.mark.parametrize("question", list(QUESTIONS))
def test_records_that_cannot_answer_are_met_calmly(question: str) -> None:
    study = Study()
    study.open(b"sample,kv\nA,40\nA,41\nA,39\n", "poor.csv")
    page = pages.page_class("method_study")(study, question=question)
    page.shown = True
    assert "failed" not in page._state.object
    assert page._answer.text or page._state.visible


def test_changing_the_question_changes_controls_and_plots() -> None:
    study, page = opened("bench")
    assert len(page._figures) == 1
    page.question = "agreement"
    assert len(page._figures) == 2
    assert study.inputs["method_study.question"] == "agreement"
    page.question = "rules"
    assert len(page._figures) == 1 and not page._state.visible
