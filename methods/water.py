"""Water in insulating liquids: solubility and relative saturation.

log10 S = A - B / T, S in mg/kg, T in kelvin. What a breakdown voltage follows is the relative saturation, not
the mg/kg. The constants are trade knowledge; aged, acidic or aromatic oils dissolve more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from methods.errors import InputError

#: 0 degrees Celsius in kelvin.
ZERO_C = 273.15

#: Liquids have no solubility formula below or above this in degrees Celsius.
COLDEST_C, HOTTEST_C = -30.0, 120.0


@dataclass(frozen=True)
class Solubility:
    """Constants of log10 S = a - b / T for one liquid, with the mark that says how well they are known."""

    liquid: str
    a: float | None
    b: float | None
    mark: str
    source: str


#: Constants by liquid. The uncertain ones are empty: enter your own.
SOLUBILITY: dict[str, Solubility] = {
    "mineral": Solubility("mineral", 7.42, 1670.0, "memory", "Oommen-type constants for new mineral oil"),
    "mineral_alternative": Solubility(
        "mineral_alternative", 7.0895, 1567.0, "memory", "a second set in use for mineral oil"
    ),
    "natural_ester": Solubility(
        "natural_ester", None, None, "uncertain", "about 1000 mg/kg at 20 C is remembered; enter your own constants"
    ),
    "synthetic_ester": Solubility(
        "synthetic_ester", None, None, "uncertain", "about 2600 mg/kg at room temperature is remembered; enter your own"
    ),
}  # fmt: skip


def _kelvin(temperature_c: ArrayLike) -> Any:
    t = np.asarray(temperature_c, dtype=float)
    with np.errstate(invalid="ignore"):
        bad = (t < COLDEST_C) | (t > HOTTEST_C) | np.isinf(t)
    if bad.any():
        text = f"{float(t[bad].ravel()[0]):g}"
        rule = f"{COLDEST_C:g} to {HOTTEST_C:g} degrees Celsius"
        raise InputError(
            f"The temperature {text} is outside {rule}; is it in Fahrenheit?",
            column="temperature_c", text=text, rule=rule,
        )  # fmt: skip
    return t + ZERO_C


def constants(liquid: str | tuple[float, float]) -> tuple[float, float]:
    """The constants (a, b) of a liquid by name, or the user's own pair.

    Raises
    ------
    InputError
        An unknown liquid, one whose constants are not certain enough to ship, a pair that is no pair of numbers.
    """
    if isinstance(liquid, tuple):
        a, b = (float(x) for x in liquid)
        if not (np.isfinite(a) and np.isfinite(b) and b > 0):
            raise InputError(
                f"The constants {liquid} cannot be used.", column="liquid", rule="a and b finite, b above 0"
            )
        return a, b
    found = SOLUBILITY.get(liquid)
    if found is None:
        rule = f"one of {', '.join(SOLUBILITY)}"
        raise InputError(f"The liquid is {liquid!r}; it must be {rule}.", column="liquid", text=str(liquid), rule=rule)
    if found.a is None or found.b is None:
        raise InputError(
            f"The solubility of water in {liquid} is not certain enough to ship ({found.source}): "
            "pass your own constants as a pair (A, B) of log10 S = A - B / T.",
            column="liquid", text=liquid, rule="constants of your own",
        )  # fmt: skip
    return found.a, found.b


def solubility(temperature_c: ArrayLike, liquid: str | tuple[float, float] = "mineral") -> Any:
    """Water that the liquid can dissolve, mg/kg; array in, array out, nan stays nan.

    Raises
    ------
    InputError
        A temperature out of range, an unknown or uncertain liquid.
    """
    a, b = constants(liquid)
    found = 10.0 ** (a - b / _kelvin(temperature_c))
    return float(found) if np.ndim(found) == 0 else found


def relative_saturation(
    water_mg_kg: ArrayLike, temperature_c: ArrayLike, liquid: str | tuple[float, float] = "mineral"
) -> Any:
    """Relative saturation w / S(T), a fraction; above 1 there is free water.

    Parameters
    ----------
    water_mg_kg : float or array
        Water by mass, mg/kg (uL/L must be divided by the density first).
    temperature_c : float or array
        Temperature of the liquid where the saturation is wanted, degrees Celsius.
    liquid : str or (float, float)
        ``mineral``, ``mineral_alternative``, or your own constants (A, B).

    Raises
    ------
    InputError
        Negative water, a temperature out of range, an unknown or uncertain liquid.
    """
    w = np.asarray(water_mg_kg, dtype=float)
    if (w < 0).any() or np.isinf(w).any():
        raise InputError("Water content must be 0 mg/kg or more.", column="water_mg_kg", rule="0 or more")
    found = w / np.asarray(solubility(temperature_c, liquid))
    return float(found) if np.ndim(found) == 0 else found
