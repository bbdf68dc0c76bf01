"""The documentation builds without a warning, asks no other host, and its links lead somewhere."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest

from dashboard.report.methods_text import BY_SECTION

ROOT = Path(__file__).parents[2]
_SPEC = spec_from_file_location("generated", ROOT / "dashboard" / "docs" / "generated.py")
assert _SPEC is not None and _SPEC.loader is not None
generated = module_from_spec(_SPEC)
_SPEC.loader.exec_module(generated)


class Page(HTMLParser):
    """What a page links to, what it loads, and the places in it that a link can name."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.loads: list[str] = []
        self.places: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {k: v or "" for k, v in attrs}
        self.places.update(v for k in ("id", "name") if (v := given.get(k)))
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        elif tag == "link" and given.get("rel") in ("stylesheet", "icon", "preload", "preconnect"):
            self.loads.append(given["href"])
        elif "src" in given:
            self.loads.append(given["src"])


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> dict[Path, Page]:
    out = tmp_path_factory.mktemp("site")
    command = [sys.executable, "-m", "sphinx", "-q", "-W", "-b", "html", "dashboard/docs", str(out)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return {p: Page(p.read_text(encoding="utf-8")) for p in out.rglob("*.html")}


def test_nothing_is_loaded_from_another_host(site: dict[Path, Page]) -> None:
    foreign = [(p.name, u) for p, page in site.items() for u in page.loads if urlsplit(u).netloc]
    assert len(site) > 15 and not foreign
    styles = [f.read_text(encoding="utf-8") for f in next(iter(site)).parent.rglob("*.css")]
    assert styles and not [
        m for s in styles for m in re.findall(r"url\(['\"]?(?:https?:)?//[^)]*\)|@import[^;]*//[^;]*", s)
    ]


def test_every_link_leads_somewhere(site: dict[Path, Page]) -> None:
    broken: list[Any] = []
    for path, page in site.items():
        for link in page.links:
            parts = urlsplit(link)
            if parts.scheme or parts.netloc:
                continue
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            place = unquote(parts.fragment)
            if not target.is_file() or (place and target in site and place not in site[target].places):
                broken.append((path.name, link))
    assert not broken


def test_every_formula_names_its_source_and_tests_that_exist(site: dict[Path, Page]) -> None:
    page = next(p for p in site if p.name == "formulas.html").read_text(encoding="utf-8")
    for section, methods in BY_SECTION.items():
        for method in methods:
            assert method.reference and f">{method.statistic}<" in page, section
            assert generated.CHECKED_BY[method.statistic]
    assert set(generated.CHECKED_BY) == {m.statistic for methods in BY_SECTION.values() for m in methods}
    for named in {t for tests in generated.CHECKED_BY.values() for t in tests}:
        file, _, test = named.partition("::")
        text = (ROOT / "tests" / "methods" / file).read_text(encoding="utf-8")
        assert re.search(rf"^def {test}\(", text, re.M), named
        assert f"tests/methods/{named}" in page


def test_each_user_starts_with_pictures_and_each_kind_of_command_has_its_help(site: dict[Path, Page]) -> None:
    pages = {p.name: p.read_text(encoding="utf-8") for p in site}
    assert all(pages[f"{user}.html"].count("<img") >= 1 for user in ("manager", "committee", "instructor"))
    assert all(words in pages["commands.html"] for words in ("gapshift plan study", "gapshift archive add"))
    assert all(
        way in pages["deploy.html"] for way in ("own machine", "Behind a proxy", "In a container", "On a cluster")
    )


def test_the_checks_are_those_of_the_tests(site: dict[Path, Page]) -> None:
    page = next(p for p in site if p.name == "checks.html").read_text(encoding="utf-8")
    assert page.count("<h2") > 50
    assert "Nelson insulating fluid" in page and "test_fit.py" in page


def test_the_checks_are_a_table_made_of_the_cases_that_tests_ask_for(site: dict[Path, Page]) -> None:
    page = next(p for p in site if p.name == "checks.html").read_text(encoding="utf-8")
    cases = json.loads((ROOT / "tests" / "reference" / "checks.json").read_text(encoding="utf-8"))["cases"]
    used = [key for key, tests in generated._used_by([c["id"] for c in cases]).items() if tests]
    rows = re.findall(r"<tr[^>]*><td><p>([A-Z]\d+\w*)</p></td>", page)
    assert rows == used and len(rows) > 50 and '<th class="head"><p>agreement</p></th>' in page
