"""How many breakdowns for each of two conditions, so that a difference of their means is seen."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from methods.errors import InputError
from methods.planning import inputs
from methods.planning.bench_cost import assumed, design_cost, wear_words
from methods.planning.in_results import counted_in, open_result, told, whole_results
from methods.planning.inputs import MOST_BREAKDOWNS, MOST_FILLINGS, Scatter
from methods.planning.mean_plan import MOST_PER_FILLING
from methods.planning.nested import filling_variance
from methods.planning.power import power_one_sample, power_two_sample, power_welch
from methods.procedures.reported import Reported
from methods.result import Caution, Shown

#: From so many independent breakdowns a side on, Welch's power is the noncentral t's to two tenths of a point.
ALIKE = 12


@dataclass(frozen=True, repr=False)
class DifferencePlan(Shown):
    """A plan for the difference of two conditions.

    ``breakdowns_per_condition`` is ``fillings_per_condition`` times ``breakdowns_per_filling``; ``power`` the
    probability that the limits of the shift, as :func:`methods.shift` will compute them, leave out zero;
    ``power_known`` the same for scatter known from history (normal). ``difference`` is in kV,
    ``difference_percent`` in per cent of the mean, None where that needs a mean. ``bench_minutes`` counts both
    conditions. ``designs`` lists alternatives as dictionaries. When ``paired``, a unit is a sample (or oil) that is
    filled and tested once under each condition.
    """

    breakdowns_per_condition: int
    fillings_per_condition: int
    breakdowns_per_filling: int
    power: float
    power_known: float
    difference: float | None
    difference_percent: float | None
    confidence: float
    sides: int
    paired: bool
    bench_minutes: float | None
    designs: tuple[dict[str, Any], ...]
    sentence: str
    cautions: tuple[Caution, ...]
    results: int | None = None
    result: str = ""


@dataclass(frozen=True)
class _Question:
    scatter: Scatter
    difference: float
    wanted: float
    confidence: float
    sides: int
    paired: bool
    disagreement: float
    protocol: Any
    independent: bool = False

    def unit_sd(self, n: int) -> float:
        """SD of one unit: a breakdown, a filling's mean, or the difference within one pair."""
        s = self.scatter
        variance = float(filling_variance(s.within, s.between or 0.0, n, s.serial_correlation))
        return math.sqrt(2 * variance + self.disagreement**2) if self.paired else math.sqrt(variance)

    def power(self, k: int, n: int) -> float:
        """Power with ``k`` units of ``n`` breakdowns under each condition; 0 where no test is possible."""
        if k < 2:
            return 0.0
        effect = self.difference / self.unit_sd(n)
        if self.paired:
            test: Callable[..., float] = power_one_sample
        else:
            test = power_two_sample if self.independent and k >= ALIKE else power_welch
        return test(effect, k, confidence=self.confidence, sides=self.sides)

    def power_known(self, k: int, n: int) -> float:
        from scipy import stats

        effect = self.difference / self.unit_sd(n) * math.sqrt(k / (1 if self.paired else 2))
        critical = stats.norm.ppf(1 - (1 - self.confidence) / self.sides)
        tail = stats.norm.sf(critical + effect) if self.sides == 2 else 0.0
        return float(stats.norm.sf(critical - effect) + tail)

    def minutes(self, k: int, n: int) -> float:
        return 2 * design_cost(self.protocol, k, n, self.scatter.mean_kv).minutes

    def bench_minutes(self, k: int, n: int) -> float | None:
        one = design_cost(self.protocol, k, n, self.scatter.mean_kv).bench_minutes
        return None if one is None else 2 * one

    def units(self, n: int, most: int) -> int:
        """Fewest units of ``n`` breakdowns that give the power."""
        said = self.scatter.say(self.difference)
        return inputs.smallest(
            lambda k: self.power(k, n) >= self.wanted,
            2,
            most,
            f"To see {said} more than {most} units of {n} would be needed; look for a larger difference.",
        )

    def row(self, k: int, n: int) -> dict[str, Any]:
        return {
            "fillings_per_condition": k,
            "breakdowns_per_filling": n,
            "breakdowns_per_condition": k * n,
            "power": self.power(k, n),
            "power_known": self.power_known(k, n),
            "bench_minutes": self.bench_minutes(k, n),
        }


def plan_difference(
    cov: float | None = None,
    difference: float | None = None,
    *,
    sd: float | None = None,
    power: float = 0.8,
    mean: float | None = None,
    confidence: float = 0.95,
    sides: int = 2,
    between_cov: float | None = None,
    between_sd: float | None = None,
    breakdowns_per_filling: int | None = None,
    fillings: int | None = None,
    paired: bool = False,
    disagreement: float = 0.0,
    protocol: Any = None,
    serial_correlation: float | None = None,
) -> DifferencePlan:
    """Plan the breakdowns for each of two conditions.

    The power is that of the test which the shift will be judged by: Welch's on filling means wherever there are
    several fillings (with three each it is well below that of the pooled t-test), Welch's on single breakdowns where
    they count as independent, t on the oils' differences when ``paired``. Equal scatter under both conditions is
    taken. A single series on one filling each cannot be judged by filling means at all; the caution says so.

    Parameters
    ----------
    cov, sd, mean, between_cov, between_sd, serial_correlation, protocol
        As for :func:`methods.planning.plan.mean`.
    difference : float
        Smallest difference worth seeing, in the unit of the scatter (0.10 for 10 %, or kV).
    power : float
        Wanted probability of seeing it.
    sides : {2, 1}
        A one-sided plan only where the other direction does not matter.
    breakdowns_per_filling, fillings : int, optional
        What is fixed beforehand; with scatter between fillings the cheapest design otherwise, in whole results of the
        method where one is named.
    paired : bool
        The same samples are tested under both conditions.
    disagreement : float
        SD, in the unit of the scatter, of the shift itself from sample to sample; only for ``paired``.
    confidence : float, default 0.95
        Of the test, a fraction.

    Raises
    ------
    InputError
        Impossible numbers, or a difference so small that no reasonable number of breakdowns shows it.
    """
    s = inputs.scatter(
        cov, sd, between_cov=between_cov, between_sd=between_sd, mean=mean, serial_correlation=serial_correlation
    )
    if sides not in (1, 2):
        raise InputError(f"sides is {sides!r}; a test has 1 or 2.", column="sides", text=str(sides))
    extra = inputs.positive(disagreement, "disagreement", zero=True)
    if extra and not paired:
        raise InputError("A disagreement from sample to sample belongs to a paired plan.", column="disagreement")
    ask = _Question(
        scatter=s,
        difference=inputs.positive(difference, "difference"),
        wanted=inputs.probability(power, "power"),
        confidence=inputs.probability(confidence, "confidence"),
        sides=sides,
        paired=bool(paired),
        disagreement=extra,
        protocol=protocol,
    )
    k = None if fillings is None else inputs.whole_number(fillings, "fillings", most=MOST_FILLINGS)
    n = (
        None
        if breakdowns_per_filling is None
        else inputs.whole_number(breakdowns_per_filling, "breakdowns_per_filling")
    )
    several = (k or 1) > 1 or n is not None  # fillings are asked for: the shift will be taken from their means
    units = s.between is not None or ask.paired or several
    ask = replace(ask, independent=not units)
    one = counted_in(protocol, s.between, k, n)
    one = None if one is not None and ask.paired and one.fillings > 1 else one  # a pair has one filling a side
    n = n if one is None else one.breakdowns_per_filling
    k, n = _nested(ask, k, n) if units else _independent(ask)
    return _result(ask, whole_results(k, one), n, units, one)


def _independent(ask: _Question) -> tuple[int, int]:
    """Independent breakdowns: every one is a unit."""
    total = ask.units(1, MOST_BREAKDOWNS)
    return 1, total


def _nested(ask: _Question, k: int | None, n: int | None) -> tuple[int, int]:
    """Fillings (or pairs) are the units."""
    if k is not None and n is not None:
        return k, n
    if n is not None:
        return ask.units(n, MOST_FILLINGS), n
    if k is not None:
        if k < 2 or ask.power(k, MOST_PER_FILLING) < ask.wanted:
            raise InputError(
                f"{k} fillings under each condition do not show {ask.scatter.say(ask.difference)} with a probability "
                f"of {100 * ask.wanted:g} %, however many breakdowns are taken on each: plan more fillings."
            )
        fixed = k
        return fixed, inputs.smallest(lambda m: ask.power(fixed, m) >= ask.wanted, 1, MOST_PER_FILLING, "")
    found = []
    for per, fillings in _frontier(ask):
        found.append((ask.minutes(fillings, per), fillings, per))
    _, fillings, per = min(found)
    return fillings, per


def _frontier(ask: _Question) -> list[tuple[int, int]]:
    """Breakdowns per filling with the fewest fillings each needs, up to where more breakdowns save no filling."""
    found: list[tuple[int, int]] = []
    last = MOST_FILLINGS + 1
    for n in range(1, 31):
        k = ask.units(n, MOST_FILLINGS)
        if k < last:
            found.append((n, k))
            last = k
    return found


def _result(ask: _Question, k: int, n: int, units: bool, one: Reported | None = None) -> DifferencePlan:
    s = ask.scatter
    power = ask.power(k, n) if units else ask.power(k * n, 1)
    known = ask.power_known(k, n) if units else ask.power_known(k * n, 1)
    designs = tuple(ask.row(fillings, per) for per, fillings in _frontier(ask)) if units else ()
    each, units_said = inputs.several(n, "breakdown"), inputs.several(k, "sample" if ask.paired else "filling")
    what = "each tested under both conditions with" if ask.paired else "under each condition, of"
    take = f"{units_said}{',' if ask.paired else ''} {what} {each}" if units or k > 1 else f"{each} of each condition"
    sentence = (
        f"Take {take}: a true difference of {s.say(ask.difference)} is then found with a probability of "
        f"{100 * power:.0f} % ({100 * ask.confidence:g} % confidence, {'two' if ask.sides == 2 else 'one'}-sided)."
        + told(k, one)
        + wear_words(n)
    )
    return DifferencePlan(
        breakdowns_per_condition=k * n,
        fillings_per_condition=k,
        breakdowns_per_filling=n,
        power=power,
        power_known=known,
        difference=s.kv(ask.difference),
        difference_percent=s.percent(ask.difference),
        confidence=ask.confidence,
        sides=ask.sides,
        paired=ask.paired,
        bench_minutes=ask.bench_minutes(k, n),
        designs=designs,
        sentence=sentence,
        cautions=(*_cautions(ask, k, n, units, power), *open_result(ask.protocol, s.between, one)),
        results=None if one is None else one.whole(k),
        result="" if one is None else one.words,
    )


def _cautions(ask: _Question, k: int, n: int, units: bool, power: float) -> tuple[Caution, ...]:
    found = []
    if not units:
        found.append(
            Caution(
                "independent",
                "Breakdowns are counted as independent. A series on one filling each compares two fillings, not two "
                "conditions, and its shift gets no limits of its own: give the scatter between fillings, or ask for "
                "several fillings.",
            )
        )
    elif k < 2:
        found.append(
            Caution("one_filling", "With one filling under each condition no test can tell condition from filling.")
        )
    if power < ask.wanted and k >= 2 and np.isfinite(power):
        found.append(Caution("power", f"This design finds the difference with {100 * power:.0f} % only."))
    return (*found, *assumed(ask.protocol, ask.scatter.mean_kv, n, weighed=units))
