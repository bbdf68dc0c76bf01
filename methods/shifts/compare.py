"""One level against the reference: which unit of replication, which test."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from methods.errors import NotEstimable
from methods.shifts.arms import Arm, arm
from methods.shifts.difference import Difference, between_arms, between_oils
from methods.shifts.pairing import Layout, Pair, pair_up
from methods.shifts.spread import NO_RATIO, SpreadRatio, censored_sd_ratio, scatter, sd_ratio
from methods.shifts.strata import Strata, like_with_like

METHODS = {
    "filling": "Welch's t on filling means",
    "filling_by_sample": "shift sample by sample, equal weights; scatter of filling means within sample and level",
    "sample": "paired t over samples",
    "breakdown": "Welch's t on single breakdowns",
}


@dataclass(frozen=True)
class Comparison:
    """What was compared and found, before it is put in kV and percent.

    ``unit`` is the unit of replication: ``filling``, ``sample`` or ``breakdown``. ``difference`` is None
    where nothing can be said, and ``problem`` says why. ``only_withstands`` are oils dropped because
    one of the two levels has no breakdown there.
    """

    lay: Layout
    level: int
    pair: Pair
    log: bool
    unit: str
    method: str
    first: Arm | None
    second: Arm | None
    difference: Difference | None
    problem: str = ""
    only_withstands: tuple[int, ...] = ()
    strata: Strata | None = None

    @property
    def held(self) -> tuple[str, ...]:
        """The factors that were held equal because the compared levels pool them."""
        return self.strata.held if self.strata is not None else ()

    @property
    def oils(self) -> list[str]:
        """The oils that are compared; empty where the comparison is not within oils."""
        codes = self.lay.oil[self.pair.rows] if self.pair.shared else []
        return [self.lay.oils[i] for i in dict.fromkeys(codes)]

    @property
    def oils_left_out(self) -> list[str]:
        """The oils that were tested under one of the two only."""
        rows = np.isin(self.lay.block, self.pair.left_out)
        used = set(self.oils)
        return [n for n in (self.lay.oils[i] for i in dict.fromkeys(self.lay.oil[rows])) if n not in used]

    @property
    def censored(self) -> bool:
        return bool(self.lay.withstood[self.pair.rows | self.pair.reference_rows].any())

    def spread(self, confidence: float) -> SpreadRatio:
        """Ratio of the SDs: within fillings; about the oil's mean where every filling has one breakdown."""
        lay, values = self.lay, np.log(self.lay.kv) if self.log else self.lay.kv
        mine, theirs = self.pair.rows, self.pair.reference_rows
        inside = [scatter(values[rows], lay.filling[rows]) for rows in (mine, theirs)]
        what = "single breakdowns within a filling"
        oil = lay.block if self.pair.shared else np.zeros(len(lay.level), dtype=np.int64)
        if self.censored:
            if self.first is None or self.second is None:
                return NO_RATIO
            about = [scatter(values[rows], oil[rows]).sd for rows in (mine, theirs)]
            return censored_sd_ratio(self.first, self.second, about[0], about[1], confidence)
        if min(s.df for s in inside) < 1:
            inside = [scatter(values[rows], oil[rows]) for rows in (mine, theirs)]
            what = "single breakdowns about the sample's mean"
        return sd_ratio(inside[0], inside[1], confidence, what)


def compare(lay: Layout, level: int, reference: int, *, log: bool = False, taken_out: Sequence[str] = ()) -> Comparison:
    """Compare a level with the reference on the oils that both have, like with like.

    What the two levels pool (procedures, laboratories) is held equal; see
    :func:`methods.shifts.strata.like_with_like`. ``taken_out`` are factors that a model takes out instead.
    """
    strata = like_with_like(lay, (level, reference), taken_out)
    lay = strata.layout
    pair, dropped = _without_pure_withstands(lay, pair_up(lay, level, reference))
    oils = max(len(pair.blocks), 1)
    empty = Comparison(lay, level, pair, log, "filling", "", None, None, None, only_withstands=dropped, strata=strata)
    if strata.refused:
        return replace(empty, problem=strata.refused)
    if dropped and not pair.blocks:
        return replace(
            empty, problem="one level has nothing but withstands on every sample that both levels share: "
            "its mean lies above the ceiling, how far is not known",
        )  # fmt: skip
    oil = np.searchsorted(pair.blocks, lay.block) if pair.shared else np.zeros(len(lay.level), dtype=np.int64)
    sides = (pair.rows, pair.reference_rows)
    by_filling = min(lay.fillings_of(rows) for rows in sides) > oils or oils > 1
    try:
        first, second = (_side(lay, rows, oil, oils, by_filling, log) for rows in sides)
    except NotEstimable as error:
        return replace(empty, problem=str(error))
    if first.df > 0 and second.df > 0:
        unit = "filling" if by_filling else "breakdown"
        method = METHODS["filling_by_sample" if oils > 1 else unit]
        difference = between_arms(first, second)
    elif oils > 1:
        unit, method, difference = "sample", METHODS["sample"], between_oils(first, second)
    else:
        nan = float("nan")
        unit, method = "breakdown", "difference of the two means; one breakdown gives no scatter"
        difference = Difference(first.mean, second.mean, nan, nan, nan, nan)
    return replace(empty, unit=unit, method=method, first=first, second=second, difference=difference)


def _side(lay: Layout, rows: np.ndarray, oil: np.ndarray, oils: int, by_filling: bool, log: bool) -> Arm:
    values = np.log(lay.kv[rows]) if log else lay.kv[rows]
    unit = lay.filling[rows] if by_filling else np.flatnonzero(rows)
    return arm(values, lay.withstood[rows], oil[rows], unit, oils)


def _without_pure_withstands(lay: Layout, pair: Pair) -> tuple[Pair, tuple[int, ...]]:
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


def level_mean(lay: Layout, level: int, log: bool = False) -> float:
    """Mean of filling means of one level over all its rows; nan where withstands forbid it."""
    rows = lay.level == level
    try:
        side = _side(lay, rows, np.zeros(len(rows), dtype=np.int64), 1, True, log)
    except NotEstimable:
        return float("nan")
    return math.exp(side.mean) if log else side.mean
