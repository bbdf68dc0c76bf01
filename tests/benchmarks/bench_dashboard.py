"""How fast the dashboard answers, each figure beside a bare Bokeh figure in the same run; passes or fails nothing.

Run ``python -m tests.benchmarks.bench_dashboard [--rows 10000 1000000] [--sessions 50]``. Times are those of a headless
Chromium on this machine while it does whatever else it does: on a busy machine read the ratios, the CPU times and the
load that is printed, not the milliseconds. Controls are measured once the server has imported, aside, what its other
pages need: in the first ten seconds a change may take a tenth of a second longer. All data are invented.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import pickle
import signal
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from tests.benchmarks.bare_figure import CHOICES
from tests.browser.conftest import ARGUMENTS, ROOT, chromium_path, free_port

LABELS = {"0.8": "80 %", "0.9": "90 %", "0.95": "95 %", "0.99": "99 %"}
#: Milliseconds without drawing after which a repaint is over.
QUIET_MS = 400
LIMIT_S = 240
#: Seconds after which a server has imported, aside, what its other pages need; controls are measured from then on.
SETTLED_S = 10

#: Notes when anything was last drawn on any canvas, or a canvas that was drawn before was on the screen again.
_HOOK = """() => {
  window.lastDraw = performance.now()
  for (const name of ["clearRect", "fillRect", "stroke", "fill", "fillText"]) {
    const original = CanvasRenderingContext2D.prototype[name]
    CanvasRenderingContext2D.prototype[name] = function(...a) {
      window.lastDraw = performance.now(); return original.apply(this, a)
    }
  }
  const shown = () => requestAnimationFrame(() => setTimeout(() => { window.lastDraw = performance.now() }))
  Bokeh.documents[0].on_change((event) => { if (event.sync === false && event.attr === "styles") { shown() } })
}"""
#: Sets one control and tells after how many ms the last drawing that followed it was done; null where none did.
_REPAINT = """([label, value, quiet]) => new Promise((resolve) => {
  const models = [...Bokeh.documents[0]._all_models.values()]
  const bare = models.find((m) => m.name === "choice")
  const ours = models.find((m) => m.data?.label === label)
  const start = performance.now()
  window.lastDraw = 0
  if (bare) { bare.active = value } else { ours.data.chosen = [value] }
  const look = () => {
    const now = performance.now(), drawn = window.lastDraw
    if (drawn > start && now - drawn > quiet) { return resolve(drawn - start) }
    if (now - start > 60000) { return resolve(null) }
    window.setTimeout(look, 20)
  }
  look()
})"""
_IDLE = "() => window.Bokeh?.documents?.[0]?.is_idle === true"


def invented(rows: int, folder: Path) -> Path:
    """Four electrodes, fillings of six, readings to 0.1 kV."""
    rng = np.random.default_rng(1)
    fillings = rows // 6
    level = np.array([60.0, 54.0, 48.0, 57.0])[np.arange(fillings) % 4] * (1 + 0.03 * rng.standard_normal(fillings))
    kv = np.repeat(level, 6) * rng.weibull(9, 6 * fillings)
    names = np.array(["spherical", "mushroom", "disk", "rounded"])[np.arange(fillings) % 4]
    path = folder / f"invented_{rows}.csv"
    pd.DataFrame(
        {
            "sample": "Invented", "electrode": np.repeat(names, 6),
            "filling": np.repeat(np.arange(fillings) // 4 + 1, 6),
            "order": np.tile(np.arange(1, 7), fillings), "kv": kv.round(1), "outcome": "breakdown",
        }
    ).to_csv(path, index=False)  # fmt: skip
    return path


def arrays(path: Path) -> list[list[tuple[str, dict[str, Any], dict[str, Any]]]]:
    """What the overlay draws of a file at each confidence, as plain columns."""
    import panel as pn

    from dashboard.pages import page_class
    from dashboard.plots.layers import KINDS
    from dashboard.study import Study

    pn.extension()
    study = Study()
    study.open(path)
    page = page_class("overlay")(study)
    states = []
    for confidence in CHOICES:
        study.confidence = float(confidence)
        layers = page.draw(page.result()).plots[0].layers
        states.append([(la.kind, {n: la.data[n] for n in KINDS[la.kind]}, dict(la.look)) for la in layers])
    return states


@contextmanager
def served(command: Sequence[str], port: int) -> Iterator[tuple[subprocess.Popen[bytes], str, float]]:
    """A server, its address, and the seconds from the command until it answers with its first byte of script."""
    # As on a machine in use, what was compiled once is there: some are told not to keep it.
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run([sys.executable, "-c", "import dashboard.app, dashboard.server"], cwd=ROOT, env=env)
    start = time.perf_counter()
    process = subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    url = f"http://localhost:{port}/"
    try:
        while True:
            try:
                urllib.request.urlopen(f"{url}static/js/bokeh.min.js", timeout=5).close()
                break
            except OSError:
                if process.poll() is not None or time.perf_counter() - start > LIMIT_S:
                    raise RuntimeError(f"{' '.join(command)} does not answer") from None
                time.sleep(0.02)
        yield process, url, time.perf_counter() - start
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(20)


def cpu_s(pid: int) -> float:
    """CPU seconds that a process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_mb(pid: int) -> float:
    """Resident memory of a process."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def complete(tab: Any, url: str) -> float:
    """Seconds until a page is complete: everything drawn and nothing asked of the server any more."""
    start = time.perf_counter()
    tab.goto(url, wait_until="commit", timeout=1000 * LIMIT_S)
    tab.wait_for_function(_IDLE, timeout=1000 * LIMIT_S, polling=50)
    return time.perf_counter() - start


def repaints(tab: Any, pid: int, label: str, values: Sequence[Any], times: int) -> tuple[float, float, int]:
    """Median ms from a control to its last drawing, server CPU ms a change, and how many changes drew something."""
    seen, before = [], cpu_s(pid)
    for i in range(times):
        took = tab.evaluate(_REPAINT, [label, values[i % len(values)], QUIET_MS])
        if took is not None:
            seen.append(took)
    used = 1000 * (cpu_s(pid) - before) / times
    return (statistics.median(seen) if seen else float("nan")), used, len(seen)


def measure(browser: Any, command: Sequence[str], port: int, query: str, controls: dict[str, Any], times: int) -> Any:
    """Every figure of one server: name -> value."""
    out: dict[str, float] = {}
    with served(command, port) as (process, url, ready):
        out["server ready (s)"], out["server ready, CPU (s)"] = ready, cpu_s(process.pid)
        context = browser.new_context(viewport={"width": 1440, "height": 1100})
        tab = context.new_page()
        out["first page, cold (s)"] = complete(tab, url + query)
        out["first page, warm (s)"] = statistics.median(complete(tab, url + query) for _ in range(7))
        tab.evaluate(_HOOK)
        time.sleep(SETTLED_S)
        for name, (label, values) in controls.items():
            repaints(tab, process.pid, label, values, len(values))  # once round, so that everything was made once
            middle, used, drawn = repaints(tab, process.pid, label, values, times)
            out[f"{name} (ms)"], out[f"{name}, server CPU (ms)"] = middle, used
            if drawn < times:
                print(f"  {name}: {times - drawn} of {times} changes drew nothing")
        context.close()
    return out


def sessions(command: Sequence[str], port: int, visits: int) -> tuple[float, float]:
    """MB that an open session takes, and MB by which one more closed session leaves the server larger.

    The first round fills what the allocator and the caches keep for good; the second, of as many, shows the growth.
    """
    with served(command, port) as (process, url, _):
        asyncio.set_event_loop(asyncio.new_event_loop())
        _visit(url, 5, process.pid)
        first = memory_mb(process.pid)
        held = _visit(url, visits, process.pid)
        _settled()
        before = memory_mb(process.pid)
        _visit(url, visits, process.pid)
        _settled()
        return (held - first) / min(10, visits), (memory_mb(process.pid) - before) / visits


def _visit(url: str, visits: int, pid: int) -> float:
    """Open and close sessions, ten at a time; give the memory while the first ten were open."""
    from bokeh.client import ClientSession
    from bokeh.client.util import websocket_url_for_server_url

    held = 0.0
    for at in range(0, visits, 10):
        opened = [ClientSession(websocket_url=websocket_url_for_server_url(url)) for _ in range(min(10, visits - at))]
        for session in opened:
            session.connect()  # the server builds the whole page; what it says is not needed here
        held = held or memory_mb(pid)
        for session in opened:
            session.close()
    return held


def _settled() -> None:
    """Wait until the server has discarded the sessions that were left."""
    from dashboard.server import _CHECK_MS, _KEPT_MS

    time.sleep((_KEPT_MS + 2 * _CHECK_MS) / 1000)


def show(title: str, ours: dict[str, float], bare: dict[str, float]) -> None:
    """One table: figure, dashboard, bare figure, ratio."""
    print(f"\n{title}   (load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores)")
    print(f"{'':42}{'dashboard':>11}{'bare':>11}{'ratio':>8}")
    for name, value in ours.items():
        other = bare.get(name, bare.get(name.replace("view", "confidence"), float("nan")))
        ratio = f"{value / other:8.1f}" if other else f"{'–':>8}"
        print(f"{name:42}{value:11.2f}{other:11.2f}{ratio}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, nargs="*", default=[10_000, 1_000_000])
    parser.add_argument("--sessions", type=int, default=50, help="0: leave memory out")
    parser.add_argument("--times", type=int, default=12, help="changes of each control")
    args = parser.parse_args()
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        folder = Path(name)
        browser = play.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
        for rows in args.rows:
            file, stored = invented(rows, folder), folder / f"states_{rows}.pickle"
            stored.write_bytes(pickle.dumps(arrays(file)))
            port, other = free_port(), free_port()
            serve = [sys.executable, "-m", "dashboard.cli", "serve", str(file), "--no-browser", "--port", str(port)]
            confidences = ("Confidence", [LABELS[c] for c in CHOICES])
            views = ("View", ["Density", "Normal scale", "Weibull scale", "Boxes", "Steps"])
            controls = {"confidence to repaint": confidences, "view to repaint": views}
            ours = measure(browser, serve, port, "?page=overlay&by=electrode", controls, args.times)
            plain = [sys.executable, "-m", "tests.benchmarks.bare_figure", str(stored), str(other)]
            bare = measure(browser, plain, other, "", {"confidence to repaint": ("", list(range(4)))}, args.times)
            show(f"{rows:,} invented breakdowns", ours, bare)
        browser.close()
    if args.sessions:
        port = free_port()
        serve = [sys.executable, "-m", "dashboard.cli", "serve", "--no-browser", "--port", str(port)]
        each, left = sessions(serve, port, args.sessions)
        print(f"\n{args.sessions} sessions: {each:.1f} MB an open one, {left:.2f} MB of growth for each closed one")


if __name__ == "__main__":
    main()
