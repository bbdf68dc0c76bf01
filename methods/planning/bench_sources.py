"""Sources of uncertainty that the user knows of the test set, written as text: for the page and for the command.

Sources: JCGM 100:2008, 4.3.7 (half-width of a rectangular distribution over the square root of 3) and F.2.2.1
(resolution: half a step either way).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from methods.errors import InputError
from methods.planning import inputs
from methods.planning.uncertainty import DIVISORS, BudgetSource, source
from methods.result import Caution

#: How each kind is written.
FORMS = (
    "resolution 0.1 kV",
    "trip delay 0.05 s at 3 kV/s",
    "crest factor 1 %",
    "rate of rise 5 % exponent 17",
    "any name 0.4 kV triangular",
)
_RULE = f"such as {'; '.join(FORMS)}"
_NUMBER = r"(?P<value>\d+(?:[.,]\d+)?)"
_ANY = re.compile(rf"^(?P<name>.*?\S)\s+(?:±\s*)?{_NUMBER}\s*(?P<unit>kv|%)(?:\s+(?P<distribution>[a-z-]+))?$", re.I)
_DELAY = re.compile(rf"^trip delay\s+{_NUMBER}\s*s\s+at\s+(?P<rise>\d+(?:[.,]\d+)?)\s*kv/s$", re.I)
_RISE = re.compile(rf"^rate of rise\s+(?:±\s*)?{_NUMBER}\s*%\s+exponent\s+(?P<exponent>\d+(?:[.,]\d+)?)$", re.I)


@dataclass(frozen=True)
class OwnSources:
    """Lines of a budget, and what has to be said of them."""

    sources: tuple[BudgetSource, ...]
    cautions: tuple[Caution, ...]


def own_sources(text: str, mean_kv: float) -> OwnSources:
    """Read sources, one after another with semicolons between, for a mean of ``mean_kv``.

    * ``resolution 0.1 kV``: the last digit; half of it either way, rectangular.
    * ``trip delay 0.05 s at 3 kV/s``: the longest time between breakdown and the highest voltage recorded; any delay up
      to it is as likely. The recorded voltage is that much too high; half of the most is the mean excess, which a
      caution names and nothing corrects.
    * ``crest factor 1 %``: how far peak over the root of two may be from the rms value, half-width of a rectangular
      distribution.
    * ``rate of rise 5 % exponent 17``: half-width of the rate, with the exponent n of the user's own life law:
      the voltage goes as rate^(1/(n+1)).
    * anything else: a name, a number in kV or in % of the mean, and ``rectangular`` (unless said), ``triangular``,
      ``u-shaped`` (the number is the half-width) or ``normal`` (it is the SD).

    Raises
    ------
    InputError
        A source that cannot be read, with the ways to write one.
    """
    mean = inputs.positive(mean_kv, "mean_kv")
    found: list[BudgetSource] = []
    cautions: list[Caution] = []
    for part in (" ".join(p.split()) for p in text.split(";")):
        if not part:
            continue
        delay, rise, other = _DELAY.match(part), _RISE.match(part), _ANY.match(part)
        if delay is not None:
            longest, rate = _number(delay["value"]), _number(delay["rise"])
            found.append(source("trip delay", longest / 2, unit="s", distribution="rectangular", sensitivity=rate))
            cautions.append(
                Caution(
                    "trip_delay",
                    f"A trip delay of up to {longest:g} s at {rate:g} kV/s records up to {longest * rate:.2g} kV too "
                    f"much, {longest * rate / 2:.2g} kV on average. The mean is not corrected for it.",
                )
            )
        elif rise is not None:
            slope = mean / 100 / (_number(rise["exponent"]) + 1)
            found.append(
                source("rate of rise", _number(rise["value"]), unit="%", distribution="rectangular", sensitivity=slope)
            )
        elif other is not None and not other["name"].casefold().startswith(("trip delay", "rate of rise")):
            found.append(_any(other, mean, part))
        else:
            raise InputError(
                f"{part!r} is no source of uncertainty; write it {_RULE}.", column="source", text=part, rule=_RULE
            )
    return OwnSources(tuple(found), tuple(cautions))


def _any(said: re.Match[str], mean: float, part: str) -> BudgetSource:
    name, value = said["name"], _number(said["value"])
    kv = said["unit"].casefold() == "kv"
    distribution = (said["distribution"] or "rectangular").casefold()
    if distribution not in DIVISORS:
        raise InputError(
            f"{part!r}: {distribution!r} is no distribution; it is one of {', '.join(DIVISORS)}.",
            column="source", text=part, rule=", ".join(DIVISORS),
        )  # fmt: skip
    if name.casefold() == "resolution":
        value /= 2
    return source(
        name, value, unit="kV" if kv else "%", distribution=distribution, sensitivity=1.0 if kv else mean / 100
    )


def _number(text: str) -> float:
    return float(text.replace(",", "."))
