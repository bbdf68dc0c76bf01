"""Take pictures of the pages: ``python -m tests.browser.pictures [FOLDER] [--all] [--strange] [--whole] [--phone]
[--small] [--dark] [--only=PAGE]``.

Without a folder those of README are taken anew, in few colours so that the files stay small. For looking at before and
after a change: ``--all`` takes every page and every question of it at three sizes and in both themes
(``FOLDER/page_desk_light.png`` and so on), ``--strange`` every page with files unlike the demo
(``FOLDER/nine_shift_desk_light.png``), ``--whole`` also what is below the first screen.
"""

from __future__ import annotations

import io
import sys
import tempfile
import urllib.request
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from dashboard.pages import entries
from dashboard.pages.method_study_words import QUESTIONS
from tests.browser.conftest import ARGUMENTS, SIZES, chromium_path, start
from tests.browser.strange_files import written

PICTURES = Path(__file__).parents[2] / "dashboard" / "pictures"
_GOOD = "&decision.limit=iec_60422_2013%2Fb_good"
_FIRST = "&data=programme&by=electrode&only.method=IEC%2060156&only.laboratory=Fenmark%20central"
_OPENED = "&data=programme&by=procedure&only.laboratory=Fenmark%20central"
#: page: the further settings of its address
PAGES = {
    "records": _FIRST, "choose": "&data=programme&by=procedure", "overlay": _FIRST, "shift": _FIRST,
    "howmany": "&howmany.source=typed", "scatter": _FIRST, "precision": "&data=labs",
    "decision": f"{_FIRST}{_GOOD}",
    "method_study": "&data=bench&only.study=gap&method_study.question=gap",
    "classroom": "&classroom.taken=18&classroom.limit_kv=70",
}  # fmt: skip
#: Name of the picture: page and settings, of what README does not show.
FURTHER = {
    "shift_eight": f"shift{_OPENED}", "overlay_eight": f"overlay{_OPENED}", "scatter_eight": f"scatter{_OPENED}",
    "decision_unasked": f"decision{_OPENED}", "decision_eight": f"decision{_OPENED}{_GOOD}",
    "bench_plan": f"bench_plan{_OPENED}", "check_oil": f"check_oil{_OPENED}", "classroom_first": "classroom",
    "records_opened": f"records{_OPENED}", "howmany_records": f"howmany{_OPENED}",
    "shift_labs": "shift&data=labs&by=laboratory",
    "records_sheet": "records&data=messy&records.sheet=kv",
    **{f"method_study_{q}": f"method_study&data=programme&method_study.question={q}" for q in QUESTIONS if q != "gap"},
}  # fmt: skip
SCREENS = {"desk": SIZES["desk"], "small": (1280, 720), "phone": SIZES["phone"]}
#: Until the document has nothing more to draw.
_DRAWN = "() => window.Bokeh?.documents?.[0]?.is_idle === true && !document.querySelector('progress')"


def _rests(page: Any) -> None:
    """Wait until the page, and the server for it, has been quiet for a second and a half."""
    quiet = 0
    while quiet < 3:
        page.wait_for_timeout(500)
        with urllib.request.urlopen(page.evaluate("() => new URL('alive', location.href).href"), timeout=60) as told:
            waiting = int(told.headers["X-Waiting"])
        quiet = quiet + 1 if not waiting and page.evaluate(_DRAWN) else 0
    page.wait_for_timeout(500)


def taken(browser: Any, address: str, screens: list[str], scheme: str, whole: bool) -> Iterator[tuple[str, bytes]]:
    """The pictures of one address at these sizes."""
    first = SCREENS[screens[0]]
    page = browser.new_page(viewport={"width": first[0], "height": first[1]}, color_scheme=scheme)
    page.goto(address, timeout=120_000)
    page.locator("h1").first.wait_for(timeout=60_000)
    for screen in screens:
        width, height = SCREENS[screen]
        page.set_viewport_size({"width": width, "height": height})
        _rests(page)
        yield screen, page.screenshot()
        if whole:
            yield f"{screen}_whole", page.screenshot(full_page=True)
    page.close()


def small(picture: bytes) -> bytes:
    """The same in 128 colours: a third of the size, and no difference for the eye."""
    from PIL import Image

    out = io.BytesIO()
    Image.open(io.BytesIO(picture)).convert("RGB").quantize(128).save(out, "PNG", optimize=True)
    return out.getvalue()


def main(words: list[str]) -> None:
    """Serve the demo and where asked the other files, open each page, wait until it is quiet, take its pictures."""
    folder = next((Path(w) for w in words if not w.startswith("--")), PICTURES)
    folder.mkdir(parents=True, exist_ok=True)
    screens = [s for s in SCREENS if f"--{s}" in words] or ["desk"]
    schemes = ["dark" if "--dark" in words else "light"]
    addresses = {name: f"{name}{settings}" for name, settings in PAGES.items()}
    if "--all" in words:
        screens, schemes = list(SCREENS), ["light", "dark"]
    if folder != PICTURES:
        addresses |= FURTHER
    only = [w[7:] for w in words if w.startswith("--only=")]

    def shown(names: Mapping[str, str]) -> dict[str, str]:
        return {n: a for n, a in names.items() if not only or n in only or a.split("&")[0] in only}

    with tempfile.TemporaryDirectory() as temporary:
        sets: dict[str, tuple[list[Path], dict[str, str]]] = {"": ([], shown(addresses))}
        if "--strange" in words:
            pages = {e.key: e.key for e in entries()}
            sets = {
                name: (files, shown(pages)) for name, files in written(Path(temporary)).items()
                if f"--set={name}" in words or not any(w.startswith("--set=") for w in words)
            }  # fmt: skip
        for name, (files, wanted) in sets.items():
            served(folder, name, files, wanted, screens, schemes, "--whole" in words)


def served(
    folder: Path, name: str, files: list[Path], wanted: Mapping[str, str], screens: list[str], schemes: list[str],
    whole: bool,
) -> None:  # fmt: skip
    """Serve these files and take their pictures."""
    server, url = start(*files)
    several = len(screens) * len(schemes) > 1 or whole or bool(name)
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
            for scheme in schemes:
                for key, address in wanted.items():
                    for screen, picture in taken(browser, f"{url}?page={address}", screens, scheme, whole):
                        label = f"{name}_{key}" if name else key
                        path = folder / (f"{label}_{screen}_{scheme}.png" if several else f"{label}.png")
                        path.write_bytes(small(picture) if folder == PICTURES else picture)
            browser.close()
    finally:
        server.terminate()
        server.wait(20)


if __name__ == "__main__":
    main(sys.argv[1:])
