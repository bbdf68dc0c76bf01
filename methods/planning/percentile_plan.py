"""How many breakdowns for a low percentile, such as the 1 % point."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from methods.errors import InputError
from methods.families import PLANNED
from methods.planning import inputs
from methods.planning.bench_cost import assumed, design_cost, wear_words
from methods.planning.in_results import counted_in, open_result, told, whole_results
from methods.planning.inputs import MOST_BREAKDOWNS, MOST_FILLINGS
from methods.planning.order_statistics import size_one_sided
from methods.planning.percentile_width import (
    MOST_SIMULATED,
    PlannedPercentile,
    nested_assurance,
    nested_half_width,
    nested_half_width_known,
)
from methods.planning.tolerance import tolerance_one_sided
from methods.procedures.reported import Reported
from methods.randomness import Rng, seed_of
from methods.result import Caution, Shown


@dataclass(frozen=True, repr=False)
class PercentilePlan(Shown):
    """A plan for the ``p`` point of the breakdown voltage.

    Half-widths as in :class:`methods.planning.MeanPlan`, in kV and in per cent **of the mean**;
    ``half_width_percent_of_point`` is the bench's own in per cent of the percentile itself. ``percentile`` and
    ``percentile_percent`` are the point at the planned scatter (kV, per cent of the mean). ``order_statistics`` is the
    number of breakdowns after which the lowest one is a lower limit with this confidence, whatever the family (None:
    more than 100 000). ``tolerance_factor`` (normal family, independent breakdowns, p below one half): with
    one-sided ``confidence`` a share ``1 - p`` of all breakdowns lies above the mean less so many SDs found;
    ``surely_above_percent`` is that limit at the planned scatter, in per cent of the mean.
    """

    breakdowns: int
    fillings: int
    breakdowns_per_filling: int
    p: float
    family: str
    percentile: float | None
    percentile_percent: float | None
    half_width: float | None
    half_width_percent: float | None
    half_width_percent_of_point: float | None
    half_width_known: float | None
    half_width_known_percent: float | None
    confidence: float
    target: float | None
    target_percent: float | None
    assurance: float | None
    order_statistics: int | None
    bench_minutes: float | None
    method: str
    sentence: str
    cautions: tuple[Caution, ...]
    results: int | None = None
    result: str = ""
    tolerance_factor: float | None = None
    surely_above_percent: float | None = None


def plan_percentile(
    cov: float | None = None,
    p: float | None = None,
    half_width: float | None = None,
    *,
    sd: float | None = None,
    mean: float | None = None,
    confidence: float = 0.95,
    family: str = "normal",
    between_cov: float | None = None,
    between_sd: float | None = None,
    fillings: int | None = None,
    breakdowns_per_filling: int | None = None,
    assurance: float | None = None,
    protocol: Any = None,
    rng: Rng = 20250101,
) -> PercentilePlan:
    """Plan the breakdowns for the ``p`` point (0.01 for the 1 % point).

    Smallest number whose interval for the percentile is no wider than ``±half_width`` when the estimates fall on the
    planned values. Normal and lognormal: exact, by the noncentral t. Weibull and smallest extreme value: by seeded
    simulation of the pivotal quantities of the maximum-likelihood estimates. Over fillings (normal only): by the
    limits that the analysis computes, generalised pivotal quantities (:func:`methods.scatter.one_oil`).

    Parameters
    ----------
    half_width : float
        In the unit of the scatter: a fraction of the **mean** beside ``cov``, kV beside ``sd``.
    family : {"normal", "lognormal", "weibull", "gumbel_min"}
    cov, sd, mean, confidence, between_cov, between_sd, fillings, breakdowns_per_filling, assurance, protocol
        As for :func:`methods.planning.plan.mean`. With scatter between fillings, the method's breakdowns on each, or 5,
        unless said.
    p : float, optional
        Fraction below the percentile.
    rng : int or Generator, default 20250101
        A seed or a generator; the same seed gives the same numbers.

    Raises
    ------
    InputError
        Impossible numbers, a family without such a plan, too many breakdowns.
    """
    seed = seed_of(rng)
    s = inputs.scatter(cov, sd, between_cov=between_cov, between_sd=between_sd, mean=mean)
    if family not in PLANNED:
        raise InputError(
            f"There is no percentile plan for {family!r}; there are {', '.join(PLANNED)}.", column="family"
        )
    if s.between is not None and family != "normal":
        raise InputError(f"With scatter between fillings the plan is for the normal family; {family} has none.")
    unsaid = s.between is None
    if family == "normal":
        s = inputs.of_fillings(s, None if fillings is None else inputs.whole_number(fillings, "fillings"))
    nested = s.between is not None
    point = PlannedPercentile(
        family, inputs.probability(p, "p"), inputs.probability(confidence, "confidence"), s, int(seed)
    )
    target = None if half_width is None else inputs.positive(half_width, "half_width")
    sure = None if assurance is None else inputs.probability(assurance, "assurance")
    k = None if fillings is None else inputs.whole_number(fillings, "fillings", most=MOST_FILLINGS)
    n = (
        None
        if breakdowns_per_filling is None
        else inputs.whole_number(breakdowns_per_filling, "breakdowns_per_filling")
    )
    if target is None and (k is None or n is None):
        raise InputError(
            "Give the half-width that is wanted, or both fillings and breakdowns per filling.", lacks="half_width"
        )
    one = counted_in(protocol, s.between, k, n)
    n = n if one is None else one.breakdowns_per_filling
    if not (k and n):
        k, n = _nested(point, target or 0.0, sure, k, n) if nested else _independent(point, target or 0.0, sure, k, n)
        if not nested and k > 1 and family == "normal":  # judged by fillings, as the analysis does
            point = replace(point, scatter=inputs.of_fillings(s, k))
            k, n = _nested(point, target or 0.0, sure, None, n)
    return _result(point, whole_results(k, one), n, target, protocol, one, unsaid and point.scatter.between is not None)


def _independent(
    point: PlannedPercentile, target: float, sure: float | None, k: int | None, n: int | None
) -> tuple[int, int]:
    simulated = point.family in ("weibull", "gumbel_min")
    most = MOST_SIMULATED if simulated else MOST_BREAKDOWNS

    def good(m: int) -> bool:
        if sure is not None:
            return point.assurance(m, target) >= sure
        return point.half_width(m) <= target * (1 + 1e-12)

    refusal = f"More than {most} breakdowns would be needed for ±{point.scatter.say(target)}; ask for a wider interval."
    if simulated:  # the width falls as one over the root of the number
        guess = 30 * (point.half_width(30) / target) ** 2
        if guess > 2 * most:
            raise InputError(refusal)
        total = inputs.smallest_near(good, math.ceil(min(guess, most)), 3, most, refusal)
    else:
        total = inputs.smallest(good, 2, most, refusal)
    if k is not None:
        return k, math.ceil(total / k)
    if n is not None:
        return math.ceil(total / n), n
    return 1, total


def _nested(
    point: PlannedPercentile, target: float, sure: float | None, k: int | None, n: int | None
) -> tuple[int, int]:
    said = point.scatter.say(target)

    def good(fillings: int, per: int) -> bool:
        if sure is not None:
            return nested_assurance(point, fillings, per, target) >= sure
        return nested_half_width(point, fillings, per) <= target

    if k is not None:
        fixed = k
        if k < 2 or not good(k, 100):
            raise InputError(
                f"{k} fillings do not give ±{said}, however many breakdowns are taken: plan more fillings."
            )
        return fixed, inputs.smallest(lambda m: good(fixed, m), 1, 100, "")
    per = n or 5
    refusal = f"More than {MOST_FILLINGS} fillings of {per} would be needed for ±{said}; ask for a wider interval."
    return inputs.smallest(lambda m: good(m, per), 2, MOST_FILLINGS, refusal), per


def _result(
    point: PlannedPercentile, k: int, n: int, target: float | None, protocol: Any, one: Reported | None, alike: bool
) -> PercentilePlan:
    s = point.scatter
    nested = s.between is not None
    if nested:
        own, known = nested_half_width(point, k, n), nested_half_width_known(point, k, n)
        sure = nested_assurance(point, k, n, target) if target is not None and k > 1 else None
        method = "generalised pivotal quantities, as the analysis"
    else:
        if k * n < 2:
            raise InputError("One breakdown gives no interval for a percentile.")
        own, known = point.half_width(k * n), point.half_width_known(k * n)
        sure = point.assurance(k * n, target) if target is not None else None
        simulated = point.family in ("weibull", "gumbel_min")
        method = "simulated pivotal quantities, seeded" if simulated else "noncentral t, exact"
    factor = above = None
    if not nested and point.family == "normal" and point.p < 0.5:
        factor = tolerance_one_sided(k * n, 1 - point.p, point.level)
        spread = s.percent(s.within)
        above = None if spread is None else 100 - factor * spread
    half = None if math.isnan(own) else own
    where = point.point()
    take = f"{inputs.several(k, 'filling')} of {n}" if nested or k > 1 else inputs.several(n, "breakdown")
    width = "no interval of the bench's own" if half is None else f"±{s.say(half)}"
    text = (
        f"Take {take}: the {100 * point.p:g} % point comes out within {width}"
        f"{' of the mean' if s.unit == 'fraction' else ''}, or ±{s.say(known)} if the scatter is known from history."
    )
    return PercentilePlan(
        breakdowns=k * n,
        fillings=k,
        breakdowns_per_filling=n,
        p=point.p,
        family=point.family,
        percentile=s.kv(where),
        percentile_percent=s.percent(where),
        half_width=s.kv(half),
        half_width_percent=s.percent(half),
        half_width_percent_of_point=100 * half / where
        if half is not None and where is not None and where > 0
        else None,
        half_width_known=s.kv(known),
        half_width_known_percent=s.percent(known),
        confidence=point.level,
        target=s.kv(target),
        target_percent=s.percent(target),
        assurance=sure,
        order_statistics=_lowest(point),
        tolerance_factor=factor,
        surely_above_percent=above,
        bench_minutes=design_cost(protocol, k, n, s.mean_kv).bench_minutes,
        method=method,
        sentence=text + told(k, one) + wear_words(n),
        cautions=(
            *_cautions(point, k, n, alike),
            *assumed(protocol, s.mean_kv, n, weighed=nested),
            *open_result(protocol, s.between, one),
        ),
        results=None if one is None else one.whole(k),
        result="" if one is None else one.words,
    )


def _lowest(point: PlannedPercentile) -> int | None:
    """Breakdowns until the lowest is a limit whatever the family; None beyond the most that is planned for."""
    try:
        return size_one_sided(1 - point.p, point.level)
    except InputError:
        return None


def _cautions(point: PlannedPercentile, k: int, n: int, alike: bool) -> tuple[Caution, ...]:
    s, found = point.scatter, []
    lowest = _lowest(point)
    if (lowest is None or k * n < lowest) and min(point.p, 1 - point.p) < 0.2:
        found.append(
            Caution(
                "family_matters",
                f"{k * n} breakdowns do not reach the {100 * point.p:g} % point: the plan trusts the {point.family} "
                f"family there. Without a family it takes {lowest or 'more than 100000'} breakdowns until the "
                "lowest is a limit.",
            )
        )
    if alike:
        found.append(
            Caution(
                "between_unknown",
                "How much fillings differ is not said, so they are taken as alike; real fillings differ, and the "
                "interval widens.",
            )
        )
    if s.between is None:
        found.append(
            Caution("independent", "Breakdowns are counted as independent; if fillings differ, say how much they do.")
        )
    where = point.point()
    if where is not None and where <= 0:
        found.append(
            Caution(
                "below_zero", "At this scatter the point lies at or below zero kV: the normal family is no model there."
            )
        )
    return tuple(found)
