"""What pages say first is short, whole and free of inner names (``python -m tests.dashboard.sentences`` prints it)."""

from __future__ import annotations

import re

import pytest

from dashboard.pages import entries
from dashboard.parts import Answer
from methods.columns import COLUMNS
from tests.dashboard.sentences import Said, collected


@pytest.fixture(scope="module")
def every() -> list[Said]:
    return list(collected())


def test_every_page_answers_or_says_what_to_do_next(every: list[Said]) -> None:
    assert len(every) == 3 * len(entries())
    for said in every:
        assert bool(said.sentence) != bool(said.instead), said
        if said.instead:
            assert re.search(r"Open|Drop|Choose|Name|Type|typed|Compare", said.instead), f"no next step: {said}"


def test_what_is_said_is_whole_and_in_the_bench_s_words(every: list[Said]) -> None:
    inner = {c for c in COLUMNS if "_" in c} | {"nan", "inf", "NaN", "True", "False", "cov", "df", "dtype"}
    for said in every:
        for text in filter(None, (said.sentence, said.caution, said.instead)):
            bare = re.sub(r"\w+\.(csv|xlsx)", "", text)
            words = set(re.findall(r"[A-Za-z_][A-Za-z_0-9]*", bare))
            assert not words & inner, (words & inner, said)
            assert not [w for w in words if "_" in w and w not in ("s_L", "s_R", "s_r")], said
            assert "  " not in text and ".." not in text.replace("...", "") and not re.search(r" [,.;:]", text), said
            assert not re.search(r"\b(not|no|never)\b[^.,;:]{0,30}\b(not un|nothing un|without no|not no)\b", text), (
                said
            )
        if said.sentence:
            assert said.sentence[0].isupper() or said.sentence[0].isdigit(), said
            assert said.sentence.endswith((".", "?")), said


def test_the_first_statement_fits_the_two_lines_that_are_seen(every: list[Said]) -> None:
    for said in every:
        first = re.split(r"(?<=[.?])\s+(?=[A-Z0-9])", said.sentence)[0]
        assert len(first) <= Answer.TWO_LINES, (len(first), said)
        assert len(said.sentence) <= 480, (len(said.sentence), said)
        assert said.page != "classroom" or len(said.sentence) <= Answer.TWO_LARGE_LINES, said
