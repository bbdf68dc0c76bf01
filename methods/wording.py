"""The result of a comparison as a sentence for the people who decide."""

from __future__ import annotations

import math
from collections.abc import Sequence

from methods.columns import name_level


def percent(value: float) -> str:
    """A percentage without its sign: two significant figures below ten, whole numbers above."""
    size = abs(value)
    return f"{size:.0f}" if size >= 9.95 else f"{size:.2g}" if size >= 1e-3 else "0"


#: Names that a sentence lists. Nobody reads further, and the tables have all of them.
MOST_LISTED = 60


def list_words(words: Sequence[object], limit: int = MOST_LISTED) -> str:
    """``a, b and c``, every one of them; only beyond ``limit`` it says how many more there are."""
    shown = [str(w) for w in words]
    if len(shown) > limit:
        return ", ".join(shown[:limit]) + f" and {len(shown) - limit} more"
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " and " + shown[-1] if shown else "none"


def p_words(p_value: float) -> str:
    """A p-value in a sentence: ``p = 0.032``, ``p < 0.001``."""
    if p_value < 0.001:
        return "p < 0.001"
    return f"p = {p_value:.3f}" if p_value < 0.1 else f"p = {p_value:.2f}"


def _side(value: float) -> str:
    return "lower" if value < 0 else "higher"


def count_words(first: int, second: int, what: str = "filling") -> str:
    """``6 fillings each`` or ``3 fillings against 5``.

    Parameters
    ----------
    first : int
        Number on one side.
    second : int
        Number on the other.
    what : str, default 'filling'
        What is counted, in the singular.
    """
    if first == second:
        return f"{first} {what}{'s' if first != 1 else ''} each"
    return f"{first} {what}{'s' if first != 1 else ''} against {second}"


def sentence(
    by: str, level: object, reference: object, value: float, low: float, high: float, counts: str, confidence: float
) -> str:
    """What the percent shift and its limits mean, such as ``mushroom reads 12 % lower than spherical: ...``.

    Parameters
    ----------
    by : str
        Column of the factor.
    level : object
        The level that is compared.
    reference : object
        The level that it is compared with.
    value : float
        The shift, %.
    low : float
        Lower limit, %; not finite where there is none.
    high : float
        Upper limit, %; not finite where there is none.
    counts : str
        What the shift rests on, such as ``6 fillings each``.
    confidence : float
        Of the limits, a fraction; named in the sentence unless it is 0.95.
    """
    one, two = name_level(by, level), name_level(by, reference)
    if not math.isfinite(value):
        return f"{one} against {two}: no shift can be given ({counts})."
    start = f"{one} reads {percent(value)} % {_side(value)} than {two}"
    if abs(value) < 0.05:
        start = f"{one} reads the same as {two} to within 0.05 %"
    sure = "" if abs(confidence - 0.95) < 1e-9 else f", {confidence * 100:g} % confidence"
    if low <= -100:  # a ratio of means below zero is outside what voltages can do: no lower limit, then
        low = -math.inf
    if not (math.isfinite(low) and math.isfinite(high)):
        if math.isfinite(high) and high < 0:
            return f"{start}: at least {percent(high)} % lower, {counts}{sure}."
        if math.isfinite(high):
            return (
                f"{start}, which may be chance: up to {percent(high)} % higher, and the data set no lower limit, "
                f"{counts}{sure}."
            )
        return f"{start}, but the data set no limit to the shift in percent ({counts}{sure})."
    if low > 0 or high < 0:
        near, far = sorted((abs(low), abs(high)))
        return f"{start}: between {percent(near)} and {percent(far)} % {_side(value)}, {counts}{sure}."
    return f"{start}, which may be chance: from {percent(low)} % lower to {percent(high)} % higher, {counts}{sure}."


def between(low: float, high: float, one: str, two: str) -> str:
    """Limits of a shift in percent as a clause: ``mushroom reads 5 to 12 % lower than spherical``.

    Parameters
    ----------
    low : float
        Lower limit of the shift, %; not finite where there is none.
    high : float
        Upper limit of the shift, %.
    one : str
        Name of the level that is compared.
    two : str
        Name of the reference.
    """
    low = -math.inf if low <= -100 else low
    if not (math.isfinite(low) or math.isfinite(high)):
        return "the data set no limit to the shift in percent"
    if not math.isfinite(low):
        return f"{one} reads at most {percent(high)} % {_side(high)} than {two}, without a lower limit"
    if not math.isfinite(high):
        return f"{one} reads at least {percent(low)} % {_side(low)} than {two}, without an upper limit"
    if low > 0 or high < 0:
        near, far = sorted((abs(low), abs(high)))
        return f"{one} reads {percent(near)} to {percent(far)} % {_side(low)} than {two}"
    return f"{one} reads anything from {percent(low)} % lower to {percent(high)} % higher than {two}"
