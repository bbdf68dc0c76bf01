"""How many breakdowns, on how many fillings, for the mean of one oil under one condition."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from methods.errors import InputError
from methods.planning import inputs
from methods.planning.bench_cost import assumed, design_cost, wear_words
from methods.planning.in_results import counted_in, open_result, told, whole_results
from methods.planning.inputs import MOST_BREAKDOWNS, MOST_FILLINGS, Scatter
from methods.planning.nested import (
    Design,
    assurance,
    half_width_bench,
    half_width_independent,
    half_width_known,
    most_assurance,
)
from methods.procedures.reported import Reported
from methods.result import Caution, Shown

#: A filling is not planned with more breakdowns than this: carbon and gas of the earlier ones spoil the later.
MOST_PER_FILLING = 100


@dataclass(frozen=True, repr=False)
class MeanPlan(Shown):
    """A plan for a mean, with both half-widths of its interval.

    ``half_width`` (kV) and ``half_width_percent`` (per cent of the mean, 12.4 for 12.4 %): the interval that the bench
    will compute from its own numbers. ``half_width_known`` and ``half_width_known_percent``: the interval when the
    scatter is known from history. A figure in kV needs the scatter in kV or a mean, one in per cent the scatter as
    coefficient of variation or a mean; otherwise None. ``half_width`` is also None for one filling when there is
    scatter between fillings, because one filling cannot show it.

    ``assurance``: probability that the interval obtained is no wider than ``target`` (both None without a target).
    ``floor*``: what the half-widths come down to with endlessly many breakdowns on these fillings (None when the
    breakdowns count as independent: there is no floor then).
    ``bench_minutes``, ``oil_ml``: by the protocol or the times given, None without. ``designs``: alternatives, see
    :class:`Design`. ``sentence``: the plan in words. ``cautions``: cautions. ``results``: how many reported results of
    the method it is, and ``result`` what one is; None and empty where the plan is free of a method's numbers.
    """

    breakdowns: int
    fillings: int
    breakdowns_per_filling: int
    half_width: float | None
    half_width_percent: float | None
    half_width_known: float | None
    half_width_known_percent: float | None
    confidence: float
    bench_minutes: float | None
    oil_ml: float | None
    target: float | None
    target_percent: float | None
    assurance: float | None
    assurance_asked: float | None
    interval: str
    floor: float | None
    floor_percent: float | None
    floor_known: float | None
    floor_known_percent: float | None
    designs: tuple[Design, ...]
    sentence: str
    cautions: tuple[Caution, ...]
    results: int | None = None
    result: str = ""


@dataclass(frozen=True)
class _Question:
    """What is asked of every design that is looked at."""

    scatter: Scatter
    confidence: float
    target: float | None
    assured: float | None
    interval: str
    protocol: Any
    alike: bool = False  # several fillings, and nothing said of how they differ

    def widths(self, k: int, n: float) -> tuple[float | None, float]:
        """Half-widths of ``k`` fillings of ``n`` breakdowns: the bench's own (None if it cannot have one), known."""
        s = self.scatter
        if s.between is None:
            bench = float(half_width_independent(k * n, s.within, self.confidence, s.serial_correlation))
            known = float(half_width_known(1, k * n, s.within, 0.0, self.confidence, s.serial_correlation))
        else:
            rho = s.serial_correlation if math.isfinite(n) else 0.0
            bench = float(half_width_bench(k, n, s.within, s.between, self.confidence, rho))
            known = float(half_width_known(k, n, s.within, s.between, self.confidence, rho))
        return (bench if math.isfinite(bench) else None), known

    def reached(self, k: int, n: int) -> bool:
        """Whether the design meets the target, by the interval that the plan goes by and with the assurance asked."""
        if self.target is None:
            return False
        bench, known = self.widths(k, n)
        room = self.target * (1 + 1e-12)
        if self.interval == "known":
            return known <= room
        if bench is None:
            return False
        if self.assured is not None:
            given = (k, n, self.target, self.scatter, self.confidence)
            return most_assurance(*given) >= self.assured and assurance(*given) >= self.assured
        return bench <= room

    def could(self, k: int, n: int) -> bool:
        """Quickly: False where :meth:`reached` is certainly False."""
        if self.target is None or self.assured is None or self.scatter.between is None:
            return self.reached(k, n)
        return most_assurance(k, n, self.target, self.scatter, self.confidence) >= self.assured

    def design(self, k: int, n: int | None) -> Design:
        """The row of the table for ``k`` fillings of ``n``; ``n`` None gives what endlessly many would come down to."""
        s = self.scatter
        bench, known = self.widths(k, math.inf if n is None else n)
        sure = assurance(k, n, self.target, s, self.confidence) if n is not None and self.target is not None else None
        cost = design_cost(self.protocol, k, n, s.mean_kv) if n is not None else None
        return Design(
            fillings=k,
            breakdowns_per_filling=n,
            breakdowns=None if n is None else k * n,
            half_width=s.kv(bench),
            half_width_percent=s.percent(bench),
            half_width_known=s.kv(known),
            half_width_known_percent=s.percent(known),
            assurance=sure if sure is not None and math.isfinite(sure) else None,
            bench_minutes=None if cost is None else cost.bench_minutes,
            oil_ml=None if cost is None else cost.oil_ml,
            reaches_target=None if self.target is None else (n is not None and self.reached(k, n)),
        )

    def fewest_on(self, k: int) -> int | None:
        """Fewest breakdowns on each of ``k`` fillings that meet the target; None when no number does."""
        if not self.could(k, MOST_PER_FILLING):
            return None
        least = inputs.smallest(lambda n: self.could(k, n), 1, MOST_PER_FILLING, "")
        return next((n for n in range(least, MOST_PER_FILLING + 1) if self.reached(k, n)), None)


def _fewest_fillings(ask: _Question, n: int) -> int:
    """Fewest fillings of ``n`` breakdowns that meet the target."""
    least = 1 if ask.interval == "known" else 2
    return inputs.smallest(
        lambda k: ask.reached(k, n),
        least,
        MOST_FILLINGS,
        f"More than {MOST_FILLINGS} fillings of {n} would be needed for ±{ask.scatter.say(ask.target)}; "
        "ask for a wider interval or less confidence.",
    )


def cheapest(ask: _Question, ks: Iterable[int], n: int | None = None) -> tuple[int, int]:
    """Cheapest design in bench minutes that meets the target; ties go to fewer fillings.

    Parameters
    ----------
    ask : _Question
        What is asked, with scatter and target.
    ks : iterable of int
        Numbers of fillings that are tried, in ascending order.
    n : int, optional
        Breakdowns on each filling, if they are fixed.
    """
    best: tuple[float, int, int] | None = None
    for k in ks:
        if best is not None and design_cost(ask.protocol, k, n or 1, ask.scatter.mean_kv).minutes > best[0]:
            continue
        per = n if n is not None else ask.fewest_on(k)
        if per is None or (n is not None and not ask.reached(k, n)):
            continue
        row = (design_cost(ask.protocol, k, per, ask.scatter.mean_kv).minutes, k, per)
        best = row if best is None else min(best, row)
    return (0, 0) if best is None else best[1:]


def _nested_choice(ask: _Question, fillings: int | None, per: int | None) -> tuple[int, int]:
    """Choose fillings and breakdowns per filling for the target, keeping what the user has fixed."""
    s = ask.scatter
    if fillings is not None:
        n = ask.fewest_on(fillings)
        if n is None:
            bench, known = ask.widths(fillings, math.inf)
            floor = known if ask.interval == "known" else bench
            least = "cannot see the scatter between fillings" if floor is None else f"never beat ±{s.say(floor)}"
            raise InputError(
                f"{fillings} filling{'s' if fillings > 1 else ''} {least}, however many breakdowns are taken on each "
                f"(up to {MOST_PER_FILLING} were tried for ±{s.say(ask.target)}): plan more fillings."
            )
        return fillings, n
    if per is not None:
        return _fewest_fillings(ask, per), per
    most = _fewest_fillings(ask, 1)  # one breakdown a filling: the most fillings that could be worth while
    ks = range(1, most + 1) if most <= 400 else np.unique(np.geomspace(1, most, 400).astype(int)).tolist()
    return cheapest(ask, ks)


def _independent_choice(ask: _Question, per: int | None) -> tuple[int, int]:
    """Smallest number of independent breakdowns, on one filling if it may hold as many."""
    refusal = (
        f"More than {MOST_BREAKDOWNS} breakdowns would be needed for ±{ask.scatter.say(ask.target)}; "
        "ask for a wider interval or less confidence."
    )
    least = 1 if ask.interval == "known" else 2
    total = inputs.smallest(lambda n: ask.reached(1, n), least, MOST_BREAKDOWNS, refusal)
    if per is not None:
        return math.ceil(total / per), per
    return 1, total


def _alternatives(ask: _Question, k: int, n: int) -> tuple[Design, ...]:
    """The table: for a target the fewest breakdowns on each number of fillings, otherwise the same total spread out."""
    if ask.target is not None:
        ks = sorted({*range(1, max(10, min(k + 2, 15)) + 1), k})
        if ask.scatter.between is None:
            ks = [k]
        return tuple(ask.design(i, n if i == k else ask.fewest_on(i)) for i in ks)
    total = k * n
    return tuple(ask.design(i, total // i) for i in range(1, total + 1) if total % i == 0)


def _freed(ask: _Question, row: Design, designs: Sequence[Design]) -> str:
    """What would cost less with numbers that the method does not prescribe; empty where it is hardly less."""
    mine = row.bench_minutes
    found = [(d.bench_minutes, d.fillings, d.breakdowns_per_filling) for d in designs if d.reaches_target]
    if mine is None or not found:
        return ""
    minutes, k, n = min((m, k, n) for m, k, n in found if m is not None and n is not None)
    if minutes > 0.95 * mine:
        return ""
    design = f"{inputs.several(k, 'filling')} of {n}"
    return f" Free of its numbers, {design} would do in {minutes:.0f} min instead of {mine:.0f}."


def _sentence(ask: _Question, row: Design) -> str:
    s = ask.scatter
    bench, known = ask.widths(row.fillings, row.breakdowns_per_filling or 1)
    one = row.fillings == 1
    if s.between is None and one:
        take = f"Take {inputs.several(row.breakdowns or 0, 'breakdown')}"
    elif one:
        take = f"Take 1 filling of {row.breakdowns_per_filling}"
    else:
        take = f"Take {row.fillings} fillings of {row.breakdowns_per_filling}"
    own = f"±{s.say(bench)}" if bench is not None else "no interval of the bench's own"
    text = f"{take}: {own}, or ±{s.say(known)} if the scatter is known from history."
    if row.reaches_target is False and ask.target is not None:
        sure = f" with a probability of {100 * ask.assured:g} %" if ask.assured is not None else ""
        text += f" That misses the ±{s.say(ask.target)} wanted{sure}."
    if s.between:
        floor_own, floor = ask.widths(row.fillings, math.inf)
        text += (
            f" More breakdowns on {'this one filling' if one else 'these fillings'} never bring it below "
            + (f"±{s.say(floor_own)} (±{s.say(floor)} known)" if floor_own is not None else f"±{s.say(floor)}")
            + ": only more fillings do."
        )
    return text + wear_words(row.breakdowns_per_filling or 1)


def _cautions(ask: _Question, row: Design) -> tuple[Caution, ...]:
    s, found = ask.scatter, []
    if ask.alike:
        found.append(
            Caution(
                "between_unknown",
                "How much fillings differ is not said, so they are taken as alike; real fillings differ, and the "
                "interval widens. Say how much (scatter between fillings): the plan then asks for more of them.",
            )
        )
    elif s.between is None:
        found.append(
            Caution(
                "independent",
                "Breakdowns are counted as independent of each other. If fillings differ, or the plan is for the oil "
                "rather than for one filling, say how much (scatter between fillings): the plan then asks for more.",
            )
        )
    elif row.fillings == 1:
        found.append(
            Caution(
                "one_filling",
                "One filling cannot show how much fillings differ: the bench will have no interval of its own, "
                "only the one that trusts the scatter known from history.",
            )
        )
    weighed = s.between is not None and ask.target is not None
    if row.assurance is not None and ask.interval == "bench" and row.assurance < 0.8:
        found.append(
            Caution(
                "assurance",
                f"The SD that the bench will find is itself uncertain: the interval obtained is within the target with "
                f"probability {100 * row.assurance:.0f} % only. Ask for an assurance (such as 90 %) to be surer.",
            )
        )
    return (*found, *assumed(ask.protocol, s.mean_kv, row.breakdowns_per_filling or 1, weighed=weighed))


def plan_mean(
    cov: float | None = None,
    half_width: float | None = None,
    *,
    sd: float | None = None,
    mean: float | None = None,
    confidence: float = 0.95,
    between_cov: float | None = None,
    between_sd: float | None = None,
    assurance: float | None = None,
    fillings: int | None = None,
    breakdowns_per_filling: int | None = None,
    protocol: Any = None,
    serial_correlation: float | None = None,
    interval: str = "bench",
) -> MeanPlan:
    """Plan the breakdowns for a mean.

    Without a between part: smallest n >= 2 with ``t(1 - alpha/2, n - 1) * c / sqrt(n) <= half_width``; several fillings
    that are asked for are then taken as alike, and judged by their means as the analysis does. With one: of all
    designs of k fillings of n breakdowns whose interval is narrow enough the cheapest one by bench minutes (ties:
    fewer fillings), by stated times for a filling and a breakdown. With a method, and nothing fixed, in whole results
    of it: as many breakdowns on a filling as it prescribes, and a multiple of its fillings; the sentence says what
    would cost less.

    Parameters
    ----------
    cov, sd : float
        Scatter of single breakdowns on one filling, as fraction of the mean or in kV (one of the two).
    half_width : float, optional
        Half-width wanted, in the unit of the scatter. Without it the given design is evaluated.
    mean : float, optional
        Expected mean, kV; turns the one unit into the other and sets the time of a ramp.
    between_cov, between_sd : float, optional
        Scatter of the fillings' true means.
    assurance : float, optional
        Wanted probability that the interval obtained is as narrow as asked (Kupper and Hafner 1989).
    fillings, breakdowns_per_filling : int, optional
        What is fixed beforehand.
    protocol : str, Protocol or BenchTimes, optional
        Test method whose waits, pauses and ramps give the bench minutes; or the minutes of a filling and of a breakdown
        (:class:`methods.planning.bench_cost.BenchTimes`), the usual ones unless said.
    serial_correlation : float, optional
        Lag-1 correlation inside a filling.
    interval : {"bench", "known"}
        Which half-width has to meet the target: the bench's own (t), or the one for scatter known from history.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    InputError
        Impossible numbers, a target that no number of breakdowns reaches, or more than 100 000 breakdowns.
    """
    s = inputs.scatter(
        cov, sd, between_cov=between_cov, between_sd=between_sd, mean=mean, serial_correlation=serial_correlation
    )
    k = None if fillings is None else inputs.whole_number(fillings, "fillings", most=MOST_FILLINGS)
    n = (
        None
        if breakdowns_per_filling is None
        else inputs.whole_number(breakdowns_per_filling, "breakdowns_per_filling")
    )
    if interval not in ("bench", "known"):
        raise InputError(f"interval is {interval!r}; it is bench or known.", column="interval", text=str(interval))
    if assurance is not None and interval == "known":
        raise InputError("An assurance is about the bench's own interval; with known scatter the width is certain.")
    unsaid = s.between is None
    s = inputs.of_fillings(s, k)
    ask = _Question(
        scatter=s,
        alike=unsaid and s.between is not None,
        confidence=inputs.probability(confidence, "confidence"),
        target=None if half_width is None else inputs.positive(half_width, "half_width"),
        assured=None if assurance is None else inputs.probability(assurance, "assurance"),
        interval=interval,
        protocol=protocol,
    )
    if k is not None and n is not None:
        pass
    elif ask.target is None:
        raise InputError(
            "Give the half-width that is wanted, or both fillings and breakdowns per filling.", lacks="half_width"
        )
    elif s.between is None:
        k, n = _independent_choice(ask, n)
        if k > 1:
            ask = replace(ask, scatter=inputs.of_fillings(s, k), alike=True)
            k, n = _nested_choice(ask, None, n)
    else:
        one = counted_in(protocol, s.between, k, n)
        k, n = _nested_choice(ask, k, n if one is None else one.breakdowns_per_filling)
        return _result(ask, whole_results(k, one), n, one)
    return _result(ask, k, n)


def _result(ask: _Question, k: int, n: int, one: Reported | None = None) -> MeanPlan:
    s, row = ask.scatter, ask.design(k, n)
    designs = _alternatives(ask, k, n)
    floor_own, floor = ask.widths(k, math.inf) if s.between is not None else (None, None)
    return MeanPlan(
        breakdowns=k * n,
        fillings=k,
        breakdowns_per_filling=n,
        half_width=row.half_width,
        half_width_percent=row.half_width_percent,
        half_width_known=row.half_width_known,
        half_width_known_percent=row.half_width_known_percent,
        confidence=ask.confidence,
        bench_minutes=row.bench_minutes,
        oil_ml=row.oil_ml,
        target=s.kv(ask.target),
        target_percent=s.percent(ask.target),
        assurance=row.assurance,
        assurance_asked=ask.assured,
        interval=ask.interval,
        floor=s.kv(floor_own),
        floor_percent=s.percent(floor_own),
        floor_known=s.kv(floor),
        floor_known_percent=s.percent(floor),
        designs=designs,
        sentence=_sentence(ask, row) + (told(k, one) + _freed(ask, row, designs) if one is not None else ""),
        cautions=(*_cautions(ask, row), *open_result(ask.protocol, s.between, one)),
        results=None if one is None else one.whole(k),
        result="" if one is None else one.words,
    )
