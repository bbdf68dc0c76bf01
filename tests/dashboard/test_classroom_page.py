"""The classroom page without a browser: drawing, water, the limit, the challenge, and the same for a whole class."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd
import pytest

from dashboard import words
from dashboard.actions import Press
from dashboard.pages import page_class
from dashboard.pages.classroom_lesson import STEPS
from dashboard.study import Study
from methods.answers.files import table_csv
from methods.classroom import MOST_TAKEN


@pytest.fixture
def page():  # type: ignore[no-untyped-def]
    made = page_class("classroom")(Study(), count=20)
    made.shown = True
    return made


def press(page, label: str) -> None:  # type: ignore[no-untyped-def]
    """Press a button of the page as the browser does."""
    button = next(b for b in page._view.select(Press) if b.label == label)
    button.clicks += 1


def test_it_needs_no_records_and_begins_with_one_breakdown(page) -> None:  # type: ignore[no-untyped-def]
    assert page._answer.text.startswith("One breakdown:") and "Take the next" in page._answer.text
    assert not page._state.visible and not page._cautions.visible
    assert len(page.result().test.table) == 1, "no empty plot"


def test_the_default_oil_is_clear_of_the_ceiling_and_a_limit_parts_the_laboratories() -> None:
    page = page_class("classroom")(Study())
    lesson = page.result()
    assert not lesson.group.cautions and not lesson.group.summary["no_mean"].any()
    passes = lesson.group.summary.set_index("design").loc["1 × 6", "passes"]
    assert 0.05 < 1 - passes < 0.5


def test_buttons_take_one_a_filling_and_five_fillings(page) -> None:  # type: ignore[no-untyped-def]
    press(page, "Take one")
    assert page.taken == 2 and "2 breakdowns on 1 filling" in page._answer.text
    press(page, "Finish the filling")
    assert page.taken == 6  # as the method of the setting prescribes
    press(page, "Finish the filling")
    assert page.taken == 12
    press(page, "Five fillings more")
    assert page.taken == 42
    table = page._shown_tables["classroom_breakdowns"].frame
    assert len(table) == page.taken and table["filling"].nunique() == 7
    page.taken = MOST_TAKEN
    press(page, "Take one")
    assert page.taken == MOST_TAKEN
    press(page, "Start again")
    assert page.taken == 1 and "Take the next" in page._answer.text


@pytest.mark.parametrize("view", ["test", "laboratories"])
def test_the_truth_is_hidden_until_it_is_asked_for(page, view: str) -> None:  # type: ignore[no-untyped-def]
    page.param.update(view=view, taken=6, reported=9)
    truth = f"{page.result().bench.true_mean_kv:.3g}"

    def lines() -> list[str]:
        return [line[0] for line in page._draw_main(page.result()).legend()]

    assert "The truth" not in page._answer.text and "True mean" not in lines()
    assert not {"classroom_designs", "classroom_laboratories"} & set(page.tables(page.result()))
    press(page, "Reveal the truth")
    assert f"The truth is {truth} kV" in page._answer.text and "True mean" in lines()
    press(page, "Start again")
    assert not page.revealed and "True mean" not in lines()


def test_laboratories_report_one_after_the_other_and_are_counted_by_the_limit(page) -> None:  # type: ignore[no-untyped-def]
    page.view = "laboratories"
    press(page, "Next laboratory")
    assert page.reported == 2
    drawn = page._draw_main(page.result()).plots[0]
    press(page, "All of them")
    assert page.reported == page.count == 20
    kv = page._shown_tables["classroom_reported"].frame["mean_kv"]
    assert f"20 laboratories, one oil, 1 filling of 6 each: {(kv < 50).sum()} fail it at 50 kV" in page._answer.text
    whole = page._draw_main(page.result()).plots[0]
    assert whole.x_range == drawn.x_range and whole.y_range == drawn.y_range, "the axes stay while they come"
    by_label = {layer.label: layer for layer in whole.layers if layer.label}
    assert (by_label["Fails"].data["y"] < 50).all() and (by_label["Passes"].data["y"] >= 50).all()
    assert len(by_label["Fails"].data["y"]) + len(by_label["Passes"].data["y"]) == 20
    page.design = "3 × 2"
    assert "3 fillings of 2 each" in page._answer.text


def test_it_plays_until_it_is_paused_or_all_have_reported(page) -> None:  # type: ignore[no-untyped-def]
    page.view = "laboratories"
    press(page, "▶ Play")
    assert page.playing
    page.step()
    page.step()
    assert page.reported == 3
    assert "classroom.reported" not in page.study.inputs, "not each step into the browser's history"
    press(page, "❚❚ Pause")
    assert page.study.inputs["classroom.reported"] == 3
    press(page, "▶ Play")
    for _ in range(30):
        page.step()
    assert page.reported == 20 and not page.playing


def test_guesses_are_scored_when_the_truth_is_revealed(page) -> None:  # type: ignore[no-untyped-def]
    page.taken = 6
    truth = page.result().bench.true_mean_kv
    page._guesses._field.value = f"AB {truth + 9:.1f}\nCD {truth - 1:.1f}, EF\n<b>x</b> 70"
    under = page._guesses._score.object
    assert "3 guesses" in under and "has no number" in under and "<b>x</b> 70" not in under
    assert "CD" not in page._answer.text and "Nearest" not in under
    press(page, "Reveal the truth")
    assert page._answer.text.endswith("Nearest: CD.")
    score = page._shown_tables["classroom_guesses"].frame
    assert score["name"].tolist()[0] == "CD" and score["rank"].tolist() == [1, 2, 3]
    assert "<b>x</b>" not in page._guesses._score.object, "what was typed is text"
    assert not any("guess" in key for key in page.study.inputs)


@pytest.mark.parametrize("step", STEPS)
def test_each_step_of_the_lesson_stands_by_itself_and_a_link_names_it_alone(step: str) -> None:
    study = Study()
    study.put("classroom", "lesson", step, default="")
    linked = page_class("classroom")(study)
    chosen = page_class("classroom")(Study(), taken=30, revealed=True, view="laboratories", mean_kv=90)
    chosen.lesson = step
    for name, value in STEPS[step].settings.items():
        assert getattr(linked, name) == value == getattr(chosen, name), name
    assert not chosen.revealed
    chosen.shown = True
    assert chosen._answer.text and not chosen._cautions.visible, "no step meets a ceiling unasked"


def test_the_lesson_lasts_45_minutes_and_its_plan_names_every_step() -> None:
    assert sum(step.minutes for step in STEPS.values()) == 45
    plan = (Path(__file__).parents[2] / "dashboard" / "docs" / "start" / "lesson.md").read_text(encoding="utf-8")
    for step in STEPS.values():
        assert f"{step.title} ({step.minutes} minutes)" in plan


def test_a_class_that_types_the_same_sees_the_same() -> None:
    tables = []
    for seed in (7, 7, 8):
        page = page_class("classroom")(Study(), seed=seed, taken=6, count=10)
        page.shown = True
        tables.append(page._shown_tables["classroom_breakdowns"].frame)
    pd.testing.assert_frame_equal(tables[0], tables[1])
    assert not tables[0]["kv"].equals(tables[2]["kv"])


def test_the_first_breakdowns_stay_when_more_are_taken(page) -> None:  # type: ignore[no-untyped-def]
    page.taken = 6
    first = page._shown_tables["classroom_breakdowns"].frame["kv"].tolist()
    page.taken = 12
    assert page._shown_tables["classroom_breakdowns"].frame["kv"].tolist()[:6] == first


def test_wet_oil_reads_lower_and_warm_oil_dissolves_more(page) -> None:  # type: ignore[no-untyped-def]
    def truth() -> float:
        return float(page.result().bench.true_mean_kv)

    dry = truth()
    page.water_mg_kg = 45
    wet = truth()
    assert wet < dry
    page.temperature_c = 60
    assert wet < truth()


def test_a_limit_gives_the_share_that_passes(page) -> None:  # type: ignore[no-untyped-def]
    page.setting = "own numbers"
    page.param.update(mean_kv=50, limit_kv=50, count=400, revealed=True)
    designs = page._shown_tables["classroom_designs"].frame
    # an oil exactly on the limit passes about every other time: 4 standard errors of 400 coin tosses
    assert designs["passes"].between(0.4, 0.6).all()


def test_a_ceiling_gives_no_mean(page) -> None:  # type: ignore[no-untyped-def]
    page.setting = "own numbers"
    page.param.update(mean_kv=90, ceiling_kv=60, taken=6)
    assert "there is no mean" in page._answer.text


def test_the_challenge_hides_the_truth_until_it_is_revealed(page) -> None:  # type: ignore[no-untyped-def]
    page.challenge = True
    page.taken = 6
    truth = page.result().bench.true_mean_kv
    assert "Guess" in page._answer.text
    assert "classroom_laboratories" not in [t for t in page.tables(page.result())]
    page._view.get_root()  # as a browser would have it drawn
    page._came_to_front()
    assert not page._state.visible
    alternatives = page._figures[1]._words.object
    assert "once the truth is revealed" in alternatives
    assert f"{truth:.3g}" not in page._answer.text
    press(page, "Reveal the truth")
    assert page.revealed and "The truth is" in page._answer.text
    page.number_of_oil = 2
    assert not page.revealed and "Guess" in page._answer.text


def test_only_the_controls_that_count_are_shown(page) -> None:  # type: ignore[no-untyped-def]
    def shown() -> set[str]:
        return {name for name, group in page._groups.items() if group.visible}

    assert shown() == {"water"}
    page.setting = "own numbers"
    assert shown() == {"own"}
    page.challenge = True
    assert shown() == {"hidden"}


def test_the_buttons_stand_directly_above_the_plots(page) -> None:  # type: ignore[no-untyped-def]
    place = page._view.index(page._body)
    labels = [b.label for b in page._view[place - 1].select(Press)]
    assert labels[0] == "Take one" and "Reveal the truth" in labels


def test_what_was_drawn_is_saved_with_all_digits(page) -> None:  # type: ignore[no-untyped-def]
    page.taken = 6
    frame = page._shown_tables["classroom_breakdowns"].frame
    back = pd.read_csv(io.BytesIO(table_csv(frame)), skiprows=1)
    assert back["kv"].tolist() == frame["kv"].tolist()


def test_everything_that_decides_lives_in_the_address(page) -> None:  # type: ignore[no-untyped-def]
    page.param.update(seed=9, taken=4)
    assert page.study.inputs["classroom.seed"] == 9 and page.study.inputs["classroom.taken"] == 4
    again = page_class("classroom")(page.study)
    assert (again.seed, again.taken) == (9, 4)


def test_the_rule_speaks_in_words(page) -> None:  # type: ignore[no-untyped-def]
    page.taken = 12
    said = page._shown_tables["classroom_rule"].frame["step"]
    assert len(said) == 2 and not said.str.contains("_").any()
    assert words.step("six_more") == "six more breakdowns" and words.step("repeat") == "repeat the test"
    table = page._shown_tables["classroom_breakdowns"]
    assert table._written(table.frame)["order"][:2] == ["1", "2"]
