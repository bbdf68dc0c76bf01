"""Work on the event loop in steps, so that no session waits for the whole of another's.

Making the models of a page takes a third of a second, which only the event loop may do. It is done in steps, and
between two of them, whichever sessions they belong to, everybody else has a turn.
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable, Iterator
from typing import Any

import panel as pn

#: Seconds of steps that share a turn.
_TURN_S = 0.015
#: Seconds after which a turn that did not come is taken to belong to a session that is gone.
_GONE_S = 1.0


class _Queue:
    """Turns that wait, of all sessions, in the order in which they were asked for."""

    def __init__(self) -> None:
        self._waiting: deque[tuple[Any, Callable[[], None]]] = deque()
        self._current: object | None = None
        self.taking = False  # whether a turn is being taken just now

    def waiting(self) -> int:
        return len(self._waiting) + (self._current is not None)

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


def waiting() -> int:
    """How many turns wait, of all sessions, about; 0 where none does."""
    return _queue.waiting()


def by_turns(steps: Iterator[Any]) -> None:
    """Take steps one after the other: in a session in turns of the event loop, elsewhere at once.

    The first turn is taken now, unless this is called in one.
    """
    document = pn.state.curdoc
    if document is None or document.session_context is None:
        for _ in steps:
            pass
        return

    def turn() -> None:
        begun, outer = time.monotonic(), _queue.taking
        _queue.taking = True
        try:
            with pn.io.hold():
                for _ in steps:
                    if time.monotonic() - begun > _TURN_S:
                        break
                else:
                    return
        finally:
            _queue.taking = outer
        _queue.add(document, turn)

    if _queue.taking:
        _queue.add(document, turn)
    else:
        turn()
