"""Does the oil under stress explain the shift between two electrodes or gaps?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table, rows_of
from methods.answers.writing import number
from methods.laws.geometry import Stress
from methods.laws.weakest_link import GeometryShift

QUESTION = "method_study"
_STRESS = ("enhancement", "midplane_percent", "reach_mm", "area_mm2", "volume_mm3", "mark")


def geometry(found: GeometryShift) -> Answer:
    """The shift that the weakest link predicts, by area and by volume, beside the observed one."""
    tables = (
        Table("criteria", "Prediction by criterion", found.criteria, "", OWN[QUESTION]),
        stress([found.first, found.second]),
    )
    return Answer(QUESTION, (_sentence(found),), tuple(found.cautions), tables, ("geometry",), found)


def name(s: Stress) -> str:
    """Electrode and gap."""
    return f"{s.electrode} at {s.gap_mm:g} mm"


def stress(found: Sequence[Stress] | Mapping[str, Stress]) -> Table:
    """The oil under stress at each geometry, by its name."""
    named = found if isinstance(found, Mapping) else {name(s): s for s in found}
    frame = rows_of(named.values(), _STRESS)
    frame.insert(0, "group", list(named))
    return Table("stress", "Oil under stress at each geometry", frame, "", OWN[QUESTION], 4)


def _sentence(s: GeometryShift) -> str:
    one, two = name(s.first), name(s.second)
    said = (
        f"From {one} to {two} the weakest link predicts {number(s.predicted, 3)} times the voltage"
        f"{_span(s.predicted_low, s.predicted_high)} by the stressed area, {number(s.predicted_by_volume, 3)}"
        f"{_span(s.by_volume_low, s.by_volume_high)} by its volume"
    )
    if not s.fillings:
        return f"{said}, at a Weibull shape of {number(s.shape)}."
    spans = {"area": (s.predicted_low, s.predicted_high), "volume": (s.by_volume_low, s.by_volume_high)}
    fits = [kind for kind, (low, high) in spans.items() if s.observed_low <= high and s.observed_high >= low]
    verdict = "The stressed oil may explain it" if fits else "The stressed oil alone does not explain it"
    if len(fits) == 1:
        verdict = f"The stressed {fits[0]} may explain it, the {'volume' if fits == ['area'] else 'area'} does not"
    return f"{said}; observed {number(s.observed, 3)} times{_span(s.observed_low, s.observed_high)}. {verdict}."


def _span(low: float, high: float) -> str:
    return f" ({number(low, 3)} to {number(high, 3)})" if low == low else ""
