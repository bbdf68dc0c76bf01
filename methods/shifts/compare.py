"""One level against the reference: which unit of replication, which test."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from methods.errors import NotEstimable
from methods.shifts.arms import Arm, arm
from methods.shifts.borrowed import FillingScatter, borrow, donors
from methods.shifts.difference import Difference, between_arms, between_oils, over_oils
from methods.shifts.pairing import CodedRows, Pair, pair_up
from methods.shifts.spread import NO_RATIO, SpreadRatio, censored_sd_ratio, pooled_scatter, sd_ratio
from methods.shifts.strata import Strata, like_with_like
from methods.shifts.widening import NONE

METHODS = {
    "filling": "Welch's t on filling means",
    "filling_by_sample": "shift sample by sample, equal weights; scatter of filling means of each sample and level",
    "sample": "paired t over samples",
    "block": "paired t over the tests that are alike in what is held equal",
    "own_samples": "Welch's t on the means of the samples",
    "breakdown": "Welch's t on single breakdowns",
    "borrowed": "difference of means; the scatter between fillings of a level with one is borrowed",
    "none": "difference of the two means; one filling shows no scatter between fillings",
}

#: From so many oils on, a comparison speaks of oils like these.
ENOUGH_OILS = 3

LIKE_THESE = "oils like these"
THESE = "these oils"


@dataclass(frozen=True)
class Comparison:
    """What was compared and found, before it is put in kV and percent.

    ``unit`` is the unit of replication: ``filling``, ``sample``, ``own_sample`` (each level has oils of its own),
    ``breakdown``, or ``none`` where one filling leaves no scatter to judge by. ``difference`` is None
    where nothing can be said, and ``problem`` says why; ``holds_for`` says of which oils its limits speak, and
    ``these`` is the difference on exactly these oils where that is another one. ``lent`` are the cells whose scatter
    was borrowed. ``only_withstands`` are oils dropped because one of the two levels has no breakdown there.
    """

    lay: CodedRows
    level: int
    reference: int
    pair: Pair
    log: bool
    unit: str
    method: str
    first: Arm | None
    second: Arm | None
    difference: Difference | None
    problem: str = ""
    only_withstands: tuple[int, ...] = ()
    holds_for: str = THESE
    these: Difference | None = None
    lent: FillingScatter | None = None
    strata: Strata | None = None

    @property
    def held(self) -> tuple[str, ...]:
        """The factors that were held equal because the compared levels pool them."""
        return self.strata.held if self.strata is not None else ()

    @property
    def oils(self) -> list[str]:
        """The oils that are compared; empty where the comparison is not within oils."""
        codes = self.lay.oil[self.pair.rows] if self.pair.shared else []
        return [self.lay.oils[i] for i in pd.unique(np.asarray(codes, dtype=np.int64))]

    @property
    def oils_left_out(self) -> list[str]:
        """The oils that were tested under one of the two only."""
        rows = np.isin(self.lay.block, self.pair.left_out)
        used = set(self.oils)
        return [n for n in (self.lay.oils[i] for i in pd.unique(self.lay.oil[rows])) if n not in used]

    @property
    def oil_of_block(self) -> np.ndarray:
        """The oil of each compared block, coded; shape (blocks,)."""
        if not len(self.lay.oil):
            return np.array(self.pair.blocks)
        used = self.pair.rows | self.pair.reference_rows
        first = np.unique(self.lay.block[used], return_index=True)[1]
        return self.lay.oil[used][first]

    @property
    def oil_count(self) -> int:
        """How many oils are compared; 1 where the comparison is not within oils."""
        return len(np.unique(self.oil_of_block)) if self.pair.blocks else 1

    @property
    def censored(self) -> bool:
        return bool(self.lay.withstood[self.pair.rows | self.pair.reference_rows].any())

    def spread(self, confidence: float) -> SpreadRatio:
        """Ratio of the SDs: within fillings; about the oil's mean where every filling has one breakdown."""
        lay, values = self.lay, np.log(self.lay.kv) if self.log else self.lay.kv
        mine, theirs = self.pair.rows, self.pair.reference_rows
        inside = [pooled_scatter(values[rows], lay.filling[rows]) for rows in (mine, theirs)]
        what = "single breakdowns within a filling"
        oil = lay.block if self.pair.shared else np.zeros(len(lay.level), dtype=np.int64)
        if self.censored:
            if self.first is None or self.second is None:
                return NO_RATIO
            about = [pooled_scatter(values[rows], oil[rows]).sd for rows in (mine, theirs)]
            return censored_sd_ratio(self.first, self.second, about[0], about[1], confidence)
        if min(s.df for s in inside) < 1:
            inside = [pooled_scatter(values[rows], oil[rows]) for rows in (mine, theirs)]
            what = "single breakdowns about the sample's mean"
        return sd_ratio(inside[0], inside[1], confidence, what)


def compare(
    lay: CodedRows,
    level: int,
    reference: int,
    *,
    log: bool = False,
    history: FillingScatter | None = None,
    taken_out: Sequence[str] = (),
) -> Comparison:
    """Compare a level with the reference on the oils that both have, like with like.

    What the two levels pool (procedures, laboratories) is held equal; see
    :func:`methods.shifts.strata.like_with_like`. ``taken_out`` are factors that a model takes out instead.

    The design says which limits are given, never a test on the data:

    * three oils or more under both levels: the oils are the unit, and the limits hold for oils like these; where each
      oil has two fillings under both levels, a second difference holds for exactly these oils (unless it would be the
      wider one at equal scatter);
    * one or two oils, each with two fillings under both levels: filling means, for exactly these oils;
    * two oils, one of them with one filling under a level: the oils are the unit, for these oils;
    * one oil with one filling under a level: its scatter between fillings is borrowed from the other cells of the
      file and from ``history``; with nothing to borrow there are no limits;
    * a file that tells no fillings apart, one oil: the rows are the unit;
    * oils of their own under each level, three or more: the means of the oils are the unit, for oils like these.

    Parameters
    ----------
    lay : CodedRows
        The rows, coded.
    level : int
        Index of the level.
    reference : int
        Index of the reference level.
    log : bool, default False
        Whether ln kV is analysed.
    history : FillingScatter, optional
        Scatter from earlier records, to be borrowed.
    taken_out : sequence of str, optional
        Factors that a model takes out instead.
    """
    strata = like_with_like(lay, (level, reference), taken_out)
    lay = strata.layout
    pair, dropped = _without_pure_withstands(lay, pair_up(lay, level, reference))
    empty = Comparison(
        lay, level, reference, pair, log, "filling", "", None, None, None, only_withstands=dropped, strata=strata
    )
    if strata.refused:
        return replace(empty, problem=strata.refused)
    if dropped and not pair.blocks:
        return replace(
            empty, problem="one level has nothing but withstands on every sample that both levels share: "
            "its mean lies above the ceiling, how far is not known",
        )  # fmt: skip
    try:
        own = _own_oils(empty)
        if own is not None:
            return own
        oil = empty.oil_of_block if pair.shared else np.zeros(1, dtype=np.int64)
        weights = block_weights(_fillings(lay, pair.rows, pair), _fillings(lay, pair.reference_rows, pair), oil)
        first, second = (_side(lay, rows, pair, weights, log) for rows in (pair.rows, pair.reference_rows))
        return _by_design(replace(empty, first=first, second=second), oil, history)
    except NotEstimable as error:
        return replace(empty, problem=str(error))


def _by_design(c: Comparison, oil: np.ndarray, history: FillingScatter | None) -> Comparison:
    first, second = c.first, c.second
    assert first is not None and second is not None
    replicated = first.replicated and second.replicated
    blocks, oils = len(oil), len(np.unique(oil))
    these = between_arms(first, second) if replicated else None
    if oils >= ENOUGH_OILS:
        if these is not None and not _narrower(first, second, oils):
            these = None
        return replace(
            c, unit="sample", method=METHODS["sample"], difference=between_oils(first, second, oil),
            holds_for=LIKE_THESE, these=these,
        )  # fmt: skip
    if these is not None:
        method = METHODS["filling_by_sample" if blocks > 1 else "filling"]
        return replace(c, unit="filling", method=method, difference=these)
    if blocks > 1:
        method = METHODS["sample" if oils == blocks else "block"]
        return replace(c, unit="sample", method=method, difference=between_oils(first, second))
    return _one_filling(c, history)


def _narrower(first: Arm, second: Arm, oils: int) -> bool:
    """Whether filling means promise narrower limits for these oils than the oils' shifts, were all scatters alike."""
    parts = [a.weights**2 / a.units for a in (first, second)]
    dfs = np.concatenate([a.units - 1.0 for a in (first, second)])
    alike = np.concatenate(parts)
    d = between_arms(first, second)
    df = alike.sum() ** 2 / np.sum(alike**2 / dfs)
    return d.widen.critical(0.95, float(df)) < NONE.critical(0.95, oils - 1.0)


def _one_filling(c: Comparison, history: FillingScatter | None) -> Comparison:
    """One oil with one filling on a side: borrowed scatter; the rows where the file tells no fillings apart."""
    first, second, lay, pair = c.first, c.second, c.lay, c.pair
    assert first is not None and second is not None
    sides = (pair.rows, pair.reference_rows)
    lone = [rows for rows, a in zip(sides, (first, second), strict=True) if a.units[0] < 2]
    lent = donors(lay, pair, lone, history, log=c.log)
    if len(lone) == 2 and history is None and not lay.fillings_named:
        difference = by_rows(c)
        if difference is not None:
            return replace(c, unit="breakdown", method=METHODS["breakdown"], difference=difference)
    elif lent is not None:
        block = pair.blocks[0] if pair.blocks else 0
        own = tuple(i * max(len(lay.blocks), 1) + block for i in (c.level, c.reference))
        sizes = tuple(rows.sum() / a.units[0] for rows, a in zip(sides, (first, second), strict=True))
        difference = borrow(first, second, own, sizes, lent, log=c.log)  # type: ignore[arg-type]
        return replace(c, unit="filling", method=METHODS["borrowed"], difference=difference, lent=lent)
    nan = float("nan")
    difference = Difference(first.mean, second.mean, nan, nan, nan, nan)
    return replace(c, unit="none", method=METHODS["none"], difference=difference)


def by_rows(c: Comparison) -> Difference | None:
    """The difference with every row as a unit of its own; None where a side has one row or scatter is unknown."""
    one, two = (_rows(c.lay, rows, c.log) for rows in (c.pair.rows, c.pair.reference_rows))
    return between_arms(one, two) if one.replicated and two.replicated else None


def _own_oils(c: Comparison) -> Comparison | None:
    """Each level with three oils or more of its own: the means of the oils are the units; None elsewhere."""
    lay, pair = c.lay, c.pair
    if pair.shared or lay.by == "sample" or c.censored:
        return None
    sides = []
    for rows in (pair.rows, pair.reference_rows):
        oils = lay.table["sample"].to_numpy()[rows] if len(lay.table) else np.zeros(0)
        named = pd.notna(oils)
        if not len(oils) or not named.all() or len(np.unique(oils.astype(str))) < ENOUGH_OILS:
            return None
        codes, oil = np.unique(oils.astype(str), return_inverse=True)
        values = np.log(lay.kv[rows]) if c.log else lay.kv[rows]
        sides.append(arm(values, lay.withstood[rows], oil, lay.filling[rows], len(codes)))
    first, second = sides
    these = between_arms(first, second) if first.replicated and second.replicated else None
    return replace(
        c, unit="own_sample", method=METHODS["own_samples"], first=first, second=second,
        difference=over_oils(first.means, second.means), holds_for=LIKE_THESE, these=these,
    )  # fmt: skip


def block_weights(first: np.ndarray, second: np.ndarray, oil: np.ndarray) -> np.ndarray:
    """Weights of the blocks, shape (blocks,), from the fillings that both levels have in each.

    Every oil weighs the same, for the limits are to speak of oils like these. The blocks of one oil (the same gap, the
    same laboratory) are different looks at one shift and weigh by what they know of it: ``n m / (n + m)`` for n and m
    fillings, one over the variance of their difference at equal scatter. The numbers are the design's and not the
    data's, so that the weights bring no bias and no chance into the limits.

    Parameters
    ----------
    first : ndarray
        (blocks,) Fillings of the level.
    second : ndarray
        (blocks,) Fillings of the reference.
    oil : ndarray
        (blocks,) Codes of the oils.

    Examples
    --------
    >>> block_weights(np.array([2, 2]), np.array([2, 2]), np.array([0, 1])).tolist()
    [0.5, 0.5]
    """
    known = first * second / (first + second)
    code = np.unique(oil, return_inverse=True)[1]
    of_oil = np.bincount(code, weights=known)
    return np.asarray(known / of_oil[code] / len(of_oil), dtype=float)


def _block_of(lay: CodedRows, rows: np.ndarray, pair: Pair) -> np.ndarray:
    return np.searchsorted(pair.blocks, lay.block[rows]) if pair.shared else np.zeros(int(rows.sum()), dtype=np.int64)


def _fillings(lay: CodedRows, rows: np.ndarray, pair: Pair) -> np.ndarray:
    """Number of fillings in each block."""
    first = np.unique(lay.filling[rows], return_index=True)[1]
    blocks = max(len(pair.blocks), 1)
    return np.bincount(_block_of(lay, rows, pair)[first], minlength=blocks).astype(float)


def _side(lay: CodedRows, rows: np.ndarray, pair: Pair, weights: np.ndarray, log: bool) -> Arm:
    """One level from its filling means, blocks weighed by :func:`block_weights`."""
    values = np.log(lay.kv[rows]) if log else lay.kv[rows]
    return arm(values, lay.withstood[rows], _block_of(lay, rows, pair), lay.filling[rows], len(weights), weights)


def _rows(lay: CodedRows, rows: np.ndarray, log: bool) -> Arm:
    """One level of one oil with its rows as the units."""
    values = np.log(lay.kv[rows]) if log else lay.kv[rows]
    return arm(values, lay.withstood[rows], np.zeros(len(values), dtype=np.int64), np.flatnonzero(rows), 1)


def _without_pure_withstands(lay: CodedRows, pair: Pair) -> tuple[Pair, tuple[int, ...]]:
    """Drop the shared oils on which one of the two levels has no breakdown at all."""
    if not pair.shared:
        return pair, ()
    reached = [set(lay.block[rows & ~lay.withstood].tolist()) for rows in (pair.rows, pair.reference_rows)]
    bad = [b for b in pair.blocks if b not in reached[0] or b not in reached[1]]
    if not bad:
        return pair, ()
    keep = ~np.isin(lay.block, bad)
    blocks = [b for b in pair.blocks if b not in bad]
    return replace(pair, rows=pair.rows & keep, reference_rows=pair.reference_rows & keep, blocks=blocks), tuple(bad)


def level_mean(lay: CodedRows, level: int, log: bool = False) -> float:
    """Mean of filling means of one level over all its rows; nan where withstands forbid it.

    Parameters
    ----------
    lay : CodedRows
        The rows, coded.
    level : int
        Index of the level.
    log : bool, default False
        Whether the mean is that of ln kV (its exponential is given).
    """
    rows = lay.level == level
    values = np.log(lay.kv[rows]) if log else lay.kv[rows]
    try:
        side = arm(values, lay.withstood[rows], np.zeros(len(values), dtype=np.int64), lay.filling[rows], 1)
    except NotEstimable:
        return float("nan")
    return math.exp(side.mean) if log else side.mean
