"""What every plan is asked with: checked numbers, and the scatter in per cent of the mean or in kV."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from methods.errors import InputError

#: No plan goes beyond this many breakdowns: a bench that takes 100 a day would be at it for years.
MOST_BREAKDOWNS = 100_000
#: No plan goes beyond this many fillings.
MOST_FILLINGS = 10_000


def positive(value: float | None, name: str, *, zero: bool = False) -> float:
    """Give ``value`` back as a float; refuse what is missing, not a number, infinite or not above zero.

    Parameters
    ----------
    value : float or None
        What was given.
    name : str
        The argument's name, for the message.
    zero : bool, default False
        Whether zero is allowed.
    """
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise InputError(f"{name} must be a number, not {value!r}.", column=name, text=str(value)) from None
    if not math.isfinite(number) or number < 0 or (number == 0 and not zero):
        rule = "zero or above" if zero else "above zero"
        raise InputError(f"{name} is {number:g}; it must be {rule}.", column=name, text=str(value), rule=rule)
    return number


def probability(value: float | None, name: str) -> float:
    """Give ``value`` back as a float strictly between 0 and 1."""
    number = positive(value, name)
    if number >= 1:
        raise InputError(
            f"{name} is {number:g}; it must lie between 0 and 1, such as 0.95: nothing measured is certain.",
            column=name,
            text=str(value),
            rule="0 < p < 1",
        )
    return number


def whole_number(value: int | float | None, name: str, *, least: int = 1, most: int = MOST_BREAKDOWNS) -> int:
    """Give ``value`` back as a whole number of at least ``least``.

    Parameters
    ----------
    value : int or float or None
        What was given.
    name : str
        The argument's name, for the message.
    least : int, default 1
        Smallest number that is allowed.
    most : int, default MOST_BREAKDOWNS
        Largest.
    """
    number = positive(value, name)
    if number != int(number) or number < least:
        raise InputError(
            f"{name} is {number:g}; it must be a whole number of at least {least}.", column=name, text=str(value)
        )
    if number > most:
        raise InputError(f"{name} is {number:g}; at most {most} are planned for.", column=name, text=str(value))
    return int(number)


def correlation(value: float | None, name: str = "serial_correlation") -> float:
    """Give ``value`` back as a lag-1 correlation, from 0 up to below 1 (a negative one is planned as none)."""
    number = positive(0.0 if value is None else value, name, zero=True)
    if number >= 1:
        raise InputError(f"{name} is {number:g}; it must be below 1.", column=name, text=str(value))
    return number


def several(number: int, word: str) -> str:
    """A number with its word: ``1 breakdown``, ``2 breakdowns``."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def smallest(good: Callable[[int], bool], least: int, most: int, refusal: str) -> int:
    """Smallest whole number from ``least`` to ``most`` for which ``good`` holds, ``good`` being monotone.

    Parameters
    ----------
    good : callable
        Whether a number is enough; once it is, every larger one is.
    least : int
        Where the search begins.
    most : int
        Where it ends.
    refusal : str
        The message when nothing is enough.

    Raises
    ------
    InputError
        With the sentence ``refusal`` when even ``most`` is not enough.

    Examples
    --------
    >>> smallest(lambda n: n * n >= 50, 1, 100, "none")
    8
    """
    if good(least):
        return least
    low, high = least, least
    while not good(high):
        if high >= most:
            raise InputError(refusal)
        low, high = high, min(2 * high, most)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if good(middle) else (middle, high)
    return high


def smallest_near(good: Callable[[int], bool], guess: int, least: int, most: int, refusal: str) -> int:
    """As :func:`smallest`, with few trials when ``guess`` is near; for what takes long to try.

    Parameters
    ----------
    good : callable
        Whether a number is enough; once it is, every larger one is.
    guess : int
        A number that is likely near.
    least : int
        Where the search begins.
    most : int
        Where it ends.
    refusal : str
        The message when nothing is enough.
    """
    low = high = min(max(guess, least), most)
    if good(high):
        while low > least and good(low):
            low, high = max(min(low - 1, int(low / 1.15)), least), low
        if good(low):
            return low
    else:
        while not good(high):
            if high >= most:
                raise InputError(refusal)
            low, high = high, min(max(high + 1, int(high * 1.15)), most)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if good(middle) else (middle, high)
    return high


@dataclass(frozen=True)
class Scatter:
    """The scatter a plan starts from: within and between fillings, as fractions of the mean or in kV.

    ``within`` is the SD of single breakdowns on one filling, ``between`` the SD of the fillings' true means
    (``None``: breakdowns count as independent). ``unit`` is ``"fraction"`` or ``"kv"`` and holds for every
    width and difference that goes with it. ``serial_correlation`` is the lag-1 correlation inside a filling.
    """

    within: float
    between: float | None
    unit: str
    mean_kv: float | None
    serial_correlation: float = 0.0

    def kv(self, value: float | None) -> float | None:
        """``value`` in kV, or None when that needs a mean that nobody gave."""
        if value is None or (self.unit == "fraction" and self.mean_kv is None):
            return None
        return value * self.mean_kv if self.unit == "fraction" and self.mean_kv is not None else value

    def percent(self, value: float | None) -> float | None:
        """``value`` in per cent of the mean, or None when that needs a mean that nobody gave."""
        if value is None or (self.unit == "kv" and self.mean_kv is None):
            return None
        return 100 * value / self.mean_kv if self.unit == "kv" and self.mean_kv is not None else 100 * value

    def say(self, value: float | None) -> str:
        """``value`` in words, in the unit in which the plan was asked for."""
        if value is None:
            return "unknown"
        if self.unit == "kv":
            return f"{value:.3g} kV"
        return f"{100 * value:.1f} %" if value >= 0.01 else f"{100 * value:.2g} %"


def of_fillings(s: Scatter, fillings: int | None) -> Scatter:
    """The scatter with fillings taken as alike where several are asked for and nothing is said of how they differ.

    The analysis goes by the means of the fillings wherever there are several, so the plan does too.
    """
    return replace(s, between=0.0) if s.between is None and (fillings or 1) > 1 else s


def scatter(
    cov: float | None,
    sd: float | None,
    *,
    between_cov: float | None = None,
    between_sd: float | None = None,
    mean: float | None = None,
    serial_correlation: float | None = None,
) -> Scatter:
    """Take the scatter either as coefficient of variation (fractions) or as SD (kV), never as both.

    Parameters
    ----------
    cov : float or None
        Scatter within a filling, a fraction of the mean.
    sd : float or None
        The same in kV, in its place.
    between_cov : float, optional
        Scatter between fillings, a fraction of the mean.
    between_sd : float, optional
        The same in kV, in its place.
    mean : float, optional
        The mean, kV: turns one unit into the other.
    serial_correlation : float, optional
        Lag-1 correlation of breakdowns on one filling.

    Raises
    ------
    InputError
        Both or neither given; a between part in another unit with no ``mean`` to convert it.
    """
    if (cov is None) == (sd is None):
        raise InputError("Give the scatter either as cov (a fraction of the mean, 0.15) or as sd (in kV), one of them.")
    if between_cov is not None and between_sd is not None:
        raise InputError("Give the scatter between fillings as between_cov or as between_sd, not as both.")
    mean_kv = None if mean is None else positive(mean, "mean")
    unit = "fraction" if cov is not None else "kv"
    within = positive(cov, "cov") if cov is not None else positive(sd, "sd")
    between: float | None = None
    if between_cov is not None:
        between = positive(between_cov, "between_cov", zero=True)
        other = unit == "kv"
    elif between_sd is not None:
        between = positive(between_sd, "between_sd", zero=True)
        other = unit == "fraction"
    if between is not None and other:
        if mean_kv is None:
            raise InputError("Scatter within and between fillings are in different units (% and kV): give the mean.")
        between = between * mean_kv if unit == "kv" else between / mean_kv
    if unit == "fraction" and max(within, between or 0.0) > 2:
        raise InputError(
            f"A coefficient of variation of {100 * max(within, between or 0):g} % is not a breakdown voltage's: "
            "write 15 % as 0.15.",
            column="cov",
        )
    return Scatter(within, between, unit, mean_kv, correlation(serial_correlation))
