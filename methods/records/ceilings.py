"""Where the instrument's ceiling was reached: said in the cell, said by the user, or seen as a wall of equal maxima."""

from __future__ import annotations

import numpy as np

from methods.columns import ONE_CEILING
from methods.records.cells import NO_BREAKDOWN, VALUE, WITHSTOOD
from methods.records.coded import Body
from methods.records.factors import amount
from methods.records.flat import Flat, Places
from methods.records.headings import is_time
from methods.records.kept import Log
from methods.records.layout import Layout

#: How often the largest value must occur before it is taken for a ceiling.
LEAST = 3


def wall(kv: np.ndarray) -> tuple[float, int] | None:
    """A round largest value that occurs at least three times, and more often than twice any other value.

    A rule of thumb of ours, shown as a guess and overrulable: breakdowns scatter, so that equal maxima on a
    multiple of 5 kV are far likelier to be the end of the instrument's range.
    """
    kv = kv[np.isfinite(kv)]
    if len(kv) < LEAST:
        return None
    top = float(kv.max())
    count = int((kv == top).sum())
    if count < LEAST or not 20 <= top <= 150 or top % 5 != 0:
        return None
    if count == len(kv):
        return (top, count) if top % 10 == 0 else None
    others = np.unique(kv[kv < top], return_counts=True)[1]
    return (
        (top, count)
        if count > 2 * int(others.max(initial=0)) or (count >= len(kv) / 3 and count > int(others.max(initial=0)))
        else None
    )


def mark_ceilings(plan: Layout, body: Body, flat: Flat, place: Places, given: float | bool | None, log: Log) -> None:
    """Turn values at a ceiling into withstands, and give ``NB`` cells their ceiling, in place.

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
    given : float or bool or None
        Ceiling of the test set, kV; False: there is none; None: told by the file.
    log : Log
        Takes the problems and guesses.
    """
    ceiling = None
    lookalike = time_lookalike(plan, body, flat)
    if lookalike is not None:
        log.problem(None, lookalike, "times beside a few voltages that repeat",
                    "this looks like time to breakdown at constant voltage, which is another quantity",
                    "kept, but the voltages were then set and not measured", code="times")  # fmt: skip
    if given is not None and given is not False:
        ceiling = float(given)
        _at(flat, np.ones(len(flat.kv), bool), ceiling)
        above = np.flatnonzero((flat.kind == VALUE) & (flat.kv > ceiling * (1 + 1e-9)))
        if len(above):
            log.problem(place.rows[above[0]], str(place.columns[above[0]]), flat.text(above[0]),
                        f"above the given ceiling of {ceiling:g} kV",
                        f"kept as breakdowns ({len(above)} values)", code="above_ceiling")  # fmt: skip
    elif given is None:
        ceiling = _stated(plan, flat, log)
        if lookalike is None:
            found = _walls(plan, body, flat, log)
            ceiling = ceiling if ceiling is not None else found
    unknown = np.flatnonzero(flat.kind == NO_BREAKDOWN)
    if not len(unknown):
        return
    if ceiling is None:
        said = np.unique(flat.kv[flat.kind == WITHSTOOD])
        if len(said) == 1:
            ceiling = float(said[0])
            log.guess(
                "ceiling",
                f"{ceiling:g} kV where the cell only says {_said(flat, unknown[0])!r}",
                "the only ceiling that the file names",
                "--ceiling",
            )
    elif given is None:
        log.guess(
            "ceiling",
            f"{ceiling:g} kV where the cell only says {_said(flat, unknown[0])!r}",
            "see the other guess on the ceiling",
            "--ceiling",
        )
    if ceiling is None:
        flat.refuse(unknown, "withstood, but up to which voltage? Say it with --ceiling", "ceiling_wanted")
        return
    flat.kv[unknown] = ceiling
    flat.kind[unknown] = WITHSTOOD


def _at(flat: Flat, where: np.ndarray, ceiling: float) -> int:
    hit = where & (flat.kind == VALUE) & np.isclose(flat.kv, ceiling, rtol=1e-9, atol=1e-9)
    flat.kind[hit] = WITHSTOOD
    return int(hit.sum())


def stated_ceiling(plan: Layout) -> float | None:
    """A ceiling (kV) written in the lines above the heading."""
    read = amount(plan.meta["ceiling"]) if "ceiling" in plan.meta else None
    if read is None or not read[0] > 0:
        return None
    return read[0] / 1000 if read[0] > 1000 else read[0]


def _stated(plan: Layout, flat: Flat, log: Log) -> float | None:
    ceiling = stated_ceiling(plan)
    if ceiling is None:
        return None
    count = _at(flat, np.ones(len(flat.kv), bool), ceiling)
    log.guess(
        "ceiling", f"{ceiling:g} kV: {count} values at it are withstood", "a line above the heading", "--no-ceiling"
    )
    return ceiling


def _walls(plan: Layout, body: Body, flat: Flat, log: Log) -> float | None:
    """Walls of equal maxima, in the whole file and within each instrument, laboratory, method and gap."""
    everything = np.ones(len(flat.kv), bool)
    groups: list[tuple[str, np.ndarray]] = [("", everything)]
    for i, h in enumerate(plan.headings):
        column = body.columns[i]
        if h.name in ONE_CEILING and i not in plan.values and 1 < len(column.uniques) <= 40:
            groups += [(f" where {h.text} is {t!r}", column.codes[flat.row] == c) for c, t in enumerate(column.uniques)]
    found = []
    for label, where in groups:
        held = flat.kv[where & (flat.kind == VALUE)]
        if label and len(held) < 6:
            continue
        hit = wall(held)
        if hit is not None:
            _at(flat, where, hit[0])
            found.append(hit[0])
            log.guess(
                "ceiling",
                f"{hit[0]:g} kV{label}: {hit[1]} values are withstood",
                f"{hit[1]} equal largest values of {len(held)}",
                "--no-ceiling or --ceiling KV",
            )
    return found[0] if len(set(found)) == 1 else None


def time_lookalike(plan: Layout, body: Body, flat: Flat) -> str | None:
    """The heading of a column of times beside few different voltages: times to breakdown at constant voltage.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    flat : Flat
        Its voltage cells.
    """
    times = [i for i, h in enumerate(plan.headings) if i not in plan.values and is_time(h) and not h.summary]
    held = flat.kv[flat.kind == VALUE]
    if not times or len(held) < 8:
        return None
    voltages = len(np.unique(held))
    if voltages > len(held) / 3:
        return None
    for i in times:
        column = body.columns[i]
        different = len(np.unique(column.numbers)) if column.numbers is not None else len(column.uniques)
        if different > 2 * voltages:
            return plan.headings[i].text
    return None


def _said(flat: Flat, at: int) -> str:
    """The cell, or the word of the outcome column where the cell is empty."""
    return flat.text(int(at)) or "withstood"
