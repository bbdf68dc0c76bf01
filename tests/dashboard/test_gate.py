"""Who may come in: names, sessions, floods, passwords and prefixes, asked of a server that runs."""

from __future__ import annotations

import asyncio
import http.client
import json
import re
import urllib.parse
from collections.abc import Iterator
from pathlib import Path

import pytest
from tornado.httpclient import HTTPClientError, HTTPRequest
from tornado.websocket import websocket_connect

from dashboard import gate
from methods.errors import InputError
from tests.dashboard.test_serve import Served, page_at


class Visitor:
    """A browser as far as it matters here: its own headers and cookies."""

    def __init__(self, address: str) -> None:
        parts = urllib.parse.urlsplit(address)
        self.host, self.prefix = parts.netloc, parts.path.rstrip("/")
        self.cookies: dict[str, str] = {}

    def ask(
        self, path: str = "/", headers: dict[str, str] | None = None, form: dict[str, str] | None = None
    ) -> tuple[int, dict[str, str], str]:
        connection = http.client.HTTPConnection(self.host.replace("localhost", "127.0.0.1"), timeout=120)
        cookie = "; ".join(f"{k}={v}" for k, v in self.cookies.items())
        sent = {"Host": self.host, **({"Cookie": cookie} if cookie else {}), **(headers or {})}
        if form is None:
            connection.request("GET", self.prefix + path, headers=sent)
        else:
            sent["Content-Type"] = "application/x-www-form-urlencoded"
            connection.request("POST", self.prefix + path, urllib.parse.urlencode(form), sent)
        answer = connection.getresponse()
        text = answer.read().decode("utf-8", errors="replace")
        for held in answer.headers.get_all("Set-Cookie") or []:
            name, _, rest = held.partition("=")
            self.cookies[name] = rest.partition(";")[0]
        connection.close()
        return answer.status, dict(answer.headers), text

    def socket(self, token: str, headers: dict[str, str]) -> int:
        """The status with which the server answers a socket: 101 is let in."""

        async def knock() -> int:
            request = HTTPRequest(
                f"ws://{self.host.replace('localhost', '127.0.0.1')}{self.prefix}/ws",
                headers={"Sec-WebSocket-Protocol": f"bokeh, {token}", **headers}, request_timeout=60,
            )  # fmt: skip
            try:
                held = await websocket_connect(request)
            except HTTPClientError as refused:
                return refused.code
            held.close()
            return 101

        return asyncio.run(knock())


def token_in(page: str) -> str:
    found = re.search(r'"token":"([^"]+)"', page)
    assert found, page[:2000]
    return found[1]


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    file = tmp_path_factory.mktemp("records") / "secret_name.csv"
    file.write_text("electrode,kv\n" + "".join(f"disk,{40 + i}.5\nsphere,{50 + i}.5\n" for i in range(8)))
    running = Served("serve", str(file), "--no-browser", "--port", "6431")
    address = running.address()
    page_at(address)
    yield address
    running.stop()


def test_a_page_of_another_host_that_points_here_gets_nothing(served: str) -> None:
    """Rebinding: the name of another host is made to resolve to this machine; browsers then send that name along."""
    visitor = Visitor(served)
    page = visitor.ask()[2]
    foreign = f"evil.example:{served.rsplit(':', 1)[1].strip('/')}"
    status, _, text = visitor.ask(headers={"Host": foreign})
    assert status == 403 and "token" not in text and "secret_name" not in text
    token = token_in(page)
    assert visitor.socket(token, {"Host": foreign, "Origin": f"http://{foreign}"}) == 403
    assert visitor.socket(token, {"Origin": f"http://{foreign}"}) == 403
    assert visitor.socket(token, {"Host": visitor.host, "Origin": f"http://{visitor.host}"}) == 101


@pytest.mark.parametrize("where", ["/?bokeh-session-id=KNOWN", "/?bokeh-token=KNOWN", "header"])
def test_an_address_names_no_session(served: str, where: str) -> None:
    visitor = Visitor(served)
    headers = {"Bokeh-Session-Id": "KNOWN"} if where == "header" else {}
    status, _, text = visitor.ask("/" if where == "header" else where, headers)
    assert status == 403 and "session" in text and "token" not in text


def test_nor_does_one_that_the_server_gave_to_another_visitor(served: str) -> None:
    from bokeh.util.token import get_session_id

    theirs = get_session_id(token_in(Visitor(served).ask()[2]))
    assert Visitor(served).ask(f"/?bokeh-session-id={theirs}")[0] == 403


def test_a_token_of_ones_own_making_opens_no_socket(served: str) -> None:
    from bokeh.util.token import generate_jwt_token

    visitor = Visitor(served)
    own = generate_jwt_token("KNOWN", signed=False)
    signed = generate_jwt_token("KNOWN", secret_key=b"another", signed=True)
    origin = {"Host": visitor.host, "Origin": f"http://{visitor.host}"}

    async def answered(token: str) -> bool:
        request = HTTPRequest(
            f"ws://{visitor.host.replace('localhost', '127.0.0.1')}/ws",
            headers={"Sec-WebSocket-Protocol": f"bokeh, {token}", **origin}, request_timeout=60,
        )  # fmt: skip
        held = await websocket_connect(request)
        return await asyncio.wait_for(held.read_message(), 60) is not None

    assert not asyncio.run(answered(own)) and not asyncio.run(answered(signed))
    assert asyncio.run(answered(token_in(visitor.ask()[2])))


@pytest.mark.parametrize("path", ["/", "/nothing/here", "/static/js/bokeh.min.js", "/?bokeh-session-id=x"])
def test_every_answer_tells_the_browser_what_it_must_not_do(served: str, path: str) -> None:
    _, headers, text = Visitor(served).ask(path)
    assert {k: headers.get(k) for k in gate.HEADERS} == gate.HEADERS
    assert "Server" not in headers
    assert "Traceback" not in text and "site-packages" not in text


def test_a_page_asks_no_other_host(served: str) -> None:
    text = Visitor(served).ask()[2]
    assert not [u for u in re.findall(r'(?:src|href)="(https?://[^"]+)', text) if urllib.parse.urlsplit(u).netloc]


def test_a_flood_of_pages_builds_few_sessions() -> None:
    """Pages that nobody looks at: the first are built, the rest are told to wait, and one who has come stays in."""
    running = Served("serve", "--no-browser", "--port", "6531")
    try:
        address = running.address()
        page_at(address)
        visitor = Visitor(address)
        token = token_in(visitor.ask()[2])
        seen = [visitor.ask() for _ in range(gate.MOST_WAITING + 15)]
        refused = [s for s in seen if s[0] != 200]
        assert len(seen) - len(refused) <= gate.MOST_WAITING
        assert refused and all(s[0] == 503 and "wait a minute" in s[2] for s in refused)
        assert visitor.socket(token, {"Host": visitor.host, "Origin": f"http://{visitor.host}"}) == 101
    finally:
        running.stop()


def test_with_a_password_nobody_comes_in_without(tmp_path: Path) -> None:
    users = tmp_path / "users.json"
    users.write_text(json.dumps({"ann": "kilovolt"}))
    running = Served("serve", "--no-browser", "--port", "6631", "--password-file", str(users))
    try:
        address = running.address()
        page_at(address)
        visitor = Visitor(address)
        status, headers, text = visitor.ask()
        assert status == 302 and "/login" in headers["Location"] and "token" not in text
        text = visitor.ask("/login")[2]
        assert "Sign in" in text and not re.search(r"https?://", text)
        assert "next=%2F" not in text
        assert (
            "belong together"
            in visitor.ask(visitor.ask("/login", form={"username": "ann", "password": "x"})[1]["Location"])[2]
        )
        assert visitor.ask()[0] == 302
        assert visitor.ask("/login", form={"username": "ann", "password": "kilovolt"})[0] == 302
        status, _, page = visitor.ask()
        assert status == 200
        origin = {"Host": visitor.host, "Origin": f"http://{visitor.host}"}
        assert Visitor(f"http://{visitor.host}/").socket(token_in(page), origin) == 403
        assert visitor.ask(headers={"Host": "evil.example:6631"})[0] == 403
    finally:
        running.stop()


def test_behind_a_prefix(tmp_path: Path) -> None:
    running = Served("serve", "--no-browser", "--port", "6731", "--prefix", "oil/", "--origin", "lab.example:443")
    try:
        address = running.address()
        assert address.endswith("/oil/")
        page_at(address)
        visitor = Visitor(address)
        status, _, page = visitor.ask()
        assert status == 200
        proxied = {"Host": "lab.example:443", "Origin": "https://lab.example:443"}
        assert visitor.socket(token_in(page), proxied) == 101
        assert visitor.ask(headers={"Host": "lab.example:443"})[0] == 200
    finally:
        running.stop()


@pytest.mark.parametrize("text", ["", "{}", '{"ann": ""}'])
def test_a_password_file_that_holds_none_is_told(text: str, tmp_path: Path) -> None:
    from dashboard.server import Entrance, serve

    file = tmp_path / "users.json"
    file.write_text(text)
    with pytest.raises(InputError, match="one password, or JSON"):
        serve([], port=6831, browser=False, entrance=Entrance(password_file=file))


def test_an_empty_address_is_told() -> None:
    from dashboard.server import serve

    with pytest.raises(InputError, match="--address is empty"):
        serve([], address=" ", browser=False)
