"""Many visitors at once, each through the same study; prints how long a change of a control takes; fails nothing.

Run ``python -m tests.benchmarks.bench_load [--sessions 50] [--thought 1] [--closed 200] [--floods 500] ...``.
Each visitor opens the dashboard with the demo, turns through pages and changes the confidence on each, with about
``--thought`` seconds before each step (a class of fifty that clicks every second is the worst; 10 is a class that
reads). A change is timed from its message until the last of what the server sends for it has come. The visitors speak
the browser's protocol from one process and draw nothing. Then memory: after so many sessions that were opened and
closed, after so many plain ``GET /``, and after ``--uploads`` MB of files (26 MB each) that were opened and closed.
Of one address the server builds no more than sixty pages a minute, so that each ten of these come from an address of
their own, 127.0.0.2 and so on (Linux has them all). On a busy machine read the load that is printed beside the seconds.
"""

from __future__ import annotations

import argparse
import asyncio
import itertools
import json
import os
import random
import re
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.benchmarks.bench_dashboard import memory_mb, served
from tests.browser.conftest import free_port

#: The scripted study: pages on which a change of confidence changes what is shown.
STUDY = ("shift", "overlay", "scatter", "howmany", "shift", "overlay")
CONFIDENCES = ("80 %", "90 %", "99 %", "95 %")
#: Least and most thought before a step, in parts of the mean.
THOUGHT = (0.5, 1.5)
#: Seconds without a message after which a change is over; after which it has failed.
QUIET_S, LIMIT_S = 1.2, 120.0
_ROWS = 478_000  # of a file of 26 MB


def _objects(value: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every model of a pulled document, as its id and attributes."""
    if isinstance(value, dict):
        if "id" in value and isinstance(value.get("attributes"), dict):
            yield value["id"], value["attributes"]
        for inner in value.values():
            yield from _objects(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _objects(inner)


class Visitor:
    """A session over the websocket: what the browser would send, and when the last of the answer came."""

    def __init__(self, url: str, address: str | None = None) -> None:
        self.url, self.count, self.address = url, itertools.count(), address
        self.models: dict[str, str] = {}
        self.came: asyncio.Queue[tuple[str, Any, str]] = asyncio.Queue()

    async def open(self) -> None:
        from tornado.httpclient import AsyncHTTPClient, HTTPRequest
        from tornado.websocket import websocket_connect

        wanted = HTTPRequest(self.url, request_timeout=LIMIT_S, connect_timeout=LIMIT_S, network_interface=self.address)
        while (page := await AsyncHTTPClient().fetch(wanted, raise_error=False)).code == 503:
            await asyncio.sleep(10)  # all these visitors have one address: the server has them come one after another
        page.rethrow()
        token = re.search(r'"token":\s*"([^"]+)"', page.body.decode())
        assert token, "the page has no token"
        request = HTTPRequest(self.url.replace("http", "ws") + "ws", headers={"Origin": self.url.rstrip("/")},
                              connect_timeout=LIMIT_S, request_timeout=LIMIT_S)  # fmt: skip
        self.line = await websocket_connect(
            request, subprotocols=["bokeh", token.group(1)], max_message_size=200_000_000
        )
        self.hears = asyncio.create_task(self._hear())
        # Before its ACK the server hears nothing.
        while (found := await asyncio.wait_for(self.came.get(), LIMIT_S))[0] != "ACK":
            if found[0] == "ERROR":
                raise ConnectionError(str(found[1]))
        await self._send("PULL-DOC-REQ", {})
        while (found := await asyncio.wait_for(self.came.get(), LIMIT_S))[0] != "PULL-DOC-REPLY":
            if found[0] == "ERROR":
                raise ConnectionError(str(found[1]))
        self.document = found[1]["doc"]
        for name, data in _objects(self.document):
            if data.get("label") == "Confidence" and "chosen" in data:
                self.models["confidence"] = name
            elif "entries" in data and "page" in data:
                self.models["menu"] = name
            elif "asked" in data and "drawn" in data:
                self.models["echo"] = name
        ready = {"type": "event", "name": "document_ready", "values": {"type": "map"}}
        await self._patch({"kind": "MessageSent", "msg_type": "bokeh_event", "msg_data": ready})

    async def _send(self, kind: str, content: Any) -> str:
        number = f"load{next(self.count)}"
        for part in ({"msgid": number, "msgtype": kind}, {}, content):
            await self.line.write_message(json.dumps(part))
        return number

    async def _hear(self) -> None:
        try:
            while True:
                kind, content, answers = await self._message()
                for asked in self._asked(content) if kind == "PATCH-DOC" else ():
                    # Nothing is drawn here: the answer comes at once.
                    named = {"id": self.models["echo"]}
                    said = {"kind": "ModelChanged", "model": named, "attr": "drawn", "new": asked}
                    await self._send("PATCH-DOC", {"events": [said]})
                await self.came.put((kind, content, answers))
        except ConnectionError as error:
            await self.came.put(("ERROR", str(error), ""))

    def _asked(self, content: Any) -> Iterator[int]:
        """What the server asks to be drawn in this message."""
        for event in content["events"]:
            if event.get("attr") == "asked" and event["model"]["id"] == self.models.get("echo"):
                yield event["new"]

    async def _message(self) -> tuple[str, Any, str]:
        """The next whole message: kind, content, and what it answers."""
        parts = []
        buffers = 0
        while len(parts) < 3:
            part = await self.line.read_message()
            if part is None:
                raise ConnectionError("the server closed the connection")
            parts.append(json.loads(part))
            if len(parts) == 1:
                buffers = int(parts[0].get("num_buffers", 0))
        for _ in range(2 * buffers):
            await self.line.read_message()
        return parts[0]["msgtype"], parts[2], parts[0].get("reqid", "")

    async def _patch(self, event: dict[str, Any]) -> tuple[float, float]:
        """Send one change; seconds until the server had taken it, and until the last of what followed had come."""
        begun = time.perf_counter()
        number = await self._send("PATCH-DOC", {"events": [event]})
        taken = last = 0.0
        pending = False
        while True:
            try:
                kind, content, answers = await asyncio.wait_for(self.came.get(), LIMIT_S if not taken else QUIET_S)
            except TimeoutError:
                if not taken:
                    raise
                if pending and time.perf_counter() - begun < LIMIT_S:
                    continue
                return taken, last
            if kind == "ERROR":
                raise RuntimeError(content)
            last = time.perf_counter() - begun
            if answers == number:
                taken = last
            text = json.dumps(content)
            if "The numbers are being computed" in text:
                pending = True
            elif "answer" in text:
                pending = False

    async def change(self, model: str, attr: str, new: Any) -> float:
        named = {"id": self.models[model]}
        _, last = await self._patch({"kind": "ModelChanged", "model": named, "attr": attr, "new": new})
        return last

    def close(self) -> None:
        self.hears.cancel()
        self.line.close()


async def study(url: str, number: int, thought_s: float, took: dict[str, list[float]], failed: list[str]) -> None:
    draw = random.Random(number)
    visitor = Visitor(url)
    try:
        await asyncio.sleep(draw.uniform(0, 5 * max(thought_s, 1)))
        begun = time.perf_counter()
        await visitor.open()
        took["open"].append(time.perf_counter() - begun - QUIET_S)
        for page, confidence in zip(STUDY, itertools.cycle(CONFIDENCES)):
            await asyncio.sleep(thought_s * draw.uniform(*THOUGHT))
            took["page"].append(await visitor.change("menu", "page", page))
            await asyncio.sleep(thought_s * draw.uniform(*THOUGHT))
            took["control"].append(await visitor.change("confidence", "chosen", [confidence]))
        visitor.close()
    except Exception as error:
        failed.append(f"{type(error).__name__}: {error}")


async def together(url: str, sessions: int, thought_s: float) -> tuple[dict[str, list[float]], list[str]]:
    took: dict[str, list[float]] = {"open": [], "page": [], "control": []}
    failed: list[str] = []
    await asyncio.gather(*(study(url, i, thought_s, took, failed) for i in range(sessions)))
    return took, failed


def _own(at: int) -> str:
    """Another address of this machine for each ten visitors."""
    return f"127.0.{at // 10 // 250}.{2 + at // 10 % 250}"


async def opened_and_closed(url: str, count: int) -> None:
    for at in range(0, count, 10):
        visitors = [Visitor(url, _own(at)) for _ in range(min(10, count - at))]
        await asyncio.gather(*(v.open() for v in visitors))
        for visitor in visitors:
            visitor.close()


async def flood(url: str, count: int) -> None:
    from tornado.httpclient import AsyncHTTPClient

    client = AsyncHTTPClient()
    for at in range(0, count, 10):
        asked = [
            client.fetch(url, request_timeout=LIMIT_S, raise_error=False, network_interface=_own(at))
            for _ in range(min(10, count - at))
        ]
        await asyncio.gather(*asked)


def uploaded_and_closed(url: str, mb: int) -> None:
    """Files of 26 MB, each another one, opened in a browser whose page is then closed."""
    from playwright.sync_api import sync_playwright

    from tests.benchmarks.bench_read import write
    from tests.browser.conftest import ARGUMENTS, chromium_path

    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        path = Path(name, "mine.csv")
        write(path, _ROWS, False)
        raw = path.read_bytes()
        browser = play.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
        for at in range(max(round(1e6 * mb / len(raw)), 1)):
            path.write_bytes(raw.replace(b"oil-", b"oil%d-" % at))
            tab = browser.new_page()
            tab.set_default_timeout(1000 * LIMIT_S)
            tab.goto(url)
            tab.locator("input[type=file]").first.set_input_files(str(path))
            tab.locator(".answer").filter(has_text="mine.csv").wait_for()
            tab.close()
        browser.close()


def _say(what: str, seconds: list[float]) -> None:
    if seconds:
        ranked = sorted(seconds)
        last = ranked[min(int(0.95 * len(ranked)), len(ranked) - 1)]
        print(f"{what:28}{len(seconds):6} times   median {statistics.median(seconds):6.2f} s   95 % {last:6.2f} s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sessions", type=int, default=50)
    parser.add_argument("--thought", type=float, default=1.0, help="seconds before a step, in the mean")
    parser.add_argument("--closed", type=int, default=200, help="0: leave out")
    parser.add_argument("--floods", type=int, default=500, help="0: leave out")
    parser.add_argument("--uploads", type=int, default=260, help="MB; 0: leave out")
    args = parser.parse_args()
    from tests.benchmarks.bench_dashboard import _settled

    port = free_port()
    command = [sys.executable, "-m", "dashboard.cli", "serve", "--no-browser", "--port", str(port)]
    with served(command, port) as (process, url, _):
        asyncio.run(together(url, 2, 1.0))  # so that everything was imported
        took, failed = asyncio.run(together(url, args.sessions, args.thought)) if args.sessions else ({}, [])
        print(f"{args.sessions} sessions at once, {args.thought:g} s of thought, load {os.getloadavg()[0]:.1f} on "
              f"{os.cpu_count()} cores")  # fmt: skip
        for name, what in (("open", "opening"), ("page", "turning to a page"), ("control", "changing a control")):
            _say(what, took.get(name, []))
        print(f"failed: {len(failed)}", *sorted(set(failed))[:5], sep="\n  " if failed else "")
        _settled()
        print(f"memory afterwards {memory_mb(process.pid):.0f} MB", flush=True)
        for count, what, work in (
            (args.closed, "sessions opened and closed", opened_and_closed), (args.floods, "plain GET /", flood),
        ):  # fmt: skip
            if count:
                sizes = [memory_mb(process.pid)]
                for _ in range(2):
                    asyncio.run(work(url, count // 2))
                    _settled()
                    sizes.append(memory_mb(process.pid))
                first, half, end = sizes
                print(f"{count} {what}: {first:.0f}, half way {half:.0f}, at the end {end:.0f} MB", flush=True)
        if args.uploads:
            sizes = [memory_mb(process.pid)]
            for _ in range(2):
                uploaded_and_closed(url, args.uploads // 2)
                _settled()
                sizes.append(memory_mb(process.pid))
            first, half, end = sizes
            print(f"{args.uploads} MB opened and closed: {first:.0f}, half way {half:.0f}, at the end {end:.0f} MB")


if __name__ == "__main__":
    main()
