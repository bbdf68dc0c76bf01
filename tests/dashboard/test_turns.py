"""Steps of pages: at once where nobody waits, in turns on the event loop of a server."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any

import panel as pn
import pytest

from dashboard import turns
from dashboard.echo import Echo


class Document:
    """As much of a session's document as turns ask of one; a closed one calls nothing back."""

    session_context: Any = object()

    def __init__(self, open: bool = True) -> None:
        self.open, self.held = open, False

    def hold(self, policy: str) -> None:
        assert policy == "combine" and not self.held
        self.held = True

    def unhold(self) -> None:
        assert self.held
        self.held = False

    def add_next_tick_callback(self, act: Callable[[], None]) -> None:
        if self.open:
            asyncio.get_running_loop().call_soon(act)


def steps(name: str, said: list[str], many: int = 3) -> Iterator[None]:
    for i in range(many):
        said.append(f"{name}{i}")
        yield


@pytest.fixture
def session(monkeypatch: pytest.MonkeyPatch) -> Callable[[Document], None]:
    """Have what follows run in this document's session; no step is short enough to share a turn."""
    monkeypatch.setattr(turns, "_TURN_S", -1.0)
    monkeypatch.setattr(turns, "_ALONE_S", -1.0)
    monkeypatch.setattr(turns, "_queue", turns._Queue())
    state: Any = SimpleNamespace(curdoc=None)
    monkeypatch.setattr(turns, "pn", SimpleNamespace(state=state, io=pn.io))

    def enter(document: Document) -> None:
        state.curdoc = document

    return enter


def test_without_a_session_all_steps_are_taken_at_once() -> None:
    said: list[str] = []
    turns.by_turns(steps("a", said))
    assert said == ["a0", "a1", "a2"]


def test_everybody_has_a_turn_between_two_steps(session: Callable[[Document], None]) -> None:
    said: list[str] = []

    async def serve() -> None:
        async def other() -> None:
            for _ in range(40):
                await asyncio.sleep(0)
                said.append(".")

        for name in "ab":
            session(Document())
            turns.by_turns(steps(name, said))
        assert said == [] and turns.waiting() > 0
        await other()

    asyncio.run(serve())
    assert [s for s in said if s != "."] == ["a0", "b0", "a1", "b1", "a2", "b2"] and turns.waiting() == 0
    assert all("." in said[said.index(s) - 1] for s in ("a1", "b1", "a2", "b2"))


def test_a_turn_waits_until_the_browser_has_drawn_the_one_before(
    session: Callable[[Document], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[str] = []

    async def serve() -> None:
        session(document := Document())
        echo = Echo()
        turns.drawn_by(echo)
        turns.by_turns(steps("a", said))
        turns.by_turns(steps("b", said, 1))  # what is begun meanwhile waits too
        await asyncio.sleep(0.05)
        assert said == ["a0"] and turns.waiting() == 2 and echo.asked == 1
        echo.drawn = 1
        await asyncio.sleep(0.05)
        assert said == ["a0", "b0"] and echo.asked == 2
        echo.drawn = 2
        await asyncio.sleep(0.05)
        assert said == ["a0", "b0", "a1"] and echo.asked == 3
        monkeypatch.setattr(turns, "_DRAWN_S", 0.01)  # one that never answers is not waited for
        echo.drawn = 3
        while turns.waiting() or "a2" not in said:
            await asyncio.sleep(0.005)
        del document

    asyncio.run(asyncio.wait_for(serve(), 30))
    assert said == ["a0", "b0", "a1", "a2"]


def test_a_browser_that_is_gone_is_not_waited_for(session: Callable[[Document], None]) -> None:
    said: list[str] = []

    async def serve() -> None:
        session(document := Document())
        document.session_context = SimpleNamespace(session=SimpleNamespace(connection_count=1))
        turns.drawn_by(Echo())
        turns.by_turns(steps("a", said))
        await asyncio.sleep(0.05)
        assert said == ["a0"] and turns.waiting() == 1
        document.session_context.session.connection_count = 0
        assert turns.waiting() == 0
        turns.by_turns(steps("b", said))
        await asyncio.sleep(0.05)

    asyncio.run(serve())
    assert said == ["a0", "b0", "b1", "b2"]


def test_steps_that_are_begun_in_a_turn_wait_for_one_of_their_own(session: Callable[[Document], None]) -> None:
    said: list[str] = []

    def outer() -> Iterator[None]:
        turns.by_turns(steps("inner", said, 1))
        said.append("outer")
        yield

    async def serve() -> None:
        session(Document())
        turns.by_turns(outer())
        await asyncio.sleep(0.05)

    asyncio.run(serve())
    assert said == ["outer", "inner0"]


def test_a_session_that_is_gone_keeps_nobody_waiting(
    session: Callable[[Document], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(turns, "_GONE_S", 0.01)
    said: list[str] = []

    async def serve() -> None:
        for name, is_open in (("gone", False), ("here", True)):
            session(Document(is_open))
            turns.by_turns(steps(name, said, 2))
        while "here1" not in said:
            await asyncio.sleep(0.005)

    asyncio.run(asyncio.wait_for(serve(), 30))
    assert said == ["here0", "here1"]
