"""The classroom page without a browser: drawing, water, the limit, the challenge, and the same for a whole class."""

from __future__ import annotations

import io

import pandas as pd
import pytest

from dashboard import parts, words
from dashboard.actions import Press
from dashboard.pages import page_class
from dashboard.study import Study
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


def test_it_needs_no_records_and_asks_for_the_first_breakdown(page) -> None:  # type: ignore[no-untyped-def]
    assert "Take the first breakdown" in page._answer.text and "relative saturation" in page._answer.text
    assert not page._state.visible


def test_buttons_take_one_a_filling_and_five_fillings(page) -> None:  # type: ignore[no-untyped-def]
    press(page, "Take one")
    assert page.taken == 1 and "After 1 breakdown on 1 filling" in page._answer.text
    press(page, "Finish the filling")
    assert page.taken == page.per_filling
    press(page, "Finish the filling")
    assert page.taken == 2 * page.per_filling
    press(page, "Five fillings more")
    assert page.taken == 7 * page.per_filling
    table = page._shown_tables["classroom_breakdowns"].frame
    assert len(table) == page.taken and table["filling"].nunique() == 7
    assert ("inside" in page._answer.text) or ("outside" in page._answer.text)
    page.taken = MOST_TAKEN
    press(page, "Take one")
    assert page.taken == MOST_TAKEN
    press(page, "Start again")
    assert page.taken == 0 and "Take the first breakdown" in page._answer.text


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
    page.param.update(mean_kv=50, limit_kv=50, count=400)
    designs = page._shown_tables["classroom_designs"].frame
    # an oil exactly on the limit passes about every other time: 4 standard errors of 400 coin tosses
    assert designs["passes"].between(0.4, 0.6).all()


def test_a_ceiling_gives_no_mean(page) -> None:  # type: ignore[no-untyped-def]
    page.setting = "own numbers"
    page.param.update(mean_kv=90, ceiling_kv=60, taken=6)
    assert "no mean can be given" in page._answer.text


def test_the_challenge_hides_the_truth_until_it_is_revealed(page) -> None:  # type: ignore[no-untyped-def]
    page.challenge = True
    page.taken = 6
    truth = page.result().bench.true_mean_kv
    assert "Guess" in page._answer.text
    assert "classroom_laboratories" not in [t for t in page.tables(page.result())]
    page._view.get_root()  # as a browser would have it drawn
    page._came_to_front()
    assert not page._state.visible
    alternatives = " ".join(page._figures[i]._words.object for i in (0, 1))
    assert "once the oil is revealed" in alternatives
    assert f"{truth:.3g}" not in page._answer.text
    press(page, "Reveal the oil")
    assert page.revealed and "the true mean" in page._answer.text
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
    assert labels[0] == "Take one" and "Reveal the oil" in labels


def test_what_was_drawn_is_saved_with_all_digits(page) -> None:  # type: ignore[no-untyped-def]
    page.taken = 6
    frame = page._shown_tables["classroom_breakdowns"].frame
    back = pd.read_csv(io.StringIO(parts.csv_text(frame)))
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
