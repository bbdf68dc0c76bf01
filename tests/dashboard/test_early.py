"""The page comes before its session is built, and the session is the one that the page asks for."""

from __future__ import annotations

import asyncio
import re
import threading
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import panel as pn
import pytest
from bokeh.client import pull_session
from bokeh.server.urls import per_app_patterns
from bokeh.util.token import get_session_id, get_token_payload
from panel.io.server import DocHandler

from dashboard import app, early
from dashboard.study import Study


def session() -> Any:
    return app.App(Study()).page


@contextmanager
def serving(make: Callable[[], Any]) -> Iterator[Any]:
    server = pn.serve({"/": make}, port=0, threaded=False, start=False, show=False)
    server.start()
    yield server
    server.stop()


def visit(server: Any, work: Callable[[str], Any]) -> Any:
    """Run ``work(url)`` in a thread while the server runs in this one."""
    out: list[Any] = []

    def run() -> None:
        asyncio.set_event_loop(asyncio.new_event_loop())
        try:
            out.append(work(f"http://localhost:{server.port}/"))
        finally:
            server.io_loop.add_callback(server.io_loop.stop)

    thread = threading.Thread(target=run)
    server.io_loop.add_callback(thread.start)
    server.io_loop.start()
    thread.join()
    return out[0]


def fetched(url: str) -> str:
    return urllib.request.urlopen(url, timeout=30).read().decode()


def token_in(page: str) -> str:
    return re.findall(r'"token":\s*"([^"]+)"', page.replace("&quot;", '"'))[0]


@pytest.fixture
def patterns() -> Iterator[None]:
    before = list(per_app_patterns)
    early.answer_early()
    yield
    per_app_patterns[:] = before


def test_the_page_comes_first_and_its_session_follows(patterns: None) -> None:
    built: list[str] = []

    def make() -> Any:
        built.append("session")
        return session()

    def work(url: str) -> Any:
        page = fetched(url + "?page=shift")
        known = list(built)
        token = token_in(page)
        pulled = pull_session(session_id=get_session_id(token), url=url)
        roots = len(pulled.document.roots)
        pulled.close()
        return page, known, token, roots

    with serving(make) as server:
        page, known, token, roots = visit(server, work)
    assert known == [], "the page must not wait for its session"
    assert built == ["session"] and roots > 1
    (asked,) = get_token_payload(token)["arguments"]["page"]
    assert asked in ("shift", b"shift")
    assert "{session token}" not in page and "https://" not in page


def test_every_call_has_a_session_of_its_own(patterns: None) -> None:
    with serving(session) as server:
        first, second = visit(server, lambda url: [token_in(fetched(url)) for _ in range(2)])
    assert get_session_id(first) != get_session_id(second)


def test_calls_that_name_a_session_go_the_usual_way(patterns: None) -> None:
    built: list[str] = []

    def make() -> Any:
        built.append("session")
        return session()

    with serving(make) as server:
        known = visit(server, lambda url: (fetched(url + "?bokeh-session-id=mine"), list(built))[1])
    assert known == ["session"]


def test_only_the_page_is_answered_early(patterns: None) -> None:
    handlers = [handler for _, handler in per_app_patterns]
    assert early.EarlyHandler in handlers and DocHandler not in handlers and len(handlers) == 4


def test_a_first_visitor_has_all_scripts_before_the_session_is_built(patterns: None) -> None:
    """Else they wait for it: the server answers one at a time."""
    asked: list[str] = []
    at: list[int] = []

    def make() -> Any:
        at.append(len(asked))
        return session()

    def work(url: str) -> Any:
        early.EarlyHandler._known.clear()
        page = fetched(url)
        for script in re.findall(r'src="([^"]+\.js[^"]*)"', page):
            fetched(url + script.removeprefix("./"))
            asked.append(script)
        pull_session(url=url, session_id=get_session_id(token_in(page)))
        return page

    with serving(make) as server:
        visit(server, work)
    assert len(asked) >= 4 and at == [len(asked)]
