"""One session: the page frame, what is open, and the address that says so."""

from __future__ import annotations

import weakref
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import panel as pn
import param

from dashboard import address, demo, footer, parts, theme
from dashboard.addressbar import AddressBar
from dashboard.frame import Frame
from dashboard.mends import Mends
from dashboard.pages import entries, keys, page_class
from dashboard.release import release_on_close
from dashboard.sidebar import Sidebar
from dashboard.study import Study

#: Sessions that are alive, for the test that closed ones are not.
alive: weakref.WeakSet[Any] = weakref.WeakSet()


def frame(**contents: Any) -> Frame:
    """The frame of every session, with these contents."""
    return Frame(
        title="gapshift",
        sidebar_width=272,
        sidebar_resizable=False,
        busy_indicator="linear",
        theme_config=theme.components(),
        sx=theme.frame_rules(),
        raw_css=[theme.page_css()],
        meta_description="Compare dielectric-breakdown test methods for insulating oil.",
        **contents,
    )


class App(pn.viewable.Viewer):
    """The frame around the pages of one study.

    Parameters
    ----------
    study : Study, optional
        The study to show; a new one otherwise.
    query : str
        The query of the address that was opened.
    """

    study: Study = param.ClassSelector(class_=Study, constant=True, doc="The session's state.")

    def __init__(self, study: Study | None = None, query: str = "", **params: Any) -> None:
        super().__init__(study=study or Study(), **params)
        self._pages: dict[str, Any] = {}
        self._bar = AddressBar(visible=False, width=0, height=0, margin=0)
        self._sidebar = Sidebar(self.study)
        styles = {"padding": "clamp(16px, 2.5vw, 32px)", "max-width": "1240px", "box-sizing": "border-box"}
        mends = Mends(visible=False, width=0, height=0, margin=0)
        self._main = parts.column(parts.column(), footer.footer(), self._bar, mends, gap=40, styles=styles)
        self.page = frame(sidebar=[self._sidebar], main=[self._main])
        self._restore(query, first=True)
        self.study.param.watch(self._show, "page")
        self.study.param.watch(
            self._write_address,
            ["page", "dataset", "by", "split", "reference", "confidence", "filters", "inputs"],
        )
        self._bar.param.watch(self._back_or_forward, "search")
        self._bar.param.watch(self._narrowed, "narrow")
        self.page.param.watch(self._themed, "dark_theme")
        self._show()
        alive.add(self)

    def __panel__(self) -> Any:
        return self.page

    # ------------------------------------------------------------- pages

    def _show(self, *_: Any) -> None:
        """Bring the study's page to the front, building it when it is first asked for."""
        key = self.study.page if self.study.page in keys() else entries()[0].key
        fresh = key not in self._pages
        if fresh:
            page_class(key)
            self._pages[key] = page_class(key)(self.study, dark=bool(self.page.dark_theme))
        for other, page in self._pages.items():
            page.shown = other == key
        self._main[0] = self._pages[key].__panel__()
        self._narrow()

    def _narrow(self, *_: Any) -> None:
        """On a phone the menu lies over the page: close it until it is asked for."""
        if self._bar.narrow:
            self.page.sidebar_open = False
            self._bar.settled = True

    def _narrowed(self, event: Any) -> None:
        """The window was made narrow, where the menu would cover the page, or wide again."""
        self._narrow()
        if not event.new:
            self.page.sidebar_open = True

    def _themed(self, *_: Any) -> None:
        for page in self._pages.values():
            page.dark = bool(self.page.dark_theme)

    # ------------------------------------------------------------- address

    def _restore(self, query: str, first: bool = False) -> None:
        wanted = address.parse(query) or (address.settings(self.study) if first else {})
        asked = {key.partition(".")[0] for key in wanted if "." in key} & keys()
        address.apply(self.study, wanted, inputs={key: page_class(key) for key in asked})
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


def build(files: Sequence[Path] = ()) -> App:
    """The application of one session of the server: the user's files, or the demo programme."""
    study = Study()
    for file in files:
        study.open(file)
    if not files and demo.names():
        study.open_demo(demo.names()[0], first_look=True)
    query = pn.state.location.search if pn.state.location is not None else ""
    app = App(study, query or "")
    if "Mobi" in pn.state.headers.get("User-Agent", ""):
        app.page.sidebar_open = False
    release_on_close(app.page)
    return app
