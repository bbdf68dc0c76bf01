"""Graded documents: good, fair and poor, from the two limits that part them."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass

from methods.protocols.limits import Limit, load_limits

GOOD, FAIR, POOR = "good", "fair", "poor"


@dataclass(frozen=True)
class Bands:
    """Where the grades part, kV: above ``good_kv`` an oil is good, below ``poor_kv`` poor, between them fair.

    ``edge_good``: whether a mean exactly on ``good_kv`` is good; unless the document says so it is fair.
    """

    good_kv: float
    poor_kv: float
    edge_good: bool = False

    def grade(self, mean_kv: float) -> str:
        """The grade of a mean; exactly on ``poor_kv`` it is fair, which the documents do not settle."""
        if mean_kv > self.good_kv or (self.edge_good and mean_kv == self.good_kv):
            return GOOD
        return POOR if mean_kv < self.poor_kv else FAIR

    def on_edge(self, mean_kv: float) -> bool:
        """Whether the mean lies exactly on a limit."""
        return mean_kv in (self.good_kv, self.poor_kv)


@dataclass(frozen=True)
class Grade:
    """One grade: from ``low_kv`` to ``high_kv`` (None: open), and how probable it is that the true mean lies there."""

    name: str
    low_kv: float | None
    high_kv: float | None
    probability: float | None


def bands_of(limit: Limit, folder: str | os.PathLike[str] | None = None) -> Bands | None:
    """The two limits that part the grades where ``limit`` is one of them; None where the document has no such pair."""
    if limit.kind not in ("good above", "poor below"):
        return None
    document = next((d for d in load_limits(folder).values() if any(x.key == limit.key for x in d.limits)), None)
    same = [x for x in (document.limits if document else ()) if _place(x) == _place(limit)]
    found = {x.kind: x.kv.value for x in same if x.kv.value is not None}
    if not {"good above", "poor below"} <= set(found):
        return None
    edge = any(x.kind == "good above" and x.boundary == "passes" for x in same)
    return Bands(float(found["good above"]), float(found["poor below"]), edge)


def _place(limit: Limit) -> tuple[object, ...]:
    return limit.stage, limit.equipment, limit.method, limit.gap_mm, limit.method_edition


def graded(bands: Bands, reaches: Callable[[float], float | None]) -> tuple[Grade, ...]:
    """Good, fair and poor with their probabilities.

    Parameters
    ----------
    reaches : callable
        The probability that the true mean lies at or above a voltage in kV; None where that cannot be had.
    """
    above_good, above_poor = reaches(bands.good_kv), reaches(bands.poor_kv)
    known = above_good is not None and above_poor is not None
    fair = max(above_poor - above_good, 0.0) if above_good is not None and above_poor is not None else None
    return (
        Grade(GOOD, bands.good_kv, None, above_good if known else None),
        Grade(FAIR, bands.poor_kv, bands.good_kv, fair),
        Grade(POOR, None, bands.poor_kv, None if above_poor is None or not known else 1 - above_poor),
    )
