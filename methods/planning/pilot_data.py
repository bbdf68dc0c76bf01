"""Existing data as a pilot: its scatter, with the uncertainty of that scatter carried into the plan."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import InputError, NotEstimable
from methods.planning import inputs
from methods.planning.in_results import counted_in, told, whole_results
from methods.planning.mean_plan import MeanPlan, plan_mean
from methods.records.table import as_table, filling_codes, group_codes
from methods.result import Caution, Shown
from methods.scatter import components
from methods.scatter.order import order_effects

#: A few breakdowns may by chance look as if they hung together altogether; no plan counts with more than this.
MOST_CORRELATION = 0.95


@dataclass(frozen=True)
class Pilot:
    """What existing data say about the scatter, kV; ``upper`` limits are one-sided, at the ``assured`` level.

    ``between_sd`` is None when the data cannot show it (one filling, or one breakdown on each: then ``within_sd`` holds
    both). ``serial_correlation``
    is the lag-1 correlation inside fillings, None when the order is not known; ``serial_upper`` its upper limit.
    """

    group: dict[str, Any] | None
    mean_kv: float
    within_sd: float
    within_upper: float
    between_sd: float | None
    between_upper: float | None
    serial_correlation: float | None
    serial_upper: float | None
    fillings: int
    breakdowns: int
    withstood: int
    assured: float
    cautions: tuple[Caution, ...]

    @property
    def one_each(self) -> bool:
        """Whether each of several fillings holds one breakdown, so that the two cannot be told apart."""
        return self.between_sd is None and self.fillings == self.breakdowns + self.withstood > 1


@dataclass(frozen=True, repr=False)
class PilotPlan(Shown):
    """Two plans from one pilot: for the scatter as estimated, and for the scatter that it could still be."""

    pilot: Pilot
    estimate: MeanPlan
    assured: MeanPlan | None
    sentence: str
    cautions: tuple[Caution, ...]


def pilot(data: Any, *, by: Sequence[str] = (), assured: float = 0.8) -> Pilot | tuple[Pilot, ...]:
    """Take scatter within and between fillings from existing data, with upper limits.

    Parameters
    ----------
    data : Records or DataFrame
        The record table. Oils and conditions with different means do not swell the scatter: samples are a random
        factor of their own, methods and fluids are held fixed.
    by : columns
        One pilot for each combination of these columns, as a tuple.
    assured : float
        Confidence of the one-sided upper limits.

    Raises
    ------
    NotEstimable
        Data that show no scatter.
    """
    table = as_table(data)
    level = inputs.probability(assured, "assured")
    if level <= 0.5:
        raise InputError("assured must be above one half, such as 0.8.", column="assured", text=str(assured))
    if not by:
        return _pilot(table, level, None)
    for name in by:
        if name not in table.columns:
            raise InputError(f"There is no column {name!r}.", column=name, text=name)
    codes = group_codes(table, by)
    found = []
    for code in pd.unique(codes):
        part = table[codes == code].reset_index(drop=True)
        found.append(_pilot(part, level, {n: None if pd.isna(part[n].iloc[0]) else part[n].iloc[0] for n in by}))
    return tuple(found)


def _pilot(table: pd.DataFrame, level: float, group: dict[str, Any] | None) -> Pilot:
    whole = components(table, confidence=2 * level - 1)
    parts = {c.factor: c for c in whole.components}
    filling, rest = parts.get("filling"), parts["breakdown"]
    found = list(whole.cautions)
    named = len(np.unique(filling_codes(table))) if table["filling"].notna().all() else 0
    one_each = filling is None and named == len(table) > 1
    if one_each:
        found.append(
            Caution(
                "between_unknown",
                "Each filling holds one breakdown, so how much fillings and how much breakdowns add cannot be told "
                "apart; the plan keeps to one breakdown a filling, for which both together count.",
            )
        )
    elif filling is None:
        found.append(
            Caution(
                "between_unknown",
                "These data cannot show how much fillings differ (it takes several fillings with several breakdowns "
                "each); a plan from them counts breakdowns as independent and is too hopeful where fillings differ.",
            )
        )
    rho = upper = None
    order = order_effects(table, confidence=2 * level - 1)
    if order.neighbours is not None and math.isfinite(order.neighbours.correlation):
        rho = order.neighbours.correlation
        upper = order.neighbours.high if math.isfinite(order.neighbours.high) else None
    return Pilot(
        group=group,
        mean_kv=float(whole.mean_kv),
        within_sd=float(rest.sd),
        within_upper=float(rest.high),
        between_sd=None if filling is None else float(filling.sd),
        between_upper=None if filling is None else float(filling.high),
        serial_correlation=rho,
        serial_upper=upper,
        fillings=filling.levels if filling is not None else named if one_each else int(order.fillings),
        breakdowns=int(whole.breakdowns),
        withstood=int(whole.withstood),
        assured=level,
        cautions=tuple(found),
    )


def plan_from_pilot(
    data: Any,
    half_width: float | None = None,
    *,
    half_width_kv: float | None = None,
    assured: float = 0.8,
    confidence: float = 0.95,
    serial: bool = True,
    fillings: int | None = None,
    breakdowns_per_filling: int | None = None,
    protocol: Any = None,
) -> PilotPlan:
    """Plan a mean from existing data, for the estimated scatter and for its upper limits.

    Parameters
    ----------
    data : Records, DataFrame or Pilot
    half_width, half_width_kv : float
        Half-width wanted, as a fraction of the mean or in kV (one of the two).
    assured : float
        How sure the second plan is to be enough: both components (and the correlation) are taken at their one-sided
        upper limits at this confidence, which together is on the safe side.
    serial : bool
        Whether the correlation inside fillings found in the pilot is carried along (a negative one counts as none).
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    fillings : int, optional
        Fixes the number of fillings.
    breakdowns_per_filling : int, optional
        Fixes the breakdowns on each.
    protocol : object, optional
        A test method, for bench minutes and for what one result is.

    Raises
    ------
    InputError, NotEstimable
        As for :func:`pilot` and :func:`methods.planning.plan.mean`.
    """
    known = data if isinstance(data, Pilot) else pilot(data, assured=assured)
    if not isinstance(known, Pilot):
        raise InputError("Plan from one pilot at a time.")
    if (half_width is None) == (half_width_kv is None):
        raise InputError("Give the half-width either as a fraction of the mean or in kV.")
    if not known.within_sd > 0:
        raise NotEstimable("The pilot shows no scatter within fillings, so it cannot be planned from.")
    mean = known.mean_kv
    relative = half_width is not None

    def scatter(within: float, between: float | None) -> dict[str, Any]:
        if not relative:
            return {"sd": within, "between_sd": between}
        return {"cov": within / mean, "between_cov": None if between is None else between / mean}

    fixed: dict[str, Any] = {
        "half_width": half_width if relative else half_width_kv,
        "mean": mean,
        "confidence": confidence,
        "fillings": fillings,
        "breakdowns_per_filling": breakdowns_per_filling,
        "protocol": protocol,
    }
    rho = carried(known.serial_correlation) if serial else 0.0
    each = known.one_each and fillings is None and breakdowns_per_filling is None
    make: Callable[..., MeanPlan] = _one_each if each else plan_mean
    estimate = make(**scatter(known.within_sd, known.between_sd), serial_correlation=rho, **fixed)
    found, sure = list(known.cautions), None
    worst = max(carried(known.serial_upper), rho) if serial else 0.0
    try:
        sure = make(**scatter(known.within_upper, known.between_upper), serial_correlation=worst, **fixed)
    except InputError as error:
        found.append(
            Caution(
                "pilot_too_small",
                f"The pilot is too small to promise a design: with the scatter that it could still be, {error}",
            )
        )
    text = "As the pilot stands: " + estimate.sentence[0].lower() + estimate.sentence[1:]
    if sure is not None:
        text += (
            f" To be {100 * known.assured:.0f} % sure that it is enough, given how little the pilot knows of its own "
            f"scatter: {sure.fillings} filling{'s' if sure.fillings > 1 else ''} of {sure.breakdowns_per_filling}."
        )
    return PilotPlan(known, estimate, sure, text, tuple(found))


def carried(correlation: float | None) -> float:
    """The correlation of neighbours that a plan counts with: none where it is negative or unknown, 0.95 at most."""
    return min(max(correlation or 0.0, 0.0), MOST_CORRELATION)


def _one_each(**asked: Any) -> MeanPlan:
    """Fillings of one breakdown, in whole results of the method: of more on a filling the pilot says nothing."""
    found = plan_mean(**{**asked, "breakdowns_per_filling": 1})
    found = replace(found, cautions=tuple(c for c in found.cautions if c.code != "between_unknown"))  # it is known here
    one = counted_in(asked["protocol"], 0.0)
    if one is None or one.breakdowns_per_filling != 1:
        return found
    k = whole_results(found.fillings, one)
    if k != found.fillings:
        more = plan_mean(**{**asked, "fillings": k, "breakdowns_per_filling": 1})
        found = replace(more, cautions=found.cautions)
    return replace(found, results=one.whole(k), result=one.words, sentence=found.sentence + told(k, one))
