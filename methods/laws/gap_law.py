"""The gap law V = a d^m: how the breakdown voltage grows with the gap of one electrode pair."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from methods.columns import CONDITION, PRESCRIBED, without
from methods.errors import InputError, NotEstimable
from methods.laws.power_fit import PowerFit, PowerPrediction, fit_power
from methods.records.table import as_table
from methods.result import Caution, Shown

#: How far beyond the gaps of the data a prediction may go unasked: half as far again (common practice, no source).
REACH = 1.5

_WATCHED = without(CONDITION, "gap_mm")
#: What one law holds for.
GROUPS = without(PRESCRIBED, "gap_mm")


@dataclass(frozen=True, repr=False)
class GapLaw(Shown):
    """The law of one group of rows (one electrode, stirring and rate of rise).

    ``a_kv`` is the voltage at 1 mm of the average oil, ``m`` the exponent, both with limits; ``error`` says
    why a group has no law. ``fit`` holds the rest (units, degrees of freedom, lack of fit, points, oils).
    """

    group: dict[str, Any]
    gaps_mm: tuple[float, ...]
    a_kv: float
    a_low_kv: float
    a_high_kv: float
    m: float
    m_low: float
    m_high: float
    lack_of_fit_p: float
    unit: str
    units: int
    fit: PowerFit | None
    error: str | None
    cautions: tuple[Caution, ...]

    def predict(self, gap_mm: float, *, oil: str | None = None, beyond: bool = False) -> PowerPrediction:
        """The voltage at another gap, with the limits of the law and the band for one new filling mean.

        Parameters
        ----------
        gap_mm : float
            The gap, mm.
        oil : str, optional
            Name of an oil of the fit; by default the average of them.
        beyond : bool, default False
            Whether the law may be used far outside the tested gaps; a caution then says so.

        Raises
        ------
        NotEstimable
            The group has no law, or the gap lies more than half beyond the gaps of the data and ``beyond``
            is not set.
        InputError
            A gap that is not above zero, an oil that is not in the fit.
        """
        if self.fit is None:
            raise NotEstimable(self.error or "This group has no gap law.")
        if not gap_mm > 0:
            raise InputError(f"A gap of {gap_mm!r} mm is not above zero.")
        low, high = self.gaps_mm[0], self.gaps_mm[-1]
        far = gap_mm > high * REACH or gap_mm < low / REACH
        span = f"{low:g} to {high:g} mm"
        if far and not beyond:
            raise NotEstimable(
                f"{gap_mm:g} mm lies more than half beyond the tested gaps ({span}); nothing in these data says that "
                "the law still holds there. Test at that gap, or ask for it explicitly."
            )
        found = self.fit.predict(gap_mm, oil=oil)
        if low <= gap_mm <= high:
            return found
        text = f"{gap_mm:g} mm lies outside the tested gaps ({span}): the band supposes that the same law goes on."
        return replace(found, cautions=(Caution("far_outside_range" if far else "outside_range", text),))


class GapLaws(Shown, list[GapLaw]):
    """A list of gap laws, one a group, that shows itself."""


def _confounded(rows: pd.DataFrame, by: Sequence[str]) -> list[Caution]:
    """Factors that change together with the gap, so that the exponent is as much theirs."""
    together = []
    for name in _WATCHED:
        if name in by or rows[name].nunique(dropna=False) < 2:
            continue
        if rows.groupby(name, dropna=False)["gap_mm"].nunique().max() < 2:
            together.append(name)
    if not together:
        return []
    return [
        Caution(
            "confounded",
            f"Every gap has its own {' and '.join(together)}: what looks like the effect of the gap may be theirs, and "
            "the exponent must not be read as a gap law. Test two gaps with everything else the same.",
        )
    ]


def gap_laws(data: Any, *, by: Sequence[str] = GROUPS, confidence: float = 0.95) -> GapLaws:
    """Fit V = a d^m to each group of rows that has two or more gaps.

    Parameters
    ----------
    data : Records or DataFrame
        The record table with ``gap_mm`` in mm and ``kv``.
    by : sequence of str
        What separates the groups; gaps taken with another electrode, stirring or rate of rise are not mixed
        unless this says so.
    confidence : float
        Of every interval.

    Returns
    -------
    GapLaws
        One a group, in the order of the file; groups with one gap carry ``error``.

    Raises
    ------
    NotEstimable
        No group has a law.

    Notes
    -----
    Log-log regression with an own factor for each oil and laboratory and the filling means as units.
    Published: Moser, Transformerboard (1979) has about m = 0.64 for oil ducts (from memory).
    """
    table = as_table(data)
    names = [b for b in by if b in table.columns and table[b].notna().any()]
    if not table["gap_mm"].notna().any():
        raise NotEstimable("No row has a gap; the gap law needs the column gap_mm, in mm.")
    groups = list(table.groupby(names, dropna=False, sort=False)) if names else [((), table)]
    laws = GapLaws(_law(dict(zip(names, key, strict=True)), rows, names, confidence) for key, rows in groups)
    if all(law.error for law in laws):
        raise NotEstimable("No gap law can be fitted. " + (laws[0].error or ""))
    return laws


def _law(group: dict[str, Any], rows: pd.DataFrame, by: Sequence[str], confidence: float) -> GapLaw:
    clean = {k: None if pd.isna(v) else v for k, v in group.items()}
    gaps = tuple(sorted({float(g) for g in rows["gap_mm"].dropna()}))
    try:
        fit = fit_power(rows, "gap_mm", confidence=confidence)
    except NotEstimable as why:
        nan = float("nan")
        return GapLaw(clean, gaps, nan, nan, nan, nan, nan, nan, nan, "", 0, None, str(why), ())
    notes = [*fit.cautions, *_confounded(rows, by)]
    if len(fit.levels) == 2:
        notes.append(
            Caution(
                "two_gaps", "With two gaps any law fits: whether the voltage follows a power of the gap cannot be seen."
            )
        )
    return GapLaw(
        clean, fit.levels, fit.a, fit.a_low, fit.a_high, fit.b, fit.b_low, fit.b_high, fit.lack_of_fit_p,
        fit.unit, fit.units, fit, None, tuple(notes),
    )  # fmt: skip
