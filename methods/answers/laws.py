"""Do gap and rate of rise follow a power law, and what does it say of another gap or rate?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.answers.writing import number, signed
from methods.columns import group_name
from methods.laws.gap_law import GapLaw
from methods.laws.power_fit import PowerPrediction
from methods.laws.rate_law import RateLaw, RateShift
from methods.result import Caution

QUESTION = "method_study"
#: Laws that are told of in a sentence.
MOST_TOLD = 3
#: A prediction, or why there is none.
Predicted = PowerPrediction | str


def gap(found: GapLaw | Sequence[GapLaw], predicted: Mapping[int, Mapping[float, Predicted]] | None = None) -> Answer:
    """The exponent of the gap of each group; ``predicted`` holds what was asked of each law (by its place), by gap."""
    laws = list(found) if isinstance(found, Sequence) else [found]
    asked = predicted or {}
    rows = [
        {"group": group_name(w.group), "tested": _tested(w.gaps_mm, "mm"), "a_kv": w.a_kv, "m": w.m, "m_low": w.m_low,
         "m_high": w.m_high, "lack_of_fit_p": w.lack_of_fit_p, "units": w.units, "error": w.error}
        for w in laws
    ]  # fmt: skip
    tables = [_table("laws", "Gap law of each group", rows)]
    lines = [
        {"group": group_name(laws[i].group), "gap_mm": at, **_prediction(p)}
        for i, gaps in asked.items() for at, p in gaps.items()
    ]  # fmt: skip
    if lines:
        tables.append(_table("predictions", "Predicted by the law", lines))
    told = [(w, gap_sentence(w, next((p for p in asked.get(i, {}).values() if not isinstance(p, str)), None)))
            for i, w in enumerate(laws) if w.fit is not None]  # fmt: skip
    cautions = _cautions(laws)
    cautions += [c for gaps in asked.values() for p in gaps.values() if not isinstance(p, str) for c in p.cautions]
    return Answer(QUESTION, _said(told, laws), tuple(dict.fromkeys(cautions)), tuple(tables), _plot(laws), found)


def gap_sentence(law: GapLaw, predicted: PowerPrediction | None = None) -> str:
    """What one gap law says, and what it predicts where that was asked."""
    assert law.fit is not None
    low, high = (f"{g:g}" for g in (law.gaps_mm[0], law.gaps_mm[-1]))
    said = (
        f"From {low} to {high} mm the voltage grows as gap to the power {number(law.m, 2)} "
        f"({number(law.m_low, 2)} to {number(law.m_high, 2)})"
    )
    if law.lack_of_fit_p == law.lack_of_fit_p and len(law.gaps_mm) > 2:
        bend = law.lack_of_fit_p < 1 - law.fit.confidence
        said += ", but the points do not follow one power law" if bend else "; no bend shows"
    if predicted is not None:
        said += (
            f". At {predicted.x:g} mm it predicts {number(predicted.kv, 2)} kV for a {law.unit}, "
            f"{number(predicted.band_low_kv, 2)} to {number(predicted.band_high_kv, 2)}"
        )
    return said + "."


def rate(found: RateLaw | Sequence[RateLaw], shifts: Mapping[int, RateShift] | None = None) -> Answer:
    """The life exponent of each group; ``shifts`` holds what was asked of each law (by its place)."""
    laws = list(found) if isinstance(found, Sequence) else [found]
    rows = [
        {"group": group_name(w.group), "tested": _tested(w.rates_kv_s, "kV/s"), "n_exponent": w.n, "n_low": w.n_low,
         "n_high": w.n_high, "lack_of_fit_p": w.lack_of_fit_p, "units": w.units, "error": w.error}
        for w in laws
    ]  # fmt: skip
    tables = [_table("laws", "Rate law of each group", rows)]
    if shifts:
        lines = [{"group": group_name(laws[i].group), **_shift_row(s)} for i, s in shifts.items()]
        tables.append(_table("rate_shift", "Expected shift between two rates of rise", lines))
    told = [(w, rate_sentence(w, (shifts or {}).get(i))) for i, w in enumerate(laws) if w.fit is not None]
    return Answer(QUESTION, _said(told, laws), tuple(_cautions(laws)), tuple(tables), _plot(laws), found)


def rate_sentence(law: RateLaw, shift: RateShift | None = None) -> str:
    """What one rate law says, and the shift that it lets expect where that was asked."""
    if law.n != law.n or law.n == float("inf"):
        return "The voltage does not visibly grow with the rate of rise here, so no life exponent is given."
    high = number(law.n_high, 2) if law.n_high < float("inf") else "any"
    said = f"Life exponent n = {number(law.n, 2)} ({number(law.n_low, 2)} to {high})"
    if shift is None:
        return f"{said}."
    return (
        f"{said}: going from {shift.from_kv_s:g} to {shift.to_kv_s:g} kV/s it predicts {signed(shift.percent)} % "
        f"({signed(shift.low_percent)} to {signed(shift.high_percent)})."
    )


def rate_shift(found: RateShift) -> Answer:
    """The shift between two rates of rise for a life exponent that was given."""
    ends = (found.low_percent, found.high_percent)
    span = f" (between {signed(ends[0])} and {signed(ends[1])} %)" if ends[0] != ends[1] else ""
    said = (
        f"From {found.from_kv_s:g} to {found.to_kv_s:g} kV/s with n = {number(found.n)}: {signed(found.percent, 3)} %"
        f"{span}. Not a conversion."
    )
    table = _table("rate_shift", "Expected shift between two rates of rise", [_shift_row(found)])
    return Answer(QUESTION, (said,), (), (table,), (), found)


def _shift_row(s: RateShift) -> dict[str, float]:
    return {"from_kv_s": s.from_kv_s, "to_kv_s": s.to_kv_s, "n_exponent": s.n, "shift_percent": s.percent,
            "shift_low": s.low_percent, "shift_high": s.high_percent}  # fmt: skip


def _prediction(p: Predicted) -> dict[str, Any]:
    names = ("kv", "low_kv", "high_kv", "band_low_kv", "band_high_kv")
    if isinstance(p, str):
        return {**dict.fromkeys(names, float("nan")), "error": p}
    return {**{n: getattr(p, n) for n in names}, "error": None}


def _tested(levels: Sequence[float], unit: str) -> str:
    return f"{', '.join(f'{v:g}' for v in levels)} {unit}" if levels else ""


def _said(told: Sequence[tuple[Any, str]], laws: Sequence[Any]) -> tuple[str, ...]:
    """A sentence for each of the laws that rest on most levels, and why groups have none."""
    first = sorted(told, key=lambda pair: -len(pair[0].fit.levels))[:MOST_TOLD]
    said = [f"{group_name(w.group)}: {text}" if len(laws) > 1 else text for w, text in first]
    reasons: dict[str, list[str]] = {}
    for law in laws:
        if law.error:
            reasons.setdefault(law.error, []).append(group_name(law.group))
    return (*said, *(f"No law for {'; '.join(names)}: {why}" for why, names in reasons.items()))


def _cautions(laws: Sequence[Any]) -> list[Caution]:
    return [
        Caution(c.code, f"{group_name(w.group)}: {c.text}" if len(laws) > 1 else c.text)
        for w in laws for c in w.cautions
    ]  # fmt: skip


def _plot(laws: Sequence[Any]) -> tuple[str, ...]:
    return ("law",) if any(w.fit is not None for w in laws) else ()


def _table(name: str, title: str, rows: Sequence[Mapping[str, Any]]) -> Table:
    frame = pd.DataFrame(rows)
    if "error" in frame and frame["error"].isna().all():
        frame = frame.drop(columns="error")
    return Table(name, title, frame, "", OWN[QUESTION])
