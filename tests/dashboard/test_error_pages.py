"""What a browser is told when something goes wrong: our own words, with no path, version, traceback or other host."""

from __future__ import annotations

import asyncio
import json
import re
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest

from tests.benchmarks.bench_load import Visitor
from tests.browser.conftest import free_port

ROOT = Path(__file__).resolve().parents[2]
#: A dashboard whose every session fails, as a defect of ours would have it.
BROKEN = """
import sys
import dashboard.app
def broken(*_):
    raise ZeroDivisionError("secret of /srv/inside")
dashboard.app.build = broken
from dashboard import server
server.serve([], port=int(sys.argv[1]), browser=False)
"""
#: What tells an attacker something: folders, source lines, versions of what runs here.
TELLING = re.compile(
    r"Traceback|File \\?\"|site-packages|\.py\b|/root/|/home/|/srv/|ZeroDivision|secret|"
    r"(?:[Tt]ornado|[Bb]okeh|[Pp]anel|[Pp]ython|CPython)/?\s?\d+\.\d+"
)


@pytest.fixture(scope="module", params=["sound", "broken"])
def port(request: pytest.FixtureRequest) -> Iterator[int]:
    chosen = free_port()
    program = ["-c", BROKEN, str(chosen)] if request.param == "broken" else [
        "-m", "dashboard.cli", "serve", "--no-browser", "--port", str(chosen)]  # fmt: skip
    process = subprocess.Popen([sys.executable, *program], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    assert process.stdout is not None and b"gapshift is at" in process.stdout.readline()
    for _ in range(100):
        try:
            urllib.request.urlopen(f"http://localhost:{chosen}/alive", timeout=20).close()
            break
        except urllib.error.HTTPError:
            break
        except OSError:
            time.sleep(0.2)
    yield chosen
    process.terminate()
    process.wait(20)


def answer(port: int, path: str, method: str = "GET", **headers: str) -> tuple[int, str, str]:
    """Status, headers and body."""
    line = HTTPConnection("localhost", port, timeout=60)
    line.request(method, path, headers=headers)
    got = line.getresponse()
    body = got.read().decode("utf-8", errors="replace")
    return got.status, "\n".join(f"{k}: {v}" for k, v in got.getheaders()), body


SOCKET = {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Version": "13",
          "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA=="}  # fmt: skip


@pytest.mark.parametrize(
    ("path", "method", "headers"),
    [
        ("/nowhere", "GET", {}),
        ("/static/../../etc/passwd", "GET", {}),
        ("/static/js/no.js", "GET", {}),
        ("/components/dashboard.nothing/Nothing/_bundle_path/nothing.js", "GET", {}),
        ("/components/os/system/path/x", "GET", {}),
        ("/", "POST", {}),
        ("/", "PUT", {}),
        ("/", "GET", {"Host": "elsewhere.example"}),
        ("/?bokeh-session-id=known", "GET", {}),
        ("/ws", "GET", {}),
        ("/ws", "GET", {**SOCKET, "Origin": "http://elsewhere.example"}),
        ("/ws", "GET", {**SOCKET, "Sec-WebSocket-Protocol": "bokeh, not-a-token"}),
        ("/ws", "GET", SOCKET),
    ],
)
def test_what_is_refused_says_nothing_of_the_inside(port: int, path: str, method: str, headers: dict[str, str]) -> None:
    status, told, body = answer(port, path, method, **headers)
    assert 400 <= status < 600 or status == 101  # a socket without a token is opened to be closed at once
    assert not TELLING.search(body), body
    assert not TELLING.search(told), told
    assert not re.findall(r"(?:src|href)=[\"']?https?://", body)


async def _pulled(port: int) -> Any:
    """The document of a session, as a browser gets it."""
    visitor = Visitor(f"http://localhost:{port}/")
    await visitor.open()
    visitor.close()
    return visitor.document


def test_a_session_that_fails_is_told_in_words_without_another_host(port: int, request: pytest.FixtureRequest) -> None:
    status, told, body = answer(port, "/")
    assert status == 200 and "<title>gapshift</title>" in body
    assert not TELLING.search(told) and not re.findall(r"(?:src|href)=[\"']?https?://", body)
    shown = json.dumps(asyncio.run(_pulled(port)))
    assert not re.search(r"Traceback|ZeroDivision|secret|site-packages", shown)
    broken = "broken" in request.node.name
    assert ("This page could not be opened." in shown) == broken
    assert not re.findall(r"https?://(?!localhost|127|www\.w3\.org)[a-z]", shown)
