"""How long one session's pages hold the event loop, and with it everybody else; passes or fails nothing.

Run ``python -m tests.benchmarks.bench_loop [--rows 100000] [--stacks]``. A server pings its own event loop every 5 ms
while a headless Chromium opens every page, with the demo and with invented breakdowns (``--rows 0``: the demo alone).
For each page the longest time without a ping is printed, and the most CPU time that the loop's own thread used between
two pings, which is what is left of it on a machine that does nothing else; with ``--stacks`` also what Python was doing
in the longest. The last line is an idle server's.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
import traceback
import urllib.request
from pathlib import Path
from typing import Any

from dashboard.pages import entries
from tests.benchmarks.bench_dashboard import invented
from tests.browser.conftest import ARGUMENTS, ROOT, chromium_path, free_port

#: Seconds between pings; further settings of the address under which each page has something to show.
EVERY_S = 0.005
QUERIES = {"precision": "&data=labs", "classroom": "&classroom.taken=8"}
_IDLE = "() => window.Bokeh?.documents?.[0]?.is_idle === true"


def serve(port: int, files: list[str], gaps: Path, stacks: bool) -> None:
    """Serve, and write each gap of more than 20 ms as a line of JSON: when it ended, its ms, CPU ms, and the stack."""
    import panel as pn

    from dashboard import server

    last, begun = [time.perf_counter()], threading.Event()

    async def ping() -> None:
        main = threading.get_ident()
        with gaps.open("a") as out:
            if stacks:
                threading.Thread(target=watch, args=(main,), daemon=True).start()
            used = time.thread_time()
            while True:
                await asyncio.sleep(EVERY_S)
                now, before = time.perf_counter(), used
                gap, used = now - last[0] - EVERY_S, time.thread_time()
                last[0] = now
                if gap > 0.02:
                    found = [time.time(), 1000 * gap, 1000 * (used - before), seen.pop("stack", "")]
                    out.write(json.dumps(found) + "\n")
                    out.flush()
                seen.clear()

    seen: dict[str, str] = {}

    def watch(main: int) -> None:
        while True:
            time.sleep(0.02)
            if time.perf_counter() - last[0] > 0.05 and "stack" not in seen:
                frame = sys._current_frames().get(main)
                seen["stack"] = "".join(traceback.format_stack(frame)[-9:])

    def first(_context: Any) -> None:
        if not begun.is_set():
            begun.set()
            asyncio.get_running_loop().create_task(ping())

    pn.state.on_session_created(first)
    server.serve([Path(f) for f in files], port=port, browser=False)


def longest(gaps: Path, since: float) -> tuple[float, float, str]:
    """Of the gaps since then the longest, the most CPU time in one, both in ms, and the stack in the longest."""
    found = [(0.0, 0.0, "")]
    for line in gaps.read_text().splitlines():
        at, ms, cpu_ms, stack = json.loads(line)
        if at >= since:
            found.append((ms, cpu_ms, stack))
    most, _, stack = max(found)
    return most, max(cpu_ms for _, cpu_ms, _ in found), stack


def rest(tab: Any, url: str) -> None:
    """Wait until the server answers at once and the page asks for nothing, for a second."""
    quiet, until = 0, time.monotonic() + 120
    while quiet < 4 and time.monotonic() < until:
        with contextlib.suppress(OSError):
            urllib.request.urlopen(f"{url}alive", timeout=60).close()
        waits = tab.locator("text=The numbers are being computed").count()
        quiet = quiet + 1 if tab.evaluate(_IDLE) and not waits else 0
        tab.wait_for_timeout(250)


def measure(browser: Any, files: list[str], stacks: bool) -> None:
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        gaps = Path(folder) / "gaps"
        gaps.touch()
        command = [sys.executable, "-m", "tests.benchmarks.bench_loop", "--serve", str(port), str(gaps), *files]
        process = subprocess.Popen([*command, *(["--stacks"] if stacks else [])], cwd=ROOT, stdout=subprocess.DEVNULL)
        url = f"http://localhost:{port}/"
        try:
            for _ in range(1200):
                with contextlib.suppress(OSError):
                    urllib.request.urlopen(f"{url}static/js/bokeh.min.js", timeout=5).close()
                    break
                time.sleep(0.1)
            tab = browser.new_page(viewport={"width": 1440, "height": 900})
            for key in ["records", *[e.key for e in entries()]]:  # the first once more: it starts the pings
                begun = time.time()
                tab.goto(f"{url}?page={key}{QUERIES.get(key, '') if not files else ''}", timeout=120_000)
                tab.wait_for_selector("h1", timeout=120_000)
                rest(tab, url)
                ms, cpu_ms, stack = longest(gaps, begun)
                told = f"\n{stack}" if stacks and max(ms, cpu_ms) > 80 else ""
                print(f"{key:14}{ms:8.0f} ms{cpu_ms:8.0f} ms CPU{told}", flush=True)
            begun = time.time()
            time.sleep(5)
            ms, cpu_ms, _ = longest(gaps, begun)
            print(f"{'idle':14}{ms:8.0f} ms{cpu_ms:8.0f} ms CPU", flush=True)
            tab.close()
        finally:
            process.terminate()
            process.wait(20)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--stacks", action="store_true", help="say what Python was doing in the longest gap")
    parser.add_argument("--serve", nargs="+", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.serve:
        port, gaps, *files = args.serve
        serve(int(port), files, Path(gaps), args.stacks)
        return
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
        for files in ([], [str(invented(args.rows, Path(folder)))] if args.rows else None):
            if files is None:
                break
            said = f"{args.rows:,} invented breakdowns" if files else "the demo"
            print(f"\n{said}   (load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores)", flush=True)
            measure(browser, files, args.stacks)
        browser.close()


if __name__ == "__main__":
    main()
