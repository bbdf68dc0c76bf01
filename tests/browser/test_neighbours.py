"""Two people at one server see nothing of each other's; and what a file holds is text on every page.

All records are invented for these tests.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.pages import entries
from tests.browser.conftest import Visitor

#: What would run if it were markup; a formula; a title of a plot that would be mathematics.
EVIL = ('<img src=x onerror="window.hit=1">', "=1+1", "$$\\badcmd$$", "</script><script>window.hit=1</script>")


def sheet(levels: tuple[str, str], oil: str) -> str:
    rows = [
        f'"{oil}","{level.replace(chr(34), chr(34) * 2)}",{filling},{order},{45 + 5 * at + filling + order}'
        for at, level in enumerate(levels) for filling in (1, 2, 3) for order in (1, 2, 3, 4, 5)
    ]  # fmt: skip
    return "\n".join(["sample,electrode,filling,order,kv", *rows]) + "\n"


@pytest.fixture
def pair(chromium: Any, server: str) -> Iterator[tuple[Visitor, Visitor]]:
    """Two browsers with nothing in common: cookies, stores and caches of their own."""
    first, second = Visitor(chromium, server, "first"), Visitor(chromium, server, "second")
    yield first, second
    first.context.close()
    second.context.close()


def upload(visitor: Visitor, text: str, name: str, folder: Path) -> None:
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_text(text)
    visitor.tab.locator("input[type=file]").first.set_input_files(str(path))
    visitor.tab.get_by_text(name).first.wait_for()
    visitor.idle()


def all_text(visitor: Visitor) -> str:
    return str(
        visitor.tab.evaluate("""() => {
      const out = []
      const look = (root) => {
        for (const e of root.querySelectorAll("*")) {
          if (!["SCRIPT", "STYLE"].includes(e.tagName)) {
            for (const n of e.childNodes) { if (n.nodeType === 3) out.push(n.data) }
            for (const a of e.attributes) out.push(a.value)
          }
          if (e.shadowRoot) look(e.shadowRoot)
        }
      }
      look(document)
      return out.join(" ")
    }""")
    )


def test_nobody_sees_a_neighbours_file(pair: tuple[Visitor, Visitor], tmp_path: Path) -> None:
    first, second = pair
    first.open("?data=own&page=records")
    upload(first, sheet(("secretdisk", "secretsphere"), "Secret oil"), "mine.csv", tmp_path / "one")
    address = first.tab.url.split("/", 3)[3].lstrip("/")
    second.open(address)  # the very address of the first
    assert "ecret" not in all_text(second) and "mine.csv" not in all_text(second)
    # A file of the same name and another content; then the very same content, which a cache may share, in both.
    upload(second, sheet(("plain", "other"), "Open oil"), "mine.csv", tmp_path / "two")
    assert "Open oil" in all_text(second) and "ecret" not in all_text(second)
    assert "Open oil" not in all_text(first)
    for page in ("scatter", "shift", "overlay"):
        for visitor in pair:
            visitor.tab.get_by_role("link", name=dict((e.key, e.label) for e in entries())[page]).first.click()
            visitor.idle()
        assert "ecret" not in all_text(second) and "Open oil" not in all_text(first)


def test_what_a_file_holds_is_text_on_every_page(pair: tuple[Visitor, Visitor], tmp_path: Path) -> None:
    visitor = pair[0]
    dialogs: list[str] = []
    visitor.tab.on("dialog", lambda d: (dialogs.append(d.message), d.dismiss()))
    visitor.open("?data=own&page=records")
    upload(visitor, sheet((EVIL[0], EVIL[3]), EVIL[2]), "<b onmouseover=window.hit=1>evil.csv", tmp_path / "evil")
    for entry in entries():
        visitor.tab.get_by_role("link", name=entry.label).first.click()
        visitor.idle()
        plot = visitor.tab.locator(".bk-Figure:visible")
        if plot.count():
            box = plot.first.bounding_box()
            for share in (0.3, 0.5, 0.7):
                visitor.tab.mouse.move(box["x"] + share * box["width"], box["y"] + 0.5 * box["height"])
        assert visitor.tab.evaluate("window.hit") is None, entry.key
        assert visitor.tab.evaluate("document.querySelectorAll('img[src=x], b[onmouseover]').length") == 0, entry.key
    assert dialogs == []
