"""How far, and how surely, the breakdown voltage shifts between the levels of a factor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from methods.contrast import cautions as say
from methods.contrast.compare import Comparison, compare, level_mean
from methods.contrast.comparisons import adjust_p
from methods.contrast.pairing import Layout, choose_reference, layout
from methods.contrast.spread import scatter
from methods.contrast.wording import count_words, sentence
from methods.errors import InputError, NotEstimable
from methods.result import Caution


@dataclass(frozen=True)
class SampleShift:
    """The shift within one oil (and one combination of the ``within`` columns)."""

    sample: str
    fillings: int
    reference_fillings: int
    mean_kv: float
    reference_mean_kv: float
    difference_kv: float
    difference_percent: float


@dataclass(frozen=True)
class LevelSummary:
    """One level over all of its rows, whether or not they can be compared.

    ``mean_kv`` is the mean of filling means (by censored likelihood with withstands); ``sd_kv`` the SD
    of single breakdowns within a filling, nan with withstands.
    """

    level: Any
    fillings: int
    breakdowns: int
    withstood: int
    samples: int
    mean_kv: float
    sd_kv: float


@dataclass(frozen=True)
class LevelShift:
    """The shift of one level against the reference; nan where the data cannot say.

    ``fillings``, ``breakdowns``, ``withstood`` and ``mean_kv`` are those of the rows compared, the
    oils weighing equally. ``p_value`` is adjusted over the levels (the intervals are not: each holds at
    the stated confidence by itself); ``p_value_unadjusted`` < 1 - confidence exactly where the interval
    leaves out zero. ``sd_ratio`` is SD of the level over SD of the reference, ``sd_ratio_of`` says of what.
    """

    level: Any
    fillings: int
    breakdowns: int
    mean_kv: float
    difference_kv: float
    low_kv: float
    high_kv: float
    difference_percent: float
    low_percent: float
    high_percent: float
    p_value: float
    sd_ratio: float
    sd_ratio_low: float
    sd_ratio_high: float
    withstood: int = 0
    reference_fillings: int = 0
    reference_breakdowns: int = 0
    reference_mean_kv: float = float("nan")
    standard_error_kv: float = float("nan")
    df: float = float("nan")
    p_value_unadjusted: float = float("nan")
    sd_ratio_of: str = ""
    sd_ratio_robust_low: float = float("nan")
    sd_ratio_robust_high: float = float("nan")
    sd_p_value: float = float("nan")
    method: str = ""
    samples: list[SampleShift] = field(default_factory=list)
    samples_left_out: list[str] = field(default_factory=list)
    sentence: str = ""


@dataclass(frozen=True)
class Shift:
    """The result of :func:`shift`: ``shifts`` holds the levels other than the reference."""

    by: str
    reference: Any
    confidence: float
    shifts: list[LevelShift]
    warnings: list[Caution]
    levels: list[LevelSummary] = field(default_factory=list)
    samples_used: list[str] = field(default_factory=list)
    samples_left_out: list[str] = field(default_factory=list)
    model: str = "filling_means"
    log: bool = False
    adjust: str = "holm"
    within: list[str] = field(default_factory=list)
    sentence: str = ""


def check_confidence(confidence: float) -> float:
    """Refuse a confidence outside (0, 1)."""
    if not (isinstance(confidence, (int, float)) and 0 < confidence < 1):
        raise InputError(f"The confidence is {confidence!r}; it must lie between 0 and 1, such as 0.95.")
    return float(confidence)


def shift(
    data: Any,
    by: str,
    *,
    reference: Any = None,
    confidence: float = 0.95,
    model: str = "filling_means",
    log: bool = False,
    adjust: str = "holm",
    within: Sequence[str] = (),
) -> Shift:
    """Shift of the mean, in kV and percent, and of the scatter between the levels of a factor.

    The filling mean is the unit of replication: Welch's t (Biometrika 34 (1947) 28). Where several
    oils were tested under both levels, the shift is taken oil by oil and averaged with equal weights; the
    scatter of filling means within oil and level gives the error (each level its own, Satterthwaite's
    degrees of freedom). Where an oil has one filling a level, the oils are the unit (paired t). With one
    filling a level in all, the breakdowns are the unit and the caution ``one_filling`` says what that
    leaves out. Fillings weigh equally whatever their number of breakdowns: the scatter between fillings
    is shared by all values of one, so a filling of ten is not worth two of five, and the mean stays
    unbiased under any such weights.

    Withstands enter as right-censored: means and SDs are then those of maximum likelihood for the normal
    law (lognormal with ``log``), errors robust to fillings.

    Parameters
    ----------
    data : Records or DataFrame
        One row a breakdown, ``kv`` in kV.
    by : str
        The factor: any column.
    reference : level, optional
        By default the level with most fillings, the first of equals.
    confidence : float
        Of each interval, two-sided.
    model : str
        ``filling_means``.
    log : bool
        Analyse log kV: means are geometric, the shift is a ratio, limits in kV are nan.
    adjust : str
        ``holm``, ``bonferroni`` or ``none``: the p-values over the levels.
    within : sequence of str
        Columns besides ``sample`` that must be equal for two tests to be compared.

    Raises
    ------
    InputError
        Unknown column, reference, model or adjustment.
    NotEstimable
        One level only, or nothing that can be compared.
    """
    check_confidence(confidence)
    if model != "filling_means":
        raise InputError(f"There is no model {model!r}; use filling_means.")
    lay = layout(data, by, within)
    base = choose_reference(lay, reference)
    others = [i for i in range(len(lay.levels)) if i != base]
    found = [compare(lay, i, base, log=log) for i in others]
    if all(c.difference is None for c in found):
        raise NotEstimable("; ".join(dict.fromkeys(c.problem for c in found)))
    raw = [c.difference.p_value() if c.difference else float("nan") for c in found]
    adjusted = adjust_p(raw, adjust)
    shifts = [
        _level_shift(lay, c, base, confidence, log, float(p), float(q))
        for c, p, q in zip(found, raw, adjusted, strict=True)
    ]
    named = lay.sample_known or bool(lay.within)
    used = sorted({b for c in found for b in c.pair.blocks}) if named else []
    left = sorted({b for c in found for b in c.pair.left_out} - set(used))
    return Shift(
        by=lay.by, reference=lay.levels[base], confidence=confidence, shifts=shifts,
        warnings=say.cautions(lay, found, base, confidence, log),
        levels=[_summary(lay, i) for i in range(len(lay.levels))],
        samples_used=[lay.blocks[b] for b in used], samples_left_out=[lay.blocks[b] for b in left],
        model=model, log=log, adjust=adjust, within=list(lay.within),
        sentence=" ".join(s.sentence for s in shifts),
    )  # fmt: skip


def _summary(lay: Layout, level: int) -> LevelSummary:
    rows = lay.level == level
    return LevelSummary(
        level=lay.levels[level], fillings=lay.fillings_of(rows), breakdowns=int((rows & ~lay.withstood).sum()),
        withstood=int((rows & lay.withstood).sum()), samples=int(lay.table.loc[rows, "sample"].nunique(dropna=False)),
        mean_kv=level_mean(lay, level),
        sd_kv=float("nan") if lay.withstood[rows].any() else scatter(lay.kv[rows], lay.filling[rows]).sd,
    )  # fmt: skip


def _level_shift(
    lay: Layout, c: Comparison, base: int, confidence: float, log: bool, raw: float, adjusted: float
) -> LevelShift:
    mine, theirs = c.pair.rows, c.pair.reference_rows
    fillings, reference_fillings = lay.fillings_of(mine), lay.fillings_of(theirs)
    nan = float("nan")
    value = low = high = per = low_per = high_per = mean = reference_mean = nan
    if c.difference is not None:
        d = c.difference
        mean, reference_mean = d.first, d.second
        sure = d.standard_error > 0 and math.isfinite(d.standard_error)
        if log:
            mean, reference_mean = math.exp(mean), math.exp(reference_mean)
            limits = d.limits(confidence) if sure else (nan, nan)
            low_per, high_per = (100 * math.expm1(v) for v in limits)
        elif sure:
            low, high = d.limits(confidence)
            low_per, high_per = (100 * (v - 1) for v in d.ratio_limits(confidence))
        value, per = mean - reference_mean, 100 * (mean / reference_mean - 1)
    counts = count_words(fillings, reference_fillings)
    if c.unit == "breakdown":
        counts = count_words(int(mine.sum()), int(theirs.sum()), "breakdown") + " on one filling"
        if fillings + reference_fillings > 2:
            counts = count_words(int(mine.sum()), int(theirs.sum()), "breakdown")
    elif len(c.pair.blocks) > 1:
        counts += f", {len(c.pair.blocks)} samples"
    ratio = c.spread(confidence)
    return LevelShift(
        level=lay.levels[c.level], fillings=fillings, breakdowns=int((mine & ~lay.withstood).sum()), mean_kv=mean,
        difference_kv=value, low_kv=low, high_kv=high,
        difference_percent=per, low_percent=low_per, high_percent=high_per, p_value=adjusted,
        sd_ratio=ratio.ratio, sd_ratio_low=ratio.low, sd_ratio_high=ratio.high,
        withstood=int((mine & lay.withstood).sum()), reference_fillings=reference_fillings,
        reference_breakdowns=int((theirs & ~lay.withstood).sum()), reference_mean_kv=reference_mean,
        standard_error_kv=nan if c.difference is None or log else c.difference.standard_error,
        df=c.difference.df() if c.difference else nan, p_value_unadjusted=raw,
        sd_ratio_of=ratio.what, sd_ratio_robust_low=ratio.robust_low, sd_ratio_robust_high=ratio.robust_high,
        sd_p_value=ratio.p_value, method=c.method, samples=_per_sample(lay, c, log),
        samples_left_out=[lay.blocks[b] for b in c.pair.left_out],
        sentence=sentence(lay.by, lay.levels[c.level], lay.levels[base], per, low_per, high_per, counts, confidence),
    )  # fmt: skip


def _per_sample(lay: Layout, c: Comparison, log: bool) -> list[SampleShift]:
    out: list[SampleShift] = []
    if c.difference is None or c.first is None or c.second is None or not (lay.sample_known or lay.within):
        return out
    counts = [_fillings_by_block(lay, rows) for rows in (c.pair.rows, c.pair.reference_rows)]
    for i, block in enumerate(c.pair.blocks):
        one, two = float(c.first.means[i]), float(c.second.means[i])
        if log:
            one, two = math.exp(one), math.exp(two)
        out.append(
            SampleShift(
                lay.blocks[block], int(counts[0][block]), int(counts[1][block]), one, two, one - two,
                100 * (one / two - 1),
            )
        )  # fmt: skip
    return out


def _fillings_by_block(lay: Layout, rows: np.ndarray) -> np.ndarray:
    """Number of fillings in each block among the rows."""
    first = np.unique(lay.filling[rows], return_index=True)[1]
    return np.bincount(lay.block[rows][first], minlength=len(lay.blocks))
