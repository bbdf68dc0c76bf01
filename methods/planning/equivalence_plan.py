"""How many breakdowns give two conditions a fair chance of being shown equivalent (two one-sided tests)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from methods.errors import InputError
from methods.planning import inputs
from methods.planning.bench_cost import assumed, design_cost, wear_words
from methods.planning.in_results import counted_in, open_result, told, whole_results
from methods.planning.inputs import MOST_BREAKDOWNS, MOST_FILLINGS
from methods.planning.nested import filling_variance
from methods.planning.power import welch_nodes
from methods.procedures.reported import Reported
from methods.result import Caution, Shown

#: From so many fillings a side on, Welch's and the pooled test have the same power to a thousandth.
ALIKE = 30

_NODES = np.polynomial.legendre.leggauss(120)


@dataclass(frozen=True, repr=False)
class EquivalencePlan(Shown):
    """A plan for showing that two conditions agree within a margin.

    ``power``: probability that the two one-sided tests both succeed, when the true difference is
    ``expected_difference``. Margins and differences in kV and in per cent of the mean, None where that needs a mean.
    ``confidence`` is that of each of the two tests: the matching interval has ``2 * confidence - 1``.
    """

    breakdowns_per_condition: int
    fillings_per_condition: int
    breakdowns_per_filling: int
    power: float
    margin: float | None
    margin_percent: float | None
    expected_difference: float | None
    expected_difference_percent: float | None
    confidence: float
    bench_minutes: float | None
    sentence: str
    cautions: tuple[Caution, ...]
    results: int | None = None
    result: str = ""


def power_equivalence(
    margin_low: float, margin_high: float, difference: float, standard_error: float, df: float,
    confidence: float = 0.95,
    critical: float | None = None,
) -> float:  # fmt: skip
    """Exact power of the two one-sided tests at a true ``difference``, with ``df`` degrees of freedom.

    The estimate and its standard error are independent: the probability that the interval lies inside the margins is
    integrated over the chi distribution of the latter (what Owen's Q function does; D. B. Owen, *Biometrika* 52
    (1965) 437-446). ``critical`` replaces the quantile of Student's t.

    Parameters
    ----------
    margin_low : float
        Lower margin.
    margin_high : float
        Upper margin, in the same unit.
    difference : float
        True difference, in the same unit.
    standard_error : float
        Of the difference that is estimated.
    df : float
        Its degrees of freedom.
    confidence : float, default 0.95
        Of each one-sided test, a fraction.
    critical : float, optional
        Critical value in place of Student's.

    Examples
    --------
    >>> round(power_equivalence(-5.0, 5.0, 0.0, 1.5, 20.0), 3)
    0.884
    """
    alpha = 1 - confidence
    if not margin_low < margin_high:
        raise InputError("The lower margin must lie below the upper one.", column="margin")
    critical = float(scipy.stats.t.ppf(1 - alpha, df)) if critical is None else critical
    widest = (margin_high - margin_low) / (2 * critical * standard_error)  # SD ratio beyond which no estimate passes
    low, high = np.sqrt(scipy.stats.chi2.ppf([1e-15, 1 - 1e-15], df) / df)
    if widest <= low:
        return 0.0
    nodes, weights = _NODES
    top = min(widest, high)
    u = low + (top - low) * (nodes + 1) / 2
    density = scipy.stats.chi2.pdf(df * u**2, df) * 2 * df * u
    passes = scipy.special.ndtr((margin_high - difference) / standard_error - critical * u) - scipy.special.ndtr(
        (margin_low - difference) / standard_error + critical * u
    )
    return float((top - low) / 2 * np.sum(weights * density * np.maximum(passes, 0.0)))


def power_equivalence_welch(margin: float, difference: float, sd: float, n: int, confidence: float = 0.95) -> float:
    """Power in Welch's form, as agreement is judged: ``n`` values of SD ``sd`` on each side, margins ``±margin``.

    Parameters
    ----------
    margin : float
        Half-width of the margins.
    difference : float
        True difference, in the same unit.
    sd : float
        Of the values on each side.
    n : int
        Values on each side.
    confidence : float, default 0.95
        Of each one-sided test, a fraction.
    """
    critical, weight = welch_nodes(n, confidence, 1, 24)
    error = sd * math.sqrt(2 / n)
    chances = [
        power_equivalence(-margin, margin, difference, error, 2 * (n - 1), confidence, float(c)) for c in critical
    ]
    return float(weight @ np.array(chances))


def plan_equivalence(
    cov: float | None = None,
    margin: float | None = None,
    *,
    sd: float | None = None,
    expected_difference: float = 0.0,
    power: float = 0.8,
    confidence: float = 0.95,
    mean: float | None = None,
    between_cov: float | None = None,
    between_sd: float | None = None,
    breakdowns_per_filling: int | None = None,
    fillings: int | None = None,
    protocol: Any = None,
    serial_correlation: float | None = None,
) -> EquivalencePlan:
    """Plan the breakdowns for showing that two conditions agree within ``±margin``, chosen beforehand.

    The power is that of the tests in Welch's form, as :func:`methods.equivalence` makes them: on filling means where
    scatter between fillings or several fillings are asked for, otherwise on independent breakdowns.

    Parameters
    ----------
    margin, expected_difference : float
        In the unit of the scatter: fractions of the mean beside ``cov``, kV beside ``sd``. The expected difference
        is the true one at which the power is wanted; zero is the best case.
    confidence : float
        Risk of each of the two one-sided tests.
    cov, sd, mean, between_cov, between_sd, breakdowns_per_filling, fillings, protocol, serial_correlation
        As for :func:`methods.planning.plan.difference`; with scatter between fillings the filling is the unit and
        those of the method on each, or 5, are planned unless said.
    power : float, default 0.8
        Wanted probability that the tests show agreement.

    Raises
    ------
    InputError
        Impossible numbers; an expected difference outside the margin, which no number of breakdowns can show.
    """
    s = inputs.scatter(
        cov, sd, between_cov=between_cov, between_sd=between_sd, mean=mean, serial_correlation=serial_correlation
    )
    room = inputs.positive(margin, "margin")
    expected = abs(float(expected_difference))
    inputs.positive(expected, "expected_difference", zero=True)
    wanted, risk = inputs.probability(power, "power"), 1 - inputs.probability(confidence, "confidence")
    if risk >= 0.5:
        raise InputError("confidence must be above one half.", column="confidence", text=str(confidence))
    if expected >= room:
        raise InputError(
            f"A true difference of {s.say(expected)} is not within ±{s.say(room)}; no number of breakdowns shows it.",
            column="expected_difference",
        )
    several = (fillings or 1) > 1 or breakdowns_per_filling is not None  # judged by the means of fillings
    nested, unsaid = s.between is not None or several, s.between is None and several
    one = counted_in(protocol, s.between, fillings, breakdowns_per_filling)
    usual = (one.breakdowns_per_filling if one is not None else None) or (5 if nested else 1)
    n = inputs.whole_number(breakdowns_per_filling, "breakdowns_per_filling") if breakdowns_per_filling else usual

    def chance(k: int, per: int) -> float:
        variance = float(filling_variance(s.within, s.between or 0.0, per, s.serial_correlation))
        if k < 2:
            return 0.0
        if k < ALIKE:
            return power_equivalence_welch(room, expected, math.sqrt(variance), k, 1 - risk)
        return power_equivalence(-room, room, expected, math.sqrt(2 * variance / k), 2 * (k - 1), 1 - risk)

    most = MOST_FILLINGS if nested else MOST_BREAKDOWNS
    refusal = f"More than {most} would be needed for ±{s.say(room)}; widen the margin."
    if nested and fillings is not None:
        k = inputs.whole_number(fillings, "fillings")
        got = chance(k, n)
    elif nested:
        k = whole_results(inputs.smallest(lambda m: chance(m, n) >= wanted, 2, most, refusal), one)
        got = chance(k, n)
    else:
        k, n = 1, inputs.smallest(lambda m: chance(m, 1) >= wanted, 2, most, refusal)
        got = chance(n, 1)
    return _result(s, k, n, got, room, expected, risk, wanted, protocol, one, unsaid)


def _result(
    s: inputs.Scatter,
    k: int,
    n: int,
    got: float,
    room: float,
    expected: float,
    risk: float,
    wanted: float,
    protocol: Any,
    one: Reported | None,
    alike: bool,
) -> EquivalencePlan:
    cost = design_cost(protocol, k, n, s.mean_kv).bench_minutes
    found = []
    if alike:
        found.append(
            Caution(
                "between_unknown",
                "How much fillings differ is not said, so they are taken as alike; real fillings differ, and agreement "
                "is shown less often.",
            )
        )
    elif s.between is None:
        found.append(
            Caution(
                "independent",
                "Breakdowns are counted as independent. If fillings differ, say how much: agreement between two "
                "fillings is not agreement between two conditions.",
            )
        )
    if expected == 0:
        found.append(
            Caution(
                "best_case",
                "The power is the one for conditions that agree exactly. A small true difference lowers it quickly: "
                "ask with an expected difference as well.",
            )
        )
    if got < wanted:
        found.append(Caution("power", f"This design shows the agreement with a probability of {100 * got:.0f} % only."))
    each = (
        f"{k} fillings of {n} under each condition"
        if s.between is not None or alike
        else f"{k * n} breakdowns of each condition"
    )
    return EquivalencePlan(
        breakdowns_per_condition=k * n, fillings_per_condition=k, breakdowns_per_filling=n, power=got,
        margin=s.kv(room), margin_percent=s.percent(room), expected_difference=s.kv(expected),
        expected_difference_percent=s.percent(expected), confidence=1 - risk,
        bench_minutes=None if cost is None else 2 * cost,
        sentence=f"Take {each}: agreement within ±{s.say(room)} is then shown with a probability of {100 * got:.0f} %."
        + told(k, one) + wear_words(n),
        cautions=(*found, *assumed(protocol, s.mean_kv, n, weighed=False), *open_result(protocol, s.between, one)),
        results=None if one is None else one.whole(k), result="" if one is None else one.words,
    )  # fmt: skip
