"""Tests that other laboratories report: ranks with Hodges and Lehmann's shift, and tests over all levels at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.result import Caution, Shown
from methods.shifts.pairing import CodedRows, layout
from methods.shifts.strata import held_words, like_with_like
from methods.shifts.two_sample import kruskal, levene, means_test, rank_test

#: Fillings that a level of an oil needs to enter.
LEAST = 2


@dataclass(frozen=True)
class RankShift:
    """Mann and Whitney's test of one level against the reference on one oil, with Hodges and Lehmann's shift.

    ``shift_kv`` is the median of all differences of a filling of ``level`` and one of the reference, ``low_kv`` and
    ``high_kv`` its limits at ``reached``, the confidence that they really have: with few fillings it comes in steps.
    ``superiority`` is the share of these differences that are above 0, ties half. One pair at a time, not adjusted.
    """

    sample: str
    level: Any
    shift_kv: float
    low_kv: float
    high_kv: float
    reached: float
    superiority: float
    p_value: float
    fillings: int
    reference_fillings: int


@dataclass(frozen=True)
class OverallTest:
    """One test over all levels at once, on one oil; ``code`` is ``welch``, ``kruskal`` or ``brown_forsythe``."""

    sample: str
    code: str
    name: str
    statistic: float
    df: float
    df2: float
    p_value: float
    levels: int
    fillings: int


@dataclass(frozen=True, repr=False)
class OtherTests(Shown):
    """The result of :func:`other_tests`: ``ranks`` a row an oil and level, ``overall`` a row an oil and test."""

    by: str
    reference: Any
    confidence: float
    ranks: list[RankShift]
    overall: list[OverallTest]
    cautions: list[Caution]


def other_tests(
    data: Any,
    by: str | Sequence[str],
    *,
    reference: Any = None,
    confidence: float = 0.95,
    within: Sequence[str] = (),
) -> OtherTests:
    """Compare the levels on each oil by ranks and by analysis of variance, with filling means as values.

    Parameters
    ----------
    data : Records or DataFrame
        The record table.
    by : column, or several
        The factor.
    reference : level, optional
        The level that the others are compared with; the one with most fillings by default.
    confidence : float
        Of the limits of Hodges and Lehmann's shift.
    within : sequence of str
        Compare only tests in which these are equal.

    Returns
    -------
    OtherTests

    Raises
    ------
    InputError
        No such column or level.
    NotEstimable
        No oil has two fillings under each of two levels, or the levels share nothing that can be compared.

    Notes
    -----
    The answer to *how far* is :func:`methods.shift`; these are for laboratories whose procedures ask for them. A
    filling that holds a withstood ceiling has no mean; an oil with one is left out, and a caution says so. Mann and
    Whitney, Ann. Math. Stat. 18 (1947) 50; Hodges and Lehmann, Ann. Math. Stat. 34 (1963) 598; Welch, Biometrika 38
    (1951) 330; Kruskal and Wallis, JASA 47 (1952) 583; Brown and Forsythe, JASA 69 (1974) 364.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = [("A", e, f, 1, kv) for e, f, kv in [("disk", 1, 40), ("disk", 2, 42), ("disk", 3, 41), ("ball", 4, 50),
    ...         ("ball", 5, 53), ("ball", 6, 55)]]
    >>> table = pd.DataFrame(rows, columns=["sample", "electrode", "filling", "order", "kv"])
    >>> other_tests(table, "electrode", reference="disk").ranks[0].shift_kv
    12.0
    """
    check_confidence(confidence)
    lay = layout(data, by, within)
    base = _reference(lay, reference)
    strata = like_with_like(lay, range(len(lay.levels)))
    if strata.refused:
        raise NotEstimable(f"The levels cannot be compared: {strata.refused}.")
    lay = strata.layout
    cautions = []
    if strata.held:
        cautions.append(Caution("like_with_like", f"Only tests with {held_words(strata.held)} are compared."))
    ranks, overall = [], []
    left: list[str] = []
    for oil, groups in _oils(lay, left):
        if len(groups) > 1:
            overall += _overall(oil, list(groups.values()))
        if base in groups:
            ranks += [
                _rank(oil, lay.levels[i], v, groups[base], confidence) for i, v in groups.items() if i != base
            ]  # fmt: skip
    if left:
        why = "left out, because a withstood ceiling is no value and these tests have no place for it."
        text = f"{', '.join(left)}: {why}"
        cautions.append(Caution("withstood", text))
    if not ranks and not overall:
        raise NotEstimable("These tests need an oil with two fillings or more under each of two levels.")
    cautions.append(
        Caution("not_adjusted", "Each p-value stands for itself: with many oils and levels some are small by chance.")
    )
    return OtherTests(lay.by, lay.levels[base], confidence, ranks, overall, cautions)


def _reference(lay: CodedRows, reference: Any) -> int:
    if reference is None:
        return int(np.argmax([lay.fillings_of(lay.level == i) for i in range(len(lay.levels))]))
    named = [str(v) for v in lay.levels]
    if str(reference) not in named:
        raise InputError(f"There is no level {reference!r} of {lay.by}; there are {', '.join(named)}.", column=lay.by)
    return named.index(str(reference))


def _oils(lay: CodedRows, left: list[str]) -> Iterator[tuple[str, dict[int, np.ndarray]]]:
    """Each oil with the filling means of each level that has enough of them; oils with withstands go to ``left``."""
    for block in np.unique(lay.block):
        mine = lay.block == block
        name = str(lay.blocks[block]) if len(lay.blocks) > block else ""
        groups = {}
        for i in range(len(lay.levels)):
            rows = mine & (lay.level == i)
            fillings = np.unique(lay.filling[rows])
            if len(fillings) >= LEAST:
                groups[i] = np.array([lay.kv[rows & (lay.filling == f)].mean() for f in fillings])
        if len(groups) < 2:
            continue
        if lay.withstood[mine].any():
            left.append(name)
            continue
        yield name, groups


def _rank(oil: str, level: Any, values: np.ndarray, base: np.ndarray, confidence: float) -> RankShift:
    found = rank_test(values, base, confidence=confidence)
    return RankShift(
        oil, level, found.shift, found.low, found.high, found.level, found.superiority, found.p_value, len(values),
        len(base),
    )  # fmt: skip


def _overall(oil: str, groups: list[np.ndarray]) -> list[OverallTest]:
    made = []
    tests = (
        ("welch", "Welch's analysis of variance (means)", lambda: means_test(*groups, equal_sd=False)),
        ("kruskal", "Kruskal-Wallis (ranks)", lambda: kruskal(*groups)),
        ("brown_forsythe", "Brown-Forsythe (scatter)", lambda: levene(*groups)),
    )
    alike = any(np.ptp(g) == 0 for g in groups)  # a level whose fillings are all equal has no variance to weigh it by
    away = [np.abs(g - np.median(g)) for g in groups]
    nothing = {
        "welch": alike, "kruskal": np.ptp(np.concatenate(groups)) == 0,
        "brown_forsythe": all(np.ptp(d) == 0 for d in away),
    }  # fmt: skip
    for code, name, test in tests:
        if nothing[code]:
            continue
        s = test()
        made.append(
            OverallTest(oil, code, name, s.value, s.df, s.df2, s.p_value, len(groups), sum(len(g) for g in groups))
        )  # fmt: skip
    return made
