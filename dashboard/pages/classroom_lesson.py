"""A lesson of 45 minutes with the classroom: what each step sets (the plan is in the documentation)."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

#: What every step begins with, so that none depends on the one before.
_CLEAN: dict[str, Any] = {
    "view": "test", "setting": "60156 spherical stirred", "water_mg_kg": 25.0, "temperature_c": 20.0,
    "per_filling": None, "taken": 1, "reported": 1, "seed": 1, "count": 100, "laboratory": 0.0, "limit_kv": 50.0,
    "challenge": False, "design": "", "correlation": 0.0, "trend": 0.0, "low": 0.0, "ceiling_kv": None,
}  # fmt: skip


@dataclass(frozen=True)
class Step:
    """One step: its name in the list, minutes, and what differs from a clean start."""

    title: str
    minutes: int
    sets: dict[str, Any] = field(default_factory=dict)

    @property
    def settings(self) -> dict[str, Any]:
        """All that the step sets."""
        return _CLEAN | self.sets


#: Key in the address -> step, in the order of the lesson.
STEPS: dict[str, Step] = {
    "breakdowns": Step("1 Six breakdowns", 8),
    "fillings": Step(
        "2 The cell is filled again", 8,
        {"setting": "own numbers", "mean_kv": 55.0, "between": 12.0, "within": 6.0, "taken": 6, "seed": 3},
    ),
    "laboratories": Step("3 A hundred laboratories", 12, {"view": "laboratories"}),
    "more": Step("4 Three fillings instead of one", 7, {"view": "laboratories", "design": "3 × 2"}),
    "hidden": Step("5 The hidden oil", 10, {"challenge": True, "number_of_oil": 7}),
}  # fmt: skip
