"""Every page's sentence and gravest caution, to be read aloud: ``python -m tests.dashboard.sentences``.

On the demo programme and the demo round as they open, and on a file of one invented oil.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import dataclass

from dashboard.pages import entries, page_class
from dashboard.study import Study

ONE_OIL = "sample,filling,order,kv\n" + "".join(
    f"T1,{filling},{order},{45 + 3 * filling + (order * 7) % 11}\n" for filling in (1, 2, 3) for order in range(1, 7)
)


@dataclass(frozen=True)
class Said:
    """What one page says first."""

    data: str
    page: str
    sentence: str
    caution: str
    instead: str  # where the page cannot answer: what is missing, and what to do next


def _study(data: str) -> Study:
    study = Study()
    if data == "one oil":
        study.open(ONE_OIL.encode(), "one_oil.csv")
    else:
        study.open_demo(data, first_look=True)
    return study


def _plain(markup: str) -> str:
    return html.unescape(re.sub(r"<[^>]+>", "", markup)).replace("\u00a0", " ").replace("\u2060", "").strip()


def collected() -> Iterator[Said]:
    """What every page says on each of the three."""
    for data in ("programme", "labs", "one oil"):
        study = _study(data)
        for entry in entries():
            page = page_class(entry.key)(study)
            page.shown = True
            line = (
                re.search(r'<span class="line">(.*?)</span>', page._cautions.object) if page._cautions.visible else None
            )
            instead = _plain(page._state.object) if page._state.visible else ""
            yield Said(data, entry.key, page._answer.text, _plain(line[1]) if line else "", instead)


if __name__ == "__main__":
    for said in collected():
        print(f"[{said.data}, {said.page}] {said.sentence or said.instead}")
        if said.caution:
            print(f"    ! {said.caution}")
