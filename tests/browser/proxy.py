"""A reverse proxy small enough to read: what a laboratory's own puts between the dashboard and its browsers."""

from __future__ import annotations

import asyncio
import threading
from typing import Any

from tornado.httpclient import AsyncHTTPClient, HTTPRequest
from tornado.httpserver import HTTPServer
from tornado.web import Application, RequestHandler
from tornado.websocket import WebSocketHandler, websocket_connect

_OWN = {"connection", "content-length", "transfer-encoding", "content-encoding", "keep-alive", "upgrade"}


class _Pages(RequestHandler):
    """Hands a request on and the answer back."""

    def initialize(self, behind: str) -> None:
        self.behind = behind

    async def get(self) -> None:
        headers = {n: v for n, v in self.request.headers.items() if n.lower() not in _OWN}
        asked = HTTPRequest(self.behind + self.request.uri, headers=headers, follow_redirects=False,
                            connect_timeout=60, request_timeout=120)  # fmt: skip
        answer = await AsyncHTTPClient().fetch(asked, raise_error=False)
        self.set_status(answer.code)
        for name, value in answer.headers.get_all():
            if name.lower() not in _OWN:
                self.set_header(name, value)
        self.write(answer.body or b"")


class _Sockets(WebSocketHandler):
    """Hands messages on in both directions."""

    def initialize(self, behind: str) -> None:
        self.behind = behind

    def check_origin(self, origin: str) -> bool:
        return True  # whom to let in is the dashboard's question

    def select_subprotocol(self, subprotocols: list[str]) -> str | None:
        return subprotocols[0] if subprotocols else None

    async def open(self, *_: Any) -> None:
        headers = {n: self.request.headers[n] for n in ("Origin", "Host", "Cookie") if n in self.request.headers}
        wanted = [w.strip() for w in self.request.headers["Sec-WebSocket-Protocol"].split(",")]
        asked = HTTPRequest(self.behind.replace("http", "ws", 1) + self.request.uri, headers=headers)
        self.line = await websocket_connect(asked, subprotocols=wanted, max_message_size=100_000_000)
        asyncio.create_task(self._back())

    async def _back(self) -> None:
        while (message := await self.line.read_message()) is not None:
            await self.write_message(message, binary=isinstance(message, bytes))
        self.close()

    async def on_message(self, message: str | bytes) -> None:
        await self.line.write_message(message, binary=isinstance(message, bytes))

    def on_close(self) -> None:
        if hasattr(self, "line"):
            self.line.close()


class Proxy:
    """Stands at ``port`` and hands everything to ``behind``; ``with`` stops it."""

    def __init__(self, port: int, behind: str) -> None:
        self._port, self._behind = port, behind
        self._ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._run()), daemon=True)

    async def _run(self) -> None:
        self._loop, self._end = asyncio.get_running_loop(), asyncio.Event()
        given = {"behind": self._behind}
        server = HTTPServer(Application([(r".*/ws", _Sockets, given), (r".*", _Pages, given)]))
        server.listen(self._port, "127.0.0.1")
        self._ready.set()
        await self._end.wait()
        server.stop()

    def __enter__(self) -> Proxy:
        self._thread.start()
        assert self._ready.wait(20)
        return self

    def __exit__(self, *_: Any) -> None:
        self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(10)
