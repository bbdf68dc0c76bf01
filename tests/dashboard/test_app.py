"""The frame without a browser: pages are built when shown, follow the study, and closed sessions go."""

from __future__ import annotations

import gc
import logging
import os
from typing import Any

import pytest

from dashboard import app, pages, parts, theme
from dashboard.cache import forget
from dashboard.pages.base import Empty, Figure, StudyPage
from dashboard.plots.layers import Drawing, Plot
from dashboard.plots.marks import points
from dashboard.study import Study
from methods.errors import NotEstimable
from methods.result import Caution
from tests.dashboard.test_study import sheet


@pytest.fixture
def study() -> Study:
    out = Study()
    out.open(sheet(), "a.csv")
    return out


def test_only_the_shown_page_is_built(study: Study) -> None:
    shown = app.App(study, "?page=overlay")
    assert list(shown._pages) == ["overlay"]
    study.page = "records"
    assert list(shown._pages) == ["overlay", "records"]
    assert [p.shown for p in shown._pages.values()] == [False, True]


def test_the_address_follows_the_study_and_back(study: Study) -> None:
    shown = app.App(study, "")
    study.confidence = 0.9
    assert "conf=0.9" in shown._bar.search
    shown._bar.search = "?page=overlay&by=electrode"
    assert (study.page, study.confidence) == ("overlay", 0.95)


def test_an_invalid_address_is_corrected_in_place(study: Study) -> None:
    shown = app.App(study, "")
    before = shown._bar.fixed
    shown._bar.search = "?page=nowhere&conf=12"
    assert shown._bar.search == "?page=records&data=own&by=electrode"
    assert shown._bar.fixed == before + 1


def test_an_input_of_a_page_lives_in_the_address(study: Study) -> None:
    shown = app.App(study, "?page=overlay&overlay.view=density&overlay.family=nonsense")
    page = shown._pages["overlay"]
    assert (page.view, page.family) == ("density", "weibull")
    assert "overlay.family" not in shown._bar.search
    page.view = "box"
    assert "overlay.view=box" in shown._bar.search
    page.view = "ecdf"  # the default is not spelled out
    assert "overlay.view" not in shown._bar.search


def test_the_dark_theme_reaches_the_pages(study: Study) -> None:
    shown = app.App(study, "?page=overlay")
    shown.page.dark = True
    assert shown._pages["overlay"].dark
    assert shown._pages["overlay"]._figures[0].dark


def test_every_registered_page_builds_on_the_demo_and_on_nothing() -> None:
    from dashboard import demo

    full, empty = Study(), Study()
    full.open_demo(demo.names()[0])
    for entry in pages.entries():
        for study in (full, empty):
            page = pages.page_class(entry.key)(study)
            page.shown = True
            assert page.TITLE and page.QUESTION, entry.key
            assert "failed" not in page._state.object, entry.key


# ---------------------------------------------------------------- the contract of a page


class _Page(StudyPage):
    KEY = "records"
    TITLE = "Test"
    QUESTION = "Is it so?"
    COLUMNS = {"mean_kv": ("Mean (kV)", "Average.")}
    raises: Exception | None = None
    calls = 0

    def result(self) -> Any:
        if self.raises is not None:
            raise self.raises
        return self.kept("mean", self._mean, self.study.confidence)

    def _mean(self) -> Any:
        type(self).calls += 1
        return self.study.table.groupby("electrode")["kv"].mean().rename("mean_kv").reset_index()

    def sentence(self, result: Any) -> str:
        return f"{len(result)} levels <b>."

    def cautions(self, result: Any) -> list[Caution]:
        return [Caution("few", "Few <script>.")]

    def tables(self, result: Any) -> Any:
        return {"means": ("Means", result)}

    def figures(self) -> list[Figure]:
        def draw(result: Any) -> Drawing:
            return Drawing([Plot([points(range(len(result)), result["mean_kv"], theme.LIGHT.ink)])])

        return [Figure("Plot", draw, lambda r: 'two "levels"')]


def test_a_page_shows_sentence_cautions_plot_in_words_and_table(study: Study) -> None:
    page = _Page(study)
    page.shown = True
    assert page._answer.text == "2 levels <b>."
    assert "&lt;b&gt;" in page._answer._pane.object
    assert "&lt;script&gt;" in page._cautions.object and page._cautions.visible
    assert 'role="img" aria-label="two &quot;levels&quot;"' in page._figures[0]._words.object
    assert page._shown_tables["means"].frame["mean_kv"].between(30, 60).all()


def test_what_goes_wrong_becomes_a_state_and_is_left_again(study: Study, caplog: pytest.LogCaptureFixture) -> None:
    page = _Page(study)
    page.shown = True
    for error, said in (
        (Empty("No limit is given.", "Write one above."), "Write one above."),
        (NotEstimable("All 5 values withstood."), "All 5 values withstood."),
        (ZeroDivisionError("defect"), "This page failed. Reference "),
    ):
        page.raises = error
        with caplog.at_level(logging.CRITICAL, logger="dashboard.pages.base"):
            page.refresh()
        assert page._state.visible and not page._body.visible
        assert said in page._state.object
        assert "defect" not in page._state.object  # what went wrong inside is for the log
    page.raises = None
    page.refresh()
    assert page._body.visible and not page._state.visible


def test_a_result_is_kept_by_content_and_a_page_behind_waits(study: Study) -> None:
    forget()
    page = _Page(study)
    type(page).calls = 0
    study.filters = {"electrode": ["disk"]}
    assert type(page).calls == 0
    page.shown = True
    assert type(page).calls == 1
    study.filters = {}
    study.filters = {"electrode": ["disk"]}
    study.filters = {}
    assert type(page).calls == 2


def test_no_file_is_said_with_the_next_step() -> None:
    page = _Page(Study())
    page.shown = True
    assert "Open a file on the Records page" in page._state.object


def test_filters_that_leave_nothing_are_named(study: Study) -> None:
    page = _Page(study)
    page.shown = True
    study.exclude({"sample": "A"}, "all wrong")
    assert "widen them" in page._state.object


# ---------------------------------------------------------------- sessions


def test_closed_sessions_are_let_go() -> None:
    """A dozen sessions (forty in the long run) open and close; at most five may be alive, or each costs memory."""
    import panel as pn
    from bokeh.client import pull_session

    visits = 40 if os.environ.get("GAPSHIFT_LONG") else 12
    server = pn.serve(
        {"/": _light_session}, port=0, threaded=False, start=False, show=False,
        unused_session_lifetime_milliseconds=1, check_unused_sessions_milliseconds=20,
    )  # fmt: skip
    app.alive.clear()
    import asyncio
    import threading

    def visit() -> None:
        for _ in range(visits):
            session = pull_session(url=f"http://localhost:{server.port}/")
            session.close()
        loop.call_later(1.0, server.io_loop.stop)

    server.start()
    loop = server.io_loop
    thread = threading.Thread(target=lambda: _in_own_loop(visit, asyncio))
    loop.add_callback(thread.start)
    loop.start()
    thread.join()
    server.stop()
    gc.collect()
    assert len(app.alive) <= 5, len(app.alive)


def _light_session() -> Any:
    """A session as the server builds it, without data: what must go is the frame, and with it all that it holds."""
    return app.App(Study()).page.layout


def _in_own_loop(work: Any, asyncio: Any) -> None:
    asyncio.set_event_loop(asyncio.new_event_loop())
    work()


# ---------------------------------------------------------------- what is made late


def test_what_a_program_asks_of_a_page_stays(study: Study) -> None:
    """A value given to the constructor is the study's: another page's input does not put it back."""
    page = pages.page_class("overlay")(study, view="box", family="normal")
    page.shown = True
    study.put("shift", "unit", "kv", default="percent")
    assert (page.view, page.family) == ("box", "normal")
    assert study.inputs["overlay.view"] == "box"


def test_what_is_folded_away_is_made_when_it_is_opened() -> None:
    made: list[str] = []

    def section(name: str) -> Any:
        return lambda: made.append(name) or parts.hint(name)

    view = parts.Folded(("One", section("one")), ("Two", section("two"))).__panel__()
    first, below_first, second, below_second = view
    assert made == [] and not below_first.visible
    second.open = True
    assert made == ["two"] and below_second.visible
    second.open = False
    assert not below_second.visible
    first.open = second.open = True
    assert made == ["two", "one"]


def test_a_table_that_did_not_change_is_left_alone(study: Study) -> None:
    page = pages.page_class("overlay")(study)
    page.shown = True
    name = "percentiles"  # its limits go by the confidence
    before = page._shown_tables[name].frame
    page.view = "density"
    assert page._shown_tables[name].frame is before
    study.confidence = 0.8
    assert page._shown_tables[name].frame is not before


def test_numbers_keep_their_units() -> None:
    assert parts.unbroken("from 2.9 to 12 % and 5 kV") == "from 2.9 to 12\u00a0% and 5\u00a0kV"
    assert parts.unbroken("6 fillings, 3 months") == "6 fillings, 3 months"


def test_where_a_browser_listens_tables_come_after_the_plots() -> None:
    import panel as pn
    from bokeh.document import Document

    done: list[str] = []
    parts.after_plots(lambda: done.append("at once"))
    assert done == ["at once"]
    document = Document()
    document._session_context = lambda: object()  # as a session of the server has one
    with pn.io.server.set_curdoc(document):
        parts.after_plots(lambda: done.append("later"))
        assert done == ["at once"]
        document.session_callbacks[0].callback()
    assert done == ["at once", "later"]
