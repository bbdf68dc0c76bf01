"""What one verdict is, and how it is come by: the mean of one oil under one condition, a rule and a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from methods.errors import InputError
from methods.planning.conformance import conformance_probability, guard_band
from methods.planning.limit_check import LimitGiven
from methods.planning.mean_uncertainty import HISTORY_WORDS, PRIOR_WORDS, SHARE_ABOVE, MeanUncertainty, mean_uncertainty
from methods.protocols.grades import GOOD, Grade, graded
from methods.result import Caution, Shown
from methods.scatter.history import History
from methods.scatter.nested_pivots import shifted
from methods.wording import list_words


@dataclass(frozen=True, repr=False)
class Decision(Shown):
    """A verdict on one oil under one condition.

    ``verdict``: ``pass``, ``fail`` or ``undecided``. ``mean_kv`` with ``standard_uncertainty_kv`` and ``df``;
    ``low_kv`` its one-sided lower ``confidence`` limit, ``expanded_uncertainty_kv`` the two-sided half-width at the
    same confidence; ``mean_low_kv, mean_high_kv`` the two-sided limits and ``holds_for`` what they hold for (``this
    oil``, or ``this filling`` where there is one). ``probability_above``: how probable it is that the true mean of the
    oil reaches the limit (ISO/IEC Guide 98-4), given what is taken as known beforehand (``prior``, in words);
    ``wrong_verdict_probability`` the probability that the verdict is wrong about the true mean. ``guard_band_kv``: what
    the mean has to lie above the limit for a ``risk`` of a wrong pass. With one filling and no history, ``low_kv`` and
    the guard band are the oil's by the same prior, because the filling alone cannot tell how others differ.
    ``basis``: what the uncertainty was taken from. ``grade`` and ``grades``: of a graded limit (good, fair, poor) the
    grade of the mean, and each with the probability that the true mean lies in it. ``departures``: where the test
    departs from its method (electrode, gap, stirring, rate, temperature, rest). ``results``: how many whole reported
    results the fillings make, ``result``: what one is (``the mean of 5 fillings of 1``); the mean is over every
    filling. ``surely_above_kv``: with the confidence, at least the share ``share_above`` of single breakdowns lies
    above it (a one-sided tolerance limit, of the oil or of its one filling as ``holds_for`` says). What cannot be
    estimated is None.
    """

    group: dict[str, Any] | None
    rule: str
    verdict: str
    limit_kv: float
    limit: str
    mean_kv: float | None
    minimum_kv: float | None
    breakdowns: int
    withstood: int
    fillings: int
    standard_uncertainty_kv: float | None
    df: float | None
    low_kv: float | None
    expanded_uncertainty_kv: float | None
    confidence: float
    probability_above: float | None
    wrong_verdict_probability: float | None
    guard_band_kv: float | None
    risk: float
    basis: str
    sentence: str
    cautions: tuple[Caution, ...]
    mean_low_kv: float | None = None
    mean_high_kv: float | None = None
    holds_for: str = ""
    prior: str = ""
    sd_kv: float | None = None
    grade: str | None = None
    grades: tuple[Grade, ...] = ()
    departures: tuple[str, ...] = ()
    results: int | None = None
    result: str = ""
    surely_above_kv: float | None = None
    share_above: float | None = None


@dataclass(frozen=True, repr=False)
class Decisions(Shown):
    """Verdicts on every oil and condition of a table, and those that were refused, with the reason."""

    limit_kv: float
    limit: str
    rule: str
    decisions: tuple[Decision, ...]
    refused: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class VerdictAsked:
    """What one verdict is asked for: the limit, the rule, and what is known beforehand."""

    limit: LimitGiven
    rule: str
    confidence: float
    risk: float
    between_sd: float | None
    instrument_kv: float
    history: History | None = None
    result: str | int = "result"
    stage: str = ""
    equipment: str = ""

    @property
    def borrowed(self) -> Any:
        """What is known of the scatter from history; None: nothing."""
        return self.history if self.between_sd is None else self.between_sd


def verdict_on(
    kv: np.ndarray,
    gone: np.ndarray,
    labels: np.ndarray,
    case: VerdictAsked,
    found: list[Caution],
    group: Any,
    known: bool,
) -> Decision:
    """Judge breakdowns of one oil under one condition.

    Parameters
    ----------
    kv : ndarray
        (n,) Voltages, kV.
    gone : ndarray
        (n,) Which of them are withstands.
    labels : ndarray
        (n,) Labels of the fillings.
    case : VerdictAsked
        The limit, the rule and what is known beforehand.
    found : list of Caution
        What is to be said of the limit and the method already.
    group : dict or None
        What the decision is called by, among several.
    known : bool
        Whether the fillings are known.

    Raises
    ------
    InputError
        Voltages that are no positive numbers, or marks and fillings of another length.
    """
    if kv.size == 0 or not np.all(np.isfinite(kv) & (kv > 0)) or gone.shape != kv.shape or labels.shape != kv.shape:
        raise InputError("Voltages must be numbers above zero, with one mark and one filling each.", column="kv")
    limit = case.limit.kv
    mean = mean_uncertainty(
        kv, gone, labels, between_sd=case.between_sd, instrument_kv=case.instrument_kv, confidence=case.confidence,
        history=case.history,
    )  # fmt: skip
    found = [*found, *mean.cautions]
    if not known:
        found.append(Caution("fillings_unknown", "Which filling each breakdown is from is not known: taken as one."))
    low = reach = above = band = None
    ends: tuple[float | None, float | None] = (None, None)
    if mean.mean_kv is not None and mean.standard_uncertainty_kv is not None and mean.df is not None:
        u, df = mean.standard_uncertainty_kv, mean.df
        low = mean.mean_kv - float(scipy.stats.t.ppf(case.confidence, df)) * u
        reach = float(scipy.stats.t.ppf(0.5 + case.confidence / 2, df)) * u
        ends = _ends(mean, reach, case.instrument_kv)
        if u > 0:
            above = _above(mean, limit, case)
            band = guard_band(u, case.risk, df)
            sure, risky = mean.surely_above(case.confidence), mean.surely_above(1 - case.risk)
            if case.borrowed is not None and case.between_sd is None and not gone.any():  # fractions of the true mean
                low = shifted(mean.mean_kv, mean.mean_kv - low, True)[0]
                band = mean.mean_kv - shifted(mean.mean_kv, band, True)[0]
            if _one_filling_only(mean, case) and sure is not None and risky is not None:
                low, band = sure, mean.mean_kv - risky
    verdict = _verdict(kv, gone, case, mean, low)
    grade, grades = _grades(case, mean, above is not None, float(kv.min()))
    wrong = None if above is None or verdict == "undecided" else (1 - above if verdict == "pass" else above)
    most = _most_lie_above(mean)
    if mean.mean_kv is None and verdict == "pass":
        found.append(Caution("withstood", "How far the mean lies above the ceiling is not known."))
    if case.limit.bands is not None and mean.mean_kv is not None and case.limit.bands.on_edge(mean.mean_kv):
        found.append(
            Caution(
                "grade_edge", "The mean lies exactly on the limit of a grade: whether that is fair is yours to say."
            )
        )
    return Decision(
        group=group,
        rule=case.rule,
        verdict=verdict,
        limit_kv=limit,
        limit=case.limit.title,
        mean_kv=mean.mean_kv,
        minimum_kv=float(kv.min()),
        breakdowns=int((~gone).sum()),
        withstood=int(gone.sum()),
        fillings=len(np.unique(labels)),
        standard_uncertainty_kv=mean.standard_uncertainty_kv,
        df=mean.df,
        low_kv=low,
        expanded_uncertainty_kv=reach,
        confidence=case.confidence,
        probability_above=above,
        wrong_verdict_probability=wrong,
        guard_band_kv=band,
        risk=case.risk,
        basis=mean.basis,
        sentence=_sentence(case, verdict, mean, low, above, kv) + _told(grade, grades),
        cautions=tuple(found),
        mean_low_kv=ends[0],
        mean_high_kv=ends[1],
        holds_for="" if mean.oil is None else mean.oil.holds_for,
        prior="" if above is None else (PRIOR_WORDS if case.borrowed is None else HISTORY_WORDS),
        sd_kv=None if mean.oil is None else mean.oil.sd_kv,
        grade=grade,
        grades=grades,
        surely_above_kv=most,
        share_above=None if most is None else SHARE_ABOVE,
    )


def _most_lie_above(mean: MeanUncertainty) -> float | None:
    """The lower tolerance limit of single breakdowns, kV; not below 0."""
    low = mean.oil.percentiles[0].surely_above_kv if mean.oil is not None and mean.oil.percentiles else math.nan
    return max(low, 0.0) if math.isfinite(low) else None


def _grades(
    case: VerdictAsked, mean: MeanUncertainty, scatter: bool, lowest: float
) -> tuple[str | None, tuple[Grade, ...]]:
    """The grade of the mean, and all three with what speaks for them; nothing where the limit is not graded."""
    bands = case.limit.bands
    if bands is None:
        return None, ()
    found = graded(bands, lambda kv: _above(mean, kv, case) if scatter else None)
    if mean.mean_kv is not None:
        return bands.grade(mean.mean_kv), found
    # where nothing broke down the mean lies above the lowest ceiling, which tells the grade if that is good already
    good = mean.basis == "withstood only" and bands.grade(lowest) == GOOD
    return GOOD if good else None, found


def _told(grade: str | None, grades: tuple[Grade, ...]) -> str:
    """The grade and the probabilities in words, to follow the verdict."""
    if grade is None:
        return ""
    chances = [f"{g.name} {_percent(g.probability)}" for g in grades if g.probability is not None]
    return f" Grade: {grade}" + (f" (true mean: {list_words(chances)})." if chances else ".")


def _one_filling_only(mean: MeanUncertainty, case: VerdictAsked) -> bool:
    return mean.oil is not None and mean.oil.fillings == 1 and case.borrowed is None


def _above(mean: MeanUncertainty, limit: float, case: VerdictAsked) -> float | None:
    """Where each filling has one value there is nothing to know beforehand: Student's t, exactly."""
    oil = mean.oil
    assert mean.mean_kv is not None and mean.standard_uncertainty_kv is not None and mean.df is not None
    if oil is not None and oil.fillings == oil.n > 1 and not oil.withstood and case.borrowed is None:
        return conformance_probability(mean.mean_kv, limit, mean.standard_uncertainty_kv, mean.df)
    return mean.probability_at_least(limit)


def _ends(mean: MeanUncertainty, reach: float, instrument_kv: float) -> tuple[float, float]:
    """Two-sided limits of the mean; under a ceiling, and with scatter from history, they are not symmetric."""
    assert mean.mean_kv is not None
    oil = mean.oil
    symmetric = oil is None or math.isclose(oil.mean_low_kv + oil.mean_high_kv, 2 * oil.mean_kv, rel_tol=1e-9)
    if oil is None or (symmetric and not oil.withstood):
        return mean.mean_kv - reach, mean.mean_kv + reach
    more = scipy.special.ndtri(0.5 + oil.confidence / 2) * instrument_kv
    low, high = (math.hypot(v - oil.mean_kv, more) for v in (oil.mean_low_kv, oil.mean_high_kv))
    return oil.mean_kv - low, oil.mean_kv + high


def _verdict(kv: np.ndarray, gone: np.ndarray, case: VerdictAsked, mean: MeanUncertainty, low: float | None) -> str:
    reaches = case.limit.reaches
    if case.rule == "every":
        if not reaches(kv[~gone]).all():
            return "fail"
        return "pass" if reaches(kv[gone]).all() else "undecided"
    if mean.mean_kv is None:  # nothing broke down: the ceilings are all that is known
        return "pass" if reaches(kv).all() and case.rule == "simple" else "undecided"
    value = mean.mean_kv if case.rule == "simple" else low
    if value is None:
        return "undecided"
    return "pass" if bool(reaches(np.array([value]))[0]) else "fail"


def _sentence(
    case: VerdictAsked, verdict: str, mean: MeanUncertainty, low: float | None, above: float | None, kv: np.ndarray
) -> str:
    limit = f"{case.limit.kv:g} kV"
    word = {"pass": "Pass", "fail": "Fail", "undecided": "Undecided"}[verdict]
    if mean.mean_kv is None:
        why = "no breakdown up to" if mean.basis == "withstood only" else "the mean cannot be estimated; the lowest is"
        return f"{word} by the {case.rule} rule: {why} {kv.min():g} kV, the limit {limit}."
    said = {
        "simple": f"the mean is {mean.mean_kv:.1f} kV",
        "guarded": "the mean has no lower confidence limit"
        if low is None
        else f"the mean of the oil lies above {low:.1f} kV with a one-sided confidence of {100 * case.confidence:g} %",
        "every": f"the lowest is {kv.min():g} kV",
    }[case.rule]
    text = f"{word} by the {case.rule} rule: {said}, the limit {limit}."
    if above is not None:
        text += f" The true mean reaches the limit with a probability of {_percent(above)}."
    return text


def _percent(p: float) -> str:
    if p > 0.999:
        return "more than 99.9 %"
    return "less than 0.1 %" if p < 0.001 else f"{100 * p:.1f} %"
