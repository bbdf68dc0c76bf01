"""Ways in over a network: sign-in by a service of others, TLS, and several processes behind one name.

The service is a small one of this test's own, on this machine: it says who is asked for, and is never asked past.
"""

from __future__ import annotations

import http.client
import json
import re
import ssl
import subprocess
import sys
import threading
import time
import urllib.parse
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from dashboard.server import Entrance, serve
from methods.errors import InputError
from tests.browser.conftest import free_port
from tests.dashboard.test_gate import Visitor, token_in
from tests.dashboard.test_serve import ROOT, page_at

#: A certificate and its key for "localhost", made for these tests; it protects nothing.
PEM = ROOT / "tests" / "reference" / "tls" / "localhost.pem"
SOCKET = {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Version": "13",
          "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA=="}  # fmt: skip


class Service(BaseHTTPRequestHandler):
    """Signs everybody in as Ann who brings the code 'fine'."""

    asked: list[str] = []

    def _say(self, told: dict[str, Any], status: int = 200) -> None:
        body = json.dumps(told).encode()
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_POST(self) -> None:
        form = urllib.parse.parse_qs(self.rfile.read(int(self.headers["Content-Length"])).decode())
        self.asked.append("token")
        known = form.get("code") == ["fine"] and form.get("client_secret") == ["kept"]
        self._say({"access_token": "a"} if known else {"error": "invalid_grant"}, 200 if known else 400)

    def do_GET(self) -> None:
        self.asked.append("user")
        self._say({"email": "ann@example.org"} if self.headers["Authorization"] == "Bearer a" else {}, 200)

    def log_message(self, *_: Any) -> None:
        pass


@pytest.fixture(scope="module")
def signed_in_elsewhere() -> Iterator[tuple[str, str]]:
    """The dashboard's address and that of the service."""
    service = ThreadingHTTPServer(("127.0.0.1", 0), Service)
    threading.Thread(target=service.serve_forever, daemon=True).start()
    there, port = f"http://127.0.0.1:{service.server_port}", free_port()
    process = started(port, "--oauth", "generic", PANEL_OAUTH_KEY="gapshift", PANEL_OAUTH_SECRET="kept",
                      PANEL_OAUTH_AUTHORIZE_URL=f"{there}/authorize", PANEL_OAUTH_TOKEN_URL=f"{there}/token",
                      PANEL_OAUTH_USER_URL=f"{there}/user")  # fmt: skip
    page_at(f"http://localhost:{port}/static/js/bokeh.min.js")
    yield f"http://localhost:{port}/", there
    process.terminate()
    process.wait(20)
    service.shutdown()
    service.server_close()


def started(port: int, *words: str, **environment: str) -> subprocess.Popen[bytes]:
    import os

    return subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", "serve", "--no-browser", "--port", str(port), *words], cwd=ROOT,
        env={**os.environ, **environment}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def sent_to_the_service(visitor: Visitor, there: str) -> str:
    """From the page to the service; the state that it is to send back."""
    status, headers, text = visitor.ask()
    assert status == 302 and headers["Location"].startswith("./login") and "token" not in text
    status, headers, text = visitor.ask(headers["Location"].removeprefix("."))
    assert status == 302 and headers["Location"].startswith(f"{there}/authorize?")
    asked = urllib.parse.parse_qs(urllib.parse.urlsplit(headers["Location"]).query)
    assert asked["client_id"] == ["gapshift"] and asked["response_type"] == ["code"]
    return asked["state"][0]


def test_who_is_signed_in_by_a_service_comes_in_and_nobody_else(signed_in_elsewhere: tuple[str, str]) -> None:
    address, there = signed_in_elsewhere
    visitor = Visitor(address)
    state = sent_to_the_service(visitor, there)
    status, headers, _ = visitor.ask(f"/login?code=fine&state={urllib.parse.quote(state)}")
    assert status == 302 and headers["Location"] == "/" and Service.asked == ["token", "user"]
    status, _, page = visitor.ask()
    assert status == 200
    origin = {"Host": visitor.host, "Origin": f"http://{visitor.host}"}
    assert Visitor(address).socket(token_in(page), origin) == 403  # the token alone opens nothing
    cookies = "; ".join(f"{k}={v}" for k, v in visitor.cookies.items())
    assert visitor.socket(token_in(page), {**origin, "Cookie": cookies}) == 101
    assert visitor.ask(headers={"Host": "evil.example:80"})[0] == 403
    assert visitor.ask("/?bokeh-session-id=KNOWN")[0] == 403


@pytest.mark.parametrize("path", ["/", "/?page=shift", "/ws", "/autoload.js?bokeh-autoload-element=1", "/metadata"])
def test_no_route_goes_past_the_service(path: str, signed_in_elsewhere: tuple[str, str]) -> None:
    visitor = Visitor(signed_in_elsewhere[0])
    visitor.cookies = {"user": '"2|1:0|10:1|4:user|8:YW5u|forged"', "access_token": "a"}
    status, headers, text = visitor.ask(path, SOCKET if path == "/ws" else None)
    assert status in (302, 401, 403, 404) and "token" not in text
    assert status != 302 or headers["Location"].lstrip(".").startswith("/login")


@pytest.mark.parametrize(("code", "own_state"), [("wrong", True), ("fine", False)])
def test_a_code_that_is_none_and_an_answer_to_somebody_else_are_refused(
    code: str, own_state: bool, signed_in_elsewhere: tuple[str, str]
) -> None:
    address, there = signed_in_elsewhere
    visitor = Visitor(address)
    state = sent_to_the_service(visitor, there)
    if not own_state:
        state = sent_to_the_service(Visitor(address), there)
    status, _, text = visitor.ask(f"/login?code={code}&state={urllib.parse.quote(state)}")
    assert status == 401 and "You were not signed in" in text
    assert not re.search(r"https?://|Traceback|site-packages", text)
    assert visitor.ask()[0] == 302


class Encrypted(Visitor):
    """The same over TLS, with a certificate that is checked."""

    def ask(
        self, path: str = "/", headers: dict[str, str] | None = None, form: dict[str, str] | None = None
    ) -> tuple[int, dict[str, str], str]:
        trusted = ssl.create_default_context(cafile=str(PEM))
        line = http.client.HTTPSConnection(self.host, timeout=120, context=trusted)
        cookie = "; ".join(f"{k}={v}" for k, v in self.cookies.items())
        sent = {**({"Cookie": cookie} if cookie else {}), **(headers or {})}
        body = None
        if form is not None:
            body, sent["Content-Type"] = urllib.parse.urlencode(form), "application/x-www-form-urlencoded"
        line.request("GET" if form is None else "POST", path, body, sent)
        answer = line.getresponse()
        text = answer.read().decode("utf-8", errors="replace")
        for held in answer.headers.get_all("Set-Cookie") or []:
            name, _, rest = held.partition("=")
            self.cookies[name] = rest.partition(";")[0]
        line.close()
        return answer.status, dict(answer.headers), text


def knock(host: str, token: str, cookies: dict[str, str]) -> bytes | str | None:
    """The first word of the server over a websocket; None where it closes at once."""
    import asyncio

    from tornado.httpclient import HTTPRequest
    from tornado.websocket import websocket_connect

    async def heard() -> bytes | str | None:
        cookie = "; ".join(f"{k}={v}" for k, v in cookies.items())
        line = await websocket_connect(HTTPRequest(
            f"wss://{host}/ws", ca_certs=str(PEM), request_timeout=60,
            headers={"Sec-WebSocket-Protocol": f"bokeh, {token}", "Origin": f"https://{host}", "Cookie": cookie},
        ))  # fmt: skip
        try:
            return await asyncio.wait_for(line.read_message(), 60)
        finally:
            line.close()

    return asyncio.run(heard())


def test_processes_that_share_their_secrets_know_each_others_visitors_over_tls(tmp_path: Path) -> None:
    users = tmp_path / "users.json"
    users.write_text(json.dumps({"ann": "kilovolt"}))
    ports, processes = [free_port(), free_port(), free_port()], []
    secrets = {"BOKEH_SECRET_KEY": "one for both", "PANEL_COOKIE_SECRET": "and another"}
    names = [word for port in ports for word in ("--origin", f"localhost:{port}")]
    for port, environment in zip(ports, (secrets, secrets, {}), strict=True):
        processes.append(started(port, "--password-file", str(users), "--tls-certificate", str(PEM), *names,
                                 **environment))  # fmt: skip
    try:
        first, second, stranger = (Encrypted(f"https://localhost:{port}/") for port in ports)
        for visitor in (first, second, stranger):
            answers_over_tls(visitor)
        assert first.ask()[0] == 302
        assert first.ask("/login", form={"username": "ann", "password": "kilovolt"})[0] == 302
        second.cookies = stranger.cookies = first.cookies
        status, _, page = first.ask()
        assert status == 200 and second.ask()[0] == 200
        assert stranger.ask()[0] == 302  # has secrets of its own
        assert knock(first.host, token_in(page), first.cookies) is not None
        assert knock(second.host, token_in(page), first.cookies) is not None
        plain = http.client.HTTPConnection(first.host, timeout=20)
        with pytest.raises((ConnectionError, http.client.HTTPException)):
            plain.request("GET", "/")
            plain.getresponse()
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            process.wait(20)


def answers_over_tls(visitor: Encrypted) -> None:
    until = time.monotonic() + 120
    while True:
        try:
            assert visitor.ask("/static/js/bokeh.min.js")[0] == 200
            return
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.2)


@pytest.mark.parametrize(("certificate", "key", "told"), [
    ("nothing.pem", None, "there is no file"), ("README.md", None, "no certificate"), (None, "README.md", "needs"),
])  # fmt: skip
def test_a_certificate_that_is_none_is_told(certificate: str | None, key: str | None, told: str) -> None:
    paths = [None if name is None else ROOT / name for name in (certificate, key)]
    with pytest.raises(InputError, match=told) as said:
        serve([], port=free_port(), browser=False, entrance=Entrance(certificate=paths[0], key=paths[1]))
    assert "\n" not in str(said.value)
