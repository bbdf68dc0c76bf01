"""The verdict on one oil against a limit, by three rules, with the chance that it is wrong."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import CONDITION, PRESCRIBED, PROCEDURE, factor_name, with_unit
from methods.errors import InputError, NotEstimable
from methods.planning import inputs
from methods.planning.judging import Decision, Decisions, VerdictAsked, verdict_on
from methods.planning.limit_check import LimitGiven, limit_given
from methods.planning.verdicts import check_rule
from methods.procedures.reported import Reported, asked, check_result, reported_by, result_of
from methods.protocols.fitting import departure_caution, departures, rests, sensitivity_cautions
from methods.protocols.protocol import Protocol
from methods.protocols.recognition import recognise
from methods.records.table import as_table, filling_codes, group_codes, withstood
from methods.result import Caution
from methods.scatter.history import STUDY, History, history_of, oil_keys, scatter_history, table_of
from methods.wording import list_words


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
    made = verdict_on(
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
) -> VerdictAsked:
    kind = check_result(result)
    if kind in ("filling", "breakdown"):
        raise InputError("A verdict is about an oil's mean: result is 'result', or the number of fillings of one.")
    return VerdictAsked(
        limit,
        check_rule(rule),
        inputs.probability(confidence, "confidence"),
        inputs.probability(risk, "risk"),
        None if between is None else inputs.positive(between, "between_sd", zero=True),
        inputs.positive(more, "instrument_kv", zero=True),
        result=kind,
    )


def _judge_table(table: pd.DataFrame, case: VerdictAsked, group: dict[str, Any] | None) -> Decision:
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
    made = verdict_on(kv, withstood(table), filling_codes(table), case, found, group, known)
    one = result_of(table, case.result) if known else None
    return _in_results(replace(made, departures=told), one, protocol)
