"""Work on the event loop in steps, so that no session waits for the whole of another's.

Making the models of a page takes a third of a second, which only the event loop may do. It is done in steps, and
between two of them, whichever sessions they belong to, everybody else has a turn. What a turn changed is on its way to
the browser when it ends, and the session's next one comes when that is drawn (see :mod:`dashboard.echo`).
"""

from __future__ import annotations

import asyncio
import time
import weakref
from collections import deque
from collections.abc import Callable, Iterator
from typing import Any

import panel as pn

from dashboard.echo import Echo

#: Seconds of steps that share a turn: where others wait, and where nobody does.
_TURN_S, _ALONE_S = 0.015, 0.045
#: Seconds after which a turn that did not come is taken to belong to a session that is gone.
_GONE_S = 1.0
#: Seconds that the browser has for drawing a turn; what comes later than that comes whatever it draws.
_DRAWN_S = 10.0


class _Queue:
    """Turns that wait, of all sessions, in the order in which they were asked for."""

    def __init__(self) -> None:
        self._waiting: deque[tuple[Any, Callable[[], None]]] = deque()
        self._current: object | None = None

    def waiting(self) -> int:
        return len(self._waiting) + (self._current is not None)

    def alone(self) -> bool:
        """Whether nobody waits for the turn that is being taken to end."""
        return not self._waiting

    def add(self, document: Any, turn: Callable[[], None]) -> None:
        self._waiting.append((document, turn))
        if self._current is None:
            self._current = object()
            asyncio.get_running_loop().call_soon(self._next)  # what is ready comes first

    def _next(self) -> None:
        if not self._waiting:
            self._current = None
            return
        document, turn = self._waiting.popleft()
        self._current = ticket = object()
        loop = asyncio.get_running_loop()

        def done() -> None:
            if self._current is ticket:
                self._next()

        def act() -> None:
            gone.cancel()
            try:
                turn()
            finally:
                loop.call_soon(done)

        gone = loop.call_later(_GONE_S, done)
        document.add_next_tick_callback(act)  # which has the document's lock


_queue = _Queue()


class _Browser:
    """What one session's browser has drawn, and the turns that wait for it."""

    def __init__(self, document: Any, echo: Echo) -> None:
        self._document, self._echo = weakref.ref(document), echo
        self._given_up = 0
        self._after: list[Callable[[], None]] = []
        echo.param.watch(lambda _: self._go_on(), "drawn")

    def draws(self) -> bool:
        """Whether it was not heard of the last turn yet."""
        return max(self._echo.drawn, self._given_up) < self._echo.asked and not self._gone()

    def waiting(self) -> int:
        return 0 if self._gone() else len(self._after)

    def _gone(self) -> bool:
        """Whether no browser is there: its window was closed, or the line is broken."""
        session = getattr(getattr(self._document(), "session_context", None), "session", None)
        return session is not None and session.connection_count == 0

    def ask(self) -> None:
        """Ask it to say when all is drawn that was sent until now."""
        self._echo.asked += 1
        asyncio.get_running_loop().call_later(_DRAWN_S, self._give_up, self._echo.asked)

    def then(self, turn: Callable[[], None]) -> None:
        self._after.append(turn)

    def _give_up(self, asked: int) -> None:
        self._given_up = max(self._given_up, asked)
        self._go_on()

    def _go_on(self) -> None:
        document = self._document()
        if self.draws() or document is None:
            return
        after, self._after = self._after, []
        for turn in after:
            _queue.add(document, turn)


_browsers: weakref.WeakKeyDictionary[Any, _Browser] = weakref.WeakKeyDictionary()


def drawn_by(echo: Echo) -> None:
    """Have each turn of this document wait until its browser has drawn the one before, which ``echo`` says."""
    document = pn.state.curdoc
    if document is not None and document.session_context is not None:
        _browsers[document] = _Browser(document, echo)


def waiting() -> int:
    """How many turns wait, of all sessions, about; 0 where none does."""
    return _queue.waiting() + sum(browser.waiting() for browser in list(_browsers.values()))


def by_turns(steps: Iterator[Any]) -> None:
    """Take steps one after the other: in a session in turns of the event loop, elsewhere at once.

    A turn has the document's lock, and bokeh itself sends what it changed: panel's way round the lock loses messages
    where two of them meet.
    """
    document = pn.state.curdoc
    if document is None or document.session_context is None:
        for _ in steps:
            pass
        return
    browser = _browsers.get(document)

    def turn() -> None:
        if browser is not None and browser.draws():
            browser.then(turn)
        elif not _whole(document, steps, browser):
            _queue.add(document, turn)

    if browser is not None and browser.draws():
        browser.then(turn)
    else:
        _queue.add(document, turn)


def _whole(document: Any, steps: Iterator[Any], browser: _Browser | None) -> bool:
    """Take as many steps as one turn has time for; whether they were all."""
    begun = time.monotonic()
    document.hold("combine")
    try:
        for _ in steps:
            if time.monotonic() - begun > (_ALONE_S if _queue.alone() else _TURN_S):
                return False
        return True
    finally:
        if browser is not None:
            browser.ask()
        document.unhold()
