"""What is said of a file in words, on the command line or in Python: the same deeds as clicks on the sheet.

A word is ``NAME=TEXT`` for what stands nowhere in the file (``electrode=disk``), or ``ROLE`` for what cells are
(``summary``, ``means=sample``), with ``@PLACE`` behind it where it holds for a part of the file only: cells
(``B5:F9``, ``C:H``, ``12``), a sheet (``Tests``), cells of one (``Tests!C:H``), and one of several files before those
(``week1.csv``, ``week1.csv!Tests!C:H``).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from methods.errors import InputError
from methods.records.by_click import Hand, cells_said
from methods.records.headings import read_heading
from methods.records.places import Place
from methods.records.recipe import CONTEXT, FILLINGS, MEANINGS, Recipe, said_text

#: What cells can be said to be -> the deed; ``means``, ``heads`` and ``fillings`` want ``=TEXT`` behind them.
DEEDS: dict[str, Callable[[Hand, Place, str], Recipe]] = {
    "headings": lambda hand, place, _: hand.heading_row(place),
    "no-headings": lambda hand, place, _: hand.no_heading(place),
    "readings": lambda hand, place, _: hand.readings(place),
    "no-readings": lambda hand, place, _: hand.readings(place, False),
    "summary": lambda hand, place, _: hand.out(place, "summary"),
    "leave-out": lambda hand, place, _: hand.out(place, "leave_out"),
    "table": lambda hand, place, _: hand.table(place),
    "means": lambda hand, place, text: hand.means(place, text),
    "heads": lambda hand, place, text: hand.heads(place, text),
    "fillings": lambda hand, place, text: hand.filling(place, text),
    "unread": lambda hand, _, __: hand.use(False),
}
_WITH_TEXT = ("means", "heads", "fillings")


def words_of(said: Mapping[str, str] | str | Sequence[str] | None) -> list[str]:
    """Words as a list: one, several, or a mapping of names to texts that hold for the whole file."""
    if said is None:
        return []
    if isinstance(said, Mapping):
        return [f"{name}={text}" for name, text in said.items()]
    return [said] if isinstance(said, str) else list(said)


def for_file(options: Mapping[str, Any], source: Any, sources: Sequence[Any]) -> dict[str, Any]:
    """The options of :func:`methods.read` for one of several files: words for another one do not concern it.

    Parameters
    ----------
    options : mapping of str to object
        Of :func:`methods.read`.
    source : object
        The file.
    sources : sequence of object
        All files that are read.
    """
    out = dict(options)
    others = [name for s in sources for name in _names(s)]
    for key in ("context", "say"):
        if out.get(key):
            out[key] = [w for word in words_of(out[key]) if (w := _for_file(word, _names(source), others)) is not None]
    return out


def _names(source: Any) -> list[str]:
    if isinstance(source, (str, os.PathLike)):
        return [os.fspath(source), Path(source).name]
    return []


def _for_file(word: str, mine: Sequence[str], every: Sequence[str]) -> str | None:
    """The word without the name of its file; None where that is another file."""
    for name in sorted({*mine, *every}, key=len, reverse=True):
        before, sign, after = word.partition(f"@{name}")
        if sign and (not after or after[0] == "!"):
            if name not in mine:
                return None
            return f"{before}@{after[1:]}" if after else before
    return word


def in_words(
    recipe: Recipe, context: Sequence[str], say: Sequence[str], called: str, sheets: Callable[[], Sequence[Any]],
    account: Callable[[Recipe], pd.DataFrame],
) -> Recipe:  # fmt: skip
    """The recipe with what the words say.

    Parameters
    ----------
    recipe : Recipe
        What was said before.
    context, say : sequence of str
        Words as the head of this module has them.
    called : str
        What the file is called.
    sheets : callable
        Gives its sheets as cells of text; asked only where a word speaks of a part of the file.
    account : callable
        Gives ``records.cells`` as the file is read with a recipe.

    Raises
    ------
    InputError
        A word that is none, or a place that the file does not have.
    """
    for word in context:
        recipe = _context(recipe, _for_file(word, [called], ()) or word, sheets, account)
    for word in say:
        recipe = _mark(recipe, _for_file(word, [called], ()) or word, sheets, account)
    return recipe


def _context(recipe: Recipe, word: str, sheets: Callable[[], Sequence[Any]], account: Any) -> Recipe:
    said, at, address = word.rpartition("@") if "@" in word else (word, "", "")
    name, sign, text = said.partition("=")
    name = name.strip()
    if not sign or not name or not text.strip():
        raise InputError(
            f"{word!r} says nothing of the tests: write it as NAME=TEXT, such as electrode=disk, and @PLACE behind it "
            "where it holds for a part of the file only.",
            column="context", text=word,
        )  # fmt: skip
    known = name if name in CONTEXT else read_heading(name).name
    if known not in CONTEXT:
        raise InputError(
            f"{name!r} cannot be said of a file; it is one of {', '.join(CONTEXT)}.", column="context", text=name
        )
    if not at or not address.strip():
        return replace(recipe, context={**recipe.context, known: said_text(known, text)})
    held = sheets()
    sheet, place = _place(address, held)
    of = [sheet] if sheet is not None else _with_readings(held, account(recipe)) if place == Place() else held
    if len(of) > 1:
        raise InputError(_which(word, held), column="context", text=word)
    return Hand(recipe, of[0], account(recipe)).context(place, known, text)


def _mark(recipe: Recipe, word: str, sheets: Callable[[], Sequence[Any]], account: Any) -> Recipe:
    said, _, address = word.partition("@")
    role, sign, text = said.partition("=")
    role, text = role.strip(), text.strip()
    if role not in DEEDS:
        raise InputError(
            f"{role!r} is nothing that cells can be; they are {', '.join(DEEDS)}.", column="say", text=role
        )
    if bool(text) != (role in _WITH_TEXT) or bool(sign) != bool(text):
        raise InputError(f"{word!r}: {_example(role)}", column="say", text=word)
    if role == "means" and text not in MEANINGS:
        text = str(read_heading(text).name)
    if role == "heads" and text not in CONTEXT:
        text = str(read_heading(text).name)
    allowed = {"means": MEANINGS, "heads": CONTEXT}.get(role)
    if allowed and text not in allowed:
        raise InputError(f"{word!r}: it may be {', '.join(allowed)}.", column="say", text=word)
    if role == "fillings" and text not in FILLINGS and not (text.isdecimal() and 0 < int(text) < 10_000):
        raise InputError(f"{word!r}: {_example(role)}", column="say", text=word)
    held = sheets()
    sheet, place = _place(address, held)
    if sheet is not None:
        of = [sheet]
    else:
        of = list(held) if len(held) == 1 else _with_readings(held, account(recipe))
        if len(of) != 1 and (role != "fillings" or not of):
            raise InputError(_which(word, held), column="say", text=word)
    for one in of:
        recipe = DEEDS[role](Hand(recipe, one, account(recipe)), place, text)
    return recipe


def _example(role: str) -> str:
    if role == "fillings":
        return "write fillings=row, fillings=column, fillings=one, or the breakdowns on one filling, as fillings=6."
    if role in _WITH_TEXT:
        return f"write it with a column of the table, such as {role}=sample."
    return f"write it as {role}@PLACE."


def _with_readings(sheets: Sequence[Any], cells: pd.DataFrame) -> list[Any]:
    """The sheets that hold readings."""
    names = set(cells.loc[cells["role"].isin(["breakdown", "withstood", "refused"]), "sheet"]) if len(cells) else set()
    return [s for s in sheets if s.name in names] or list(sheets)


def _which(word: str, sheets: Sequence[Any]) -> str:
    names = ", ".join(repr(s.name) for s in sheets)
    return f"{word!r} does not say of which sheet; there are {names}. Write the sheet before the cells: Tests!C:H."


def _place(address: str, sheets: Sequence[Any]) -> tuple[Any | None, Place]:
    """The sheet and the cells of an address; None for a sheet that is not named."""
    text = address.strip()
    if not text:
        return None, Place()
    for sheet in sorted(sheets, key=lambda s: len(s.name), reverse=True):
        if sheet.name and text == sheet.name:
            return sheet, Place()
        if sheet.name and text.startswith(f"{sheet.name}!"):
            rest = text[len(sheet.name) + 1 :]
            return sheet, Place.parse(rest) if rest.strip() else Place()
    try:
        return None, Place.parse(text)
    except InputError:
        names = ", ".join(repr(s.name) for s in sheets if s.name)
        there = f" Its sheets are {names}." if names else ""
        raise InputError(
            f"{text!r} is no sheet and no cells of this file, and no file that is read here; cells are written as "
            f"B5:F9, as rows 10:12 or as columns C:F.{there}",
            column="place", text=text,
        ) from None  # fmt: skip


def account_or_said(sheets: Sequence[Any], recipe: Recipe, read: Callable[[Recipe], Any]) -> pd.DataFrame:
    """``records.cells`` of the file as it is read with the recipe; where it cannot be, what the recipe says.

    Parameters
    ----------
    sheets : sequence of object
        Sheets of the file as cells.
    recipe : Recipe
        The recipe.
    read : callable
        Reads the file with a recipe.
    """
    try:
        cells: pd.DataFrame = read(recipe).cells
    except InputError:
        cells = pd.concat([cells_said(recipe, s) for s in sheets], ignore_index=True)
    return cells
