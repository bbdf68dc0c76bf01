"""Acceptance by variables: the chance that a lot passes on mean and SD, and the plan for two stated risks.

Accept when ``(mean - limit) / sd >= k`` (the limit being a lower one). Source: MIL-STD-414 and ISO 3951-1 for the
scheme; the noncentral t for its operating characteristic.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import scipy

from methods.errors import InputError
from methods.planning.inputs import MOST_BREAKDOWNS, count, positive, probability, smallest


@dataclass(frozen=True)
class AcceptancePlan:
    """``breakdowns`` to take and ``k`` to accept by; the chances of acceptance at the good and the bad share."""

    breakdowns: int
    k: float
    sd_known: bool
    accept_good: float
    accept_bad: float


def acceptance_probability(n: int, k: float, share_below: float, *, sd_known: bool = False) -> float:
    """Chance of acceptance when ``share_below`` of all breakdowns lie below the limit.

    Parameters
    ----------
    n, k : int, float
        The plan.
    sd_known : bool
        Whether the SD is known beforehand; otherwise it is that of the ``n`` breakdowns.
    """
    size = count(n, "n", least=1 if sd_known else 2)
    distance = -scipy.special.ndtri(probability(share_below, "share_below"))
    if sd_known:
        return float(scipy.special.ndtr(math.sqrt(size) * (distance - k)))
    return float(scipy.stats.nct.sf(math.sqrt(size) * k, size - 1, math.sqrt(size) * distance))


def acceptance_plan(
    good: float, accept_good: float, bad: float, accept_bad: float, *, sd_known: bool = False
) -> AcceptancePlan:
    """Smallest plan that accepts a ``good`` share with at least, a ``bad`` share with at most the stated chance.

    ``k`` is the one that accepts the good share with exactly ``accept_good``; what rounding the number of breakdowns up
    gains goes to the side that must be refused.

    Raises
    ------
    InputError
        Shares or chances the wrong way round.
    """
    p1, p2 = probability(good, "good"), probability(bad, "bad")
    a, b = probability(accept_good, "accept_good"), probability(accept_bad, "accept_bad")
    if not (p1 < p2 and b < a):
        raise InputError("The good share must lie below the bad one, and be accepted more often.", column="good")
    z1, z2 = -scipy.special.ndtri(p1), -scipy.special.ndtri(p2)
    if sd_known:
        n = max(math.ceil(((scipy.special.ndtri(a) - scipy.special.ndtri(b)) / (z1 - z2)) ** 2), 1)
        k = float(z1 - scipy.special.ndtri(a) / math.sqrt(n))
    else:
        n, k = _unknown(z1, z2, a, b)
    return AcceptancePlan(
        n,
        k,
        sd_known,
        acceptance_probability(n, k, p1, sd_known=sd_known),
        acceptance_probability(n, k, p2, sd_known=sd_known),
    )


def _unknown(z1: float, z2: float, a: float, b: float) -> tuple[int, float]:
    """The smallest n whose k for the good share refuses the bad one often enough."""

    def k_for(n: int) -> float:
        return float(scipy.stats.nct.isf(a, n - 1, math.sqrt(n) * z1) / math.sqrt(n))

    def enough(n: int) -> bool:
        return bool(scipy.stats.nct.sf(math.sqrt(n) * k_for(n), n - 1, math.sqrt(n) * z2) <= b)

    n = smallest(enough, 2, MOST_BREAKDOWNS, f"More than {MOST_BREAKDOWNS} breakdowns would be needed.")
    return n, k_for(n)


def required_share(n: int, k: float, chance: float, *, sd_known: bool = False) -> float:
    """Share below the limit that is accepted with the stated ``chance`` (the curve read backwards)."""
    wanted, factor = probability(chance, "chance"), positive(abs(k), "k", zero=True) * math.copysign(1, k)
    return float(
        scipy.optimize.brentq(
            lambda p: acceptance_probability(n, factor, p, sd_known=sd_known) - wanted, 1e-12, 1 - 1e-12, xtol=1e-12
        )
    )
