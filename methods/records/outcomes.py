"""The outcome column: which rows it calls withstood, which it calls void."""

from __future__ import annotations

import re

import numpy as np

from methods.records.cells import BLANK, NO_BREAKDOWN, REFUSED, VALUE, WITHSTOOD, normalise
from methods.records.coded import Body
from methods.records.flat import Flat, Places
from methods.records.headings import Heading, fold, word
from methods.records.kept import Log
from methods.records.layout import Layout

_YES = {"1", "yes", "y", "true", "x", "ja", "oui", "si"}
_VERDICTS = {"pass", "passed", "bestanden", "conforme", "conform", "accept", "accepted", "in spec", "satisfactory"}
_NO = {"0", "no", "n", "false", "nein", "non"}


def apply_outcomes(plan: Layout, body: Body, flat: Flat, place: Places, words: frozenset[str], log: Log) -> None:
    """Bring the outcome column into ``flat``; one whose words mean neither stays as a column of the file's own.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    flat : Flat
        Its voltage cells; changed in place.
    place : Places
        Where they stand in the file.
    words : frozenset[str]
        Words that mean a withstand, beside the known ones.
    log : Log
        Takes the problems and guesses.
    """
    at = next((i for i, h in enumerate(plan.headings) if h.name == "outcome" and i not in plan.values), None)
    if at is None:
        return
    head, cells = plan.headings[at], body.columns[at]
    texts = (
        cells.uniques
        if cells.numbers is None
        else [f"{v:g}" for v in np.unique(cells.numbers[~np.isnan(cells.numbers)])]
    )
    meanings = [_meaning(t, head, words) for t in texts]
    codes = [t for t in texts if re.fullmatch(r"-?\d+(?:[.,]\d+)?", t)]
    other = bool(codes) and not set(codes) <= {"0", "1"}
    if other:
        shown = ", ".join(codes[:5])
        log.problem(None, head.text, shown, "codes other than 0 and 1: not read as the outcome",
                    "kept as breakdowns; if a code stands for withstood, write the word in the file",
                    code="outcome_codes")  # fmt: skip
    verdict = any(fold(t) in _VERDICTS for t in texts)
    if not texts or other or verdict or sum(m is not None for m in meanings) < len(texts) / 2:
        plan.headings[at] = Heading(head.text, None, head.unit)
        if texts:
            log.guess(
                "outcome",
                f"{head.text!r} is not read as outcome",
                f"{texts[0]!r} is a verdict against a limit"
                if verdict
                else f"{texts[0]!r} means neither breakdown nor withstood",
                "--column outcome=HEADING",
            )
        return
    if set(map(fold, texts)) <= _YES | _NO:
        flipped = _says_withstood(head)
        log.guess(
            "outcome",
            f"1 or yes in {head.text!r} means {'withstood' if flipped else 'breakdown'}",
            "the heading",
            "--column outcome=HEADING of another column",
        )
    for code, (text, meaning) in enumerate(zip(texts, meanings, strict=True)):
        hit = cells.codes == code if cells.numbers is None else cells.numbers == float(text)
        where = np.flatnonzero(hit[flat.row])
        _apply(flat, where, text, meaning, place, head, log)


def _says_withstood(head: Heading) -> bool:
    return fold(head.text).startswith(("cens", "withst", "right", "no breakdown", "no bd", "survi", "susp"))


def _meaning(text: str, head: Heading, words: frozenset[str]) -> str | None:
    key = fold(text)
    if key in words or normalise(text).casefold() in words:
        return "withstood"
    if key in _YES | _NO:
        return "withstood" if (key in _YES) == _says_withstood(head) else "breakdown"
    return word("outcome", text)


def _apply(
    flat: Flat, where: np.ndarray, text: str, meaning: str | None, place: Places, head: Heading, log: Log
) -> None:
    kinds = flat.kind[where]
    if meaning == "withstood":
        flat.kind[where[kinds == VALUE]] = WITHSTOOD
        flat.kind[where[kinds == BLANK]] = NO_BREAKDOWN
    elif meaning == "void":
        for at in where[(kinds != BLANK) & (kinds != REFUSED)]:
            flat.kind[at] = REFUSED
            flat.rules[int(at)], flat.codes[int(at)] = f"{head.text} says {text!r}", "void"
    elif meaning == "breakdown":
        for at in where[kinds == WITHSTOOD]:
            log.problem(
                place.rows[at],
                head.text,
                text,
                "the voltage cell says that it was withstood",
                "kept as withstood",
                code="outcome_contradicts",
            )
    else:  # it may mean withstood or void: only a voltage cell that says withstood itself can stand
        for at in where[kinds == VALUE]:
            flat.kind[at] = REFUSED
            flat.rules[int(at)] = f"{head.text} says {text!r}: neither a breakdown nor withstood; correct the word"
            flat.codes[int(at)] = "outcome_unclear"
