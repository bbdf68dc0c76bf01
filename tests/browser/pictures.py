"""Take pictures of the pages: ``python -m tests.browser.pictures [FOLDER] [--all] [--phone] [--small] [--dark]
[--only=PAGE]``.

Without a folder those of README are taken anew, in few colours so that the files stay small. ``--all`` takes every page
at three sizes and in both themes, for looking at before and after a change: ``FOLDER/page_desk_light.png`` and so on.
"""

from __future__ import annotations

import io
import sys
from itertools import product
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from tests.browser.conftest import ARGUMENTS, SIZES, chromium_path, start

PICTURES = Path(__file__).parents[2] / "dashboard" / "pictures"
_FIRST = "&data=programme&by=electrode&only.method=IEC%2060156&only.laboratory=Fenmark%20central"
#: page: the further settings of its address
PAGES = {
    "records": _FIRST, "choose": "&data=programme&by=procedure", "overlay": _FIRST, "shift": _FIRST,
    "howmany": "&howmany.source=typed", "scatter": _FIRST, "precision": "&data=labs",
    "decision": f"{_FIRST}&decision.limit=iec_60422_2013%2Fb_good",
    "method_study": "&data=bench&only.study=gap&method_study.question=gap",
    "classroom": "&classroom.taken=18&classroom.limit_kv=70",
}  # fmt: skip
SCREENS = {"desk": SIZES["desk"], "small": (1280, 720), "phone": SIZES["phone"]}
#: Until the document has nothing more to draw.
_DRAWN = "() => window.Bokeh?.documents?.[0]?.is_idle === true && !document.querySelector('progress')"


def taken(browser: Any, address: str, size: tuple[int, int], scheme: str) -> bytes:
    """The picture of one address, once it has been quiet for a second and a half."""
    page = browser.new_page(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
    page.goto(address, timeout=120_000)
    page.locator("h1").first.wait_for(timeout=60_000)
    quiet = 0
    while quiet < 3:
        page.wait_for_timeout(500)
        computed = not page.get_by_text("The numbers are being computed.").locator("visible=true").count()
        quiet = quiet + 1 if computed and page.evaluate(_DRAWN) else 0
    page.wait_for_timeout(1000)
    picture: bytes = page.screenshot()
    page.close()
    return picture


def small(picture: bytes) -> bytes:
    """The same in 128 colours: a third of the size, and no difference for the eye."""
    from PIL import Image

    out = io.BytesIO()
    Image.open(io.BytesIO(picture)).convert("RGB").quantize(128).save(out, "PNG", optimize=True)
    return out.getvalue()


def main(words: list[str]) -> None:
    """Serve the demo, open each page, wait until it is quiet, take its picture."""
    folder = next((Path(w) for w in words if not w.startswith("--")), PICTURES)
    folder.mkdir(parents=True, exist_ok=True)
    screens = [s for s in SCREENS if f"--{s}" in words] or ["desk"]
    schemes = ["dark" if "--dark" in words else "light"]
    if "--all" in words:
        screens, schemes = list(SCREENS), ["light", "dark"]
    only = [w[7:] for w in words if w.startswith("--only=")] or list(PAGES)
    several = len(screens) * len(schemes) > 1
    server, url = start()
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
            for name, screen, scheme in product([n for n in PAGES if n in only], screens, schemes):
                picture = taken(browser, f"{url}?page={name}{PAGES[name]}", SCREENS[screen], scheme)
                path = folder / (f"{name}_{screen}_{scheme}.png" if several else f"{name}.png")
                path.write_bytes(small(picture) if folder == PICTURES else picture)
            browser.close()
    finally:
        server.terminate()
        server.wait(20)


if __name__ == "__main__":
    main(sys.argv[1:])
