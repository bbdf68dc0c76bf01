"""Warnings about the oils of a comparison: not shared, left out, unlike in their shift."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import scipy

from methods.columns import OIL, name_level
from methods.result import Caution
from methods.shifts.arms import Arm, arm
from methods.shifts.compare import LIKE_THESE, Comparison, compare
from methods.shifts.difference import between_arms
from methods.wording import list_words, p_words

#: Levels from which cautions of one kind are told in one.
SEVERAL = 3


def level_names(c: Comparison, base: int) -> tuple[str, str]:
    """The level and the reference as they stand in a sentence."""
    return name_level(c.lay.by, c.lay.levels[c.level]), name_level(c.lay.by, c.lay.levels[base])


def signed_shift(value: float, c: Comparison) -> str:
    """A shift with its sign and unit: kV, or percent where log kV was analysed."""
    text = f"{100 * math.expm1(value):+.3g} %" if c.log else f"{value:+.3g} kV"
    return text.replace("-", "\u2212")


def oil_cautions(c: Comparison, base: int) -> list[Caution]:
    """Oils that are not shared, oils left out, fillings that stand for several oils."""
    lay, out = c.lay, []
    one, two = level_names(c, base)
    if lay.by not in OIL and not c.pair.shared:
        within = f" (with equal {list_words(lay.within)})" if lay.within else ""
        out.append(
            Caution(
                "no_shared_sample",
                f"No sample was tested under both {one} and {two}{within}: the difference between the oils and that "
                f"of {lay.by} cannot be told apart. The shift is that of all tests of the one against all of the "
                "other; to learn about the factor, test the same samples under both.",
            )
        )
    if lay.by != "sample" and (lay.by in OIL or not c.pair.shared):
        out += _several_oils(c, base)
    if c.oils_left_out:
        names = c.oils_left_out
        out.append(
            Caution(
                "samples_left_out",
                f"{one} against {two}: {list_words(names)} {'was' if len(names) == 1 else 'were'} tested under one of "
                "the two only and left out, because the oil would count as a shift.",
            )
        )
    if c.only_withstands:
        names = [lay.blocks[b] for b in c.only_withstands]
        out.append(
            Caution(
                "samples_left_out",
                f"{one} against {two}: on {list_words(names)} one of the two has nothing but withstands, whose mean is "
                "not known; left out. As these are the strongest oils, the shift holds for the weaker ones.",
            )
        )
    return out


def _several_oils(c: Comparison, base: int) -> list[Caution]:
    """Where each level has oils of its own, their fillings do not stand for other oils."""
    lay = c.lay
    oils = lay.table["sample"].fillna("").to_numpy()
    sides = [np.unique(oils[rows]) for rows in (c.pair.rows, c.pair.reference_rows)]
    if max(map(len, sides)) < 2 or c.unit == "own_sample":
        return []
    one, two = level_names(c, base)
    text = (
        f"{one} rests on {len(sides[0])} and {two} on {len(sides[1])} samples, and their fillings are counted as "
        "equals: the limits hold for these samples together. For other samples, what differs from sample to sample "
        "comes on top."
    )
    if min(map(len, sides)) > 1 and not c.censored:
        values = np.log(lay.kv) if c.log else lay.kv
        arms = [
            _over_oils(values[rows], oils[rows], lay.filling[rows]) for rows in (c.pair.rows, c.pair.reference_rows)
        ]
        low, high = between_arms(arms[0], arms[1]).limits(0.95)
        lowest, highest = signed_shift(low, c), signed_shift(high, c)
        text += f" With the samples as the unit the shift lies between {lowest} and {highest} (95 %)."
    return [Caution("samples_as_fillings", text)]


def _over_oils(values: np.ndarray, oils: np.ndarray, filling: np.ndarray) -> Arm:
    """One level with its oils as the units: the mean of filling means of each oil is one value."""
    names, code = np.unique(oils, return_inverse=True)
    means = arm(values, np.zeros(len(values), dtype=bool), code, filling, len(names)).means
    n = len(means)
    return arm(means, np.zeros(n, dtype=bool), np.zeros(n, dtype=np.int64), np.arange(n), 1)


def heterogeneity(c: Comparison) -> tuple[float, float]:
    """F and p of the hypothesis that the shift is the same on every oil; nan where fillings cannot tell."""
    nan = (float("nan"), float("nan"))
    these = c.these or c.difference
    if c.first is None or c.second is None or these is None or len(c.pair.blocks) < 2:
        return nan
    if not (c.first.replicated and c.second.replicated):
        return nan
    expected = float(np.mean(c.first.variances + c.second.variances))
    if not expected > 0:
        return nan
    shifts = c.first.means - c.second.means
    f = float(np.var(shifts, ddof=1)) / expected
    return f, float(scipy.stats.f.sf(f, len(shifts) - 1, these.df()))


def differing_shift(c: Comparison, base: int) -> list[Caution]:
    """Whether the shift differs from oil to oil more than its fillings explain: told, and nothing hangs on it."""
    p = heterogeneity(c)[1]
    if not p < 0.05 or c.first is None or c.second is None:
        return []
    one, two = level_names(c, base)
    return [
        Caution(
            "shift_differs_by_sample",
            f"The shift between {one} and {two} is not the same on every sample: {_spread(c)}, more than fillings "
            f"explain ({p_words(p)}). {_meant(c)}{_in_percent(c, base)}",
        )
    ]


def differing_shifts(found: Sequence[Comparison], base: int) -> list[Caution]:
    """The same of several levels in one, where there are more than two; else one each."""
    tested = [(c, heterogeneity(c)[1]) for c in found if c.first is not None and c.second is not None]
    unlike = [c for c, p in tested if p < 0.05]
    if len(unlike) < SEVERAL or len({_meant(c) for c in unlike}) > 1:
        return [caution for c in unlike for caution in differing_shift(c, base)]
    two = level_names(unlike[0], base)[1]
    parts = [f"{level_names(c, base)[0]} {_spread(c)} ({p_words(p)})" for c, p in tested if p < 0.05]
    ratio = [level_names(c, base)[0] for c in unlike if _in_percent(c, base)]
    last = (
        f" In percent that of {list_words(ratio)} differs no more than chance allows: the analysis of log kV fits "
        "better."
        if ratio
        else ""
    )
    text = (
        f"Against {two}, some shifts are not the same on every sample, more than fillings explain: {'; '.join(parts)}. "
        f"{_meant(unlike[0])}{last}"
    )
    return [Caution("shift_differs_by_sample", text)]


def _spread(c: Comparison) -> str:
    """From the least to the greatest shift of the oils."""
    assert c.first is not None and c.second is not None
    shifts = c.first.means - c.second.means
    return f"from {signed_shift(shifts.min(), c)} to {signed_shift(shifts.max(), c)}"


def _meant(c: Comparison) -> str:
    """What limits mean where the oils shift unlike each other."""
    if c.holds_for == LIKE_THESE:
        return "The limits allow for that: they hold for the average over oils like these, not for each oil."
    return (
        "The limits are those of the average over these samples; another oil may shift otherwise; how far takes three "
        "oils or more to say."
    )


def _in_percent(c: Comparison, base: int) -> str:
    """Whether the shift is the same on every oil as a ratio."""
    if c.log or heterogeneity(compare(c.lay, c.level, base, log=True))[1] < 0.05:
        return ""
    return " In percent the shift does not differ more than chance allows: the analysis of log kV fits better."
