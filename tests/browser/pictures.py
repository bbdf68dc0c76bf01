"""Take the pictures of README anew: ``python -m tests.browser.pictures [FOLDER] [--phone] [--dark] [--only=PAGE]``."""

from __future__ import annotations

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.conftest import ARGUMENTS, SIZES, chromium_path, start

PICTURES = Path(__file__).parents[2] / "dashboard" / "pictures"
_FIRST = "&data=programme&by=electrode&only.method=IEC%2060156&only.laboratory=Fenmark%20central"
#: page: the further settings of its address
PAGES = {
    "records": _FIRST, "overlay": _FIRST, "shift": _FIRST,
    "howmany": "&howmany.source=typed", "scatter": _FIRST, "precision": "&data=labs",
    "decision": f"{_FIRST}&decision.limit=iec_60422_2013%2Fb_good",
    "method_study": "&data=bench&only.study=gap&method_study.question=gap",
    "classroom": "&classroom.taken=18&classroom.limit_kv=70",
}  # fmt: skip


def main(words: list[str]) -> None:
    """Serve the demo, open each page, wait until it is quiet, take its picture."""
    folder = next((Path(w) for w in words if not w.startswith("--")), PICTURES)
    folder.mkdir(parents=True, exist_ok=True)
    width, height = SIZES["phone" if "--phone" in words else "desk"]
    server, url = start()
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
            only = [w[7:] for w in words if w.startswith("--only=")]
            for name, more in {n: m for n, m in PAGES.items() if n in (only or PAGES)}.items():
                scheme = "dark" if "--dark" in words else "light"
                page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)  # type: ignore[arg-type]
                page.goto(f"{url}?page={name}{more}", timeout=120_000)
                page.wait_for_selector("h1", timeout=60000)
                page.wait_for_timeout(6000)
                page.screenshot(path=str(folder / f"{name}.png"))
                page.close()
            browser.close()
    finally:
        server.terminate()
        server.wait(20)


if __name__ == "__main__":
    main(sys.argv[1:])
