"""The verdict on one oil against a limit, by three rules, with the chance that it is wrong."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.columns import CONDITION, PRESCRIBED, PROCEDURE, factor_name, with_unit
from methods.errors import InputError, NotEstimable
from methods.planning import inputs
from methods.planning.limit_check import LimitGiven, limit_given
from methods.planning.mean_uncertainty import HISTORY_WORDS, PRIOR_WORDS, MeanUncertainty, mean_uncertainty
from methods.planning.verdicts import check_rule
from methods.procedures.reported import Reported, asked, check_result, reported_by, result_of
from methods.protocols.fitting import departure_caution, departures, rests, sensitivity_cautions
from methods.protocols.grades import GOOD, Grade, graded
from methods.protocols.protocol import Protocol
from methods.protocols.recognition import recognise
from methods.records.table import as_table, filling_codes, group_codes, withstood
from methods.result import Caution, Shown
from methods.scatter.history import STUDY, History, history_of, oil_keys, scatter_history, table_of
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
    filling. Anything that cannot be had is None.
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


@dataclass(frozen=True, repr=False)
class Decisions(Shown):
    """Verdicts on every oil and condition of a table, and those that were refused, with the reason."""

    limit_kv: float
    limit: str
    rule: str
    decisions: tuple[Decision, ...]
    refused: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class _Case:
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


def guard_band(standard_uncertainty_kv: float, risk: float = 0.05, df: float = math.inf) -> float:
    """How far above a lower limit a mean must lie, so that a pass is wrong with at most ``risk``; kV.

    ``t(1 - risk, df) * u``. Source: JCGM 106:2012 (ISO/IEC Guide 98-4), guarded acceptance.

    Parameters
    ----------
    standard_uncertainty_kv : float
        Of the mean, kV.
    risk : float, default 0.05
        Of a wrong pass, a fraction.
    df : float, default math.inf
        Degrees of freedom of the uncertainty.

    Examples
    --------
    >>> round(guard_band(2.0), 2)
    3.29
    """
    u, chance = inputs.positive(standard_uncertainty_kv, "standard_uncertainty_kv"), inputs.probability(risk, "risk")
    return float(scipy.stats.t.ppf(1 - chance, df) * u)


def conformance_probability(mean: float, limit: float, standard_uncertainty: float, df: float = math.inf) -> float:
    """Probability that the true value lies at or above a lower ``limit`` (JCGM 106:2012, clause 7).

    Parameters
    ----------
    mean : float
        The estimate, kV.
    limit : float
        The limit, kV.
    standard_uncertainty : float
        Of the mean, kV.
    df : float, default math.inf
        Degrees of freedom of the uncertainty.

    Examples
    --------
    >>> conformance_probability(50.0, 50.0, 2.0)
    0.5
    """
    u = inputs.positive(standard_uncertainty, "standard_uncertainty")
    return float(scipy.stats.t.cdf((mean - limit) / u, df))


def decide(
    data: Any,
    limit: Any,
    rule: str = "simple",
    *,
    withstood: Any = None,
    fillings: Any = None,
    protocol: Protocol | str | None = None,
    limit_method: str | None = None,
    limit_liquid: str | None = None,
    limit_stage: str | None = None,
    limit_equipment: str | None = None,
    stage: str | None = None,
    equipment: str | None = None,
    poor_below: float | None = None,
    confidence: float = 0.95,
    risk: float = 0.05,
    between_sd: float | None = None,
    instrument_kv: float = 0.0,
    history: Any = None,
    result: str | int = "result",
) -> Decision:
    """Judge one oil under one condition against a limit.

    Parameters
    ----------
    data : Records, DataFrame or array (n,)
        The record table of one oil under one condition, or plain breakdown voltages, kV.
    limit : float, str or Limit
        kV, or an entry of :func:`methods.protocols.limits.limit_table` by its key.
    rule : {"simple", "guarded", "every"}
        Mean reaches the limit; lower confidence limit of the mean reaches it; lowest breakdown reaches it.
    withstood, fillings : array (n,), optional
        With plain voltages: which reached the ceiling without a breakdown, and which filling each is from.
    protocol : Protocol or str, optional
        With plain voltages: the method they were taken by.
    limit_method : str, optional
        The method for which a limit in kV is written. Another method's limit is refused.
    limit_liquid, limit_stage, limit_equipment : str, optional
        With a limit in kV: the liquid, the stage (``in service``) and the class of the equipment (``up to 69 kV``) that
        it is for. Another liquid's is refused.
    stage, equipment : str, optional
        What these oils are: their stage and the class of their equipment, in the words of the limit document
        (:func:`methods.protocols.fitting.known_stages`). A limit for another is refused; one of which it is not known
        is judged with a caution.
    poor_below : float, optional
        With a limit in kV, above which an oil is then good: below this it is poor, between them fair.
    between_sd : float, optional
        Scatter between fillings known from history, kV, taken as certain.
    instrument_kv : float
        Standard uncertainty of voltmeter, gap and the like, kV; added to the scatter's.
    history : History, Records, DataFrame or path, optional
        Earlier tests from which the scatter within and between fillings is borrowed
        (:func:`methods.scatter.scatter_history`).
    result : {"result"} or int
        What a reported result is: what the method says; a number answers where none does (:func:`methods.precision`).
    confidence : float, default 0.95
        Of the limits and of the guard band, a fraction.
    risk : float, default 0.05
        Of a wrong pass, a fraction.

    Raises
    ------
    InputError
        Several oils or conditions in the table; a limit written for another method, gap or edition; an unknown rule.
    NotEstimable
        No voltages.
    """
    given = limit_given(
        limit, limit_method, liquid=limit_liquid, stage=limit_stage, equipment=limit_equipment, poor_below=poor_below
    )
    case = _case(given, rule, confidence, risk, between_sd, instrument_kv, result)
    case = replace(case, stage=stage or "", equipment=equipment or "")
    case = replace(
        case, history=history_of(history, data if hasattr(data, "columns") or hasattr(data, "table") else None)
    )
    if isinstance(data, pd.DataFrame) or hasattr(data, "table"):
        table = as_table(data)
        keys = ["sample", *CONDITION]
        if len(np.unique(group_codes(table, keys))) > 1:
            several = [k for k in keys if table[k].nunique(dropna=False) > 1]
            raise InputError(
                f"The table holds several levels of {', '.join(several)}: one verdict is about one oil under one "
                "condition. Choose one, or use decide_all.",
                column=several[0],
            )
        return _judge_table(table, case, None)
    kv = np.asarray(data, dtype=float).ravel()
    known = recognise(protocol) if isinstance(protocol, str) else protocol
    if isinstance(protocol, str) and known is None:
        raise InputError(f"No protocol is known as {protocol!r}.", column="protocol", text=protocol)
    gone = np.zeros(kv.shape, bool) if withstood is None else np.asarray(withstood, dtype=bool).ravel()
    labels = np.zeros(kv.shape, int) if fillings is None else np.asarray(fillings).ravel()
    made = _judge(
        kv,
        gone,
        labels,
        case,
        [*case.limit.check(known, None, None, case.stage, case.equipment), *sensitivity_cautions(known)],
        None,
        fillings is not None,
    )
    return _in_results(made, reported_by(known) if fillings is not None else None, known)


def decide_all(
    data: Any,
    limit: Any,
    rule: str = "simple",
    *,
    limit_method: str | None = None,
    limit_liquid: str | None = None,
    limit_stage: str | None = None,
    limit_equipment: str | None = None,
    stage: str | None = None,
    equipment: str | None = None,
    poor_below: float | None = None,
    by: Sequence[str] | None = None,
    confidence: float = 0.95,
    risk: float = 0.05,
    between_sd: float | None = None,
    instrument_kv: float = 0.0,
    history: Any = None,
    result: str | int = "result",
    progress: Callable[[int, int], None] | None = None,
) -> Decisions:
    """Judge every oil and condition of a table; what must not be compared with the limit is listed with the reason.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    by : sequence of str, optional
        Columns that tell the cases apart; sample and condition unless said.
    limit, rule, limit_method, limit_liquid, limit_stage, limit_equipment, stage, equipment, poor_below
        As for :func:`decide`.
    confidence, risk, between_sd, instrument_kv, result
        As for :func:`decide`.
    history
        As for :func:`decide`; or ``"study"``: each case borrows from the others of the table.
    progress : callable, optional
        Called before each case with the number judged and the number of cases; may raise to stop.

    Raises
    ------
    InputError
        Nothing in the table may be compared with the limit; a limit in kV with no method for a table of several.
    """
    given = limit_given(
        limit, limit_method, liquid=limit_liquid, stage=limit_stage, equipment=limit_equipment, poor_below=poor_below
    )
    case = _case(given, rule, confidence, risk, between_sd, instrument_kv, result)
    case = replace(case, stage=stage or "", equipment=equipment or "")
    table = as_table(data)
    if not len(table):
        raise NotEstimable("The table holds no breakdowns.")
    if not case.limit.bound and table["method"].nunique(dropna=False) > 1:
        raise InputError(
            "The table holds several methods and a limit belongs to one of them: say for which method the limit is "
            "written.",
            column="limit_method",
            lacks="limit_method",
        )
    _one_gap(table, case.limit)
    keys = [k for k in (["sample", *CONDITION] if by is None else by) if k in table.columns]
    shown = [k for k in keys if table[k].nunique(dropna=False) > 1] or keys[:1]
    codes = group_codes(table, keys)
    history = table_of(history)
    made: list[Decision] = []
    refused: list[dict[str, Any]] = []
    cases = pd.unique(codes)
    for i, code in enumerate(cases):
        if progress is not None:
            progress(i, len(cases))
        part = table[codes == code]
        group = {k: None if pd.isna(part[k].iloc[0]) else part[k].iloc[0] for k in shown}
        if history is not None:
            case = replace(case, history=_history(history, table, part))
        try:
            found = _judge_table(part, case, group)
            made.append(replace(found, cautions=(*found.cautions, *_mixture(part))))
        except InputError as error:
            refused.append({"group": group, "breakdowns": len(part), "reason": str(error)})
    if not made:
        raise InputError(refused[0]["reason"], column="limit")
    return Decisions(case.limit.kv, case.limit.title, case.rule, tuple(made), tuple(refused))


def _one_gap(table: pd.DataFrame, limit: LimitGiven) -> None:
    """Refuse a limit that does not say its gap for tests of its method at several gaps.

    Raises
    ------
    InputError
    """
    if limit.entry is None or limit.entry.gap_mm is not None:
        return
    known = {m: recognise(m) for m in table["method"].dropna().unique()}
    mine = [m for m, p in known.items() if p is not None and p.family == limit.entry.method]
    gaps = sorted(table.loc[table["method"].isin(mine), "gap_mm"].dropna().unique())
    if gaps and gaps[-1] > 1.02 * gaps[0]:
        words = list_words([with_unit("gap_mm", g) for g in gaps])
        raise InputError(
            f"The tests were made at {words}, and the limit does not say for which: the voltage grows with the gap, so "
            "one limit fits one of them. Name the gap with the method, such as ASTM D1816 2 mm.",
            column="limit_method",
        )


def _history(history: Any, table: pd.DataFrame, part: pd.DataFrame) -> History | None:
    """What a case borrows; in a study whose other oils tell nothing, nothing."""
    if not (isinstance(history, str) and history == STUDY):
        return history_of(history, part)
    try:
        return scatter_history(table, part, without=oil_keys(part.iloc[:1])[0])
    except NotEstimable:
        return None


def _mixture(part: pd.DataFrame) -> list[Caution]:
    """A caution where one case holds several oils or conditions, as ``by`` can make it."""
    mixed = [k for k in ("sample", *CONDITION) if part[k].nunique(dropna=False) > 1]
    if not mixed:
        return []
    text = (
        f"This case holds several levels of {', '.join(mixed)}: the verdict is about their average, and no single oil "
        "or condition need be like it. Judge them one by one."
    )
    return [Caution("mixture", text)]


def _in_results(made: Decision, one: Reported | None, protocol: Protocol | None) -> Decision:
    """The verdict with the reported results that its fillings make, and a caution where they make none."""
    if one is None:
        return made
    notes = list(made.cautions)
    if one.assumed:
        notes.append(asked())
    if not one.whole(made.fillings):
        name = protocol.designation if protocol is not None else "the method"
        text = (
            f"{made.fillings} of the {one.fillings} fillings of a result of {name} ({one.words}): the limit is for a "
            "whole one, and this verdict for the mean of what there is."
        )
        notes.append(Caution("incomplete_results", text))
    return replace(made, results=one.whole(made.fillings), result=one.words, cautions=tuple(notes))


def _case(
    limit: LimitGiven, rule: str, confidence: float, risk: float, between: float | None, more: float, result: Any
) -> _Case:
    kind = check_result(result)
    if kind in ("filling", "breakdown"):
        raise InputError("A verdict is about an oil's mean: result is 'result', or the number of fillings of one.")
    return _Case(
        limit,
        check_rule(rule),
        inputs.probability(confidence, "confidence"),
        inputs.probability(risk, "risk"),
        None if between is None else inputs.positive(between, "between_sd", zero=True),
        inputs.positive(more, "instrument_kv", zero=True),
        result=kind,
    )


def _judge_table(table: pd.DataFrame, case: _Case, group: dict[str, Any] | None) -> Decision:
    first = table.iloc[0]
    text, edition, gap = first["method"], first["edition"], first["gap_mm"]
    protocol = None
    if not pd.isna(text):
        protocol = recognise(text, None if pd.isna(edition) else edition, gap_mm=None if pd.isna(gap) else float(gap))
    several = [c for c in PROCEDURE if table[c].nunique(dropna=False) > 1]
    if several:
        raise InputError(
            f"The tests differ in {list_words([factor_name(c) for c in several])}: a verdict is about one oil by one "
            "procedure. Leave --by out, or name these too.",
            column=several[0],
        )
    found = case.limit.check(protocol, first["fluid"], first["state"], case.stage, case.equipment)
    settings = {name: None if pd.isna(first[name]) else first[name] for name in PRESCRIBED}
    warm = table["temperature_c"].dropna()
    temperatures = (float(warm.min()), float(warm.max())) if len(warm) else None
    told = departures(protocol, settings, temperatures, rests(table))
    found += departure_caution(protocol, told) + sensitivity_cautions(protocol)
    known = not table["filling"].isna().any()
    kv = table["kv"].to_numpy(dtype=float)
    made = _judge(kv, withstood(table), filling_codes(table), case, found, group, known)
    one = result_of(table, case.result) if known else None
    return _in_results(replace(made, departures=told), one, protocol)


def _judge(
    kv: np.ndarray, gone: np.ndarray, labels: np.ndarray, case: _Case, found: list[Caution], group: Any, known: bool
) -> Decision:
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
    )


def _grades(case: _Case, mean: MeanUncertainty, scatter: bool, lowest: float) -> tuple[str | None, tuple[Grade, ...]]:
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


def _one_filling_only(mean: MeanUncertainty, case: _Case) -> bool:
    return mean.oil is not None and mean.oil.fillings == 1 and case.borrowed is None


def _above(mean: MeanUncertainty, limit: float, case: _Case) -> float | None:
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


def _verdict(kv: np.ndarray, gone: np.ndarray, case: _Case, mean: MeanUncertainty, low: float | None) -> str:
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
    case: _Case, verdict: str, mean: MeanUncertainty, low: float | None, above: float | None, kv: np.ndarray
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
