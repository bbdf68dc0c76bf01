"""Rows that sum up others: by a label in any of their cells, or without one by arithmetic; never breakdowns.

Without a label a row is taken for a summary where it equals the mean, SD, minimum, maximum, range, coefficient of
variation or median of the rows above it in its block to its own rounding, and this is unlikely to be chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from methods.columns import PLACE, PRESCRIBED, PROCEDURE, without
from methods.records.ceilings import stated_ceiling
from methods.records.cells import BLANK, NO_BREAKDOWN, VALUE, WITHSTOOD, normalise
from methods.records.coded import Body
from methods.records.factors import amount
from methods.records.flat import Flat, Places
from methods.records.folding import fold
from methods.records.headings import summary_label
from methods.records.kept import Log
from methods.records.layout import Layout, is_number
from methods.records.summary_words import summary_kind
from methods.records.voltages import FACTORS

#: Beyond this many rows only labels are looked for.
_MOST_ROWS = 20_000
#: Beyond this many rows no ceiling is tried for withstands that say no voltage; and the ceilings (kV) that are.
_MOST_TRIED = 2_000
_CEILINGS = tuple(range(20, 155, 5))
#: A coincidence rarer than this is none.
_CHANCE = 0.02
#: One of these is among numbers that sum up.
_TELLING = frozenset(["mean", "sd", "cov", "median"])
KINDS = ("mean", "sd", "min", "max", "range", "cov", "median")
_LOOSE = ("sample", "filling", "order", "fluid")
#: A series ends where one of these changes.
_WAYS = PROCEDURE
_NEVER = ("outcome", "method", *PLACE, *without(PRESCRIBED, "gap_mm", "rise_kv_s"))


class _Proof(NamedTuple):
    """How rare a coincidence is none, and what must be among the kinds of several numbers that sum up."""

    chance: float = _CHANCE
    telling: frozenset[str] = _TELLING


@dataclass(frozen=True)
class SummaryRow:
    """One row that sums up: what, the label that says so (empty: by arithmetic), and the rows that it sums up.

    ``ceiling_kv`` is the voltage that was taken for withstands among them that say none.
    """

    kind: str
    label: str
    rows: tuple[int, ...] = ()
    ceiling_kv: float | None = None


def statistics(values: np.ndarray) -> dict[str, list[float]]:
    """What a summary of these voltages could be, in their unit; SD with n - 1 and with n; CoV in percent."""
    held = values[np.isfinite(values)]
    if len(held) < 2:
        return {}
    mean, one, all_ = float(held.mean()), float(held.std(ddof=1)), float(held.std())
    return {
        "mean": [mean], "sd": [one, all_], "min": [float(held.min())], "max": [float(held.max())],
        "range": [float(held.max() - held.min())], "cov": [100 * one / mean, 100 * all_ / mean],
        "median": [float(np.median(held))],
    }  # fmt: skip


def step_of(text: str) -> float:
    """One unit of the last digit of a number as it is written."""
    digits = normalise(text).replace(",", ".").partition(".")[2]
    count = 0
    for c in digits:
        if not c.isdecimal():
            break
        count += 1
    return float(10.0**-count)


def kinds_of(
    values: np.ndarray, claimed: float, text: str, factor: float = 1.0, step: float | None = None
) -> list[str]:
    """The summaries of ``values`` that ``claimed`` equals to its own rounding (or to ``step``).

    Parameters
    ----------
    values : ndarray
        (n,) Values that may be summed up.
    claimed : float
        The figure that may sum them up.
    text : str
        As it is written.
    factor : float, default 1.0
        Of its unit.
    step : float, optional
        Last digit that counts; by default that of the text.
    """
    room = 0.5 * (step or step_of(text)) * factor * 1.04 + 1e-9
    found = statistics(values)
    return [
        k
        for k, several in found.items()
        if any(abs(v - claimed) <= (room if k != "cov" else room / factor) for v in several)
    ]


def summary_rows(
    plan: Layout, body: Body, flat: Flat, units: Sequence[str | None] = ()
) -> dict[int, SummaryRow]:  # fmt: skip
    """The rows of the body that sum up others. ``units`` are those of the value columns.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    flat : Flat
        Its voltage cells.
    units : Sequence[str or None], optional
        Unit of each voltage column.
    """
    labels = _labelled(plan, body)
    out = {r: SummaryRow(kind, text) for r, (kind, text) in labels.items()}
    if len(body) > _MOST_ROWS or plan.named:
        return out
    values = _grid(plan, body, flat, units)
    out.update(_by_arithmetic(plan, body, flat, values, units, set(out)))
    return out


def _by_arithmetic(
    plan: Layout, body: Body, flat: Flat, values: np.ndarray, units: Sequence[str | None], known: set[int]
) -> dict[int, SummaryRow]:  # fmt: skip
    """The summaries without a label; where withstands say no voltage, with the round ceiling that explains most.

    The more ceilings and kinds are tried the likelier is a coincidence: each must be so much rarer, and the mean among
    what is explained, since an odd ceiling makes an SD of any number.
    """

    def found(grid: np.ndarray, tries: int = 1) -> dict[int, SummaryRow]:
        if len(plan.values) == 1:
            proof = _Proof() if tries == 1 else _Proof(_CHANCE / (tries * len(KINDS)), frozenset(["mean"]))
            return _long(plan, body, flat, grid[:, 0], known, proof)
        return _wide(plan, body, flat, grid, known, fewest=2 if tries == 1 else 3)

    best = found(values)
    open_ = np.zeros(values.shape, dtype=bool)
    stood = np.flatnonzero(flat.kind == NO_BREAKDOWN)
    open_[flat.row[stood], flat.column[stood]] = True
    open_ &= np.isnan(values)
    if not open_.any() or len(body) > _MOST_TRIED or not np.isfinite(values).any():
        return best
    per = FACTORS[next((u for u in units if u), "kV")]
    possible = [kv for kv in _CEILINGS if kv / per >= np.nanmax(values)]
    for kv in possible:
        tried = found(np.where(open_, kv / per, values), len(possible))
        if sum(bool(one.rows) for one in tried.values()) > sum(bool(one.rows) for one in best.values()):
            best = {
                r: replace(one, ceiling_kv=float(kv)) if open_[list(one.rows)].any() else one
                for r, one in tried.items()
            }
    return best


def _grid(plan: Layout, body: Body, flat: Flat, units: Sequence[str | None]) -> np.ndarray:
    """The readings as they are written, in the unit of their column; withstands at the ceiling that the sheet names."""
    out = np.full((len(body), len(plan.values)), np.nan)
    held = (flat.kind == VALUE) | (flat.kind == WITHSTOOD)
    per = np.array([FACTORS[u or "kV"] for u in units] or [1.0] * len(plan.values))
    out[flat.row[held], flat.column[held]] = flat.kv[held] / per[flat.column[held]]
    stood = np.flatnonzero(flat.kind == NO_BREAKDOWN)
    if len(stood) and (ceiling := stated_ceiling(plan)) is not None:
        out[flat.row[stood], flat.column[stood]] = ceiling / per[flat.column[stood]]
    return out


def _labelled(plan: Layout, body: Body) -> dict[int, tuple[str, str]]:
    out: dict[int, tuple[str, str]] = {}
    where: dict[int, int] = {}
    numbered = _numbered(plan, body)
    for i, (h, column) in enumerate(zip(plan.headings, body.columns, strict=False)):
        if i in plan.values or column.numbers is not None or h.name in _NEVER or not column.uniques:
            continue
        if "".join(column.uniques).isdecimal():  # many thousand numbered fillings
            continue
        loose = i == 0 or h.name in _LOOSE or not h.text
        counts = numbered is not None and i == numbered[0]
        for code, text in enumerate(column.uniques):
            if text[-1:].isdecimal() and text[:1].isdecimal() or len(text) > 48:
                continue
            kind = (summary_label(text) if loose else None) or summary_kind(text, counts)
            if kind is None or (loose and kind == "limit" and len(text) < 3):
                continue
            for row in np.flatnonzero(column.codes == code).tolist():
                if numbered is not None and not counts and numbered[1][row]:
                    continue  # it has a place in the series: a remark, not a summary
                out.setdefault(row, (kind, text))
                where.setdefault(row, i)
    if out and len(body) <= _MOST_ROWS:
        for row in range(len(body)):  # a letter beside labelled summaries is one itself
            if row in out or not (row - 1 in out or row + 1 in out):
                continue
            for at in {0, where.get(row - 1, 0), where.get(row + 1, 0)} - set(plan.values):
                text = body.columns[at].text(row)
                if at < len(plan.headings) and (kind := summary_kind(text, True)):
                    out[row], where[row] = (kind, text), at
                    break
    return out


def _numbered(plan: Layout, body: Body) -> tuple[int, np.ndarray] | None:
    """The column that counts the breakdowns of a long table, and which of its rows hold a number."""
    if len(plan.values) != 1:
        return None
    at = next((i for i, h in enumerate(plan.headings) if h.name == "order" and i not in plan.values), None)
    if at is None:
        return None
    column = body.columns[at]
    if column.numbers is not None:
        return at, ~np.isnan(column.numbers)
    good = np.array([is_number(t) for t in column.uniques] + [False])
    return at, good[column.codes]


def _chance(values: np.ndarray, step: float, at: float | None = None) -> float:
    """How likely a further reading equals ``at``, or the mean of these, by chance: less the further it lies from them.

    A wide law (Student's t with 2 degrees of freedom) serves for what a further reading may be.
    """
    spread = float(np.nanstd(values, ddof=1)) if np.isfinite(values).sum() > 1 else 0.0
    if not spread > 0:
        return 1.0
    away = 0.0 if at is None else (at - float(np.nanmean(values))) / spread
    return min(1.0, step / (2.5 * spread) * (1 + away**2 / 2) ** -1.5)


def _long(
    plan: Layout, body: Body, flat: Flat, values: np.ndarray, known: set[int], proof: _Proof
) -> dict[int, SummaryRow]:
    steps = np.array([step_of(flat.text(r)) for r in range(len(body))])
    held = steps[np.isfinite(values)]
    fine = float(held.min(initial=1.0))
    out = _to_steps(plan, body, flat, values, known, np.full(len(body), fine), proof)  # a spreadsheet writes 44.0 as 44
    if (held > fine).any():
        for r, one in _to_steps(plan, body, flat, values, known, steps, proof).items():
            if one.rows and not (r in out and out[r].rows):
                out[r] = one
    return out


def _to_steps(
    plan: Layout, body: Body, flat: Flat, values: np.ndarray, known: set[int], steps: np.ndarray, proof: _Proof
) -> dict[int, SummaryRow]:
    """The summaries among rows of a long table, were each written to these steps."""
    numbered = _numbered(plan, body)
    stood = {int(flat.row[i]) for i in np.flatnonzero((flat.kind == WITHSTOOD) | (flat.kind == NO_BREAKDOWN))}
    groups: list[tuple[list[int], dict[int, tuple[str, ...]], bool]] = []
    for rows in _runs(plan, body, values, known):
        if len(rows) < 4 or not np.ptp(values[rows[:-1]]) > 0:
            continue
        ends: dict[int, tuple[str, ...]] = {}
        for k in range(1, min(6, len(rows) - 3) + 1):
            tail = rows[-k:]
            if stood & set(tail) or (numbered is not None and any(numbered[1][r] for r in tail)):
                break
            named = _named_tail(values[rows[:-k]], values[tail], steps[tail], proof.telling)
            if named:
                ends[k] = named
        apart = numbered is not None and any(numbered[1][r] for r in rows) and not numbered[1][rows[-1]]
        groups.append((rows, ends, apart))
    out: dict[int, SummaryRow] = {}
    alike = _alike(groups, values, steps, proof.chance)
    for rows, ends, apart in groups:
        k = alike or max(
            (
                k
                for k in ends
                if apart or _rare(values[rows[:-k]], values[rows[-k:]], float(steps[rows[-k:]].max()), proof.chance)
            ),
            default=0,
        )
        if k and k in ends:
            out.update({r: SummaryRow(kind, "", tuple(rows[:-k])) for r, kind in zip(rows[-k:], ends[k], strict=True)})
        elif "mean" in ends.get(1, ()):
            out[rows[-1]] = SummaryRow("mean", "", ())  # only told: it may be chance
    return out


def _named_tail(held: np.ndarray, tail: np.ndarray, steps: np.ndarray, telling: frozenset[str]) -> tuple[str, ...]:
    """What each number of a tail is of the numbers before it, each something else; empty when one is nothing."""
    if not np.ptp(held) > 0:
        return ()
    out: list[str] = []
    for value, step in zip(tail.tolist(), steps.tolist(), strict=True):
        free = [x for x in kinds_of(held, value, "", step=step) if x not in out]
        if not free:
            return ()
        out.append(free[0])
    return tuple(out) if telling & set(out) else ()


def _alike(
    groups: list[tuple[list[int], dict[int, tuple[str, ...]], bool]],
    values: np.ndarray,
    steps: np.ndarray,
    chance: float,
) -> int:
    """The longest tail of the same kinds with which every series ends, when that is no chance; 0: none."""
    if len(groups) < 2:
        return 0
    for k in range(6, 0, -1):
        kinds = {ends.get(k) for _, ends, _ in groups}
        if len(kinds) == 1 and None not in kinds:
            odds = float(np.prod([_chance(values[rows[:-k]], float(steps[rows[-k:]].max())) for rows, _, _ in groups]))
            if odds < chance:
                return k
    return 0


def _rare(held: np.ndarray, tail: np.ndarray, step: float, chance: float) -> bool:
    """Whether several numbers at the end are hardly by chance what they seem to be."""
    odds = np.prod([_chance(held, step, value) for value in tail.tolist()])
    return len(tail) > 1 and float(odds) < chance / 10


def _runs(plan: Layout, body: Body, values: np.ndarray, known: set[int]) -> list[list[int]]:
    """Rows that stand together: the same labels, no blank line and no summary with a label between them."""
    keys = [i for i, h in enumerate(plan.headings) if h.name in ("sample", "filling") and i not in plan.values]
    keys = keys or [i for i, h in enumerate(plan.headings[:1]) if h.name is None and i not in plan.values]
    out: list[list[int]] = []
    last: tuple[object, ...] | None = None
    ways = [i for i, h in enumerate(plan.headings) if h.name in _WAYS and i not in plan.values]
    numbered = _numbered(plan, body)
    way: tuple[str, ...] = ()
    after = False
    for r in range(len(body)):
        if r in known or not np.isfinite(values[r]):
            after = after or r in known
            continue
        if after and not (numbered is not None and not numbered[1][r]):
            last = None  # what is not counted below a summary is hardly a series of its own
        after = False
        key = tuple(body.columns[i].text(r) for i in keys)
        gap = bool(out) and int(body.rows[r]) - int(body.rows[out[-1][-1]]) > 1 and plan.column_rows is None
        new = tuple(_as_meant(body.columns[i].text(r)) for i in ways)
        other = any(a and b and a != b for a, b in zip(new, way, strict=False))
        again = numbered is not None and bool(out) and body.columns[numbered[0]].text(r).strip(" .") == "1"
        way = tuple(a or b for a, b in zip(new, way or new, strict=True))
        if last is None or key != last or gap or other or again:
            out.append([])
        out[-1].append(r)
        last = key
    return out


@lru_cache(4096)
def _as_meant(text: str) -> str:
    """A text as it is compared: ``2,0`` is ``2 mm``."""
    read = amount(text)
    return fold(text) if read is None else f"{read[0]:g}"


def _wide(
    plan: Layout, body: Body, flat: Flat, values: np.ndarray, known: set[int], fewest: int
) -> dict[int, SummaryRow]:
    width = values.shape[1]
    out: dict[int, SummaryRow] = {}
    begin: list[int] = []
    after = False
    for r in range(len(body)):
        row = values[r]
        if not np.isfinite(row).any() or r in known:
            after = after or (r in known and bool(begin))
            continue
        texts = [flat.text(r * width + c) for c in range(width)]
        bare = _bare(plan, body, r)
        least = fewest if after and bare else 3  # below a summary another one is likelier
        written = _with_zeros(row, texts) if bare else row
        kind = _across(values[begin], written, texts, bare, least) if len(begin) >= 2 else None
        if kind is not None:
            if not bare and len(begin) < 3:  # it has a name of its own: a further oil may lie between two others
                out[r] = SummaryRow(kind, "", ())  # only told
                begin.append(r)
                continue
            out[r] = SummaryRow(kind, "", tuple(begin))
            after = True
            continue
        if after:
            begin, after = [], False
        begin.append(r)
    return out


def _bare(plan: Layout, body: Body, r: int) -> bool:
    """Whether a row has nothing but numbers in its value columns."""
    rest = [i for i in range(len(body.columns)) if i not in plan.values and i not in plan.summaries]
    if body.carried is not None and body.carried[r]:
        return True
    return not any(body.columns[i].text(r).strip() for i in rest if body.columns[i].numbers is None)


def _with_zeros(row: np.ndarray, texts: list[str]) -> np.ndarray:
    """A row with the zeros that are no readings: the SD of equal readings is one."""
    zero = np.array([t.strip(" 0.,") == "" and "0" in t for t in texts])
    return np.where(np.isnan(row) & zero, 0.0, row)


def _across(above: np.ndarray, row: np.ndarray, texts: list[str], bare: bool, fewest: int) -> str | None:
    held = np.flatnonzero(np.isfinite(row))
    if len(held) < fewest:
        return None
    left = set(KINDS)
    for c in held:
        left &= set(kinds_of(above[:, c], float(row[c]), texts[c]))
        if not left:
            return None
    same = not bare and any(np.array_equal(row[held], a[held]) for a in above)
    return None if same else next(k for k in KINDS if k in left)


def refuse_summaries(
    plan: Layout, body: Body, flat: Flat, place: Places, log: Log, readings: frozenset[int] = frozenset(),
    units: Sequence[str | None] = (),
) -> None:  # fmt: skip
    """Take the rows that sum up out of the breakdowns, and compare what they say with our own figure.

    The rows of the file in ``readings`` were said to hold readings: they sum nothing up.

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
    log : Log
        Takes the problems and guesses.
    readings : frozenset[int], default frozenset()
        Rows of the file that were said to hold readings.
    units : Sequence[str or None], optional
        Unit of each voltage column.
    """
    found = {r: one for r, one in summary_rows(plan, body, flat, units).items() if int(body.rows[r]) not in readings}
    _tell_uncounted(plan, body, flat, place, log, set(found), readings)
    if not found:
        return
    width = len(plan.values)
    values = _grid(plan, body, flat, units)
    found_kind = {r: one.kind for r, one in found.items()}
    for r in [r for r, one in found.items() if not one.label and not one.rows]:
        del found[r]
        log.problem(
            place.rows[r * width], str(place.columns[r * width]), flat.text(r * width),
            f"equals the {found_kind[r]} of the rows above it to its own rounding",
            "kept as a breakdown; if it is a summary, leave the row out", code="maybe_summary",
        )  # fmt: skip
    for r, one in found.items():
        where = np.flatnonzero(flat.row == r) if len(body) > _MOST_ROWS else np.arange(r * width, (r + 1) * width)
        shown = f"a summary row ({one.label!r}), not a breakdown" if one.label else (
            f"a summary: it is the {one.kind} of the {len(one.rows)} rows above it to its own rounding, not a breakdown"
            + ("" if one.ceiling_kv is None else f" (withstands without a voltage counted as {one.ceiling_kv:g} kV)")
        )  # fmt: skip
        flat.refuse_all(where[flat.kind[where] != BLANK], shown, "summary")
    if len(body) <= _MOST_ROWS:
        for r, one in found.items():
            if one.label and one.kind in KINDS:
                _compare(plan, body, flat, place, values, r, one, set(found), log)


def _tell_uncounted(
    plan: Layout, body: Body, flat: Flat, place: Places, log: Log, known: set[int], readings: frozenset[int]
) -> None:  # fmt: skip
    """Tell values without a number below breakdowns that are counted: perhaps summaries that equal nothing of ours."""
    numbered = _numbered(plan, body)
    if numbered is None or len(body) > _MOST_ROWS:
        return
    held = np.flatnonzero(np.isin(flat.kind, (VALUE, WITHSTOOD, NO_BREAKDOWN)))
    counted = numbered[1][held]
    bare = [int(r) for r in held[~counted] if r not in known and int(body.rows[r]) not in readings]
    if not bare or counted.sum() < 3 * len(bare):
        return
    log.problem(
        place.rows[bare[0]], str(place.columns[bare[0]]), flat.text(bare[0]),
        "has no number where the breakdowns are counted"
        + (f" (rows {', '.join(str(place.rows[r]) for r in bare)})" if len(bare) > 1 else ""),
        "kept as a breakdown; if it is a summary, leave the row out", code="maybe_summary",
    )  # fmt: skip


def _compare(
    plan: Layout, body: Body, flat: Flat, place: Places, values: np.ndarray, r: int, one: SummaryRow, sums: set[int],
    log: Log,
) -> None:  # fmt: skip
    """Tell a stored summary that is none of what the rows above it give."""
    width = values.shape[1]
    above = [q for q in range(r) if q not in sums]
    last = max((q for q in sums if q < r and any(q < a < r for a in above)), default=-1)
    near = [q for q in above if q > last]
    for c in range(width):
        said = values[r, c]
        if not np.isfinite(said):
            continue
        at = r * width + c
        text = flat.text(at)
        sets = [values[near, c], values[above, c], values[near].ravel(), values[above].ravel()]
        sets = [s for s in sets if np.isfinite(s).sum() >= 2]
        if not sets or any(one.kind in kinds_of(s, said, text) or _near(s, one.kind, said) for s in sets):
            continue
        own = statistics(sets[0])[one.kind][0]
        log.problem(
            place.rows[at], str(place.columns[at]), text,
            f"the {one.kind} of the {np.isfinite(sets[0]).sum()} rows above is {own:.4g}",
            "kept the breakdowns; the stored summary is not used", code="summary_differs",
        )  # fmt: skip


def _near(values: np.ndarray, kind: str, said: float) -> bool:
    """Whether a stored figure is right to two significant digits, or is the fraction where we have percent."""
    for own in statistics(values).get(kind, []):
        room = 0.5 * 10.0 ** (np.floor(np.log10(own)) - 1) if own > 0 else 0.0
        if abs(own - said) <= room * 1.02 or (kind == "cov" and abs(own / 100 - said) <= room / 100 * 1.02):
            return True
    return False
