"""How fast the dashboard answers, each figure beside a bare Bokeh figure in the same run; passes or fails nothing.

Run ``python -m tests.benchmarks.bench_dashboard [--rows 10000 1000000] [--sessions 20]``. Times are those of a headless
Chromium on this machine while it does whatever else it does, each the least and the median of several: on a busy
machine the least is what the dashboard needs, and the rest is the neighbours'. Dashboard and bare figure are changed in
turns, so that both meet the same neighbours. The CPU time of a page is that of the server with its workers and of the
browser's processes together: what waiting for the page comes to at most where nothing else is done. Each limit that the
project sets itself (``LIMITS``) is printed beside its figure, with whether it holds. A page counts as there when its
sentence and its plot are drawn; controls are measured once the server has imported, aside, what its other pages need:
in the first ten seconds a change may take a tenth of a second longer. All data are invented.
"""

from __future__ import annotations

import argparse
import os
import pickle
import signal
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from tests.benchmarks.bare_figure import CHOICES
from tests.browser.conftest import ARGUMENTS, ROOT, chromium_path, free_port

LABELS = {"0.8": "80 %", "0.9": "90 %", "0.95": "95 %", "0.99": "99 %"}
#: What the project asks of itself: figure -> most, and whether of the figure itself or of its ratio to the bare one.
LIMITS = {
    "first page, cold (s)": (3.0, "itself"), "first page, cold, CPU (s)": (3.0, "itself"),
    "first page, warm (s)": (1.5, "itself"), "first page, warm, CPU (s)": (1.5, "itself"),
    "confidence to repaint (ms)": (2.5, "ratio"), "view to repaint (ms)": (2.5, "ratio"),
    "pointer to what it tells (ms)": (100.0, "itself"),
}  # fmt: skip
Figures = dict[str, list[float]]
#: Servers that are started for the figure of a cold one, loads of a warm one, points that the pointer goes to.
COLD, WARM, POINTS = 3, 7, 12
#: Pages that are open together while memory is measured.
AT_A_TIME = 5
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
#: Whether all is drawn, the plot among it; where there is a sentence, it is said.
_THERE = """() => {
  const doc = window.Bokeh?.documents?.[0]
  if (doc?.is_idle !== true || !doc.roots().length) { return false }
  const said = (root) => {
    for (const e of root.querySelectorAll(".answer")) { if (e.textContent.trim()) { return true } }
    for (const e of root.querySelectorAll("*")) { if (e.shadowRoot && said(e.shadowRoot)) { return true } }
    return false
  }
  const drawn = (view) => view.model?.type === "Figure" && view.model.renderers.length > 0
    && view.el.checkVisibility({visibilityProperty: true}) || [...view.child_views ?? []].some(drawn)
  const bare = window.location.pathname === "/" && !document.title.includes("gapshift")
  return [...Bokeh.index.roots].some(drawn) && (bare || said(document))
}"""
#: Has ``window.told`` hold the ms from the pointer's move until the next frame in which a tooltip says something else.
_POINT = """() => {
  const find = (root, out) => {
    for (const e of root.querySelectorAll("*")) {
      if (e.matches(".bk-Tooltip")) { out.push(e) }
      if (e.shadowRoot) { find(e.shadowRoot, out) }
    }
    return out
  }
  const text = (node) => [...(node.shadowRoot ?? node).childNodes].map(
    (child) => child.nodeType === 3 ? child.textContent : child.tagName === "STYLE" ? "" : text(child)).join(" ")
  window.saying = (tips) => tips.filter((e) => e.checkVisibility()).map(text).join("|")
  window.tips = () => find(document, [])
  window.watched = window.watched ?? window.tips()
  const before = window.saying(window.watched)
  window.told = null
  window.addEventListener("mousemove", (event) => {
    const look = () => {
      const now = window.saying(window.watched)
      if (now && now !== before) { window.told = performance.now() - event.timeStamp; return }
      if (performance.now() - event.timeStamp < 5000) { requestAnimationFrame(look) }
    }
    requestAnimationFrame(look)
  }, {capture: true, once: true})
}"""


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


def all_cpu_s(browser: Any, pid: int) -> float:
    """CPU seconds that a server with its workers and the browser's processes have used."""
    stat = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):  # it has ended
            stat[int(path.parent.name)] = path.read_text().rsplit(")", 1)[1].split()
    family, ticks = {pid}, 0
    while more := {p for p, fields in stat.items() if int(fields[1]) in family} - family:
        family |= more
    for one in family & stat.keys():
        ticks += int(stat[one][11]) + int(stat[one][12])
    line = browser.new_browser_cdp_session()
    used = sum(p["cpuTime"] for p in line.send("SystemInfo.getProcessInfo")["processInfo"])
    line.detach()
    return float(ticks / os.sysconf("SC_CLK_TCK") + used)


def memory_mb(pid: int) -> float:
    """Resident memory of a process."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def first_page(browser: Any, tab: Any, pid: int, url: str, out: Figures, kind: str) -> None:
    """Load a page and note the seconds until it is there, and the CPU seconds that it took."""
    before = all_cpu_s(browser, pid)
    took = complete(tab, url)
    out.setdefault(f"first page, {kind} (s)", []).append(took)
    out.setdefault(f"first page, {kind}, CPU (s)", []).append(all_cpu_s(browser, pid) - before)


def complete(tab: Any, url: str) -> float:
    """Seconds until a page is there: sentence and plot drawn, and nothing left to draw just then."""
    start = time.perf_counter()
    tab.goto(url, wait_until="commit", timeout=1000 * LIMIT_S)
    tab.wait_for_function(_THERE, timeout=1000 * LIMIT_S, polling=100)
    return time.perf_counter() - start


def repaint(tab: Any, label: str, value: Any) -> float | None:
    """Ms from a control to its last drawing; None where it drew nothing."""
    tab.bring_to_front()
    took = tab.evaluate(_REPAINT, [label, value, QUIET_MS])
    return None if took is None else float(took)


def points(tab: Any) -> list[float]:
    """Ms from the pointer's move to what it tells of the mark there, for marks all over the strip of readings."""
    from tests.browser.test_plots_by_hand import readings

    tab.bring_to_front()
    places = readings(tab)["points"]
    chosen = [places[i] for i in np.linspace(0, len(places) - 1, POINTS + 1).astype(int)]
    tab.mouse.move(*chosen[0], steps=2)
    tab.locator(".bk-Tooltip:visible").first.wait_for()
    out = []
    for x, y in chosen[1:]:
        tab.evaluate("() => { window.watched = undefined }")
        tab.evaluate(_POINT)
        tab.mouse.move(x, y)
        tab.wait_for_timeout(300)
        took = tab.evaluate("window.told")
        if took is not None:  # the same is told of two marks that lie on each other
            out.append(float(took))
    return out


def cold(browser: Any, command: Callable[[int], list[str]], query: str) -> Figures:
    """Servers that are started anew: until each answers, its CPU time until then, and its first page."""
    out: Figures = {"server ready (s)": [], "server ready, CPU (s)": []}
    for _ in range(COLD):
        port = free_port()
        with served(command(port), port) as (process, url, ready):
            out["server ready (s)"].append(ready)
            out["server ready, CPU (s)"].append(cpu_s(process.pid))
            with browser.new_context(viewport={"width": 1440, "height": 900}) as context:
                tab = context.new_page()
                tab.goto("about:blank")
                first_page(browser, tab, process.pid, url + query, out, "cold")
    return out


def measure(browser: Any, ours: Callable[[int], list[str]], bare: Callable[[int], list[str]], query: str,
            controls: dict[str, Any], times: int) -> tuple[Figures, Figures]:  # fmt: skip
    """Every figure of the dashboard, and of the bare figure what there is: name -> values."""
    found, other = cold(browser, ours, query), cold(browser, bare, "")
    port, there = free_port(), free_port()
    size = {"width": 1440, "height": 900}
    with served(ours(port), port) as (process, url, _), served(bare(there), there) as (plain, bare_url, _):
        with browser.new_context(viewport=size) as context, browser.new_context(viewport=size) as second:
            tab, beside = context.new_page(), second.new_page()
            visited = ((tab, process.pid, url + query, found), (beside, plain.pid, bare_url, other))
            for page, _, address, _ in visited:
                complete(page, address)
            time.sleep(SETTLED_S)
            for page, pid, address, out in visited * WARM:
                page.bring_to_front()
                first_page(browser, page, pid, address, out, "warm")
            for page, *_ in visited:
                page.evaluate(_HOOK)
            for name, (label, values) in controls.items():
                for value in values:  # once round, so that everything was made once
                    repaint(tab, label, value)
                used = {process.pid: 0.0, plain.pid: 0.0}
                took: dict[int, list[float]] = {process.pid: [], plain.pid: []}
                for i in range(times):
                    for page, pid, sign, value in (
                        (tab, process.pid, label, values[i % len(values)]), (beside, plain.pid, "", i % len(CHOICES))
                    ):  # fmt: skip
                        before = cpu_s(pid)
                        ms = repaint(page, sign, value)
                        used[pid] += cpu_s(pid) - before
                        took[pid] += [] if ms is None else [ms]
                for pid, out in ((process.pid, found), (plain.pid, other)):
                    out[f"{name} (ms)"], out[f"{name}, server CPU (ms)"] = took[pid], [1000 * used[pid] / times]
                if len(took[process.pid]) < times:
                    print(f"  {name}: {times - len(took[process.pid])} of {times} changes drew nothing")
            found["pointer to what it tells (ms)"] = points(tab)
            found["memory of the server (MB)"], other["memory of the server (MB)"] = (
                [memory_mb(process.pid)], [memory_mb(plain.pid)],
            )  # fmt: skip
    return found, other


def sessions(browser: Any, command: Sequence[str], port: int, visits: int) -> tuple[float, float]:
    """MB that an open page takes of the server, and MB by which one more closed page leaves it larger.

    The first round fills what the allocator and the caches keep for good; the second, of as many, shows the growth.
    """
    with served(command, port) as (process, url, _):
        _visit(browser, url, AT_A_TIME, process.pid)
        first = memory_mb(process.pid)
        held = _visit(browser, url, visits, process.pid)
        _settled()
        before = memory_mb(process.pid)
        _visit(browser, url, visits, process.pid)
        _settled()
        return (held - first) / AT_A_TIME, (memory_mb(process.pid) - before) / visits


def _visit(browser: Any, url: str, visits: int, pid: int) -> float:
    """Open and close pages, some at a time; give the most memory while they were open."""
    held = 0.0
    for _ in range(0, visits, AT_A_TIME):
        contexts = [browser.new_context() for _ in range(AT_A_TIME)]
        for context in contexts:
            complete(context.new_page(), f"{url}?page=overlay")
        held = max(held, memory_mb(pid))
        for context in contexts:
            context.close()
    return held


def _settled() -> None:
    """Wait until the server has discarded the sessions that were left."""
    from dashboard.server import _CHECK_MS, _KEPT_MS

    time.sleep((_KEPT_MS + 2 * _CHECK_MS) / 1000)


def show(title: str, ours: Figures, bare: Figures) -> None:
    """A table: figure, dashboard and bare figure (least, median), ratio of the medians, limit and whether it holds."""
    print(f"\n{title}   (load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores)")
    print(f"{'':36}{'dashboard: least, median':>25}{'bare: least, median':>22}{'ratio':>7}  limit")
    for name, values in ours.items():
        theirs = bare.get(name, [])
        ratio = statistics.median(values) / statistics.median(theirs) if values and theirs else float("nan")
        said = ""
        if name in LIMITS and values:
            most, of = LIMITS[name]
            reached = min(values) if of == "itself" else ratio
            said = f"{'' if of == 'itself' else 'ratio '}≤ {most:g}: {'holds' if reached <= most else 'DOES NOT HOLD'}"
        print(f"{name:36}{_two(values):>25}{_two(theirs):>22}{ratio:7.2f}  {said}")


def _two(values: Sequence[float]) -> str:
    return f"{min(values):.2f}, {statistics.median(values):.2f}" if values else "–"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, nargs="*", default=[10_000, 1_000_000])
    parser.add_argument("--sessions", type=int, default=20, help="0: leave memory out")
    parser.add_argument("--times", type=int, default=12, help="changes of each control")
    args = parser.parse_args()
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        folder = Path(name)
        browser = play.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
        for rows in args.rows:
            file, stored = invented(rows, folder), folder / f"states_{rows}.pickle"
            stored.write_bytes(pickle.dumps(arrays(file)))
            serve = [sys.executable, "-m", "dashboard.cli", "serve", str(file), "--no-browser", "--port"]
            plain = [sys.executable, "-m", "tests.benchmarks.bare_figure", str(stored)]
            controls = {
                "confidence to repaint": ("Confidence", [LABELS[c] for c in CHOICES]),
                "view to repaint": ("View", ["Density", "Normal scale", "Weibull scale", "Boxes", "Steps"]),
            }
            address = "?page=overlay&by=electrode"
            found = measure(browser, partial(_at, serve), partial(_at, plain), address, controls, args.times)
            show(f"{rows:,} invented breakdowns", *found)
        if args.sessions:
            port = free_port()
            serve = [sys.executable, "-m", "dashboard.cli", "serve", "--no-browser", "--port", str(port)]
            each, left = sessions(browser, serve, port, args.sessions)
            print(f"\n{args.sessions} pages: {each:.1f} MB an open one, {left:.2f} MB of growth for each closed one")
        browser.close()


def _at(command: list[str], port: int) -> list[str]:
    return [*command, str(port)]


if __name__ == "__main__":
    main()
