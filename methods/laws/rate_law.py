"""The rate of rise under a power life law: V grows as rate^(1/(n+1))."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import PRESCRIBED, without
from methods.errors import InputError, NotEstimable
from methods.laws.power_fit import PowerFit, fit_power
from methods.records.table import as_table
from methods.result import Caution, Shown

#: What one law holds for.
GROUPS = without(PRESCRIBED, "rise_kv_s")


@dataclass(frozen=True, repr=False)
class RateShift(Shown):
    """Expected change of the breakdown voltage from one rate of rise to another, as a ratio and in per cent."""

    from_kv_s: float
    to_kv_s: float
    n: float
    ratio: float
    percent: float
    low_percent: float
    high_percent: float


@dataclass(frozen=True, repr=False)
class RateLaw(Shown):
    """Life exponent n of one group, from the slope 1/(n+1) of ln V against ln rate, with limits.

    ``n_high`` is infinite where the data do not exclude that the rate has no effect at all; ``n`` is not
    given where the voltage does not rise with the rate. ``error`` says why a group has no law.
    """

    group: dict[str, Any]
    rates_kv_s: tuple[float, ...]
    n: float
    n_low: float
    n_high: float
    slope: float
    slope_low: float
    slope_high: float
    lack_of_fit_p: float
    unit: str
    units: int
    fit: PowerFit | None
    error: str | None
    cautions: tuple[Caution, ...]


class RateLaws(Shown, list[RateLaw]):
    """A list of rate laws, one a group, that shows itself."""


def rate_shift(
    from_kv_s: float, to_kv_s: float, n: float, *, n_low: float | None = None, n_high: float | None = None
) -> RateShift:
    """Expected shift between two rates of rise when the life at constant voltage follows t V^n = const.

    Integrating the damage of a linear ramp gives V^(n+1) proportional to the rate (Nelson, Accelerated
    Testing, 1990, ch. 10, on progressive stress). With ``n_low`` and ``n_high`` the shift has a range.

    Parameters
    ----------
    from_kv_s : float
        Rate of rise at which the results were taken, kV/s.
    to_kv_s : float
        Rate for which the shift is wanted, kV/s.
    n : float
        Life exponent.
    n_low : float, optional
        Lower limit of n.
    n_high : float, optional
        Upper limit of n.

    Raises
    ------
    InputError
        Rates or n that are not above zero.

    Examples
    --------
    >>> round(rate_shift(2.0, 3.0, n=20).percent, 2)
    1.95
    """
    for name, value in (("from_kv_s", from_kv_s), ("to_kv_s", to_kv_s), ("n", n)):
        if not value > 0:
            raise InputError(f"{name} is {value!r}; it must be above zero.", column=name)
    ratio = to_kv_s / from_kv_s

    def percent(value: float) -> float:
        return float(100 * (ratio ** (1 / (value + 1)) - 1))

    ends = sorted(percent(v) for v in (n_low if n_low is not None else n, n_high if n_high is not None else n))
    return RateShift(from_kv_s, to_kv_s, n, float(ratio ** (1 / (n + 1))), percent(n), ends[0], ends[1])


def _exponent(slope: float) -> float:
    return float(1 / slope - 1) if slope > 0 else float("inf")


def rate_laws(data: Any, *, by: Sequence[str] = GROUPS, confidence: float = 0.95) -> RateLaws:
    """Estimate the life exponent n from data with two or more rates of rise (``rise_kv_s``, kV/s).

    Same regression as the gap law: an own factor for each oil and laboratory, filling means as units.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    by : sequence of str, default GROUPS
        Columns whose groups have a law each.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        No group has two rates of rise on one oil.
    """
    table = as_table(data)
    if not table["rise_kv_s"].notna().any():
        raise NotEstimable("No row has a rate of rise; the rate law needs the column rise_kv_s, in kV/s.")
    names = [b for b in by if b in table.columns and table[b].notna().any()]
    groups = list(table.groupby(names, dropna=False, sort=False)) if names else [((), table)]
    laws = RateLaws(_law(dict(zip(names, key, strict=True)), rows, confidence) for key, rows in groups)
    if all(law.error for law in laws):
        raise NotEstimable("No rate law can be fitted. " + (laws[0].error or ""))
    return laws


def _law(group: dict[str, Any], rows: pd.DataFrame, confidence: float) -> RateLaw:
    clean = {k: None if pd.isna(v) else v for k, v in group.items()}
    rates = tuple(sorted({float(g) for g in rows["rise_kv_s"].dropna()}))
    nan = float("nan")
    try:
        fit = fit_power(rows, "rise_kv_s", confidence=confidence)
    except NotEstimable as why:
        return RateLaw(clean, rates, nan, nan, nan, nan, nan, nan, nan, "", 0, None, str(why), ())
    notes = list(fit.cautions)
    methods = rows.groupby("method", dropna=False)["rise_kv_s"].nunique()
    if len(methods) > 1 and methods.max() < 2:
        notes.append(
            Caution("confounded", "Every rate of rise belongs to another method: the shift may come from the method.")
        )
    if fit.b <= 0:
        notes.append(
            Caution(
                "no_rise", "The voltage does not grow with the rate of rise in these data, so no exponent n is given."
            )
        )
    elif fit.b_low <= 0:
        notes.append(
            Caution(
                "rate_unclear", "An effect of the rate of rise cannot be told from none here: n has no upper limit."
            )
        )
    n = _exponent(fit.b) if fit.b > 0 else nan
    # a steep slope is a small n, so the limits change places
    low, high = (_exponent(fit.b_high) if np.isfinite(n) else nan, _exponent(fit.b_low) if np.isfinite(n) else nan)
    return RateLaw(
        clean, fit.levels, n, low, high, fit.b, fit.b_low, fit.b_high, fit.lack_of_fit_p, fit.unit, fit.units, fit,
        None, tuple(notes),
    )  # fmt: skip
