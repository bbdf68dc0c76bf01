"""Rows that are not one record each: headings again, totals, labels given once, a series on two rows."""

from __future__ import annotations

import re

import numpy as np

from methods.columns import CONDITION
from methods.records.cells import BLANK
from methods.records.coded import Body, Coded
from methods.records.flat import Flat
from methods.records.headings import fold
from methods.records.kept import Log
from methods.records.layout import Layout, is_number

_CONTINUED = re.compile(
    r"(.+?)[\s_/,;:-]*[\(\[]?\s*(?:cont(?:inued|'d|d)?\.?|repeat|rpt|second five|2nd five|five more|"
    r"next five|extra five|\+\s*5|6\s*-\s*10|block 2|bis)\s*[\)\]]?",
    re.IGNORECASE,
)
#: What describes a whole series: on a row that continues one, an empty cell means the same as above.
_COME_ALONG = frozenset({*CONDITION, "edition", "state", "tested_on"} - {"filling", "sample"})
_SAME_OTHER_FILLING = re.compile(r"(.+?)\s*(?:'+|[-_ ]\s?2|\s*\(2\))")


def refuse_rows(plan: Layout, body: Body, flat: Flat) -> None:
    """Refuse the voltage cells of repeated heading rows and of rows that are too long.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    flat : Flat
        Its voltage cells; changed in place.
    """
    repeated = _heading_again(plan, body)
    if repeated.any():
        flat.refuse_all(np.flatnonzero(repeated[flat.row]), "the heading again", "heading_again")
    if body.overlong is not None and body.overlong.any():
        where = np.flatnonzero(body.overlong[flat.row])
        flat.refuse_all(
            where,
            "more cells in the row than headings: an unquoted decimal comma would cut a number in two",
            "too_many_cells",
        )


def _heading_again(plan: Layout, body: Body) -> np.ndarray:
    hits = np.zeros(len(body), np.int16)
    worded = [
        (h, column)
        for h, column in zip(plan.headings, body.columns, strict=False)
        if h.text and column.numbers is None and column.uniques
    ]
    worded.sort(key=lambda pair: len(pair[1].uniques))
    named = len(worded)
    for at, (h, column) in enumerate(worded):
        if at and int(hits.max(initial=0)) + named - at < max(1, 0.6 * named):
            break  # too few columns left for any row
        key, first = fold(h.text), h.text[:1].casefold()
        code = next(
            (
                c
                for c, t in enumerate(column.uniques)
                if t[:1].casefold() == first and len(t) < 80 and (t == h.text or fold(t) == key)
            ),
            None,
        )
        if code is not None:
            hits += column.codes == code
    return hits >= max(1, 0.6 * named) if named else np.zeros(len(body), bool)


def fill_down(plan: Layout, body: Body, log: Log) -> None:
    """A sample or filling named only on the first row of its series is carried down; shown as a guess.

    What else stands on that row and is empty below it (method, electrode, gap, day ...) comes along.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading; changed in place.
    log : Log
        Takes the problems and guesses.
    """
    filled = any(h.name == "filling" for i, h in enumerate(plan.headings) if i not in plan.values)
    long = plan.kind == "long" and len(plan.values) == 1
    if not long and not (plan.kind == "wide" and filled):
        return
    for i, h in enumerate(plan.headings):
        column = body.columns[i]
        wanted = ("sample", "filling") if long else ("sample",)
        if h.name not in wanted or column.numbers is not None or not len(column.codes):
            continue
        blank = (column.codes < 0) & _held(body, plan)
        if column.codes[0] < 0 or not blank.any():
            continue
        at = np.maximum.accumulate(np.where(column.codes >= 0, np.arange(len(column.codes)), 0))
        body.fill(i, Coded(np.where(blank, column.codes[at], column.codes), column.uniques), blank)
        body.carried = blank if body.carried is None else body.carried | blank
        if h.name == "sample":
            _bring_along(plan, body, np.where(blank, at, np.arange(len(at))), log)
        log.guess(
            str(h.name),
            "an empty cell repeats the one above",
            f"{int(blank.sum())} empty cells under {h.text!r}",
            "fill the cells in the file",
        )


def _bring_along(plan: Layout, body: Body, source: np.ndarray, log: Log) -> None:
    """Fill the empty descriptive cells of rows that continue another row (``source``) from that row."""
    follows = source != np.arange(len(source))
    for i, h in enumerate(plan.headings):
        if i in plan.values or h.name is None or h.name not in _COME_ALONG:
            continue
        column = body.columns[i]
        if column.numbers is not None:
            empty = follows & np.isnan(column.numbers) & ~np.isnan(column.numbers[source])
            if empty.any():
                filled = np.where(empty, column.numbers[source], column.numbers)
                body.fill(i, Coded(column.codes, [], filled), empty)
        else:
            empty = follows & (column.codes < 0) & (column.codes[source] >= 0)
            if empty.any():
                filled = np.where(empty, column.codes[source], column.codes)
                body.fill(i, Coded(filled, column.uniques), empty)
        if empty.any():
            log.guess(
                h.name,
                "an empty cell is that of the row which the series began on",
                f"{int(empty.sum())} empty cells under {h.text!r}",
                "fill the cells in the file",
            )


def _held(body: Body, plan: Layout) -> np.ndarray:
    column = body.columns[plan.values[0]]
    return column.codes >= 0 if column.numbers is None else ~np.isnan(column.numbers)


def blocks_of(plan: Layout, body: Body, flat: Flat, shape: str | None, log: Log) -> np.ndarray:
    """For each row of the body the row that its series began on: itself, unless it continues the one above.

    A row continues when its sample cell is empty, or repeats the id with a word such as ``cont.``, or (five
    breakdowns, only some ids repeated) repeats the id of the row above. Renames the continued ids.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading; continued ids are renamed in place.
    flat : Flat
        Its voltage cells.
    shape : str or None
        The layout that the caller said; None: told by the cells.
    log : Log
        Takes the problems and guesses.
    """
    own = np.arange(len(body))
    at = next((i for i, h in enumerate(plan.headings) if h.name == "sample" and i not in plan.values), None)
    if plan.kind not in ("wide", "two-block") or at is None or body.columns[at].numbers is not None:
        return own
    filling = any(h.name == "filling" for i, h in enumerate(plan.headings) if i not in plan.values)
    column = body.columns[at]
    size = np.bincount(flat.row[flat.kind != BLANK], minlength=len(body))
    texts = [column.text(r) for r in range(len(body))]
    every = set(texts)
    bases = [_base(t, every) for t in texts]
    twice = _pairs(texts, size, len(plan.values)) if shape in (None, "two-block") and not filling else set()
    blank = suffixed = same = 0
    codes, empty, source = column.codes.copy(), column.codes < 0, own.copy()
    for r in range(1, len(body)):
        if not size[r] or shape == "wide":
            continue
        if not texts[r] and texts[own[r - 1]] and not filling:
            if _named_apart(plan, body, own[r - 1], r):  # another series of the same sample
                source[r], codes[r], texts[r] = source[own[r - 1]], codes[own[r - 1]], texts[own[r - 1]]
                continue
            own[r], blank = own[r - 1], blank + 1
        elif bases[r] is not None and bases[r] == texts[own[r - 1]]:
            own[r], suffixed = own[r - 1], suffixed + 1
        elif (
            texts[r]
            and texts[r] == texts[r - 1]
            and (texts[r] in twice or shape == "two-block")
            and own[r - 1] == r - 1
        ):
            own[r], same = own[r - 1], same + 1
        if own[r] != r:
            codes[r] = codes[own[r]]
    if (source != np.arange(len(own))).any():
        body.fill(at, Coded(codes, column.uniques), empty & (codes >= 0))
        _bring_along(plan, body, source, log)
        why = "another column calls its row something else than the row above"
        log.guess("sample", "an empty cell repeats the one above", why, "fill the cells in the file")
    if (own != np.arange(len(own))).any():
        body.fill(at, Coded(codes, column.uniques), empty & (codes >= 0))
        plan.kind = "two-block"
        _bring_along(plan, body, own, log)
        joined = [
            f"{n} {w}"
            for n, w in (
                (blank, "rows without id"),
                (suffixed, "ids with a word such as cont."),
                (same, "ids that stand on two rows of five"),
            )
            if n
        ]
        log.guess("shape", "two-block: a second row continues the filling above", ", ".join(joined), "--layout wide")
    return own


def _named_apart(plan: Layout, body: Body, one: int, other: int) -> bool:
    """Whether a column of the file's own names two rows differently (``A`` and ``B``): another series, not the same."""
    for i, h in enumerate(plan.headings):
        if h.name not in (None, "order") or i in plan.values or i in plan.summaries or i >= body.width:
            continue
        a, b = (body.columns[i].text(r).strip() for r in (one, other))
        if h.name == "order" and (is_number(a) or is_number(b)):
            continue  # 1 and 6: the breakdowns may be counted on
        if a and b and a != b and body.columns[i].numbers is None and max(len(a), len(b)) <= 12:
            return True
    return False


def _base(text: str, all_texts: set[str]) -> str | None:
    found = _CONTINUED.fullmatch(text)
    return found[1].strip() if found and found[1].strip() in all_texts else None


def _pairs(texts: list[str], size: np.ndarray, width: int) -> set[str]:
    """Ids on exactly two neighbouring rows of five, in a file where other ids stand on one row."""
    if width != 5:
        return set()
    where: dict[str, list[int]] = {}
    for r, t in enumerate(texts):
        if t and size[r]:
            where.setdefault(t, []).append(r)
    counts = {len(v) for v in where.values()}
    if not counts <= {1, 2} or counts == {2}:
        return set()
    return {t for t, v in where.items() if len(v) == 2 and v[1] == v[0] + 1}


def other_fillings(samples: list[str]) -> list[tuple[str, str]]:
    """Ids such as ``A'`` or ``A-2`` beside an ``A``: perhaps another filling of the same sample."""
    known = set(samples)
    out = []
    for text in samples:
        found = _SAME_OTHER_FILLING.fullmatch(text)
        if found and found[1] in known:
            out.append((text, found[1]))
    return out
