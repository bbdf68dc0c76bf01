"""Wherever panel applications run: ``panel serve``, under a prefix and behind a reverse proxy."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.conftest import ROOT, Visitor, free_port
from tests.browser.proxy import Proxy


@pytest.fixture(params=[False, True], ids=["alone", "prefix and proxy"])
def place(request: pytest.FixtureRequest) -> Iterator[str]:
    """The address under which a browser reaches the dashboard."""
    port, outside = free_port(), free_port()
    command = [sys.executable, "-m", "panel", "serve", "dashboard/app.py", "--port", str(port)]
    path, more = "/app", []
    if request.param:
        path = "/oil/app"
        more = ["--prefix", "/oil", "--allow-websocket-origin", f"localhost:{outside}"]
    process = subprocess.Popen([*command, *more], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                               start_new_session=True)  # fmt: skip
    try:
        _wait(f"http://localhost:{port}{path.removesuffix('app')}static/js/bokeh.min.js")
        if not request.param:
            yield f"http://localhost:{port}{path}"
            return
        with Proxy(outside, f"http://127.0.0.1:{port}"):
            yield f"http://localhost:{outside}{path}"
    finally:
        os.killpg(process.pid, signal.SIGTERM)  # its own session
        process.wait(20)


def _wait(url: str) -> None:
    until = time.monotonic() + 120
    while time.monotonic() < until:
        try:
            urllib.request.urlopen(url, timeout=5).close()
            return
        except OSError:
            time.sleep(0.2)
    pytest.fail(f"{url} does not answer.")


def test_the_same_dashboard_is_there_and_answers(place: str, chromium: Any, request: pytest.FixtureRequest) -> None:
    visitor = Visitor(chromium, place, request.node.name)
    try:
        tab = visitor.tab
        missing: list[str] = []
        tab.on("response", lambda answer: missing.append(answer.url) if answer.status >= 400 else None)
        tab.goto(f"{place}?page=shift&by=electrode", wait_until="commit")
        tab.locator(".answer").filter(has_text="%").first.wait_for()
        tab.locator(".bk-Figure:visible").first.wait_for()
        before = visitor.answer()
        tab.get_by_role("combobox", name="Confidence").first.select_option(label="80 %")
        tab.wait_for_function("() => location.search.includes('conf=0.8')")
        tab.locator(".answer").filter(has_not_text=before).first.wait_for()
        tab.locator("nav").get_by_text("Overlay", exact=True).click()
        tab.locator("h1").filter(has_text="Overlay").wait_for()
        tab.locator(".bk-Figure:visible").first.wait_for()
        visitor.picture("end")
        # Whether the server lives is asked of gapshift's own server; another has no such answer, and is asked once.
        asked = [url for url in missing if url.endswith("/alive")]
        assert missing == asked and len(asked) <= 1, missing
        assert len(visitor.wrong) <= len(asked) and all("404" in w for w in visitor.wrong), visitor.wrong
    finally:
        visitor.context.close()
