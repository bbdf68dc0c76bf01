"""A served dashboard and a Chromium that drives it. A missing browser is a failure, never a skip."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.pages import entries, page_class

ROOT = Path(__file__).resolve().parents[2]
ARTEFACTS = ROOT / "artefacts"
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run",
]  # fmt: skip
SIZES = {"desk": (1440, 900), "phone": (390, 844)}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            # A browser on a machine that is busy with something else may be late: it gets a second and third chance,
            # each in a page of its own, and the summary counts them. What is wrong fails all three.
            item.add_marker(pytest.mark.flaky(reruns=2))


def chromium_path() -> str:
    """The browser to drive: ``GAPSHIFT_CHROMIUM``, or the usual names on the machine."""
    named = os.environ.get("GAPSHIFT_CHROMIUM")
    usual = ("chromium", "chromium-browser", "google-chrome")
    found = [named] if named else ["/usr/bin/chromium", *map(shutil.which, usual)]
    for path in found:
        if path and Path(path).is_file():
            return path
    pytest.fail(
        "No Chromium for the browser tests: install Debian's (apt-get install chromium), or name one in "
        "GAPSHIFT_CHROMIUM.",
        pytrace=False,
    )


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start(*files: str | Path) -> tuple[subprocess.Popen[bytes], str]:
    """Serve these files, or the demo, on a free port; give the process and the address once it answers."""
    port = free_port()
    command = [sys.executable, "-m", "dashboard.cli", "serve", *map(str, files), "--no-browser", "--port", str(port)]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    url, until = f"http://localhost:{port}/", time.monotonic() + 120
    while time.monotonic() < until:
        if process.poll() is not None:
            out = process.stdout.read().decode() if process.stdout else ""
            pytest.fail(f"The server ended with status {process.returncode}: {out}", pytrace=False)
        try:
            urllib.request.urlopen(f"{url}static/js/bokeh.min.js", timeout=5).close()
            return process, url
        except OSError:
            time.sleep(0.1)
    process.kill()
    pytest.fail("The server did not answer within two minutes.", pytrace=False)


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The address of a dashboard that serves the demo."""
    process, url = start()
    yield url
    process.terminate()
    try:
        process.wait(10)
    except subprocess.TimeoutExpired:
        process.kill()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
        yield browser
        browser.close()


#: A small file of the server's: it answers one request at a time, so whoever asks for it waits for what came before.
_SMALL = "components/dashboard.addressbar/AddressBar/_bundle_path/addressbar.js"
#: How often the document changed so far, or -1 while something of it is not drawn yet.
_DRAWN = """() => {
  const document = window.Bokeh?.documents?.[0]
  if (document?.is_idle !== true) { return -1 }
  if (window.changes === undefined) {
    window.changes = 0
    document.on_change(() => { window.changes += 1 })
  }
  return window.changes
}"""

#: Containers that lack the view of a child, or show one that is none of theirs.
_LACKING = """() => {
  const wrong = []
  const look = (view) => {
    const {children} = view.model
    if (!Array.isArray(children)) { return }
    for (const entry of children) {
      const child = Array.isArray(entry) ? entry[0] : entry
      if (typeof child !== "object") { continue }
      const drawn = view.child_views.find((other) => other.model === child)
      if (drawn?.el.isConnected) { look(drawn) } else { wrong.push(`${child.type} is not drawn`) }
    }
    const mine = new Set(view.child_views.map((other) => other.el))
    for (const element of view.shadow_el.children) {
      if (/\\bbk-/.test(element.className) && !mine.has(element)) { wrong.push(`${element.className} is drawn twice`) }
    }
  }
  Bokeh.index.roots.forEach(look)
  return wrong
}"""


class Visitor:
    """One browser window with helpers that every test uses, and what went wrong in it."""

    def __init__(self, browser: Any, server: str, name: str, size: str = "desk") -> None:
        width, height = SIZES[size]
        self.server, self.name = server, name
        self.context = browser.new_context(viewport={"width": width, "height": height}, accept_downloads=True)
        self.tab = self.context.new_page()
        self.tab.set_default_timeout(60_000)
        self.wrong: list[str] = []
        self.tab.on("console", self._console)
        self.tab.on("pageerror", lambda error: self.wrong.append(f"page error: {error}"))
        self.tab.on("request", self._request)

    def _console(self, message: Any) -> None:
        if message.type == "error":
            self.wrong.append(f"console: {message.text}")

    def _request(self, request: Any) -> None:
        host = re.sub(r"^\w+://([^/:]+).*", r"\1", request.url)
        if request.url.startswith(("data:", "blob:")) or host in ("localhost", "127.0.0.1"):
            return
        self.wrong.append(f"another host was asked: {request.url}")

    def open(self, query: str = "") -> Any:
        """Open the dashboard at this query and wait until the page's heading and its answer are there."""
        self.tab.goto(self.server + query, wait_until="commit")
        self.tab.locator("h1").first.wait_for()
        self.idle()
        return self.tab

    def idle(self) -> None:
        """Wait until the server has nothing more to do and the document nothing more to draw, three looks running.

        A page comes piece by piece: while more of it comes, it does not rest.
        """
        quiet, before = 0, -1
        until = time.monotonic() + 150  # on a busy machine numbers take their time
        while quiet < 3:
            assert time.monotonic() < until, "The page did not come to rest."
            waiting = self._waiting()
            changes = self.tab.evaluate(_DRAWN)
            rests = not waiting and changes == before != -1 and not self.tab.locator("progress:visible").count()
            quiet, before = (quiet + 1 if rests else 0), changes
            self.tab.wait_for_timeout(50)
        lacking = self.tab.evaluate(_LACKING)
        assert not lacking, f"The page is not what the server sent: {lacking}"

    def _waiting(self) -> int:
        """How much the server has to do for pages, once it has done what came before."""
        try:
            with urllib.request.urlopen(self.server + "alive", timeout=60) as told:
                return int(told.headers["X-Waiting"])
        except urllib.error.HTTPError:  # another server's than our own
            urllib.request.urlopen(self.server + _SMALL, timeout=60).close()
            return 0

    def answer(self) -> str:
        """The sentence that answers the page's question."""
        return str(self.tab.locator(".answer").first.text_content())

    def menu(self, label: str) -> None:
        """Go to another page by the menu."""
        key = next(e.key for e in entries() if e.label == label)
        if self.tab.viewport_size["width"] < 600:
            self.tab.get_by_role("button", name="Menu").click()
        self.tab.locator("nav").get_by_text(label, exact=True).click()
        self.tab.wait_for_url(f"**page={key}*")
        self.tab.locator("h1").filter(has_text=page_class(key).TITLE).wait_for()
        self.idle()

    def choose(self, label: str, option: str) -> None:
        """Choose an option of a drop-down."""
        self.idle()
        self.tab.get_by_role("combobox", name=label).first.select_option(label=option)

    def press(self, option: str) -> None:
        """Press one of several buttons of which one is down."""
        self.tab.locator(".buttons label").get_by_text(option, exact=True).click()

    def chosen(self, label: str, option: str) -> None:
        """Wait until a drop-down shows this option."""
        box = self.tab.get_by_role("combobox", name=label).first
        box.locator("option:checked").filter(has_text=re.compile(f"^{re.escape(option)}$")).wait_for(state="attached")

    def picture(self, what: str = "") -> Path:
        """Keep a screenshot."""
        ARTEFACTS.mkdir(exist_ok=True)
        path = ARTEFACTS / f"{re.sub(r'[^A-Za-z0-9_-]+', '_', self.name + '_' + what).strip('_')}.png"
        self.tab.screenshot(path=str(path))
        return path


@pytest.fixture
def visitor(chromium: Any, server: str, request: pytest.FixtureRequest) -> Iterator[Visitor]:
    """A window of 1440 × 900 or, with ``@pytest.mark.parametrize("visitor", ["phone"], indirect=True)``, a phone's."""
    someone = Visitor(chromium, server, request.node.name, getattr(request, "param", "desk"))
    yield someone
    someone.picture("end")
    someone.context.close()
    assert not someone.wrong, someone.wrong
