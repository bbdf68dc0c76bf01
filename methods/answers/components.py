"""Where does the scatter come from: laboratories, oils, fillings, single breakdowns?"""

from __future__ import annotations

import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.answers.writing import number, plural
from methods.columns import factor_name
from methods.scatter.component_table import Component, Components

QUESTION = "scatter"
#: Random factor -> what its levels are called.
LEVELS = {"laboratory": "laboratories", "sample": "oils", "filling": "fillings", "breakdown": "breakdowns"}
#: Random factor -> what its scatter is called.
NAMES = {
    "laboratory": "Laboratory to laboratory", "sample": "Oil to oil", "filling": "Filling to filling",
    "breakdown": "Breakdown to breakdown",
}  # fmt: skip
_MEAN = (
    "mean_kv", "low_kv", "high_kv", "standard_error_kv", "df", "breakdowns", "withstood", "effective_breakdowns",
    "method", "limits",
)  # fmt: skip


def components(found: Components, worth: tuple[int, float] | None = None) -> Answer:
    """Standard deviations of each source with limits; the mean, and how many independent breakdowns know it as well.

    ``worth`` is a number of breakdowns on one filling and how many on fillings of their own they are worth.
    """
    rows = [
        {"source": component_name(c.factor), **{n: getattr(c, n) for n in ("sd", "low", "high", "percent", "levels")}}
        for c in found.components
    ]
    sure = f"{100 * found.confidence:g} % limits: {found.limits}; components by {found.method.upper()}."
    own = OWN.get(QUESTION, {})
    tables = [
        Table("components", "Sources of scatter", pd.DataFrame(rows), sure, own),
        Table("component_mean", "The mean", pd.DataFrame([{n: getattr(found, n) for n in _MEAN}]), "", own),
    ]
    if found.residuals:
        frame = pd.DataFrame(found.residuals)
        frame["level"] = [
            ", ".join(f"{k} {'–' if v is None else v}" for k, v in level.items()) for level in frame["level"]
        ]
        tables.append(Table("component_residuals", "Scatter within fillings", frame, "", own))
    return Answer(QUESTION, (_said(found, worth),), tuple(found.cautions), tuple(tables), ("components",), found)


def component_name(factor: str) -> str:
    """What a component is called."""
    return NAMES.get(factor, f"Between levels of {factor_name(factor)}")


def span(low: float, high: float) -> str:
    """Limits in kV in brackets; nothing where there are none."""
    if low != low or high != high:
        return ""
    return f" ({number(low, 2)} to {number(high, 2) if high < float('inf') else 'without limit'})"


def _said(found: Components, worth: tuple[int, float] | None) -> str:
    parts: dict[str, Component] = {c.factor: c for c in found.components}
    shot, filling = parts["breakdown"], parts.get("filling")
    told = f"breakdown to breakdown by {number(shot.sd, 2)} kV{span(shot.low, shot.high)}"
    if filling is None:
        return (
            f"Within a filling the oil moves from {told}; how fillings differ cannot be seen here, because no oil has "
            "two fillings of several breakdowns."
        )
    lead = "Filling to filling the oil"
    moved = (
        f"{lead} does not visibly move (up to {number(filling.high, 2)} kV)"
        if filling.sd == 0
        else f"{lead} moves by {number(filling.sd, 2)} kV{span(filling.low, filling.high)}"
    )
    tail = ""
    if worth is not None:
        tail = (
            f": {plural(worth[0], 'breakdown')} on one filling tell as much as {number(worth[1], 2)} independent ones"
        )
    return f"{moved}, {told}{tail}."
