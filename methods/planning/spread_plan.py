"""How many breakdowns for the scatter itself: for an SD, and for the ratio of two; and how well a CoV is known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import scipy

from methods.errors import InputError
from methods.planning import inputs
from methods.planning.inputs import MOST_BREAKDOWNS
from methods.result import Caution, Shown


@dataclass(frozen=True, repr=False)
class SpreadPlan(Shown):
    """A plan for an SD.

    ``breakdowns`` in all (``breakdowns_per_condition`` the same number when two conditions are compared),
    ``degrees_of_freedom`` of the pooled SD, ``kind`` what is asked, ``within`` or ``ratio`` the request, ``achieved``
    the probability (or, for an upper limit, the ratio of limit and SD) that the plan gives, ``low_factor`` and
    ``high_factor`` the two-sided limits of the true SD as multiples of the SD found.
    """

    breakdowns: int
    fillings: int
    breakdowns_per_condition: int | None
    degrees_of_freedom: int
    kind: str
    within: float | None
    ratio: float | None
    achieved: float
    low_factor: float
    high_factor: float
    confidence: float
    sentence: str
    cautions: tuple[Caution, ...]


def sd_limit_factors(df: int, confidence: float = 0.95) -> tuple[float, float]:
    """Limits of the true SD as multiples of one found with ``df`` degrees of freedom (chi-square)."""
    tail = (1 - inputs.probability(confidence, "confidence")) / 2
    return (
        float(math.sqrt(df / scipy.stats.chi2.ppf(1 - tail, df))),
        float(math.sqrt(df / scipy.stats.chi2.ppf(tail, df))),
    )


def _within(df: int, room: float) -> float:
    """Probability that the SD found is within ``room`` (a fraction) of the true one."""
    return float(scipy.stats.chi2.cdf(df * (1 + room) ** 2, df) - scipy.stats.chi2.cdf(df * max(1 - room, 0) ** 2, df))


def _upper(df: int, tail: float) -> float:
    return float(math.sqrt(df / scipy.stats.chi2.ppf(tail, df)))


def power_of_f(df: int, ratio: float, confidence: float = 0.95) -> float:
    """Power of the two-sided F test of equal SDs, ``df`` degrees of freedom each, when they differ by ``ratio``.

    Parameters
    ----------
    df : int
        Degrees of freedom of each SD.
    ratio : float
        True ratio of the SDs.
    confidence : float, default 0.95
        Of the test, a fraction.
    """
    alpha = 1 - confidence
    low, high = scipy.stats.f.ppf(alpha / 2, df, df), scipy.stats.f.ppf(1 - alpha / 2, df, df)
    return float(scipy.stats.f.sf(high / ratio**2, df, df) + scipy.stats.f.cdf(low / ratio**2, df, df))


def plan_sd(
    within: float | None = None,
    *,
    ratio: float | None = None,
    kind: str = "within",
    confidence: float = 0.95,
    power: float = 0.8,
    fillings: int = 1,
) -> SpreadPlan:
    """Plan the breakdowns for an SD (on one or more fillings), or for seeing that two SDs differ.

    Parameters
    ----------
    within : float
        Closeness wanted, as a fraction: 0.2 for 20 %.
    ratio : float
        Instead: smallest ratio of two conditions' SDs that is to be found (F test, ``power``).
    kind : {"within", "upper", "upper_one_sided"}
        ``within``: the SD found is within that fraction of the true one with probability ``confidence``
        (Greenwood and Sandomire, *J. Amer. Statist. Assoc.* 45 (1950) 257); ``upper``: the upper limit of the
        two-sided (or one-sided) interval is at most ``1 + within`` times the SD found.
    fillings : int
        Fillings over which the breakdowns are spread; each costs one degree of freedom of the SD within fillings.
    confidence : float, default 0.95
        Of the interval or test, a fraction.
    power : float, default 0.8
        Wanted probability of finding ``ratio``.

    Raises
    ------
    InputError
        Impossible numbers, or more than 100 000 breakdowns.
    """
    level = inputs.probability(confidence, "confidence")
    k = inputs.whole_number(fillings, "fillings")
    if (within is None) == (ratio is None):
        raise InputError("Give either how close the SD is to be (within, 0.2) or the ratio of two SDs to be seen.")
    refusal = f"More than {MOST_BREAKDOWNS} breakdowns would be needed; ask for less."
    if ratio is not None:
        return _ratio_plan(inputs.positive(ratio, "ratio"), level, inputs.probability(power, "power"), k)
    room = inputs.positive(within, "within")
    if kind == "within":
        df = inputs.smallest(lambda m: _within(m, room) >= level, 1, MOST_BREAKDOWNS, refusal)
        tail = math.nan
    elif kind in ("upper", "upper_one_sided"):
        tail = (1 - level) / (2 if kind == "upper" else 1)
        df = inputs.smallest(lambda m: _upper(m, tail) <= 1 + room, 1, MOST_BREAKDOWNS, refusal)
    else:
        raise InputError(f"kind is {kind!r}; it is within, upper or upper_one_sided.", column="kind", text=str(kind))
    df = math.ceil((df + k) / k) * k - k  # the same number on every filling
    achieved = _within(df, room) if kind == "within" else _upper(df, tail)
    low, high = sd_limit_factors(df, level)
    said = (
        f"the SD found is within {100 * room:g} % of the true one with a probability of {100 * achieved:.0f} %"
        if kind == "within"
        else f"the upper {100 * level:g} % limit of the SD is {achieved:.3g} times the SD found"
    )
    where = "" if k == 1 else f" on {k} fillings"
    return SpreadPlan(
        breakdowns=df + k, fillings=k, breakdowns_per_condition=None, degrees_of_freedom=df, kind=kind, within=room,
        ratio=None, achieved=achieved, low_factor=low, high_factor=high, confidence=level,
        sentence=f"Take {df + k} breakdowns{where}: {said}.", cautions=(_NORMAL,),
    )  # fmt: skip


_NORMAL = Caution(
    "normal_only",
    "How surely an SD is known depends on the shape of the distribution much more than a mean does: this plan holds "
    "for normal scatter. A long lower tail needs more.",
)


def _ratio_plan(ratio: float, level: float, power: float, k: int) -> SpreadPlan:
    larger = max(ratio, 1 / ratio)
    if larger == 1:
        raise InputError("A ratio of 1 is no difference.", column="ratio", text=str(ratio))
    df = inputs.smallest(
        lambda m: power_of_f(m, larger, level) >= power,
        1,
        MOST_BREAKDOWNS,
        f"More than {MOST_BREAKDOWNS} breakdowns of each would be needed; look for a larger ratio.",
    )
    df = math.ceil((df + k) / k) * k - k
    low, high = sd_limit_factors(df, level)
    achieved = power_of_f(df, larger, level)
    return SpreadPlan(
        breakdowns=2 * (df + k), fillings=k, breakdowns_per_condition=df + k, degrees_of_freedom=df, kind="ratio",
        within=None, ratio=ratio, achieved=achieved, low_factor=low, high_factor=high, confidence=level,
        sentence=f"Take {df + k} breakdowns of each condition: SDs that differ by a factor of {larger:g} are told "
        f"apart with a probability of {100 * achieved:.0f} %.", cautions=(_NORMAL,),
    )  # fmt: skip
