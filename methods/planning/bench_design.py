"""The cheapest design for a target, or the best one for what the bench has: minutes and oil."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from methods.errors import InputError, NotEstimable
from methods.planning import inputs
from methods.planning.bench_cost import assumed, design_cost
from methods.planning.nested import Design, assurance, half_width_bench, half_width_known
from methods.result import Caution, Shown

#: Designs looked at: up to so many fillings, of up to so many breakdowns.
MOST_FILLINGS, MOST_BREAKDOWNS_PER_FILLING = 100, 30


@dataclass(frozen=True, repr=False)
class DesignPlan(Shown):
    """The design chosen, and those that were nearest to it.

    Fields of the design as in :class:`methods.planning.nested.Design`; ``goal`` says what was made small (``minutes``,
    ``oil`` or ``half-width``), ``designs`` the best on each number of fillings that keeps within the means.
    """

    breakdowns: int
    fillings: int
    breakdowns_per_filling: int
    half_width: float | None
    half_width_percent: float | None
    half_width_known: float | None
    half_width_known_percent: float | None
    assurance: float | None
    bench_minutes: float | None
    oil_ml: float | None
    confidence: float
    interval: str
    goal: str
    designs: tuple[Design, ...]
    sentence: str
    cautions: tuple[Caution, ...]


def plan_design(
    cov: float | None = None,
    half_width: float | None = None,
    *,
    protocol: Any,
    sd: float | None = None,
    between_cov: float | None = None,
    between_sd: float | None = None,
    mean: float | None = None,
    minutes: float | None = None,
    oil_ml: float | None = None,
    goal: str | None = None,
    confidence: float = 0.95,
    interval: str = "bench",
    serial_correlation: float | None = None,
) -> DesignPlan:
    """Look at every design of up to 100 fillings of up to 30 and choose.

    With ``half_width``: the design with the fewest bench minutes (or ``goal="oil"``: the least oil) whose half-width is
    within it. Without: the narrowest within ``minutes`` and ``oil_ml``. Means given with a target are kept too. Times,
    pauses and cell volume are the protocol's own.

    Parameters
    ----------
    cov, sd, between_cov, between_sd, mean, confidence, interval, serial_correlation
        As for :func:`methods.planning.plan.mean`; the scatter between fillings is needed here (0 if there is none).
    minutes, oil_ml : float, optional
        What the bench has.
    half_width : float, optional
        Half-width of the mean that is wanted, a fraction.
    protocol : object
        A test method, for bench minutes and oil.
    goal : str, optional
        ``oil`` for the least oil; the fewest bench minutes by default.

    Raises
    ------
    InputError
        Impossible numbers; neither a target nor means; oil asked of a protocol whose cell is not known.
    NotEstimable
        No design does it.
    """
    s = inputs.scatter(
        cov, sd, between_cov=between_cov, between_sd=between_sd, mean=mean, serial_correlation=serial_correlation
    )
    if s.between is None:
        raise InputError("A design weighs fillings against breakdowns: give the scatter between fillings (0 if none).")
    if interval not in ("bench", "known"):
        raise InputError(f"interval is {interval!r}; it is bench or known.", column="interval", text=str(interval))
    level = inputs.probability(confidence, "confidence")
    target = None if half_width is None else inputs.positive(half_width, "half_width")
    time = math.inf if minutes is None else inputs.positive(minutes, "minutes")
    oil = math.inf if oil_ml is None else inputs.positive(oil_ml, "oil_ml")
    if target is None and minutes is None and oil_ml is None:
        raise InputError("Give a half-width to reach, or the minutes or the oil that there are.")
    small = goal or ("minutes" if target is not None else "half-width")
    if small not in ("minutes", "oil", "half-width"):
        raise InputError(f"goal is {goal!r}; it is minutes, oil or half-width.", column="goal", text=str(goal))
    one, two = (design_cost(protocol, 1, n, s.mean_kv) for n in (1, 2))
    if protocol is None:
        raise InputError("A design needs a protocol, for its waits, pauses and ramps.", column="protocol")
    if one.oil_ml is None and (oil_ml is not None or small == "oil"):
        raise InputError("The cell volume of this protocol is not known; leave the oil out.", column="oil_ml")
    k, n = np.meshgrid(np.arange(1, MOST_FILLINGS + 1), np.arange(1, MOST_BREAKDOWNS_PER_FILLING + 1), indexing="ij")
    own = half_width_bench(k, n, s.within, s.between, level, s.serial_correlation)
    known = half_width_known(k, n, s.within, s.between, level, s.serial_correlation)
    width = own if interval == "bench" else known
    used = k * (one.minutes + (two.minutes - one.minutes) * (n - 1))
    poured = k * (0.0 if one.oil_ml is None else one.oil_ml)
    with np.errstate(invalid="ignore"):
        good = np.isfinite(width) & (used <= time + 1e-9) & (poured <= oil + 1e-9)
        if target is not None:
            good &= width <= target * (1 + 1e-12)
    if not good.any():
        raise NotEstimable(_nothing(s, target, minutes, oil_ml, interval))
    score = {"minutes": used, "oil": poured, "half-width": width}[small]
    order = np.lexsort((k[good], np.round(width[good], 12), np.round(used[good], 9), np.round(score[good], 12)))
    pairs = list(zip(k[good][order].tolist(), n[good][order].tolist(), strict=True))
    best: dict[int, int] = {}
    for fillings, per in pairs:
        best.setdefault(fillings, per)

    def row(fillings: int, per: int) -> Design:
        a, b = float(own[fillings - 1, per - 1]), float(known[fillings - 1, per - 1])
        a_known = a if math.isfinite(a) else None
        cost = design_cost(protocol, fillings, per, s.mean_kv)
        sure = assurance(fillings, per, target, s, level) if target is not None and fillings > 1 else None
        return Design(
            fillings=fillings, breakdowns_per_filling=per, breakdowns=fillings * per, half_width=s.kv(a_known),
            half_width_percent=s.percent(a_known), half_width_known=s.kv(b), half_width_known_percent=s.percent(b),
            assurance=sure, bench_minutes=cost.minutes, oil_ml=cost.oil_ml,
            reaches_target=None if target is None else True,
        )  # fmt: skip

    chosen = row(*pairs[0])
    table = tuple(row(fillings, per) for fillings, per in list(best.items())[:12])
    own_width = float(own[pairs[0][0] - 1, pairs[0][1] - 1])
    said = f"±{s.say(own_width)}" if math.isfinite(own_width) else "no interval of its own"
    return DesignPlan(
        breakdowns=pairs[0][0] * pairs[0][1], fillings=pairs[0][0], breakdowns_per_filling=pairs[0][1],
        half_width=chosen.half_width, half_width_percent=chosen.half_width_percent,
        half_width_known=chosen.half_width_known, half_width_known_percent=chosen.half_width_known_percent,
        assurance=chosen.assurance, bench_minutes=chosen.bench_minutes, oil_ml=chosen.oil_ml, confidence=level,
        interval=interval, goal=small, designs=tuple(sorted(table, key=lambda d: d.fillings)),
        sentence=f"Take {pairs[0][0]} filling{'s' if pairs[0][0] > 1 else ''} of {pairs[0][1]}: {said}, or "
        f"±{s.say(float(known[pairs[0][0] - 1, pairs[0][1] - 1]))} if the scatter is known from history, in about "
        f"{chosen.bench_minutes:.0f} minutes"
        + ("." if not chosen.oil_ml else f" and {chosen.oil_ml / 1000:.1f} L of oil."),
        cautions=assumed(protocol, s.mean_kv, pairs[0][1]),
    )  # fmt: skip


def _nothing(
    s: inputs.Scatter, target: float | None, minutes: float | None, oil_ml: float | None, interval: str
) -> str:
    means = [
        f"{minutes:g} minutes" if minutes is not None else "",
        f"{oil_ml:g} mL of oil" if oil_ml is not None else "",
    ]
    within = " and ".join(m for m in means if m)
    wanted = "an interval" if target is None else f"±{s.say(target)}"
    least = " The bench's own interval needs two fillings at least." if interval == "bench" else ""
    return (
        f"No design of up to {MOST_FILLINGS} fillings of {MOST_BREAKDOWNS_PER_FILLING} gives {wanted}"
        f"{' with ' + within if within else ''}.{least}"
    )
