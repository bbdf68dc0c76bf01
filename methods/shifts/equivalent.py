"""Do two levels agree within a margin chosen before? Two one-sided tests."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from methods.columns import name_level
from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.result import Caution, Shown
from methods.shifts import cautions as say
from methods.shifts.borrowed import history_cells
from methods.shifts.compare import Comparison, compare
from methods.shifts.difference import Difference
from methods.shifts.pairing import CodedRows, choose_reference, layout
from methods.wording import percent

SHOWN = "shown"
NOT_SHOWN = "not shown"
DIFFERENT = "shown to differ"
UNKNOWN = "not estimable"


@dataclass(frozen=True)
class TwoOneSided:
    """Two one-sided tests of a difference (Schuirmann, J. Pharmacokinetics and Biopharmaceutics 15 (1987) 657).

    ``p_lower``: against the difference being at or below the lower margin; ``p_upper``: at or above the
    upper one; ``p_value``: the larger. ``low`` and ``high`` are limits at 1 - 2 alpha, inside the margins
    exactly where p_value < alpha.
    """

    difference: float
    p_lower: float
    p_upper: float
    p_value: float
    low: float
    high: float
    df: float


@dataclass(frozen=True)
class LevelEquivalence:
    """Whether a level agrees with the reference within the margin.

    ``verdict``: ``shown``, ``not shown``, ``shown to differ`` (the limits lie outside the margin altogether),
    ``not estimable``. ``low_*`` and ``high_*`` are limits at 1 - 2 (1 - confidence), 90 % for 95 %: those
    that must lie within the margins.
    """

    level: Any
    fillings: int
    breakdowns: int
    difference_kv: float
    low_kv: float
    high_kv: float
    difference_percent: float
    low_percent: float
    high_percent: float
    p_lower: float
    p_upper: float
    p_value: float
    verdict: str
    sentence: str
    df: float = float("nan")
    method: str = ""


@dataclass(frozen=True, repr=False)
class Equivalence(Shown):
    """The result of :func:`equivalence`; one of ``margin_percent`` and ``margin_kv`` is given, the other nan."""

    by: str
    reference: Any
    confidence: float
    margin_percent: float
    margin_kv: float
    levels: list[LevelEquivalence]
    cautions: list[Caution] = field(default_factory=list)
    sentence: str = ""


def two_one_sided(d: Difference, low_margin: float, high_margin: float, confidence: float = 0.95) -> TwoOneSided:
    """Test a difference of means against fixed margins, in the unit of the means.

    Parameters
    ----------
    d : Difference
        The difference, kV.
    low_margin : float
        Lower margin, kV.
    high_margin : float
        Upper margin, kV.
    confidence : float, default 0.95
        Of each one-sided test, a fraction.
    """
    error = d.standard_error
    if not (error > 0 and math.isfinite(error)):
        raise NotEstimable("Without scatter between units there is nothing to test agreement against.")
    lower, upper = d.one_sided(null=low_margin), d.one_sided(null=high_margin, above=True)
    low, high = d.limits(2 * confidence - 1)
    return TwoOneSided(d.value, lower, upper, max(lower, upper), low, high, d.df())


def two_one_sided_ratio(d: Difference, margin: float, confidence: float = 0.95) -> TwoOneSided:
    """Test first / second against 1 - margin and 1 + margin (Sasabuchi 1988; Hauschke et al. 1999).

    The contrast first - r second is tested at each margin with its own variance and degrees of freedom, so that
    the uncertainty of the reference mean counts. Limits are those of Fieller, as ratio - 1.

    Parameters
    ----------
    d : Difference
        The two means, kV.
    margin : float
        Of the ratio about 1, a fraction.
    confidence : float, default 0.95
        Of each one-sided test, a fraction.
    """
    if not (d.standard_error > 0 and math.isfinite(d.standard_error)):
        raise NotEstimable("Without scatter between units there is nothing to test agreement against.")
    lower, upper = d.one_sided(1 - margin), d.one_sided(1 + margin, above=True)
    low, high = d.ratio_limits(2 * confidence - 1)
    return TwoOneSided(d.first / d.second - 1, lower, upper, max(lower, upper), low - 1, high - 1, d.df())


def equivalence(
    data: Any,
    by: str | Sequence[str],
    *,
    margin: float | None = None,
    margin_kv: float | None = None,
    reference: Any = None,
    confidence: float = 0.95,
    within: Sequence[str] = (),
    history: Any = None,
) -> Equivalence:
    """Test whether each level agrees with the reference within a margin.

    Unit of replication and pairing by oil are those of :func:`methods.shift`. The margin must be chosen
    before the data are seen, from what a shift would change in practice.

    Parameters
    ----------
    margin : float
        As a fraction of the reference mean: 0.05 is 5 percent.
    margin_kv : float
        In kV, instead.
    confidence : float
        1 - alpha of each one-sided test; the limits are at 1 - 2 alpha. Above 0.5.
    history : Records or DataFrame, optional
        Earlier tests whose scatter between fillings serves a level with one filling, as in :func:`methods.shift`.
    data : Records or DataFrame
        The records.
    by : str or sequence of str
        Column or columns of the factor.
    reference : object, optional
        The level that others are compared with; the one with most fillings by default.
    within : sequence of str, optional
        Columns within whose levels the oils are compared.

    Raises
    ------
    InputError
        No margin, both, or one that is not positive; unknown column or reference.
    NotEstimable
        Nothing that can be compared.
    """
    check_confidence(confidence)
    if confidence <= 0.5:
        raise InputError("The confidence of a test of agreement must be above 50 %.")
    if (margin is None) == (margin_kv is None):
        raise InputError("Agreement needs one margin: a fraction of the reference mean (margin) or kV (margin_kv).")
    chosen = margin if margin is not None else margin_kv
    assert chosen is not None
    if not (math.isfinite(chosen) and chosen > 0) or (margin is not None and margin >= 1):
        raise InputError("The margin must be above zero, and a fraction below 1 (0.05 is 5 %).")
    lay = layout(data, by, within)
    base = choose_reference(lay, reference)
    past = None if history is None else history_cells(history, log=False)
    found = [compare(lay, i, base, history=past) for i in range(len(lay.levels)) if i != base]
    if all(c.difference is None for c in found):
        raise NotEstimable("; ".join(dict.fromkeys(c.problem for c in found)))
    levels = [_level(lay, c, base, margin, margin_kv, confidence) for c in found]
    nan = float("nan")
    return Equivalence(
        by=lay.by, reference=lay.levels[base], confidence=confidence,
        margin_percent=nan if margin is None else 100 * margin, margin_kv=nan if margin_kv is None else margin_kv,
        levels=levels, cautions=say.cautions(lay, found, base, 2 * confidence - 1, False),
        sentence=" ".join(v.sentence for v in levels),
    )  # fmt: skip


def _in_percent(low: float, high: float) -> str:
    """Where the shift lies; a limit that does not exist, or is below what voltages can do (-100 %), is left out."""
    below, above = math.isfinite(low) and low > -100, math.isfinite(high)
    if below and above:
        return f"in {low:+.1f} to {high:+.1f} %"
    if below:
        return f"above {low:+.1f} % with no upper limit"
    return f"below {high:+.1f} % with no lower limit" if above else "anywhere: the data set no limit in percent"


def _level(
    lay: CodedRows, c: Comparison, base: int, margin: float | None, margin_kv: float | None, confidence: float
) -> LevelEquivalence:
    nan = float("nan")
    one, two = (name_level(lay.by, lay.levels[i]) for i in (c.level, base))
    within = f"± {percent(100 * margin)} %" if margin is not None else f"± {margin_kv:g} kV"
    fillings, breakdowns = lay.fillings_of(c.pair.rows), int((c.pair.rows & ~lay.withstood).sum())
    d = c.difference
    if d is None or not (d.standard_error > 0 and math.isfinite(d.standard_error)):
        value = d.value if d is not None else nan
        per = 100 * (d.first / d.second - 1) if d is not None else nan
        text = f"{one} and {two} agree within {within}: cannot be judged, there is no scatter to judge it by."
        return LevelEquivalence(
            lay.levels[c.level], fillings, breakdowns, value, nan, nan, per, nan, nan, nan, nan, nan, UNKNOWN, text
        )
    low, high = d.limits(2 * confidence - 1)
    low_per, high_per = (100 * (v - 1) for v in d.ratio_limits(2 * confidence - 1))
    if margin is not None:
        test = two_one_sided_ratio(d, margin, confidence)
        outside = low_per > 100 * margin or high_per < -100 * margin
    else:
        assert margin_kv is not None
        test = two_one_sided(d, -margin_kv, margin_kv, confidence)
        outside = low > margin_kv or high < -margin_kv
    verdict = SHOWN if test.p_value < 1 - confidence else DIFFERENT if outside else NOT_SHOWN
    if margin is None:
        limits = f"in {low:+.3g} to {high:+.3g} kV"
    else:
        limits = _in_percent(low_per, high_per)
    tail = {
        SHOWN: f"shown (the shift lies {limits}).",
        NOT_SHOWN: f"not shown (the shift lies {limits}, which reaches past the margin; more fillings may decide).",
        DIFFERENT: f"shown to differ by more than that (the shift lies {limits}).",
    }[verdict]
    return LevelEquivalence(
        level=lay.levels[c.level], fillings=fillings, breakdowns=breakdowns,
        difference_kv=d.value, low_kv=low, high_kv=high,
        difference_percent=100 * (d.first / d.second - 1), low_percent=low_per, high_percent=high_per,
        p_lower=test.p_lower, p_upper=test.p_upper, p_value=test.p_value, verdict=verdict,
        sentence=f"{one} and {two} agree within {within}: {tail}", df=test.df, method=c.method,
    )  # fmt: skip
