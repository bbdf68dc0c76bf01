"""The notes for contributors: what they point to is there, and the page that they show runs."""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import dedent

import dashboard
from dashboard import pages
from dashboard.study import Study

ROOT = Path(dashboard.__file__).parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_path_is_there() -> None:
    found = set(re.findall(r"`((?:methods|dashboard|tests|data|notebooks)/[\w./-]+)`", TEXT))
    assert len(found) > 25
    gone = sorted(p for p in found if not (ROOT / p).exists())
    assert not gone


def test_the_questions_of_a_newcomer_are_answered_in_one_hop() -> None:
    table = TEXT.split("## Where is ...?")[1].split("##")[0]
    rows = [line for line in table.splitlines() if line.startswith("| ") and "---" not in line][1:]
    assert len(rows) >= 10
    for row in rows:
        assert re.search(r"`(?:methods|dashboard)/[\w./]+`", row), row


def test_the_names_that_the_table_promises() -> None:
    said = {
        "methods/wording.py": "def sentence(", "methods/shifts/comparisons.py": "def holm(",
        "methods/planning/nested.py": "def half_width_bench(", "methods/protocols/bench.py": "cleaning_minutes",
        "methods/columns.py": "REGISTRY", "methods/families.py": "REGISTRY", "dashboard/pages/__init__.py": "PAGES",
        "methods/answers/heads.py": "HEADS", "methods/protocols/precision.toml": "r_percent",
    }  # fmt: skip
    for path, what in said.items():
        assert path in TEXT and what in (ROOT / path).read_text(encoding="utf-8"), (path, what)


def test_the_sample_page_runs() -> None:
    sample = dedent(re.search(r"A whole page::\n\n(.*?)\nWhat to know", pages.__doc__ or "", flags=re.S)[1])
    space: dict[str, object] = {"__name__": "dashboard.pages.sample"}
    exec(compile(sample, "sample", "exec"), space)
    study = Study()
    study.open(
        b"sample,electrode,filling,kv\n"
        + b"\n".join(b"A,%s,%s%d,%d" % (e, e, f, v + f) for e, v in ((b"disk", 40), (b"cap", 50)) for f in range(4)),
        "invented.csv",
    )
    study.by = "electrode"
    page = space["Page"](study)
    page.shown = True
    assert "reads" in page._answer.text
    assert list(page._shown_tables["shift"].frame["level"])
    page.scale = "kv"
    assert "reads" in page._answer.text
