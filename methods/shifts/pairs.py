"""All pairs of levels of a factor, simultaneously: Tukey, Games-Howell or Holm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np

from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.result import Caution, Shown
from methods.shifts import cautions as say
from methods.shifts.arms import Arm, arm
from methods.shifts.compare import compare
from methods.shifts.comparisons import adjust_p, games_howell_from_means, tukey_from_means
from methods.shifts.pairing import CodedRows, layout
from methods.shifts.strata import held_words, like_with_like
from methods.wording import list_words

PROCEDURES: tuple[str, ...] = ("games_howell", "tukey", "holm")


@dataclass(frozen=True)
class PairShift:
    """One pair: ``second`` minus ``first``. Limits and p-value hold for all pairs at once.

    With ``holm`` only the p-values do; its limits are at the stated confidence pair by pair.
    """

    first: Any
    second: Any
    difference_kv: float
    low_kv: float
    high_kv: float
    difference_percent: float
    p_value: float
    df: float


@dataclass(frozen=True, repr=False)
class AllPairs(Shown):
    """The result of :func:`all_pairs`. ``samples_used`` are the oils tested under every level (empty: not needed)."""

    by: str
    procedure: str
    confidence: float
    pairs: list[PairShift]
    cautions: list[Caution]
    samples_used: list[str] = field(default_factory=list)


def all_pairs(
    data: Any,
    by: str | Sequence[str],
    *,
    procedure: str = "games_howell",
    confidence: float = 0.95,
    within: Sequence[str] = (),
) -> AllPairs:
    """Compare every pair of levels.

    ``games_howell`` lets every level have its own scatter, ``tukey`` takes one for all, ``holm`` tests each pair
    by itself as :func:`methods.shift` does and adjusts the p-values. The first two need the same oils under all
    levels, and use those that were tested under every one.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    by : str or sequence of str
        Column or columns of the factor.
    procedure : str, default 'games_howell'
        ``games_howell``, ``tukey`` or ``holm``.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    within : sequence of str, optional
        Columns within whose levels the oils are compared.

    Raises
    ------
    InputError
        Unknown procedure or column.
    NotEstimable
        Withstands, or too few fillings, for Tukey and Games-Howell (Holm can); no level pair that can be compared.
    """
    check_confidence(confidence)
    if procedure not in PROCEDURES:
        raise InputError(f"There is no procedure {procedure!r}; use one of {', '.join(PROCEDURES)}.")
    lay = layout(data, by, within)
    if procedure == "holm":
        return _holm(lay, confidence)
    strata = like_with_like(lay, range(len(lay.levels)))
    if strata.refused:
        raise NotEstimable(f"The levels cannot be compared all at once: {strata.refused}.")
    lay = strata.layout
    used, cautions = _common_oils(lay)
    if strata.held:
        cautions = [*cautions, Caution("like_with_like", f"Only tests with {held_words(strata.held)} are compared.")]
    rows = np.isin(lay.block, used) if used else np.ones(len(lay.level), dtype=bool)
    if lay.withstood[rows].any():
        raise NotEstimable(
            f"There are withstands among the compared tests; {procedure.replace('_', '-')} has no censored form. "
            "Use the procedure holm, which enters them as right-censored."
        )
    arms, more = _arms(lay, rows, used)
    means = [a.mean for a in arms]
    if procedure == "tukey":
        table = _tukey(lay, arms, confidence)
    elif min(a.scatter_df for a in arms) > 0:
        table = games_howell_from_means(
            lay.levels, means, [a.pooled_variance for a in arms], [a.scatter_df for a in arms], confidence=confidence
        )
    else:
        raise NotEstimable(
            "Games-Howell needs two fillings of each level on one oil at least; with one filling an oil, use tukey."
        )
    if len(used) > 1:
        text = (
            "The limits of all pairs hold for these oils, whose fillings are taken to scatter alike; where the shift "
            "differs by oil, other oils may lie elsewhere. For oils like these compare with one reference, or use holm."
        )
        more = [*more, Caution("these_oils", text)]
    by_level = dict(zip(lay.levels, means, strict=True))
    pairs = [
        PairShift(
            r["first"], r["second"], r["difference"], r["low"], r["high"],
            100 * (by_level[r["second"]] / by_level[r["first"]] - 1), r["p_value"], r.get("df", float("nan")),
        )
        for r in table.to_dict("records")
    ]  # fmt: skip
    return AllPairs(lay.by, procedure, confidence, pairs, cautions + more, [lay.blocks[b] for b in used])


def _common_oils(lay: CodedRows) -> tuple[list[int], list[Caution]]:
    """Oils tested under every level; none at all is said, and then all tests are compared as of one oil."""
    sets = [set(lay.block[lay.level == i].tolist()) for i in range(len(lay.levels))]
    used = sorted(set.intersection(*sets))
    left = sorted(set.union(*sets) - set(used))
    if not used:
        text = (
            "No sample was tested under every level: the difference between the oils and that of "
            f"{lay.by} cannot be told apart."
        )
        return [], [Caution("no_shared_sample", text)]
    if left:
        names = list_words([lay.blocks[b] for b in left])
        return used, [
            Caution("samples_left_out", f"{names}: not tested under every level, and left out of the comparison.")
        ]
    return used, []


def _arms(lay: CodedRows, rows: np.ndarray, used: list[int]) -> tuple[list[Arm], list[Caution]]:
    oils = max(len(used), 1)
    oil = np.searchsorted(used, lay.block) if used else np.zeros(len(lay.level), dtype=np.int64)
    sides = [rows & (lay.level == i) for i in range(len(lay.levels))]
    by_filling = oils > 1 or min(lay.fillings_of(s) for s in sides) > 1
    unit = lay.filling if by_filling else np.arange(len(lay.level))
    arms = [arm(lay.kv[s], lay.withstood[s], oil[s], unit[s], oils) for s in sides]
    if by_filling:
        return arms, []
    text = (
        "A level has one filling only: breakdowns are counted as if they were fillings. What differs from filling to "
        "filling is not in the limits, so the true uncertainty is larger."
    )
    return arms, [Caution("one_filling", text)]


def _tukey(lay: CodedRows, arms: list[Arm], confidence: float) -> Any:
    """Tukey on the level means; residual scatter within cells, or that of oil + level where cells have one filling."""
    means, oils = [a.mean for a in arms], len(arms[0].means)
    good = [a for a in arms if a.scatter_df > 0]
    df = sum(a.scatter_df for a in good)
    if df > 0 and len(good) == len(arms):
        square = sum(a.scatter_df * a.scatter for a in arms) / df
        number = [1 / float(np.sum(a.weights**2 / a.units)) for a in arms]
        return tukey_from_means(lay.levels, means, number, square, df, confidence=confidence)
    if oils < 2:
        raise NotEstimable("One value of a level and no second oil: there is no scatter to compare with.")
    table = np.vstack([a.means for a in arms])
    rest = table - table.mean(axis=0) - table.mean(axis=1, keepdims=True) + table.mean()
    freedom = (oils - 1) * (len(arms) - 1)
    square = float(np.sum(rest**2)) / freedom
    return tukey_from_means(lay.levels, means, [oils] * len(arms), square, freedom, confidence=confidence)


def _holm(lay: CodedRows, confidence: float) -> AllPairs:
    found = [(i, j, compare(lay, j, i)) for i, j in combinations(range(len(lay.levels)), 2)]
    usable = [(i, j, c) for i, j, c in found if c.difference is not None]
    if not usable:
        raise NotEstimable("; ".join(dict.fromkeys(c.problem for _, _, c in found)))
    adjusted = adjust_p([c.difference.p_value() for _, _, c in usable if c.difference], "holm")
    pairs, cautions = [], []
    for (i, j, c), p in zip(usable, adjusted, strict=True):
        d = c.difference
        assert d is not None
        sure = d.standard_error > 0 and math.isfinite(d.standard_error)
        low, high = d.limits(confidence) if sure else (float("nan"), float("nan"))
        pairs.append(
            PairShift(
                lay.levels[i], lay.levels[j], d.value, low, high, 100 * (d.first / d.second - 1), float(p), d.df()
            )
        )
    for i in range(len(lay.levels)):
        cautions += say.cautions(lay, [c for first, _, c in found if first == i], i, confidence, False)
    unique = {(w.code, w.text): w for w in cautions}
    used = list(dict.fromkeys(n for _, _, c in usable for n in c.oils))
    return AllPairs(lay.by, "holm", confidence, pairs, list(unique.values()), used)
