"""What a class guesses of an oil before it is shown: read as it was typed or pasted, and scored by the distance."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from methods.errors import InputError

#: The highest guess that is taken, kV: no set of a class goes further.
HIGHEST_KV = 300.0
#: Guesses that are taken at a time.
MOST = 500
# A comma between digits is a decimal comma; any other parts two guesses.
_BETWEEN = re.compile(r"[\n\r;]|,(?!\d)|(?<!\d),")
_GUESS = re.compile(r"^(?P<name>.*?)[\s:=]*(?P<kv>\d+(?:[.,]\d+)?)\s*(?:kv)?\.?$", re.IGNORECASE)


@dataclass(frozen=True)
class Guess:
    """Who guessed, and which true mean, kV."""

    name: str
    kv: float


@dataclass(frozen=True)
class Guesses:
    """The guesses of a class, and what stood among them and could not be read: one sentence each."""

    guesses: tuple[Guess, ...]
    problems: tuple[str, ...]

    def scored(self, truth_kv: float | None = None) -> pd.DataFrame:
        """One row a guess: ``rank, name, guess_kv, off_kv``, the nearest first; equal distances share a rank.

        Without the truth the rows stand as they were given, and rank and distance are empty.
        """
        frame = pd.DataFrame({"name": [g.name for g in self.guesses], "guess_kv": [g.kv for g in self.guesses]})
        if truth_kv is None:
            return frame.assign(rank=float("nan"), off_kv=float("nan"))[["rank", "name", "guess_kv", "off_kv"]]
        frame["off_kv"] = frame["guess_kv"] - truth_kv
        frame["rank"] = frame["off_kv"].abs().round(9).rank(method="min")
        return frame.sort_values("rank", kind="stable", ignore_index=True)[["rank", "name", "guess_kv", "off_kv"]]


def read_guesses(text: str) -> Guesses:
    """Read names or initials with their numbers, as a class calls them out or a column is pasted.

    One guess a line, or several parted by commas or semicolons: ``AB 55; CD 62,5``. A number alone is a guess without
    a name. Of two guesses under one name the later counts, and that is said.

    Raises
    ------
    InputError
        More than 500 guesses.
    """
    found: dict[str, Guess] = {}
    problems: list[str] = []
    pieces = [piece.strip() for piece in _BETWEEN.split(text.replace("\t", " ")) if piece.strip()]
    if len(pieces) > MOST:
        raise InputError(
            f"{len(pieces)} guesses are too many: {MOST} at most.", column="guesses", text=str(len(pieces))
        )
    for at, piece in enumerate(pieces, 1):
        match = _GUESS.match(piece)
        if match is None:
            problems.append(f"“{piece[:40]}” has no number at its end.")
            continue
        kv, name = float(match["kv"].replace(",", ".")), match["name"].strip(" \t:=-–") or f"guess {at}"
        if not 0 < kv <= HIGHEST_KV:
            problems.append(f"“{piece[:40]}” must lie from above 0 to {HIGHEST_KV:g} kV.")
            continue
        if name.casefold() in found:
            problems.append(f"{name} guessed twice: {kv:g} kV counts.")
        found[name.casefold()] = Guess(name[:40], kv)
    return Guesses(tuple(found.values()), tuple(problems))


def names(rows: Sequence[str], most: int = 3) -> str:
    """The winners in words: all of them up to ``most``, then how many more."""
    shown = list(rows[:most])
    more = len(rows) - len(shown)
    if more:
        shown.append(f"{more} more")
    return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)
