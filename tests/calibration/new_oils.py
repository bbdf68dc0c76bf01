"""Studies: the band for what one method reads on a new oil, given what the other read, from the same oils."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd

from methods.agreement import compare_methods
from methods.errors import NotEstimable
from tests.calibration.registry import Claim, Outcomes, Study
from tests.calibration.shift_coverage import noise

AREA = "Agreement of two methods"


def _band(repetitions: int, rng: np.random.Generator, *, oils: int, fillings: int, law: str) -> Outcomes:
    """Oils of 50 ± 10 kV; the second method reads 0.8 of it + 5, each oil 2 kV of its own; results scatter 3 kV."""
    held = np.full(repetitions, np.nan)
    names = np.array([f"oil {i}" for i in range(oils)])
    for i in range(repetitions):
        oil = 50 + 10 * noise(rng, law, oils + 1)
        own = 2 * noise(rng, law, oils + 1)
        first = oil[:, None] + 3 * noise(rng, law, (oils + 1, fillings))
        second = (5 + 0.8 * oil + own)[:, None] + 3 * noise(rng, law, (oils + 1, fillings))
        parts = [
            pd.DataFrame({"sample": names, "method": m, "filling": str(f), "kv": np.maximum(kv[:-1, f], 1.0)})
            for m, kv in (("X", first), ("Y", second)) for f in range(fillings)
        ]  # fmt: skip
        found = compare_methods(pd.concat(parts, ignore_index=True), by="method", first="X", second="Y")
        try:
            band = found.predict(float(first[-1, 0]), beyond=True)
        except NotEstimable:
            continue
        held[i] = band.low_kv <= second[-1, 0] <= band.high_kv
    return {"band": held}


def studies() -> list[Study]:
    """Six, eight and twelve oils, once or twice filled, normal and contaminated."""
    return [
        Study(f"new oil {oils} {fillings} {law}", AREA, f"{law}, oils 10 kV apart, results 3 kV",
              f"{oils} oils, {fillings} filling{'s' if fillings > 1 else ''} of each by both",
              (Claim("band", "band for one result on a new oil"),),
              partial(_band, oils=oils, fillings=fillings, law=law), (60, 1000))
        for oils, fillings, law in ((6, 1, "normal"), (6, 2, "normal"), (6, 2, "contaminated"), (8, 2, "normal"),
                                    (12, 2, "contaminated"))
    ]  # fmt: skip
