"""The cautions stand whole wherever somebody may read them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from dashboard import safety
from dashboard.footer import footer

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def plain(text: str) -> str:
    return " ".join(re.sub(r"<[^>]+>|\*", " ", text).replace("&#x27;", "'").replace("&#39;", "'").split())


@pytest.mark.parametrize("word", [
    "emergency stop", "resuscitation", "dibenzofurans", "hydrogen chloride", "flash point", "charges itself",
    "interlock", "Local rules", "current standard", "qualified people", "before it has been tested",
    "within sight or call", "poured", "fuel",
])  # fmt: skip
def test_nothing_of_what_can_hurt_is_missing(word: str) -> None:
    assert word in " ".join(f"{lead} {text}" for lead, text in safety.LONG)


@pytest.mark.parametrize("where", ["page", "README"])
def test_page_and_readme_say_all_of_it(where: str) -> None:
    text = plain(README if where == "README" else footer().object)
    assert plain(safety.SHORT) in text
    assert not [lead for lead, body in safety.LONG if plain(f"{lead} {body}") not in text]
