"""Studies: two methods in several laboratories on the same oils: limits over both, band for a new oil."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd

from methods.agreement import compare_methods
from methods.errors import NotEstimable
from tests.calibration.new_oils import AREA
from tests.calibration.registry import Claim, Outcomes, Study
from tests.calibration.shift_coverage import noise

#: kV: what an oil adds to the difference, and what is left of it in one laboratory.
OIL, REST = 2.0, 1.5

_CLAIMS = (
    Claim("bias", "mean difference, oils and laboratories like these"),
    Claim("limit", "lower limit of agreement, a further laboratory"),
    Claim("band", "band for a new oil in a further laboratory"),
)


def _paired(
    repetitions: int, rng: np.random.Generator, *, oils: int, laboratories: int, sd: float, law: str
) -> Outcomes:  # fmt: skip
    """Oils of 50 ± 10 kV; the second method reads 3 kV more, by oil, laboratory (``sd`` kV) and chance another."""
    names = np.repeat([f"oil {i}" for i in range(oils)], laboratories)
    labs = np.tile([f"L{i}" for i in range(laboratories)], oils)
    o, p = np.repeat(np.arange(oils), laboratories), np.tile(np.arange(laboratories), oils)
    truth = 3 - 1.959964 * np.sqrt(OIL**2 + sd**2 + REST**2)
    out = {c.key: np.full(repetitions, np.nan) for c in _CLAIMS}
    for i in range(repetitions):
        level = 50 + 10 * noise(rng, "normal", oils + 1)
        own = OIL * noise(rng, law, oils + 1)
        lab = sd * noise(rng, law, laboratories + 1)
        rest = REST * noise(rng, law, len(o) + 1)
        first = np.maximum(level[o], 5.0)
        second = np.maximum(first + 3 + own[o] + lab[p] + rest[:-1], 1.0)
        parts = [
            pd.DataFrame({"sample": names, "laboratory": labs, "method": m, "kv": kv})
            for m, kv in (("X", first), ("Y", second))
        ]
        found = compare_methods(pd.concat(parts, ignore_index=True), by="method", first="X", second="Y")
        limits = found.absolute
        out["bias"][i] = limits.bias_low <= 3 <= limits.bias_high
        out["limit"][i] = limits.lower_low <= truth <= limits.lower_high
        try:
            band = found.predict(float(level[-1]), beyond=True)
        except NotEstimable:
            continue
        out["band"][i] = band.low_kv <= level[-1] + 3 + own[-1] + lab[-1] + rest[-1] <= band.high_kv
    return out


def studies() -> list[Study]:
    """Two, three and five laboratories that differ as much as the rest, or more."""
    return [
        Study(f"paired {oils} {labs} {sd:g} {law}", AREA,
              f"{law}, laboratories {sd:g} kV apart in the difference, oils {OIL:g} kV, rest {REST:g} kV",
              f"{oils} oils in {labs} laboratories", _CLAIMS,
              partial(_paired, oils=oils, laboratories=labs, sd=sd, law=law), (8, 600))
        for oils, labs, sd, law in ((6, 2, 1.5, "normal"), (6, 2, 4.0, "normal"), (15, 2, 4.0, "normal"),
                                    (6, 3, 4.0, "normal"), (10, 5, 2.0, "normal"), (10, 5, 2.0, "contaminated"))
    ]  # fmt: skip
