"""A second look at the finished table: what a careful colleague would point at before any statistics."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from methods.records.headings import fold
from methods.records.kept import Log
from methods.records.layout import Layout
from methods.records.rows import other_fillings
from methods.records.table import filling_codes, fillings_known, first_rows, group_codes

#: Breakdown voltages of the usual test gaps lie in this range (kV).
USUAL = (1.0, 120.0)
#: What the remarks on records that stand twice, and those on values of an unlikely size, have in common.
TWICE = "in the file before"
FAR = "a lost decimal mark, or another unit?"
_SHOWN = 20
_COUNTS = frozenset(["count", "counts", "freq", "anzahl", "haufigkeit", "effectif", "frecuencia"])


def look_over(table: pd.DataFrame, rows: np.ndarray, plan: Layout, known: dict[str, np.ndarray], log: Log) -> None:
    """Add kept problems: unusual sizes, sorted series, repeated series, incomplete series, ids that look alike.

    Parameters
    ----------
    table : DataFrame
        Rows that were read (n).
    rows : ndarray
        (n,) Rows of the cells in the file.
    plan : Layout
        How the sheet is laid out.
    known : dict of str to ndarray
        Column to codes (n,) of columns that were coded before.
    log : Log
        Takes the problems and guesses.
    """
    kv = table["kv"].to_numpy(dtype=float)
    if plan.voltage and not plan.named:
        _unusual(kv, rows, log)
    codes = filling_codes(table, known=known)
    together = _edges(codes)
    _sorted_series(kv, together, log)
    _duplicates(table, kv, codes, together, rows, known, log)
    if len(plan.values) == 1:
        _counted(table, plan, log)
    if len(plan.values) > 1 and not plan.levels:
        _incomplete(codes, rows, len(plan.values), log)
    if table["sample"].notna().any():
        names = table["sample"].iloc[first_rows(known["sample"])[1:]] if "sample" in known else table["sample"]
        pairs = other_fillings([str(s) for s in names.dropna().unique()[:5000]])
        for text, base in pairs[:_SHOWN]:
            log.problem(
                None,
                "sample",
                text,
                f"may be another filling of {base!r}",
                "kept as a sample of its own; name fillings in a column to join them",
                code="maybe_other_filling",
            )


def _unusual(kv: np.ndarray, rows: np.ndarray, log: Log) -> None:
    out = np.flatnonzero((kv < USUAL[0]) | (kv > USUAL[1]))
    if len(out):
        more = f" (and {len(out) - 1} more)" if len(out) > 1 else ""
        log.problem(
            rows[out[0]],
            "kv",
            f"{kv[out[0]]:g} kV",
            f"outside {USUAL[0]:g} to {USUAL[1]:g} kV: {FAR}",
            f"kept{more}",
            code="unusual",
        )


def _counted(table: pd.DataFrame, plan: Layout, log: Log) -> None:
    """A column of counts beside the voltages: how often each row stands for a breakdown."""
    for i, h in enumerate(plan.headings):
        if i in plan.values or fold(h.text) not in _COUNTS or h.name is not None or h.unit not in (None, "-"):
            continue
        log.problem(None, h.text, "a column of counts", "each row is read as one breakdown; counts are not expanded",
                    "kept; where a row stands for several, write a row for each", code="counts")  # fmt: skip


#: The stable order that brings fillings together (a slice where they stand so), and the start of each in it.
Together = tuple[Any, np.ndarray]


def _edges(codes: np.ndarray) -> Together:
    step = np.diff(codes)
    if not (step < 0).any():
        return slice(None), np.r_[0, np.flatnonzero(step) + 1]
    order = np.argsort(codes, kind="stable")
    return order, np.r_[0, np.flatnonzero(np.diff(codes[order])) + 1]


def _sorted_series(kv: np.ndarray, together: Together, log: Log) -> None:
    """Values in rising (or falling) order within most fillings: the order of the breakdowns was lost."""
    if not len(kv):
        return
    order, starts = together
    size = np.diff(np.r_[starts, len(kv)])
    step = np.diff(kv[order], prepend=kv[order[:1]] if isinstance(order, np.ndarray) else kv[:1])
    step[starts] = 0.0  # from one filling to the next
    up = np.add.reduceat(step > 0, starts, dtype=np.int64)
    down = np.add.reduceat(step < 0, starts, dtype=np.int64)
    for against, along, word in ((down, up, "rising"), (up, down, "falling")):
        long = size >= 4
        straight = long & (against == 0) & (along >= np.maximum(3, size / 2))
        if (long.sum() >= 3 and straight.sum() >= 0.8 * long.sum()) or (
            straight.any() and long.sum() < 3 and size[straight].max() >= 8
        ):
            log.problem(None, "order", f"{int(straight.sum())} of {int(long.sum())} fillings",
                        f"the values stand in {word} order, so the order of the breakdowns is lost",
                        "kept; nothing about trend or first breakdowns can be said", code="order_lost")  # fmt: skip
            return


def _duplicates(
    table: pd.DataFrame, kv: np.ndarray, codes: np.ndarray, together: Together, rows: np.ndarray,
    known: dict[str, np.ndarray], log: Log,
) -> None:  # fmt: skip
    """Records that stand twice: the same order number and value in one filling, or a series that repeats itself."""
    order = table["order"].to_numpy(dtype=float)
    if fillings_known(table) and np.isfinite(order).any():
        keyed = pd.DataFrame({"c": codes, "o": order, "v": kv}) if _crowded(order, together) else None
        twice = (
            np.flatnonzero(keyed.duplicated().to_numpy() & np.isfinite(order))
            if keyed is not None
            else np.empty(0, int)
        )
        if len(twice):
            more = f" (and {len(twice) - 1} more)" if len(twice) > 1 else ""
            log.problem(
                rows[twice[0]],
                "kv",
                f"{kv[twice[0]]:g}",
                f"the same filling, order and value stand {TWICE}",
                f"kept; exported twice?{more}",
                code="twice",
            )
    sample = known.get("sample")
    sample = group_codes(table, ["sample"]) if sample is None else sample
    _repeated_series(sample, kv, together, rows, log)


def _crowded(number: np.ndarray, together: Together) -> bool:
    """Whether any filling holds more rows than it has order numbers; cheap, so that clean files skip the hashing."""
    order, starts = together
    top = np.fmax.reduceat(number[order], starts)  # numbers before missing ones
    return bool((np.diff(np.r_[starts, len(number)]) > top).any())


def _repeated_series(sample: np.ndarray, kv: np.ndarray, together: Together, rows: np.ndarray, log: Log) -> None:
    """Whole series of three or more values that come again, value by value, for the same sample."""
    order, starts = together
    size = np.diff(np.r_[starts, len(kv)])
    values = kv[order]
    again = _again(values, starts, size, sample[order][starts])
    shown = 0
    for g in again:
        row = starts[g] if isinstance(order, slice) else order[starts[g]]
        if shown < _SHOWN:
            log.problem(
                rows[row],
                "kv",
                f"{size[g]} values from {kv[row]:g} on",
                f"the same series stands {TWICE} for this sample",
                "kept; exported twice?",
                code="twice",
            )
        shown += 1
    halves = np.flatnonzero((size >= 6) & (size % 2 == 0) & (size <= 400))
    for g in halves[:100_000] if len(halves) < 50_000 else halves[:0]:
        part = values[starts[g] : starts[g] + size[g]]
        half = size[g] // 2
        if (
            part[0] == part[half]
            and np.array_equal(part[:half], part[half:])
            and len(np.unique(part)) > 2
            and shown < _SHOWN
        ):
            row = starts[g] + half if isinstance(order, slice) else order[starts[g] + half]
            log.problem(
                rows[row],
                "kv",
                f"{half} values from {kv[row]:g} on",
                f"the same series stands {TWICE} in this filling",
                "kept; exported twice?",
                code="twice",
            )
            shown += 1
    if shown > _SHOWN:
        log.problem(
            None, "kv", f"{shown} series", f"series that stand {TWICE}", "kept; the first ones are listed", code="twice"
        )


def _again(values: np.ndarray, starts: np.ndarray, size: np.ndarray, sample: np.ndarray) -> np.ndarray:
    """Series of three or more values that were there before for the same sample, value by value.

    The bits of the values, each times an odd number of its place, are added up: series that have this in common are
    then compared for good.
    """
    longest = int(size.max(initial=0))
    odd = np.random.default_rng(1).integers(2**63, size=longest, dtype=np.uint64) * np.uint64(2) + np.uint64(1)
    bits = np.ascontiguousarray(values).view(np.uint64)
    if (size == longest).all():
        mixed = (bits.reshape(-1, longest) * odd).sum(axis=1, dtype=np.uint64)
    else:
        place = np.arange(len(values)) - np.repeat(starts, size)
        mixed = np.add.reduceat(bits * odd[place], starts, dtype=np.uint64)
    mixed = mixed * np.uint64(0x9E3779B97F4A7C15) + sample.astype(np.uint64)
    mixed[size < 3] = np.arange((size < 3).sum(), dtype=np.uint64)  # short ones are compared with none
    alike = np.flatnonzero(pd.Series(mixed).duplicated(keep=False) & (size >= 3))
    seen: set[tuple[int, bytes]] = set()
    found = []
    for g in alike:
        key = int(sample[g]), values[starts[g] : starts[g] + size[g]].tobytes()
        if key in seen:
            found.append(g)
        seen.add(key)
    return np.array(found, dtype=np.int64)


def _incomplete(codes: np.ndarray, rows: np.ndarray, width: int, log: Log) -> None:
    """Fillings with fewer breakdowns than most of the others."""
    size = np.bincount(codes)
    usual = int(np.bincount(size).argmax()) if len(size) else 0
    short = np.flatnonzero((size < usual) & (size > 0))
    if usual < 3 or not len(short) or len(short) > len(size) / 2:
        return
    for c in short[:_SHOWN]:
        row = rows[np.flatnonzero(codes == c)[0]]
        log.problem(
            row,
            "kv",
            f"{size[c]} breakdowns",
            f"most fillings have {usual}: incomplete",
            "kept; consistency rules are not judged on it",
            code="incomplete",
        )
