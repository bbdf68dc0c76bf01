"""What every page has: heading, question, the sentence that answers it, cautions, plots, tables, help, and the
states of having nothing to show. See :mod:`dashboard.pages` for how to write one."""

from __future__ import annotations

import asyncio
import logging
import secrets
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import panel as pn
import param

from dashboard import jobs, parts, theme, words
from dashboard.actions import Press
from dashboard.address import read
from dashboard.cache import known, remember
from dashboard.controls import Amount, Choice, Tick, Words
from dashboard.pages.records_words import for_the_page, lacking
from dashboard.plots.figure import Figure
from dashboard.study import Study
from dashboard.tables import Table
from dashboard.turns import by_turns
from methods.errors import InputError
from methods.records.one_name import said as one_name_said
from methods.result import Caution

__all__ = ["Empty", "Figure", "StudyPage"]

log = logging.getLogger(__name__)


def reference() -> str:
    """A number that stands in the browser and in the log, so that the one can be found by the other."""
    return secrets.token_hex(4)


#: Seconds that numbers may take before the page says that they are on their way.
_PATIENCE_S = 0.4
#: What is below the main plot comes after it: until then it is not to be taken for the answer above, nor downloaded.
#: Both name the same rules: bokeh takes none away.
_FRESH = {"opacity": "1", "pointer-events": "auto", "transition": "none"}
_BEHIND = {"opacity": "0.4", "pointer-events": "none", "transition": "opacity 0.2s 0.3s"}


def _in_session() -> bool:
    """Whether a browser waits, and with it the sessions of others."""
    document = pn.state.curdoc
    return document is not None and document.session_context is not None


def _live(figures: Sequence[Figure], dark: bool, study: Study) -> list[Any]:
    if not figures:
        return []
    from dashboard.plots.canvas import Live  # only where something is drawn

    return [Live(figure, study, dark=dark, main=i == 0) for i, figure in enumerate(figures)]


@cache
def _html(text: str) -> str:
    """A page's own help, which is Markdown, as markup."""
    from markdown_it import MarkdownIt

    return str(MarkdownIt().render(text))


#: Answers to the question what a reported result is, where no method says it: words -> fillings.
RESULT_IS = {
    "not said: the mean of one filling is taken": "", "the mean of one filling": "1", "the mean of two fillings": "2",
    "the mean of three fillings": "3", "the mean of five fillings": "5", "the mean of ten fillings": "10",
}  # fmt: skip


class _Wait(Exception):
    """A result that is not there yet: in a session it is computed off the event loop."""

    def __init__(self, key: Hashable, compute: Callable[[], Any]) -> None:
        super().__init__("not computed yet")
        self.key, self.compute = key, compute


class Empty(InputError):
    """Nothing to show yet: what is missing, and what to do next.

    ``lacks`` is the column of the records that nobody named: a button then leads to the sheet, where it can be.
    ``way`` is another page that helps, with the words on the button that leads there. ``controls``: whether those of
    the page can change anything about it; they are shown only then.
    """

    def __init__(
        self, missing: str, next_step: str, *, lacks: str = "", way: tuple[str, str] | None = None,
        controls: bool = True,
    ) -> None:  # fmt: skip
        super().__init__(f"{missing} {next_step}")
        self.missing, self.next_step, self.lacks = missing, next_step, lacks
        self.way, self.controls = way, controls


class StudyPage(pn.viewable.Viewer):
    """Base class of the pages."""

    study: Study = param.ClassSelector(class_=Study, constant=True, doc="The session's state.")  # type: ignore[assignment]
    dark = param.Boolean(False, doc="Whether the dark theme is on.")
    shown = param.Boolean(False, doc="Whether this is the page in front; a page behind waits.")

    KEY = ""
    TITLE = ""
    QUESTION = ""
    HELP = ""
    FOLLOWS: tuple[str, ...] = ("by", "reference", "confidence")
    INPUTS: tuple[str, ...] = ()
    COLUMNS: Mapping[str, tuple[str, str]] = {}
    #: Names of the tables whose cells are readings as they were read: shown with all their digits.
    EXACT: tuple[str, ...] = ()
    #: Whether the page needs breakdowns at all; the frame then shows the empty state by itself.
    NEEDS_RECORDS = True
    #: Whether there is a main plot, though :meth:`figures` may name it only later.
    PICTURE = False
    #: Whether plots of the page show single readings: then a button marks them one after the other.
    READINGS = False
    #: Whether it counts reported results: what one is, is asked under the sentence where no method says it.
    ASKS = False
    #: Whether it is shown to a room: large type.
    LARGE = False

    def __init__(self, study: Study, **params: Any) -> None:
        super().__init__(study=study, **{**self._from_address(study), **params})
        for name in self.INPUTS:  # what a notebook asked for is the study's from now on
            if name in params:
                study.put(self.KEY, name, params[name], default=self.param[name].default)
        self._stale = True
        self._failed: dict[Hashable, Exception] = {}
        self._answer = parts.Answer(large=self.LARGE)
        self._cautions = parts.raw("", visible=False)
        self._state = parts.raw("", visible=False)  # instead of numbers
        self._way = Press("Name it on the sheet", lambda _: self._go_to_sheet(), look="main", visible=False)
        self._question = Choice("What is one reported result?", dict(RESULT_IS), value="")
        self._question.param.watch(self._answered, "value")
        self._asked = parts.explained(
            self._question, "No method says it for some of these rows. What you choose here counts on every page.", 420
        )
        self._asked.visible = False
        self._stated = parts.column(self._state, self._way, gap=8)
        self._figures = _live(self.figures(), self.dark, study)
        self._tables = parts.column(gap=16)
        self._shown_tables: dict[str, Table] = {}
        self._main = parts.column(*self._figures[:1])
        self._body = parts.column(gap=16)
        #: Places on the page, with what comes to stand there: see :meth:`growing`.
        self._later: list[tuple[Any, list[Any]]] = []
        self._put(self._body, [*self._figures[1:], self._tables])
        self._view = self._layout()
        study.param.watch(self._study_changed, ["fingerprint", *self.FOLLOWS, *["result_fillings"] * self.ASKS])
        study.param.watch(self._inputs_changed, "inputs")
        if self.INPUTS:
            self.param.watch(self._input_set, list(self.INPUTS))

    # ------------------------------------------------------------- what a page gives

    def controls(self) -> Sequence[Any]:
        """The controls that change the main plot: beside it."""
        return ()

    def folded(self) -> Sequence[tuple[str, Callable[[], Sequence[Any]]]]:
        """Controls that are used rarely, in groups that are folded under the others: heading, and what makes them."""
        return ()

    def above(self) -> Sequence[Any]:
        """What stands directly above the plot: buttons that make it grow."""
        return ()

    def result(self) -> Any:
        """The numbers, from ``methods``."""
        return None

    def sentence(self, result: Any) -> str:
        """The answer to the page's question, made from the result."""
        return ""

    def figures(self) -> Sequence[Figure]:
        """The page's plots. The first is the main one: it is seen whole without scrolling."""
        return ()

    def tables(self, result: Any) -> Mapping[str, tuple[str, pd.DataFrame]]:
        """The tables behind them: name of the download -> (heading, frame)."""
        return {}

    def readings_of(self, name: str, frame: pd.DataFrame) -> np.ndarray | None:
        """Where the rows of a table are readings: the row of the study that each of them is, −1 for none."""
        return None

    def cautions(self, result: Any) -> Sequence[Caution]:
        """What the reader must know before deciding."""
        return getattr(result, "cautions", ())

    def extras(self) -> Sequence[Any]:
        """Anything that is neither plot nor table, below them."""
        return ()

    # ------------------------------------------------------------- what a page may use

    def kept(self, name: str, compute: Callable[[], Any], *settings: Any) -> Any:
        """``compute()``, or what it gave before for the same table and settings (which must be hashable)."""
        frozen = tuple(tuple(s) if isinstance(s, list) else s for s in settings)
        key = (self.KEY, name, self.study.fingerprint, frozen)
        if key in self._failed:
            raise self._failed[key]
        if self._deferring and not known(key):
            raise _Wait(key, compute)
        return remember(key, compute)

    def looks(self, column: str) -> dict[str, theme.Cue]:
        """How each level of a column looks in plots; the same whatever is filtered."""
        return theme.cues(self.study.levels(column), self.dark)

    def choice(self, name: str, label: str, options: Mapping[str, str] | None = None, text: str = "") -> Any:
        """A row of buttons for a Selector parameter with few choices, explained."""
        return self._options(name, label, options, text, look="buttons")

    def select(self, name: str, label: str, options: Mapping[str, str] | None = None, text: str = "") -> Any:
        """A drop-down for a Selector parameter, explained."""
        return self._options(name, label, options, text)

    def number(self, name: str, label: str, text: str = "", step: float | None = None, *, sliding: bool = False) -> Any:
        """A field for a Number or Integer parameter, or where it is ``sliding`` a slider, explained.

        A parameter that may be None has a field that may be empty: it is not asked.
        """
        parameter = self.param[name]
        low, high = parameter.bounds or (None, None)
        whole = isinstance(parameter, param.Integer)
        reach = list(parameter.softbounds or ()) if sliding else []
        field = Amount(
            label, value=getattr(self, name), start=low, end=high, step=1 if whole else step, whole=whole,
            sliding=sliding, reach=reach, optional=bool(parameter.allow_None),
        )  # fmt: skip
        field.param.watch(lambda event: self._number_set(name, event.new, whole), "value")
        self.param.watch(lambda event: setattr(field, "value", event.new), name)
        return parts.explained(field, text or parameter.doc or "")

    def _number_set(self, name: str, value: float | None, whole: bool) -> None:
        wanted = None if value is None else int(value) if whole else float(value)
        if (wanted is not None or self.param[name].allow_None) and getattr(self, name) != wanted:
            setattr(self, name, wanted)

    def switch(self, name: str, label: str, text: str = "") -> Any:
        """A box to tick for a Boolean parameter, explained."""
        return self._linked(Tick(label, value=getattr(self, name)), name, text)

    def text_field(self, name: str, label: str, text: str = "") -> Any:
        """A field for a String parameter, explained."""
        return self._linked(Words(label, value=getattr(self, name)), name, text)

    def _linked(self, field: Any, name: str, text: str) -> Any:
        field.link(self, value=name, bidirectional=True)
        return parts.explained(field, text or self.param[name].doc or "")

    def chooser(self, name: str, label: str, text: str = "", width: int = 240) -> Choice:
        """A drop-down for a String parameter whose options come from the records: see :meth:`offer`."""
        control = Choice(label)
        control.param.watch(lambda event: self._picked(name, event.new), "value")
        explained: Choice = parts.explained(control, text or self.param[name].doc or "", width)
        return explained

    _offering = False
    _plot_column: Any = None
    _beside: Any = None
    _lacks = _leads_to = ""

    def offer(self, control: Choice, options: Any, value: Any) -> None:
        """Bring a :meth:`chooser` to what there is, without that counting as the user's choice."""
        self._offering = True
        try:
            control.param.update(options=options, value=value)
        finally:
            self._offering = False

    def _picked(self, name: str, value: Any) -> None:
        if not self._offering and value is not None and value != getattr(self, name):
            setattr(self, name, value)

    def _options(self, name: str, label: str, options: Mapping[str, str] | None, text: str, look: str = "list") -> Any:
        parameter = self.param[name]
        shown = {options.get(o, o): o for o in parameter.objects} if options else {str(o): o for o in parameter.objects}
        control = Choice(label, shown, value=getattr(self, name), look=look)
        control.link(self, value=name, bidirectional=True)
        return parts.explained(control, text or parameter.doc or "")

    def stand_alone(self) -> None:
        """Bring the colours of the theme, which are the frame's where there is one."""
        self._view.param.update(
            stylesheets=[theme.palette_css(self.dark)], styles={**self._view.styles, "padding": "16px"}
        )

    # ------------------------------------------------------------- the frame's own

    def __panel__(self) -> Any:
        for _ in self.growing():
            pass
        return self._view

    @property
    def bare(self) -> Any:
        """The page without what :meth:`growing` puts on it."""
        return self._view

    def growing(self) -> Iterator[None]:
        """Put on the page, piece by piece, what stands on it: what is left of the plots' and tables' places first."""
        for place, things in self._later:
            for thing in things:
                if thing not in place.objects:
                    place.append(thing)
                yield

    def leave(self) -> None:
        """Another page is in front: take off what is put on piece by piece when this one comes back."""
        self.shown = False
        self._attempts += 1
        self._stale = True
        for place, things in self._later:
            here = [t for t in place.objects if t in things]
            place.objects = [t for t in place.objects if t not in here]
        for live in self._figures:
            live.leave()
        self._tables.objects = []

    def _layout(self) -> Any:
        """The first screen: sentence, gravest caution, the plot, and beside it its controls. The rest is below."""
        title, question = parts.escaped(self.TITLE), parts.escaped(self.QUESTION)
        head = parts.raw(
            f'<div class="top"><h1>{title}</h1><p class="question" title="{question}">{question}</p></div>'
        )
        beside: Any = [*self.controls(), *self._folds()]
        if self.READINGS:
            beside.append(Press("Go through the readings", lambda _: self.study.step(1), look="quiet"))
        if self._figures or self.PICTURE:
            above = self.above()
            rules = {"--more-above": f"{40 * bool(above) + 14 * self.LARGE}px"}
            self._rules = rules
            self._plot_column = plot = parts.column(
                *above, self._stated, self._main, gap=6, css_classes=["plot"], styles=rules
            )
            place: Any = parts.column(gap=8, css_classes=["beside"])
            stage = parts.stage(plot, place)
        else:
            place = parts.wrap(margin=(8, 0, 0, 0))
            stage = parts.column(self._stated, place, gap=16)
        top = parts.column(head, self._answer, self._cautions, self._asked, gap=4)
        view = parts.column(top, stage, self._body, gap=8)
        self._beside = place
        self._put(place, beside)
        self._put(view, [*self.extras(), *([self._help()] if self.HELP else [])])
        return view

    def _put(self, place: Any, things: Sequence[Any]) -> None:
        """Have things stand at the end of a place once the page grows."""
        self._later.append((place, [pn.panel(thing) for thing in things]))

    def _folds(self) -> list[Any]:
        groups = [(title, lambda make=make: parts.column(*make(), gap=8)) for title, make in self.folded()]
        return [parts.Folded(*groups, level=3).__panel__()] if groups else []

    def _help(self) -> Any:
        # Made at once, so that it is there in a notebook that is read without a kernel too.
        return parts.raw(
            f'<details class="help"><summary><h2>What these numbers mean</h2></summary>{_html(self.HELP)}</details>'
        )

    def _from_address(self, study: Study) -> dict[str, Any]:
        found = {}
        for name in self.INPUTS:
            text = study.inputs.get(f"{self.KEY}.{name}")
            value = None if text is None else read(type(self).param[name], text)
            if value is not None:
                found[name] = value
        return found

    def _inputs_changed(self, *_: Any) -> None:
        wanted = {n: self.param[n].default for n in self.INPUTS} | self._from_address(self.study)
        changed = {n: v for n, v in wanted.items() if getattr(self, n) != v}
        if changed:
            self.param.update(**changed)

    def _input_set(self, *events: Any) -> None:
        for event in events:
            self.study.put(self.KEY, event.name, event.new, default=self.param[event.name].default)
        self._study_changed()

    def _study_changed(self, *_: Any) -> None:
        self._stale = True
        self._turn += 1
        if self.shown:
            self.refresh()

    @param.depends("shown", watch=True)
    def _came_to_front(self) -> None:
        if self.shown and self._stale:
            self.refresh()

    @param.depends("dark", watch=True)
    def _repaint(self) -> None:
        for live in self._figures:
            live.dark = self.dark

    def refresh(self) -> None:
        """Take the numbers anew and show them; whatever goes wrong becomes a state with a next step."""
        self._turn += 1
        self._failed.clear()
        self._attempt()

    #: Changes whenever settings do: what was computed for others is not kept under the wrong name.
    _turn = 0
    _deferring = _computing = False
    #: Changes with each look at the numbers: a later one takes the place of one that is still being shown.
    _attempts = 0

    def _attempt(self) -> None:
        self._stale = False
        self._attempts += 1
        by_turns(self._attempting(self._attempts))

    def _attempting(self, attempt: int) -> Iterator[None]:
        try:
            if self.NEEDS_RECORDS and not len(self.study.table):
                raise self._nothing()
            self._deferring = _in_session()
            try:
                result = self.result()
            finally:
                self._deferring = False
            self._body.styles = _BEHIND
            for _ in self._showing(result):
                yield
                if attempt != self._attempts:
                    return
            by_turns(self._caught_up(attempt))  # behind the tables, which are filled in turns of their own
        except _Wait as wait:
            self._compute_aside(wait)
        except Empty as empty:
            self._say(parts.notice(empty.next_step, empty.missing, "calm"))
            self._to_sheet(empty.lacks, empty.way)
            self._beside.visible = empty.controls
        except InputError as error:
            self._say(parts.notice(for_the_page(str(error)), "These records cannot answer it.", "calm"))
            self._to_sheet(lacking(str(error)))
        except Exception:  # one page's defect must not take the session down
            number = reference()
            log.exception("page %s, reference %s", self.KEY, number)
            self._say(
                parts.notice(
                    f"This page failed. Reference {number}: the log of the server says why.",
                    "The others still work; so does this one with other settings.",
                    "wrong",
                )
            )

    def _caught_up(self, attempt: int) -> Iterator[None]:
        if attempt == self._attempts:
            self._body.styles = _FRESH
        yield

    def _compute_aside(self, wait: _Wait) -> None:
        """Compute what is missing in a thread, then look again; changes meanwhile are taken up by that look."""
        if self._computing:
            return
        self._computing, turn = True, self._turn
        if not self._answer.text and not self._state.visible:  # nothing stands there yet
            self._wait_for_numbers()
        started = jobs.numbers(wait.compute)

        async def follow() -> None:
            future = asyncio.wrap_future(started)
            if not self._main.visible or not self._answer.text:
                self._wait_for_numbers()
            else:
                await asyncio.wait([future], timeout=_PATIENCE_S)
                if not future.done():
                    self._wait_for_numbers(keep=True)
            try:
                value = await future
            except Exception as error:
                if turn == self._turn:
                    self._failed[wait.key] = error
            else:
                if turn == self._turn:
                    remember(wait.key, lambda: value)
            self._computing = False
            if self.shown:
                self._attempt()
            else:
                self._stale = True

        parts.when_loaded(follow)

    def _wait_for_numbers(self, keep: bool = False) -> None:
        """Say that the numbers are on their way; ``keep`` what is shown meanwhile."""
        notice = parts.notice("The numbers are being computed.", kind="calm")
        if keep:
            self._state.param.update(object=notice.object, visible=True)
        else:
            self._say(notice)

    def _nothing(self) -> Empty:
        if self.study.awaited:
            names = words.listed(w["name"] for w in self.study.awaited)
            return Empty("The study is open, but its files are not.", f"Open {names} on the Records page.")
        if self.study.filters or self.study.exclusions:
            return Empty(
                "Nothing is left.", "The filters and exclusions leave no breakdown: widen them on the Records page."
            )
        lost = " Files are not kept when a page is loaded anew; its settings are." if self.study.pending else ""
        return Empty(
            f"No breakdowns are open.{lost}", "Open a file on the Records page, or choose the demo programme there."
        )

    def _showing(self, result: Any) -> Iterator[None]:
        """The steps in which a result comes on the page."""
        self._answer.text = self.sentence(result)
        told = one_name_said(self.study.one_name) if self.NEEDS_RECORDS else ""
        markup = parts.caution_line([*self.cautions(result), *[Caution("one_name", told)] * bool(told)])
        self._cautions.param.update(object=markup, visible=bool(markup))
        self._ask_result(any(c.code == "result_assumed" for c in self.cautions(result)))
        self._state.visible = False
        self._to_sheet("")
        self._beside.visible = True
        self._main.visible = True
        yield
        for live in self._figures:
            yield from live.updating(result)
            yield
        self._body.visible = True
        yield from self._laying_tables(self.tables(result))

    def _ask_result(self, open_: bool) -> None:
        """Ask what a reported result is, where it is open; an answer given before can be changed."""
        if not self.ASKS:
            return
        given = str(self.study.result_fillings or "")
        options = (
            dict(RESULT_IS) if given in RESULT_IS.values() else {**RESULT_IS, f"the mean of {given} fillings": given}
        )
        self.offer(self._question, options, given)
        seen = open_ or bool(given)
        if seen != self._asked.visible:
            self._asked.visible = seen
            if self._plot_column is not None:  # the plot stays whole on the first screen
                more = int(self._rules["--more-above"].removesuffix("px")) + 58 * seen
                self._plot_column.styles = {**self._plot_column.styles, "--more-above": f"{more}px"}

    def _answered(self, event: Any) -> None:
        if not self._offering and event.new is not None:
            self.study.result_fillings = int(event.new) if event.new else None

    def _laying_tables(self, wanted: Mapping[str, tuple[str, pd.DataFrame]]) -> Iterator[None]:
        for name, (title, frame) in wanted.items():
            table = self._shown_tables.get(name)
            if table is not None and list(table.frame.columns) == list(frame.columns):
                if frame is not table.frame and not frame.equals(table.frame):
                    table.frame = frame
            else:
                self._shown_tables[name] = Table(
                    name, title, frame, dict(self.COLUMNS), exact=name in self.EXACT, study=self.study
                )
            rows = self.readings_of(name, frame)
            if rows is not None:
                self._shown_tables[name].select_by(rows)
            yield
        layout = [self._shown_tables[n].__panel__() for n in wanted]
        there = [view for view in self._tables.objects if view in layout]
        for view in layout:
            if view not in there:
                there.append(view)
                self._tables.objects = [v for v in layout if v in there]
                yield
        if self._tables.objects != layout:
            self._tables.objects = layout

    def _to_sheet(self, lacks: str, way: tuple[str, str] | None = None) -> None:
        """Offer the way to the sheet on Records, where the column can be named, or to another page; or no way."""
        self._lacks = lacks if self.study.files else ""
        self._leads_to, words_on = ("records", "Name it on the sheet") if self._lacks else way or ("", "")
        self._way.param.update(label=words_on or self._way.label, visible=bool(words_on))

    def _go_to_sheet(self) -> None:
        if self._lacks:
            self.study.put("records", "sheet", self._lacks, default="")
        self.study.page = self._leads_to

    def _say(self, what: Any) -> None:
        self._answer.text = ""
        self._cautions.visible = self._main.visible = self._body.visible = False
        self._state.param.update(object=what.object, visible=True)
        self._to_sheet("")
        self._beside.visible = True
