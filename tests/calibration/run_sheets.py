"""Studies: run sheets filled in by benches of known scatter, and the width that was promised."""

from __future__ import annotations

from functools import partial

import numpy as np

from methods.shifts import shift
from methods.studies import plan_study
from tests.calibration.registry import Claim, Outcomes, Study

AREA = "Run sheets"
PROCEDURES = ["ASTM D1816 2 mm", "IEC 60156, spherical, stirred"]
KV = {"A": 60.0, "B": 45.0, "C": 30.0, "D": 52.0}


def _sheet(repetitions: int, rng: np.random.Generator, *, oils: str, between: float, target: float) -> Outcomes:
    plan = plan_study(list(oils), PROCEDURES, cov=0.15, between_cov=between, half_width=target)
    sheet = plan.sheet.drop(columns="outcome")
    labels, index = np.unique(sheet["filling"], return_inverse=True)
    mean = sheet["sample"].map(KV).to_numpy()
    kept, held = np.empty(repetitions), np.empty(repetitions)
    for i in range(repetitions):
        level = mean * (1 + between * rng.standard_normal(len(labels)))[index]
        done = sheet.assign(kv=np.maximum(level * (1 + 0.15 * rng.standard_normal(len(sheet))), 0.1))
        found = shift(done, "procedure").shifts[0]
        limits = found.these_oils or found
        kept[i] = (limits.high_percent - limits.low_percent) / 2 <= plan.half_width_percent
        held[i] = limits.low_percent <= 0 <= limits.high_percent
    return {"width": kept, "truth": held}


def studies() -> list[Study]:
    """A study on three oils, and one on four with uneven fillings."""
    claims = (
        Claim("width", "run sheet: promised half-width kept", "promise", 0.80),
        Claim("truth", "run sheet: shift"),
    )
    return [
        Study(f"run sheet {oils} {between:g}", AREA, f"normal, 15 % within and {100 * between:g} % between fillings",
              f"{len(oils)} oils, ±{100 * target:g} % wanted", claims,
              partial(_sheet, oils=oils, between=between, target=target), (60, 1000))
        for oils, between, target in (("ABC", 0.05, 0.08), ("ABCD", 0.10, 0.12))
    ]  # fmt: skip
