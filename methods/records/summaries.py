"""Means and spreads that stand beside the breakdowns: kept out by heading or by arithmetic, compared with our own."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from methods.records.cells import VALUE, WITHSTOOD
from methods.records.coded import Body
from methods.records.flat import Flat, Places
from methods.records.headings import Heading
from methods.records.kept import Log
from methods.records.layout import Layout
from methods.records.voltages import FACTORS, parse_column

#: A coincidence rarer than this is none.
_CHANCE = 0.02
#: The same for numbers that stand in one cell with the readings: another reading is likelier there than a mean.
_RARE = 1e-5


def drop_computed(plan: Layout, body: Body, log: Log, cols: Sequence[int] | None = None) -> None:
    """Take out of the breakdowns trailing columns that equal the mean or the SD of those before, row by row.

    ``cols``: the file's column of each; what stands in one cell with readings is rarely their mean.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out; changed in place.
    body : Body
        Its cells below the heading.
    log : Log
        Takes the problems and guesses.
    cols : sequence of int, optional
        Column of the file for each column of the plan.
    """
    while len(plan.values) > 2 and not plan.named and not plan.levels:
        last = plan.values[-1]
        one_cell = cols is not None and plan.column_rows is None and cols[last] == cols[plan.values[-2]]
        chance = _RARE if one_cell else _CHANCE
        if _counts_on(plan):
            return
        rest = np.stack([_plain(body, i) for i in plan.values[:-1]], axis=1)
        what = _computed(rest, _plain(body, last), chance)
        if what is None and len(plan.values) > 3:
            what = _computed(rest[:, :-1], _plain(body, last), chance)
            what = what if what and _computed(rest[:, :-1], rest[:, -1], chance) else None
        if what is None:
            return
        head = plan.headings[last]
        plan.headings[last] = Heading(head.text, None, head.unit, summary=what)
        plan.summaries[last] = what
        plan.values, plan.shots = plan.values[:-1], plan.shots[:-1]
        log.guess(
            "summaries",
            f"{head.text or f'column {last + 1}'} is the {what}",
            "equals it in every row; not read as breakdowns",
            "--value",
        )


def _counts_on(plan: Layout) -> bool:
    """Whether the last heading counts the breakdowns on: ``U6`` after ``U5``."""
    before, last = (plan.headings[i] for i in plan.values[-2:])
    return last.shot is not None and before.shot is not None and last.shot == before.shot + 1 and last.text != ""


def _plain(body: Body, at: int) -> np.ndarray:
    column = parse_column(body.columns[at], "kV", None, frozenset())
    return np.where((column.kind == VALUE) | (column.kind == WITHSTOOD), column.kv, np.nan)


def _computed(rest: np.ndarray, last: np.ndarray, chance: float) -> str | None:
    with np.errstate(all="ignore"):
        count = np.isfinite(rest).sum(axis=1)
        held = (count >= 2) & np.isfinite(last)
        if held.sum() < 2:
            return None
        part, own = rest[held], last[held]
        means = np.nanmean(part, axis=1)
        spreads = np.nanstd(part, axis=1, ddof=1)
    odds = float(np.prod(np.minimum(1.0, 0.1 / (2.5 * np.where(spreads > 0, spreads, np.nan)))))
    if not odds < chance:  # it may be chance
        return None
    if np.all(np.abs(means - own) <= 0.051):
        return "mean"
    if np.all(np.abs(spreads - own) <= 0.051) and not np.allclose(own, means):
        return "sd"
    return None


def compare_summaries(
    plan: Layout, body: Body, flat: Flat, place: Places, mark: str | None, log: Log,
    units: Sequence[str | None], gaps: np.ndarray,
) -> None:  # fmt: skip
    """Recompute each stored mean; one that differs by more than rounding is a problem (kept: ours is used).

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    flat : Flat
        Its voltage cells.
    place : Places
        Where they stand in the file.
    mark : str or None
        Decimal mark; None: each cell by its own evidence.
    log : Log
        Takes the problems and guesses.
    units : Sequence[str or None]
        Unit of each voltage column.
    gaps : ndarray
        (rows of the body,) Gaps, mm.
    """
    if len(plan.values) < 2 or plan.levels:
        return
    held = (flat.kind == VALUE) | (flat.kind == WITHSTOOD)
    count = np.bincount(flat.row[held], minlength=len(body))
    total = np.bincount(flat.row[held], weights=flat.kv[held], minlength=len(body))
    scale = np.array([FACTORS[u or "kV"] for u in units])[flat.column]
    scale = np.where(flat.per_mm, scale * gaps[flat.row], scale)  # kV for one of what is written
    written = np.bincount(flat.row[held], weights=flat.kv[held] / scale[held], minlength=len(body))
    ceilings = np.bincount(flat.row[held & (flat.kind == WITHSTOOD)], minlength=len(body))
    for i, what in plan.summaries.items():
        if what != "mean" or i >= len(body.columns):
            continue
        stored = parse_column(body.columns[i], None, mark, frozenset())
        held_kv = stored.kv[np.isfinite(stored.kv)]
        factor = 1e-3 if len(held_kv) and np.median(held_kv) > 1000 else 1.0
        for r in np.flatnonzero((count > 1) & (stored.kind == VALUE)):
            own, said = total[r] / count[r], stored.kv[r] * factor
            text = body.columns[i].text(int(r))
            row, column = place.body_rows[r], plan.headings[i].text or f"column {i + 1}"
            if plan.column_rows is not None:
                row, column = plan.column_rows[i], body.columns[0].text(int(r))
            if ceilings[r]:
                log.problem(row, column, text, f"a mean over {ceilings[r]} withstood values is too low",
                            "kept the breakdowns; the stored mean is not used", code="mean_over_withstood")  # fmt: skip
            elif abs(own - said) > _room(text, own) and not (
                abs(written[r] / count[r] - stored.kv[r]) <= _room(text, written[r] / count[r])
            ):
                log.problem(row, column, text, f"the mean of the {count[r]} breakdowns is {own:.4g} kV",
                            "kept the breakdowns; the stored mean is not used", code="mean_differs")  # fmt: skip


def _room(text: str, own: float) -> float:
    """How far a stored mean may be off by rounding: half a unit of its last digit, or to two significant digits."""
    digits = text.strip().replace(",", ".").partition(".")[2]
    decimals = sum(c.isdecimal() for c in digits)
    two = 0.5 * 10 ** (np.floor(np.log10(own)) - 1)
    exact = 0.5 * 10.0**-decimals
    return float(max(exact, two if decimals == 0 else 0.0)) * 1.02 + 1e-9
