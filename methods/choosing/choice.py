"""The table of procedures, the best of them, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy

from methods.agreement import discrimination
from methods.choosing.evidence import Evidence, common_rows
from methods.choosing.facts import ProcedureFacts, procedure_facts
from methods.choosing.scores import DEFAULT_WEIGHTS, OilDraws, check_weights, draw_oils, probabilities, score
from methods.choosing.settle import MOST_HOURS, would_settle
from methods.errors import InputError, NotEstimable
from methods.planning.nested import half_width_bench
from methods.procedures import PROCEDURE
from methods.procedures.reported import asked
from methods.randomness import Rng
from methods.records.saturation import with_saturation
from methods.result import Caution, Shown
from methods.shifts import shift
from methods.shifts.liquid_state import state_caution
from methods.wording import list_words, percent

#: Below this probability the choice is open, and further tests are named.
SURE = 0.9

#: A procedure is in play from this probability of being the best; of those so many are named.
IN_PLAY, NAMED = 0.05, 3

#: Fillings of the plans that make a procedure's line in the plot.
PLANS: tuple[int, ...] = tuple(range(2, 13))


@dataclass(frozen=True)
class ProcedureRow:
    """One procedure on the common oils; what cannot be seen is nan (numbers) or None.

    ``shift_percent`` with limits against the reference; ``cov_*`` scatter within and between fillings; ``fillings`` x
    ``breakdowns_per_filling`` reach the target, in ``bench_minutes`` and ``oil_litres``, with ``half_width_percent``
    (and its limits, because scatter is itself an estimate); ``discrimination_*``: spread between these oils over the
    scatter of one result, or of the mean of an hour's results; ``withstood_percent`` of the readings met the ceiling;
    ``false_alarm_percent``: how often its consistency rule asks for more although nothing is wrong;
    ``wrong_verdict_percent``: chance that one result of an oil 10 % from a limit falls on its wrong side;
    ``notes``: what is published about what the method is sensitive to.
    """

    procedure: str
    method: str
    oils: int
    results: int
    mean_kv: float
    shift_percent: float
    low_percent: float
    high_percent: float
    cov_within_percent: float
    cov_between_percent: float
    cov_result_percent: float
    fillings: int
    breakdowns_per_filling: int
    bench_minutes: float
    oil_litres: float
    half_width_percent: float
    half_width_low_percent: float
    half_width_high_percent: float
    discrimination_per_result: float
    discrimination_per_result_low: float
    discrimination_per_result_high: float
    discrimination_per_hour: float
    discrimination_per_hour_low: float
    discrimination_per_hour_high: float
    withstood_percent: float
    false_alarm_percent: float
    wrong_verdict_percent: float
    probability_best: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class PlanPoint:
    """One plan of a procedure: what ``bench_minutes`` buy."""

    procedure: str
    fillings: int
    breakdowns_per_filling: int
    bench_minutes: float
    half_width_percent: float


@dataclass(frozen=True, repr=False)
class Choice(Shown):
    """The result of :func:`choose`. ``would_settle``: dicts with ``procedure, fillings, oils, minutes``."""

    procedures: list[ProcedureRow]
    best: str
    probability_best: float
    would_settle: list[dict[str, Any]]
    plans: list[PlanPoint]
    reference: str
    oils: list[str]
    half_width_percent: float
    confidence: float
    weights: dict[str, float]
    sentence: str
    cautions: list[Caution] = field(default_factory=list)


def choose(
    data: Any,
    *,
    half_width: float = 0.10,
    confidence: float = 0.95,
    weights: Mapping[str, float] | None = None,
    history: str | None = None,
    reference: str | None = None,
    only: Sequence[str] = (),
    result: str | int = "result",
    repetitions: int = 2000,
    rng: Rng = 0,
    progress: Callable[[float], object] | None = None,
) -> Choice:
    """Set the procedures beside each other on the oils that all tested, and say which is best and how surely.

    The score of a procedure is the weighted mean of logarithms of the criteria (:data:`methods.choosing.CRITERIA`), so
    that a procedure with half the scatter, half the time or twice the discrimination gains the same. The probability
    that it is best is the share of redrawn data (oils with replacement, and fillings within each oil) in which it
    scores highest.

    Parameters
    ----------
    data : Records or DataFrame
    half_width : float
        Wanted half-width of an oil's mean, as a fraction: 0.10 is 10 %.
    weights : mapping, optional
        Criterion -> weight, 0 or more; those not named keep :data:`methods.choosing.scores.DEFAULT_WEIGHTS`.
    history : str, optional
        The procedure that past results were taken by; counts with the weight ``history`` (1 where none is given).
    reference : str, optional
        The procedure that shifts are measured from; by default that of ``history``, else that with most fillings.
    only : sequence of str
        The procedures to compare.
    result : {"result"} or int
        What a reported result is: what the method says; a number answers where none does (:func:`methods.precision`).
        Plans are in whole results.
    progress : callable, optional
        Called with the share that is done, 0 to 1, as the work goes on.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    repetitions : int, default 2000
        Draws of oils and fillings.
    rng : int or Generator, default 0
        A seed or a generator; the same seed gives the same numbers.

    Raises
    ------
    InputError
        Numbers out of range, a procedure or criterion that is not there.
    NotEstimable
        Fewer than two procedures, no common oil, or nothing repeated.
    """
    if not 0 < half_width < 1:
        raise InputError(f"The half-width is {half_width!r}; it must be a fraction between 0 and 1, such as 0.10.")
    if not 0.5 <= confidence < 1:
        raise InputError(f"The confidence is {confidence!r}; it must lie between 0.5 and 1, such as 0.95.")
    weighed = check_weights({**({"history": 1.0} if history is not None else {}), **(weights or {})})
    found = common_rows(data, only)
    for name in [*only, *([history] if history else []), *([reference] if reference else [])]:
        if name not in found.procedures:
            raise InputError(f"There is no procedure {name!r}; there are {'; '.join(found.procedures)}.", text=name)
    cautions = list(found.cautions)
    done = progress or (lambda share: None)
    done(0.05)
    moved = shift(found.table, PROCEDURE, reference=reference or history, confidence=confidence)
    done(0.4)
    facts = [procedure_facts(found, p, result) for p in range(len(found.procedures))]
    generator = np.random.default_rng(rng)
    per_result = [(f.result_fillings, f.per_filling) for f in facts]
    draws = draw_oils(found, per_result, generator, repetitions)
    done(0.6)
    if not np.isfinite(draws.result_cov[0]).all() or not (draws.result_cov[0] > 0).all():
        silent = [n for n, c in zip(found.procedures, draws.result_cov[0], strict=True) if not c > 0]
        raise NotEstimable(
            f"The scatter of {list_words(silent)} cannot be seen: nothing was repeated. Test two fillings of an oil."
        )
    cautions = [*_liquid(found), *cautions, *_data_cautions(found, draws)]
    minutes = np.array([f.minutes for f in facts])
    litres = np.array([f.litres for f in facts])
    z = float(scipy.stats.norm.ppf(0.5 + confidence / 2))
    place = found.procedures.index(history) if history else None
    scores = score(draws, weighed, minutes, litres, half_width, z, place)
    shares = probabilities(scores)
    best = int(shares.argmax())
    settle: list[dict[str, Any]] = []
    if shares[best] < SURE:
        inner = draw_oils(found, per_result, generator, repetitions, oils=False)
        fixed = score(inner, weighed, minutes, litres, half_width, z, place)
        one = np.array([f.minutes / f.result_fillings for f in facts])
        settle = [vars(f) for f in would_settle(found, scores, fixed, shares, one, SURE)]
    done(0.85)
    rows, plans = _rows(found, facts, draws, moved, shares, half_width, confidence)
    cautions += _assumed(found.procedures, facts)
    if any(f.asks for f in facts):
        cautions.insert(0, asked())
    return Choice(
        rows, found.procedures[best], float(shares[best]), settle, plans, str(moved.reference), found.oils,
        100 * half_width, confidence, weighed, _sentence(found, rows, best, settle, weighed, history), cautions,
    )  # fmt: skip


def _liquid(found: Evidence) -> list[Caution]:
    """Water and temperature that differ on the same oils between a procedure and the first."""
    table, names = with_saturation(found.table), found.procedures
    seen = [state_caution(table, PROCEDURE, other, names[0]) for other in names[1:]]
    return list(dict.fromkeys(c for c in seen if c is not None))


def _assumed(names: Sequence[str], facts: Sequence[ProcedureFacts]) -> list[Caution]:
    """What was assumed because neither the records nor a known method say it, once for all that share it."""
    by_text: dict[str, list[str]] = {}
    for name, fact in zip(names, facts, strict=True):
        for text in fact.assumed:
            by_text.setdefault(text, []).append(name)
    if not by_text:
        return []
    parts = [
        f"{text} ({'every procedure' if len(who) == len(names) else list_words(who)})" for text, who in by_text.items()
    ]
    return [Caution("bench_time_assumed", f"Assumed, because no method that is known says it: {'; '.join(parts)}.")]


def _data_cautions(found: Evidence, draws: OilDraws) -> list[Caution]:
    out = []
    blind = [n for n, b in zip(found.procedures, draws.between[0], strict=True) if not np.isfinite(b)]
    if blind:
        out.append(
            Caution(
                "one_filling",
                f"{list_words(blind)}: one filling of an oil, so that the scatter between fillings is not known and "
                "taken as none. Times are too short, and the choice is less sure than it looks.",
            )
        )
    few = [n for n, m in zip(found.procedures, found.means, strict=True) if sum(len(x) - 1 for x in m) < 6]
    if few and not blind:
        text = f"{list_words(few)}: the scatter between fillings rests on very few fillings."
        out.append(Caution("few", text))
    if len(found.scatter_oils) < 2:
        text = "With one oil it cannot be seen which procedure tells oils apart; that criterion does not count."
        out.append(Caution("one_oil", text))
    elif len(found.scatter_oils) < 6:
        out.append(
            Caution(
                "few_oils", f"{len(found.scatter_oils)} oils stand for all oils: what they have in common is not seen."
            )
        )
    return out


def _rows(
    found: Evidence, facts: Sequence[ProcedureFacts], draws: OilDraws, moved: Any, shares: np.ndarray, target: float,
    confidence: float,
) -> tuple[list[ProcedureRow], list[PlanPoint]]:  # fmt: skip
    by_level = {str(s.level): s for s in moved.shifts}
    known = _told_apart(found, confidence)
    first = next(iter(moved.shifts))
    tail = (1 - confidence) / 2
    rows, plans = [], []
    for p, (name, fact) in enumerate(zip(found.procedures, facts, strict=True)):
        s = by_level.get(name)
        mean = first.reference_mean_kv if s is None else s.mean_kv
        within, between = draws.within[:, p], np.nan_to_num(draws.between[:, p])
        inside = np.where(np.isfinite(within), within, draws.result_cov[:, p] * np.sqrt(fact.per_filling))
        k = _fewest(fact.result_fillings, fact.per_filling, inside[0], between[0], target, confidence)
        t = float(scipy.stats.t.ppf(0.5 + confidence / 2, k - 1))
        widths = t * np.sqrt((between**2 + inside**2 / fact.per_filling) / k)
        hour = np.sqrt(60 / fact.minutes)
        times = _per_result(found, p, draws, fact)
        apart, low, high = (v * times for v in known.get(name, (float("nan"),) * 3))
        narrow, wide = _limits(widths[1:], tail)
        rows.append(
            ProcedureRow(
                name, found.methods[p], len(found.oils), found.fillings[p], float(mean),
                0.0 if s is None else s.difference_percent, 0.0 if s is None else s.low_percent,
                0.0 if s is None else s.high_percent,
                100 * float(within[0]), 100 * float(draws.between[0, p]), 100 * float(draws.result_cov[0, p]),
                k, fact.per_filling, fact.minutes_of(k, fact.per_filling), fact.litres_of(k),
                100 * float(widths[0]), 100 * narrow, 100 * wide,
                apart, low, high, apart * hour, low * hour, high * hour,
                100 * found.withstood_share[p], fact.false_alarm(float(inside[0]), float(between[0])),
                100 * float(scipy.stats.norm.sf(0.1 / (1.1 * draws.result_cov[0, p]))), float(shares[p]), fact.notes,
            )
        )  # fmt: skip
        for fillings in sorted({*PLANS, k}):
            width = float(half_width_bench(fillings, fact.per_filling, inside[0], between[0], confidence))
            time = fact.minutes_of(fillings, fact.per_filling)
            plans.append(PlanPoint(name, fillings, fact.per_filling, time, 100 * width))
    return rows, plans


def _limits(values: np.ndarray, tail: float) -> tuple[float, float]:
    """Quantiles that are values themselves, so that an endless one stays endless."""
    low, high = np.nanquantile(values, [tail, 1 - tail], method="inverted_cdf")
    return float(low), float(high)


def _told_apart(found: Evidence, confidence: float) -> dict[str, tuple[float, float, float]]:
    """Signal over noise of one filling with its limits, as :func:`methods.discrimination` gives them."""
    try:
        table = discrimination(found.table, by=PROCEDURE, result="filling", confidence=confidence).methods
    except NotEstimable:
        return {}
    keys = ("discrimination", "discrimination_low", "discrimination_high")
    return {str(m["method"]): tuple(float(m[k]) for k in keys) for m in table.to_dict("records")}  # type: ignore[misc]


def _per_result(found: Evidence, p: int, draws: OilDraws, fact: ProcedureFacts) -> float:
    """How many times a reported result discriminates as well as one filling of the records."""
    per = np.concatenate(found.counts[p])
    filling = np.nan_to_num(draws.between[0, p]) ** 2 + np.nan_to_num(draws.within[0, p]) ** 2 / float(np.mean(per))
    return float(np.sqrt(filling) / draws.result_cov[0, p]) if filling > 0 else 1.0


def _fewest(each: int, n: int, within: float, between: float, target: float, confidence: float) -> int:
    """Fewest fillings of n breakdowns whose own interval is as narrow as wanted, in whole results of ``each``."""
    k = each * np.arange(2 if each == 1 else 1, 2000 // each + 1)
    widths = half_width_bench(k, n, within, between, confidence)
    reached = np.flatnonzero(widths <= target)
    if not len(reached):
        raise InputError(
            f"More than {int(k[-1])} fillings would be needed for ±{100 * target:g} %; ask for a wider interval."
        )
    return int(k[reached[0]])


def _sentence(
    found: Evidence, rows: Sequence[ProcedureRow], best: int, settle: Sequence[Mapping[str, Any]],
    weights: Mapping[str, float], history: str | None,
) -> str:  # fmt: skip
    """The choice in words; where it is open, which are in play, and what would settle it."""
    row = rows[best]
    oils = f"{len(found.oils)} oil{'s' if len(found.oils) != 1 else ''}"
    chosen = [n for n, w in weights.items() if w > 0 and (n != "history" or history)]
    by = f"by {list_words(chosen)}"
    if len({weights[n] for n in chosen}) > 1:
        by += f" (weights {', '.join(f'{weights[n]:g}' for n in chosen)})"
    if row.probability_best >= SURE:
        return (
            f"{row.procedure} is the best of {len(rows)} procedures on {oils}, with a probability of "
            f"{percent(100 * row.probability_best)} %, {by}: ±{percent(row.half_width_percent)} % takes {row.fillings} "
            f"fillings of {row.breakdowns_per_filling}, {row.bench_minutes:.0f} min."
        )
    playing = in_play(rows)
    named = list_words([f"{r.procedure} ({percent(100 * r.probability_best)} %)" for r in playing[:NAMED]])
    still = f"{len(playing)} are in play, first" if len(playing) > NAMED else "in play:"  # the table has every one
    text = f"None of {len(rows)} procedures is clearly the best on {oils}; {still} {named}."
    brackets = f" In brackets the probability to be the best, {by}."
    if not settle:
        return text + (
            f" No tests of up to {MOST_HOURS:.0f} bench hours would settle it: choose by what else counts.{brackets}"
        )
    parts = [f"{s['fillings']} more filling{'s' if s['fillings'] != 1 else ''} by {s['procedure']}" for s in settle]
    where = f", over these and {settle[0]['oils']} more oils" if settle[0]["oils"] else ", on these oils"
    hours = sum(s["minutes"] for s in settle) / 60
    return text + (
        f" {list_words(parts)}{where} ({hours:.1f} h) would settle it, if the difference is as found.{brackets}"
    )


def in_play(rows: Sequence[ProcedureRow]) -> list[ProcedureRow]:
    """The procedures that cannot be set aside, likeliest first: the first two, and all from :data:`IN_PLAY` on."""
    likely = sorted(rows, key=lambda r: -r.probability_best)
    return [r for i, r in enumerate(likely) if i < 2 or r.probability_best >= IN_PLAY]


__all__ = ["DEFAULT_WEIGHTS", "Choice", "PlanPoint", "ProcedureRow", "choose"]
