"""A server that goes away under a live page: the page says so, comes back, and asks for the file, its settings kept."""

from __future__ import annotations

import subprocess
import sys
import urllib.parse
from pathlib import Path
from typing import Any

from tests.browser.conftest import ROOT, Visitor, start


def test_a_dead_page_says_so_comes_back_and_asks_for_the_users_own_file(chromium: Any, tmp_path: Path) -> None:
    file = tmp_path / "mine.csv"
    rows = [f"{e},{f},{40 + 5 * (e == 'sphere') + 3 * f + i}" for e in ("disc", "sphere") for f in (1, 2)
            for i in range(5)]  # fmt: skip
    file.write_text("\n".join(["electrode,filling,kv", *rows]))
    process, url = start()
    visitor = Visitor(chromium, url, "away")
    try:
        page = visitor.open("?page=scatter")
        page.get_by_role("heading", name="Scatter", exact=True).first.wait_for()
        visitor.menu("Records")
        page.locator("input[type=file]").first.set_input_files(str(file))
        page.locator(".answer").filter(has_text="mine.csv").wait_for()
        visitor.menu("Shift")
        visitor.choose("Confidence", "90 %")
        page.wait_for_url("**conf=0.9*")
        visitor.idle()
        before = visitor.answer()
        process.kill()
        process.wait()
        page.get_by_text("The server does not answer: what you change now is not computed").wait_for()
        assert visitor.answer() == before  # what was computed stays to be read
        port = urllib.parse.urlsplit(url).port
        process = subprocess.Popen(
            [sys.executable, "-m", "dashboard.cli", "serve", "--no-browser", "--port", str(port)], cwd=ROOT,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        page.get_by_text("The server does not answer").wait_for(state="hidden", timeout=120_000)
        page.get_by_text("Files are not kept when a page is loaded anew").wait_for()
        asked = urllib.parse.parse_qs(urllib.parse.urlsplit(page.url).query)
        assert asked["data"] == ["own"] and asked["conf"] == ["0.9"] and asked["by"] == ["electrode"]
        visitor.idle()
        visitor.menu("Records")
        page.locator("input[type=file]").first.set_input_files(str(file))
        page.locator("h1").filter(has_text="Shift").wait_for()  # back where one was
        visitor.chosen("Confidence", "90 %")
        page.locator(".answer").filter(has_text=before).wait_for()
    finally:
        visitor.context.close()
        process.kill()
        process.wait()
