"""One session: the page frame, what is open, and the address that says so."""

from __future__ import annotations

import logging
import weakref
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import panel as pn
import param

from dashboard import address, applying, demo, footer, parts
from dashboard.addressbar import AddressBar
from dashboard.echo import Echo
from dashboard.frame import Frame, dress
from dashboard.pages import entries, keys, page_class
from dashboard.pages.base import reference
from dashboard.sidebar import Sidebar
from dashboard.study import Study
from dashboard.tray import Tray
from dashboard.turns import by_turns, drawn_by

log = logging.getLogger(__name__)

#: Sessions that are alive, for the test that closed ones are not.
alive: weakref.WeakSet[Any] = weakref.WeakSet()


class App(pn.viewable.Viewer):
    """The frame around the pages of one study.

    Parameters
    ----------
    study : Study, optional
        The study to show; a new one otherwise.
    query : str
        The query of the address that was opened.
    dark : bool
        Whether to begin in the dark theme.
    """

    study: Study = param.ClassSelector(class_=Study, constant=True, doc="The session's state.")  # type: ignore[assignment]

    def __init__(self, study: Study | None = None, query: str = "", *, dark: bool = False, **params: Any) -> None:
        super().__init__(study=study or Study(), **params)
        self._pages: dict[str, Any] = {}
        self._bar = AddressBar(visible=False, width=0, height=0, margin=0)
        echo = Echo(visible=False, width=0, height=0, margin=0)
        drawn_by(echo)
        styles = {"max-width": "1640px", "box-sizing": "border-box"}
        self._main = parts.column(
            parts.column(), footer.footer(), self._bar, echo, Tray(self.study).__panel__(), gap=24, styles=styles
        )
        self._sidebar = Sidebar(self.study)
        self.page = Frame(side=self._sidebar, main=self._main, dark=dark)
        self._restore(query, first=True)
        self.study.param.watch(self._show, "page")
        self.study.param.watch(
            self._write_address,
            ["page", "dataset", "by", "split", "reference", "confidence", "filters", "inputs"],
        )
        self._bar.param.watch(self._back_or_forward, "search")
        self.page.param.watch(self._themed, "dark")
        self._show()
        alive.add(self)

    def __panel__(self) -> Any:
        return self.page

    # ------------------------------------------------------------- pages

    _front = ""

    def _show(self, *_: Any) -> None:
        """Bring the study's page to the front, building it when it is first asked for.

        The frame is sent first, and the page piece by piece: what is made of it keeps every other session waiting.
        """
        self._front = key = self.study.page if self.study.page in keys() else entries()[0].key
        self._bar.title = f"{next(e.label for e in entries() if e.key == key)} · gapshift"
        parts.once_loaded(lambda: by_turns(self._bringing(key)))

    def _bringing(self, key: str) -> Iterator[None]:
        for step in self._steps(key):
            yield step
            if key != self._front:  # the reader went on meanwhile
                return

    def _steps(self, key: str) -> Iterator[None]:
        left = [page for other, page in self._pages.items() if other != key and self._main[0] is page.bare]
        for page in left:
            page.shown = False
        if key not in self._pages:
            self._pages[key] = page_class(key)(self.study, dark=self.page.dark)
            yield
        page = self._pages[key]
        page.dark = self.page.dark
        if self._main[0] is not page.bare:
            self._main[0] = page.bare
        for gone in left:
            gone.leave()
        yield
        growing = page.growing()
        next(growing, None)
        page.shown = True
        yield
        yield from growing

    def _themed(self, *_: Any) -> None:
        if self._front in self._pages:  # the others are told when they come back
            self._pages[self._front].dark = self.page.dark

    # ------------------------------------------------------------- address

    def _restore(self, query: str, first: bool = False) -> None:
        wanted = address.parse(query) or (address.settings(self.study) if first else {})
        asked = {key.partition(".")[0] for key in wanted if "." in key} & keys()
        applying.apply(self.study, wanted, inputs={key: page_class(key) for key in asked})
        corrected = address.query(self.study)
        if corrected != query:
            with param.discard_events(self._bar) if first else parts.nothing():
                self._bar.param.update(fixed=self._bar.fixed + 1, search=corrected)
        if first:
            self._bar.search = corrected

    def _write_address(self, *_: Any) -> None:
        self._bar.search = address.query(self.study)

    def _back_or_forward(self, event: Any) -> None:
        if event.new != address.query(self.study):
            self._restore(event.new)


#: A file as a session opens it: where it is, or its name and content.
File = Path | tuple[str, bytes]


def build(files: Sequence[File] = ()) -> App:
    """The application of one session of the server: the user's files, or the demo programme."""
    study = Study()
    for file in files:
        if isinstance(file, tuple):
            study.open(file[1], file[0])
        else:
            study.open(file)
    query = (pn.state.location.search if pn.state.location is not None else "") or ""
    if not files and demo.names() and address.parse(query).get("data") != address.OWN:
        study.open_demo(demo.names()[0], first_look=True)
    return App(study, query, dark=(pn.state.cookies or {}).get("gapshift_theme") == "dark")


def show(files: Sequence[File] = ()) -> Any:
    """What one session of a server shows, in a document that is dressed for it.

    A session that cannot be built says so in words of our own: panel's would tell the browser what went wrong inside.
    """
    try:
        layout = build(files).page.layout
    except Exception:
        number = reference()
        log.exception("a session could not be built, reference %s", number)
        said = f"Load it again; if that does not help, the log of the server says why: reference {number}."
        layout = parts.column(parts.notice(said, "This page could not be opened.", "wrong"), margin=40)
    if pn.state.curdoc is not None:
        dress(pn.state.curdoc)
    return layout


if pn.state.served:  # this file was given to `panel serve`
    from dashboard import app, server

    server.extend()
    app.show().servable(title="gapshift")
