"""Cells that say several things at once: ``mushroom 2 mm``, ``VDE 2 mm stirred``, ``disk 2.54 mm, no stirring``."""

from __future__ import annotations

import numpy as np

from methods.columns import COLUMNS, PRESCRIBED, PROCEDURE, without
from methods.protocols import recognise
from methods.records.cells import BLANK, parse
from methods.records.coded import Body, Coded
from methods.records.facts import facts_of
from methods.records.folding import fold
from methods.records.headings import Heading, word
from methods.records.kept import Log
from methods.records.layout import Layout, is_number
from methods.records.text import Sheet

#: Columns whose cells may say more than one thing. Headings that are not known are looked at, too.
_OPEN = ("method", *without(PRESCRIBED, "rise_kv_s"), "state", None)
_MOST = 400


def take_apart(plan: Layout, body: Body, sheet: Sheet, log: Log) -> None:
    """Give what cells say besides their own meaning to the columns that it belongs to, in place; told as guesses.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out; changed in place.
    body : Body
        Its cells below the heading; changed in place.
    sheet : Sheet
        The sheet.
    log : Log
        Takes the problems and guesses.
    """
    for i in range(len(plan.headings)):
        h, column = plan.headings[i], body.columns[i]
        if i in plan.values or i in plan.summaries or h.name not in _OPEN or column.numbers is not None:
            continue
        if (
            not column.uniques
            or len(column.uniques) > _MOST
            or not h.text
            and h.name is None
            and len(column.uniques) < 2
        ):
            continue
        said = [_said(t, h, sheet) for t in column.uniques]
        if h.name is None and not all(said):
            continue
        _spread(plan, body, i, said, log)


def _said(text: str, head: Heading, sheet: Sheet) -> dict[str, str]:
    """What a cell says besides its own meaning; nothing when it is understood as it stands."""
    if parse(text).kind == BLANK or is_number(text) and head.name != "gap_mm":
        return {}
    if fold(text) in sheet.legend:
        return sheet.legend[fold(text)]
    if head.name in ("electrode", "stirring") and word(head.name, text):
        return {}
    found = facts_of(text)
    said = {n: t for n, t in found.said.items() if n in PROCEDURE}
    rest = found.rest
    if "electrode" not in said and "electrode" not in found.unsure and said:  # "plate" alone would be too little
        level = next((w for t in (" ".join(rest), *rest) if (w := word("electrode", t))), None)
        if level is not None:
            said["electrode"] = level
            rest = tuple(t for t in rest if word("electrode", t) != level)
    if head.name == "method" and (recognise(text) is not None and not set(said) - {"method"}):
        return {}
    if head.name is None and (
        (len(rest) > 1 and len(said) < 2) or not said
    ):  # a remark in which a gap happens to be named
        return {}
    if head.name == "stirring" and set(said) == {"stirring"}:
        return {}
    if head.name == "gap_mm" and set(said) <= {"gap_mm"}:
        return {}
    return said


def _spread(plan: Layout, body: Body, at: int, said: list[dict[str, str]], log: Log) -> None:
    own = plan.headings[at]
    column = body.columns[at]
    for name in (n for n in COLUMNS if any(n in s for s in said)):
        texts = [s.get(name, "") for s in said]
        new = _coded(column, texts)
        if name == own.name == "method" and texts == list(column.uniques):
            continue  # the cells say the method and nothing else
        if name == own.name:
            kept = [t or old for t, old in zip(texts, column.uniques, strict=True)]
            body.columns[at] = _coded(column, kept)
            plan.headings[at] = Heading(own.text, own.name, own.unit)
        else:
            _put(plan, body, name, new, own, at)
        shown = next((o, t) for o, t in zip(column.uniques, texts, strict=True) if t)
        log.guess(
            name, f"{shown[1]} where {own.text or f'column {at + 1}'} says {shown[0]!r}",
            "the method's name says it" if own.name == "method" else "several things in one cell",
            f"--column {name}=HEADING",
        )  # fmt: skip
    if own.name == "method" and not any("method" in s for s in said) and all(said):
        plan.headings[at] = Heading(own.text, None, own.unit)  # the text stays, as a column of the file's own


def _put(plan: Layout, body: Body, name: str, new: Coded, own: Heading, at: int) -> None:
    """Into the empty cells of the column of that name, or as a column that the file does not have."""
    there = next((i for i, h in enumerate(plan.headings) if h.name == name and i not in plan.values), None)
    if there is None:
        plan.headings.append(Heading(own.text, name))
        body.columns.append(new)
        plan.derived.add(len(plan.headings) - 1)
        return
    old = body.columns[there]
    if old.numbers is not None:
        return
    texts = [*old.uniques, *new.uniques]
    codes = np.where(old.codes >= 0, old.codes, np.where(new.codes >= 0, new.codes + len(old.uniques), -1))
    body.columns[there] = Coded(codes, texts)


def _coded(column: Coded, texts: list[str]) -> Coded:
    order: dict[str, int] = {}
    lookup = np.array([order.setdefault(t, len(order)) if t else -1 for t in texts] + [-1], dtype=np.int32)
    return Coded(lookup[column.codes], list(order))
