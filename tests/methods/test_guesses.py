"""The guesses of a class: read as they are typed, scored by the distance."""

from __future__ import annotations

import numpy as np
import pytest

from methods.errors import InputError
from methods.guesses import MOST, names, read_guesses


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("AB 55\nCD 62,5", [("AB", 55), ("CD", 62.5)]),
        ("AB 55, CD 62; EF:48.5kV", [("AB", 55), ("CD", 62), ("EF", 48.5)]),
        ("AB\t55\r\nCD\t62\r\n", [("AB", 55), ("CD", 62)]),
        ("Anna B. = 60 kV.", [("Anna B.", 60)]),
        ("55\n60", [("guess 1", 55), ("guess 2", 60)]),
        ("AB55,CD60", [("AB", 55), ("CD", 60)]),
        ("", []),
    ],
)
def test_what_a_class_calls_out_is_read(text: str, wanted: list[tuple[str, float]]) -> None:
    found = read_guesses(text)
    assert [(g.name, g.kv) for g in found.guesses] == wanted
    assert not found.problems


def test_what_cannot_be_read_is_said() -> None:
    found = read_guesses("AB, CD 0, EF 900, GH 50, gh 52")
    assert [(g.name, g.kv) for g in found.guesses] == [("gh", 52)]
    assert len(found.problems) == 4
    assert "no number" in found.problems[0] and "300" in found.problems[1] and "twice" in found.problems[3]
    with pytest.raises(InputError, match="too many"):
        read_guesses("1\n" * (MOST + 1))


def test_the_nearest_comes_first_and_ties_share_a_rank() -> None:
    found = read_guesses("AB 50, CD 61, EF 70, GH 59")
    score = found.scored(60)
    assert score["name"].tolist() == ["CD", "GH", "AB", "EF"]
    assert score["rank"].tolist() == [1, 1, 3, 3]
    np.testing.assert_allclose(score["off_kv"], [1, -1, -10, 10])
    assert found.scored()["rank"].isna().all() and found.scored()["name"].tolist() == ["AB", "CD", "EF", "GH"]


def test_winners_in_words() -> None:
    assert names(["AB"]) == "AB" and names(["AB", "CD"]) == "AB and CD"
    assert names(["A", "B", "C", "D", "E"]) == "A, B, C and 2 more"
