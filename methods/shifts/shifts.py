"""How far, and how surely, the breakdown voltage shifts between the levels of a factor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from methods.columns import OIL, factor_name, name_level
from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.shifts import cautions as say
from methods.shifts.borrowed import history_cells
from methods.shifts.compare import LIKE_THESE, Comparison, compare, level_mean
from methods.shifts.comparisons import adjust_p
from methods.shifts.covariates import covariate_cautions, covariate_lines, covariates_of
from methods.shifts.mixed_shifts import MixedFit, MixedLevel, merge, mixed_levels, percent_limits
from methods.shifts.pairing import CodedRows, choose_reference, find_column, layout
from methods.shifts.shift_results import CovariateLine, LevelShift, LevelSummary, SampleShift, Shift, TheseOils
from methods.shifts.spread import pooled_scatter
from methods.shifts.strata import held_words
from methods.wording import between, count_words, list_words, sentence

THE_SAME = "These limits hold for exactly these oils too; two fillings of each under both may narrow them."

MODELS: tuple[str, ...] = ("filling_means", "mixed")


def shift(
    data: Any,
    by: str | Sequence[str],
    *,
    reference: Any = None,
    confidence: float = 0.95,
    model: str = "filling_means",
    log: bool = False,
    adjust: str = "holm",
    within: Sequence[str] = (),
    factors: Sequence[str] = (),
    samples: str = "fixed",
    history: Any = None,
    covariates: Sequence[str] = (),
    liquid: str | tuple[float, float] | None = None,
) -> Shift:
    """Shift of the mean, in kV and percent, and of the scatter between the levels of a factor.

    Where several oils were tested under both levels, the shift is taken oil by oil and averaged with equal weights,
    so that an oil tested under one level alone never counts as a shift. Which limits are given follows from the
    design (see :func:`methods.shifts.compare.compare`), never from a test on the data. With three oils or more the
    limits are for oils like these (t on the shifts of the oils, which holds whatever the scatter of each and whether
    or not the shift differs by oil), and ``these_oils`` are those for exactly these: filling means, every oil and
    level with its own scatter (Welch, Biometrika 34 (1947) 28; Satterthwaite), widened where few fillings ask for it
    (:func:`methods.shifts.widening.widening`). With one or two oils the limits are for these oils alone. A level
    with one filling of one oil borrows its scatter between fillings from the rest of the file and from ``history``;
    with nothing to borrow there are no limits. Fillings weigh equally whatever their number of breakdowns: the
    scatter between fillings is shared by all values of one, so a filling of ten is not worth two of five, and the
    mean stays unbiased under any such weights.

    Like is compared with like: where a level pools several procedures or laboratories, only tests with the same of
    them are compared (``held`` of each level names what was held equal), and where the levels have none in common
    there is no number. Within an oil these sets weigh by the fillings that both levels have of them
    (:func:`methods.shifts.compare.block_weights`).

    Withstands enter as right-censored: means and SDs are then those of maximum likelihood for the normal
    law (lognormal with ``log``), errors robust to fillings.

    With ``model="mixed"`` the other ``factors`` and the samples are fixed effects, the fillings random with a scatter
    of each level's own, and so are the oils' own shifts where three oils or more allow (restricted likelihood, Kenward
    and Roger's standard errors and degrees of freedom; maximum likelihood with withstands): see
    :func:`methods.shifts.mixed_shifts.mixed_levels`. The ratios of scatter stay those within fillings.

    Parameters
    ----------
    data : Records or DataFrame
        One row a breakdown, ``kv`` in kV.
    by : str or sequence of str
        The factor: any column, ``procedure``, or several columns whose combinations are the levels.
    reference : level, optional
        By default the level with most fillings, the first of equals.
    confidence : float
        Of each interval, two-sided.
    model : str
        ``filling_means`` or ``mixed``.
    log : bool
        Analyse log kV: means are geometric, the shift is a ratio, limits in kV are nan.
    adjust : str
        ``holm``, ``bonferroni`` or ``none``: the p-values over the levels.
    within : sequence of str
        Columns besides ``sample`` that must be equal for two tests to be compared.
    factors : sequence of str
        For ``mixed``: other factors whose effects are taken out, such as ``["gap_mm", "stirring"]``.
    samples : str
        For ``mixed``: ``fixed`` (each oil a block) or ``random``.
    history : Records or DataFrame, optional
        Earlier tests of the laboratory, with fillings: their scatter between fillings, as a share of the mean, serves
        a level with one filling.
    covariates : sequence of str
        For ``mixed``: quantities taken out as straight lines, such as ``["relative_saturation_percent"]`` (from water,
        temperature and fluid; :func:`methods.records.saturation.saturation`), ``water_mg_kg`` or ``temperature_c``.
        Fillings that lack one take no part, which a caution says.
    liquid : str or (float, float), optional
        Whose solubility of water gives the relative saturation; by default the records' fluid says.

    Raises
    ------
    InputError
        Unknown column, reference, model or adjustment.
    NotEstimable
        One level only, or nothing that can be compared.
    """
    check_confidence(confidence)
    if model not in MODELS:
        raise InputError(f"There is no model {model!r}; use {' or '.join(MODELS)}.")
    if factors and model != "mixed":
        raise InputError("Other factors are taken out by the mixed model only; use model='mixed', or within.")
    data, lines, lost = covariates_of(data, covariates, liquid, model)
    lay = layout(data, by, within)
    base = choose_reference(lay, reference)
    others = [i for i in range(len(lay.levels)) if i != base]
    past = None if history is None else history_cells(history, log=log)
    taken_out = [find_column(lay.table, f) for f in factors]
    found = [compare(lay, i, base, log=log, history=past, taken_out=taken_out) for i in others]
    if model == "mixed":
        _no_mixture(found)
    shifts = [_level_shift(lay, c, base, confidence, log) for c in found]
    modelled: list[int] | None = None
    if model == "mixed":
        fitted = mixed_levels(
            lay, base, factors, log=log, confidence=confidence, samples=samples, covariates=lines
        )  # fmt: skip
        second: Sequence[MixedLevel | None] = fitted.these or [None] * len(fitted.levels)
        shifts = [
            _with_model(lay, s, v, t, base, fitted, log, confidence)
            for s, v, t in zip(shifts, fitted.levels, second, strict=True)
        ]
        modelled = [v.level for v in fitted.levels if v.difference is not None]
    elif all(c.difference is None for c in found):
        raise NotEstimable("; ".join(dict.fromkeys(c.problem for c in found)))
    cautions = say.cautions(lay, found, base, confidence, log, held=factors, modelled=modelled, covariates=lines)
    taken: list[CovariateLine] = []
    if model == "mixed":
        taken = covariate_lines(lay, fitted.slopes, log, confidence)
        cautions = merge([*fitted.cautions, *lost, *covariate_cautions(lay, taken)], cautions)
    adjusted = adjust_p([s.p_value for s in shifts], adjust)
    shifts = [replace(s, p_value=float(q)) for s, q in zip(shifts, adjusted, strict=True)]
    cautions = [*cautions, *say.one_by_one(lay, shifts, confidence)]
    named = lay.sample_known or bool(lay.within)
    used = list(dict.fromkeys(n for c in found if c.difference is not None for n in c.oils)) if named else []
    left = list(dict.fromkeys(n for c in found for n in c.oils_left_out if n not in used))
    return Shift(
        by=lay.by, reference=lay.levels[base], confidence=confidence, shifts=shifts,
        cautions=cautions,
        levels=[_summary(lay, i) for i in range(len(lay.levels))],
        samples_used=used, samples_left_out=left,
        model=model, log=log, adjust=adjust, within=list(lay.within), factors=list(factors),
        sentence=" ".join(s.sentence for s in shifts), covariates=taken,
    )  # fmt: skip


def _no_mixture(found: Sequence[Comparison]) -> None:
    """Refuse a model that would leave a pooled factor in: its level means would be those of a mixture."""
    held = list(dict.fromkeys(h for c in found for h in c.held))
    if held:
        raise NotEstimable(
            f"The compared levels pool several levels of {list_words([factor_name(h) for h in held])}, unlike from "
            "level to level. Take that out too (factors), hold it equal (within), or compare by procedure."
        )


def _summary(lay: CodedRows, level: int) -> LevelSummary:
    rows = lay.level == level
    return LevelSummary(
        level=lay.levels[level], fillings=lay.fillings_of(rows), breakdowns=int((rows & ~lay.withstood).sum()),
        withstood=int((rows & lay.withstood).sum()), samples=int(lay.table.loc[rows, "sample"].nunique(dropna=False)),
        mean_kv=level_mean(lay, level),
        sd_kv=float("nan") if lay.withstood[rows].any() else pooled_scatter(lay.kv[rows], lay.filling[rows]).sd,
    )  # fmt: skip


def _level_shift(lay: CodedRows, c: Comparison, base: int, confidence: float, log: bool) -> LevelShift:
    """One level by the filling means; its p-value is not adjusted yet."""
    raw = c.difference.p_value() if c.difference is not None else float("nan")
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
    counts = _counts(lay, c, fillings, reference_fillings)
    ratio = c.spread(confidence)
    return LevelShift(
        level=lay.levels[c.level], fillings=fillings, breakdowns=int((mine & ~lay.withstood).sum()), mean_kv=mean,
        difference_kv=value, low_kv=low, high_kv=high,
        difference_percent=per, low_percent=low_per, high_percent=high_per, p_value=raw,
        sd_ratio=ratio.ratio, sd_ratio_low=ratio.low, sd_ratio_high=ratio.high,
        withstood=int((mine & lay.withstood).sum()), reference_fillings=reference_fillings,
        reference_breakdowns=int((theirs & ~lay.withstood).sum()), reference_mean_kv=reference_mean,
        standard_error_kv=nan if c.difference is None or log else c.difference.standard_error,
        df=c.difference.df() if c.difference else nan, p_value_unadjusted=raw,
        sd_ratio_of=ratio.what, sd_ratio_robust_low=ratio.robust_low, sd_ratio_robust_high=ratio.robust_high,
        sd_p_value=ratio.p_value, method=c.method, samples=_per_sample(lay, c, log),
        samples_left_out=c.oils_left_out, held=list(c.held),
        sentence=sentence(lay.by, lay.levels[c.level], lay.levels[base], per, low_per, high_per, counts, confidence),
        holds_for=c.holds_for if c.difference is not None else "", these_oils=_these(lay, c, base, confidence, log),
    )  # fmt: skip


def _counts(lay: CodedRows, c: Comparison, fillings: int, reference_fillings: int) -> str:
    """What the limits rest on and for what they hold, as the end of the sentence."""
    mine, theirs = c.pair.rows, c.pair.reference_rows
    counts = count_words(fillings, reference_fillings)
    if c.unit == "breakdown":
        counts = count_words(int(mine.sum()), int(theirs.sum()), "breakdown") + " on one filling"
    elif c.unit == "own_sample" and c.first is not None and c.second is not None:
        counts += f", {count_words(len(c.first.means), len(c.second.means), 'sample')}"
    elif c.holds_for == LIKE_THESE:
        counts += f", {c.oil_count} samples"
    elif lay.by not in OIL and c.pair.shared and lay.sample_known and c.oil_count > 1:
        counts += f", {c.oil_count} samples"
    if c.held and c.difference is not None:
        counts += f", {held_words(c.held)}"
    if c.holds_for == LIKE_THESE:
        counts += "; for oils like these"
    elif lay.by not in OIL and c.pair.shared and lay.sample_known:
        counts += "; for this oil" if c.oil_count == 1 else "; for these oils alone"
    return counts


def _these(lay: CodedRows, c: Comparison, base: int, confidence: float, log: bool) -> TheseOils | None:
    """Limits for exactly these oils; those for oils like these where the fillings cannot give any of their own."""
    d = c.these or c.difference
    if d is None or not (d.standard_error > 0 and math.isfinite(d.standard_error)):
        return None
    nan = float("nan")
    if log:
        low, high = nan, nan
        low_per, high_per = (100 * math.expm1(v) for v in d.limits(confidence))
    else:
        low, high = d.limits(confidence)
        low_per, high_per = (100 * (v - 1) for v in d.ratio_limits(confidence))
    own = c.these is not None or c.holds_for != LIKE_THESE
    words = ""
    if c.holds_for == LIKE_THESE:
        one, two = name_level(lay.by, lay.levels[c.level]), name_level(lay.by, lay.levels[base])
        words = f"On exactly these oils: {between(low_per, high_per, one, two)}." if own else THE_SAME
    return TheseOils(low, high, low_per, high_per, d.p_value(), d.df(), own, words)


def _with_model(
    lay: CodedRows, s: LevelShift, v: MixedLevel, these: MixedLevel | None, base: int, fitted: MixedFit, log: bool,
    confidence: float,
) -> LevelShift:  # fmt: skip
    """The level with its means and limits from the mixed model instead."""
    nan = float("nan")
    d = v.difference
    counts = count_words(s.fillings, s.reference_fillings)
    if d is None:
        blank: dict[str, Any] = dict.fromkeys(
            ["mean_kv", "difference_kv", "low_kv", "high_kv", "difference_percent", "low_percent", "high_percent",
             "p_value", "p_value_unadjusted", "reference_mean_kv", "standard_error_kv", "df"], nan
        )  # fmt: skip
        text = sentence(lay.by, s.level, lay.levels[base], nan, nan, nan, counts, confidence)
        return replace(s, **blank, method=fitted.method, sentence=text, holds_for="", these_oils=None)
    mean, reference = (c.estimate if c is not None else nan for c in (v.mean, v.reference))
    if log:
        mean, reference, value, low, high = math.exp(mean), math.exp(reference), nan, nan, nan
        value, percent = mean - reference, 100 * math.expm1(d.estimate)
    else:
        value, low, high, percent = d.estimate, d.low, d.high, 100 * (mean / reference - 1)
    low_percent, high_percent = percent_limits(v, log)
    if fitted.holds_for == LIKE_THESE:
        counts += "; for oils like these"
    return replace(
        s, mean_kv=mean, reference_mean_kv=reference, difference_kv=value, low_kv=low, high_kv=high,
        difference_percent=percent, low_percent=low_percent, high_percent=high_percent,
        p_value=d.p_value, p_value_unadjusted=d.p_value,
        standard_error_kv=nan if log else d.standard_error, df=d.df, method=fitted.method,
        sentence=sentence(lay.by, s.level, lay.levels[base], percent, low_percent, high_percent, counts, confidence),
        holds_for=fitted.holds_for, these_oils=_these_by_model(lay, s, these or v, base, fitted, log),
    )  # fmt: skip


def _these_by_model(
    lay: CodedRows, s: LevelShift, v: MixedLevel, base: int, fitted: MixedFit, log: bool
) -> TheseOils | None:  # fmt: skip
    d = v.difference
    if d is None or not math.isfinite(d.low):
        return None
    nan = float("nan")
    low_per, high_per = percent_limits(v, log)
    own = fitted.these is not None or fitted.holds_for != LIKE_THESE
    words = ""
    if fitted.holds_for == LIKE_THESE:
        one, two = name_level(lay.by, s.level), name_level(lay.by, lay.levels[base])
        words = f"On exactly these oils: {between(low_per, high_per, one, two)}." if own else THE_SAME
    low, high = (nan, nan) if log else (d.low, d.high)
    return TheseOils(low, high, low_per, high_per, d.p_value, d.df, own, words)


def _per_sample(lay: CodedRows, c: Comparison, log: bool) -> list[SampleShift]:
    lay = c.lay
    out: list[SampleShift] = []
    if c.difference is None or c.first is None or c.second is None or not (lay.sample_known or lay.within):
        return out
    if c.unit == "own_sample":
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


def _fillings_by_block(lay: CodedRows, rows: np.ndarray) -> np.ndarray:
    """Number of fillings in each block among the rows."""
    first = np.unique(lay.filling[rows], return_index=True)[1]
    return np.bincount(lay.block[rows][first], minlength=len(lay.blocks))
