"""What the plots of two methods on the same oils show: differences against means, lines, and the band for a new oil."""

from __future__ import annotations

import numpy as np
import pandas as pd

from methods.agreement.agreement import LEAST_OILS, Agreement


def differences(found: Agreement, *, relative: bool = False) -> pd.DataFrame:
    """``sample, mean_kv, difference``: second less first in kV, or in per cent of first (the ratio less one).

    Where pairs are by laboratory, ``sample`` names it too.
    """
    first, second = (found.pairs[c].to_numpy(dtype=float) for c in ("first_kv", "second_kv"))
    apart = 100 * (second / first - 1) if relative else second - first
    name = found.pairs["sample"]
    if "laboratory" in found.pairs:
        name = name + ", " + found.pairs["laboratory"]
    return pd.DataFrame({"sample": name, "mean_kv": (first + second) / 2, "difference": apart})


def line_points(found: Agreement) -> pd.DataFrame:
    """Ends of the lines over the oils' range, that of equal readings among them: ``line, first_kv, second_kv``."""
    x = found.pairs["first_kv"].to_numpy(dtype=float)
    ends = np.array([x.min(), x.max()])
    parts = [pd.DataFrame({"line": "equal", "first_kv": ends, "second_kv": ends})]
    for line in (found.deming, found.passing_bablok):
        if line is not None:
            at = {"line": line.method, "first_kv": ends, "second_kv": line.intercept + line.slope * ends}
            parts.append(pd.DataFrame(at))
    return pd.concat(parts, ignore_index=True)


def prediction_band(found: Agreement, points: int = 41) -> pd.DataFrame:
    """``first_kv, second_kv, low_kv, high_kv``: one new oil over the oils' range; empty with few oils."""
    names = ["first_kv", "second_kv", "low_kv", "high_kv"]
    if found.deming is None or found.samples < LEAST_OILS:
        return pd.DataFrame(columns=names, dtype=float)
    x = found.pairs["first_kv"].to_numpy(dtype=float)
    bands = [found.predict(float(v)) for v in np.linspace(x.min(), x.max(), points)]
    rows = [(b.given_kv, b.kv, b.low_kv, b.high_kv) for b in bands]
    return pd.DataFrame(rows, columns=names)
