"""Breakdowns that stand apart within their filling, over a whole record table: flagged, never left out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import LABELS
from methods.errors import InputError
from methods.records.table import as_table, filling_codes, withstood
from methods.scatter.outliers import dixon_critical, flag_outliers, grubbs_critical


@dataclass(frozen=True)
class FlaggedFillings:
    """What the tests flag, filling by filling.

    ``flags`` has a row a flagged breakdown and test: what names the filling, ``order, kv, side, test, statistic,
    critical, p_value``. ``tested`` fillings were looked at; ``flagged`` of them hold a flagged breakdown;
    ``by_chance`` is how many that would be, at most, if all breakdowns were normal. ``skipped`` fillings hold a
    withstood ceiling, fewer than three breakdowns, or equal values only.
    """

    flags: pd.DataFrame
    tested: int
    flagged: int
    skipped: int
    by_chance: float
    confidence: float


@lru_cache(maxsize=128)
def _limits(n: int, confidence: float) -> tuple[float, float]:
    """Critical values of Grubbs' and Dixon's statistics; Dixon's is infinite where there is none."""
    return grubbs_critical(n, confidence), dixon_critical(n, confidence) if n <= 30 else np.inf


def flag_fillings(data: Any, *, confidence: float = 0.95) -> FlaggedFillings:
    """Apply Grubbs' and Dixon's two-sided tests to each filling by itself.

    Each test at each filling has this ``confidence``; either may flag, so by chance at most twice the rest of sound
    fillings are flagged (Bonferroni). A low breakdown is as a rule the oil speaking, not a mistake.

    Raises
    ------
    InputError
        ``confidence`` not between 0 and 1.
    """
    alpha = 1 - confidence
    if not 0 < alpha < 1:
        raise InputError("The level of a test lies between 0 and 1.")
    table = as_table(data)
    code = filling_codes(table)
    kv = table["kv"].to_numpy(dtype=float)
    bad = np.bincount(code, withstood(table)) > 0
    size = np.bincount(code)
    rank = np.lexsort((kv, code))
    start = np.concatenate([[0], np.cumsum(size)[:-1]])
    low, high = kv[rank][start], kv[rank][start + size - 1]
    fit = ~bad & (size >= 3) & (high > low)
    suspects = _suspects(kv[rank], start, size, fit, confidence)
    rows = []
    for filling in suspects:
        at = rank[start[filling] : start[filling] + size[filling]]
        at = np.sort(at)
        found = flag_outliers(kv[at], confidence=confidence)
        for hit in found[found["flagged"]].to_dict("records"):
            row = table.iloc[at[int(hit.pop("position"))]]
            hit.pop("flagged")
            names_of_row: dict[Any, Any] = {c: row[c] for c in (*LABELS, "order")}
            rows.append({**names_of_row, **hit})
    names = [*LABELS, "order", "test", "side", "kv", "statistic", "critical", "p_value"]
    flags = pd.DataFrame(rows, columns=names)
    flags = flags.drop(columns=[c for c in (*LABELS, "order") if flags[c].isna().all()])
    tested = int(fit.sum())
    return FlaggedFillings(flags, tested, len(suspects), len(size) - tested, min(2 * alpha, 1.0) * tested, confidence)


def _suspects(y: np.ndarray, start: np.ndarray, size: np.ndarray, fit: np.ndarray, confidence: float) -> np.ndarray:
    """Numbers of the fillings that either test flags; ``y`` is sorted within each filling."""
    mean = np.add.reduceat(y, start) / size
    centred = np.add.reduceat((y - np.repeat(mean, size)) ** 2, start)
    with np.errstate(all="ignore"):
        sd = np.sqrt(centred / (size - 1))
        last = start + size - 1
        grubbs = np.maximum(mean - y[start], y[last] - mean) / sd
        second, before = y[np.minimum(start + 1, len(y) - 1)], y[np.maximum(last - 1, 0)]
        dixon = np.maximum(second - y[start], y[last] - before) / (y[last] - y[start])
    limits: dict[int, tuple[float, float]] = {int(n): _limits(int(n), confidence) for n in np.unique(size[fit])}
    g = np.array([limits.get(int(n), (np.inf, np.inf))[0] for n in size])
    q = np.array([limits.get(int(n), (np.inf, np.inf))[1] for n in size])
    return np.flatnonzero(fit & ((grubbs > g) | (dixon > q)))
