"""A server that goes away under a live page: the page says so, comes back, and keeps its settings."""

from __future__ import annotations

import subprocess
import sys
import urllib.parse
from typing import Any

from tests.browser.conftest import ROOT, start


def test_a_dead_page_says_so_and_comes_back(chromium: Any) -> None:
    process, url = start()
    page = chromium.new_page()
    try:
        page.goto(f"{url}?page=scatter&conf=0.9")
        page.get_by_role("heading", name="Scatter", exact=True).first.wait_for(timeout=60_000)
        process.kill()
        process.wait()
        page.get_by_text("The server does not answer: what you change now is not computed").wait_for(timeout=60_000)
        port = urllib.parse.urlsplit(url).port
        process = subprocess.Popen(
            [sys.executable, "-m", "dashboard.cli", "serve", "--no-browser", "--port", str(port)], cwd=ROOT,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        page.get_by_text("The server does not answer").wait_for(state="hidden", timeout=120_000)
        page.get_by_role("heading", name="Scatter", exact=True).first.wait_for(timeout=60_000)
        assert "page=scatter" in page.url and "conf=0.9" in page.url
    finally:
        page.close()
        process.kill()
        process.wait()
