"""Studies of several laboratories: limits of s_r, s_L, s_R; sizes of h, k, Cochran's and Grubbs' tests."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd

from methods.interlab.critical import cochran_critical, mandel_h_critical, mandel_k_critical
from methods.interlab.level import estimate_cells
from methods.scatter.outliers import grubbs_critical
from tests.calibration import scenarios
from tests.calibration.registry import Claim, Outcomes, Study, inside, repeat
from tests.calibration.shift_coverage import noise

AREA = "Several laboratories"

S_R, S_L = 4.0, 3.0

_LIMITS = (Claim("s_r", "repeatability SD"), Claim("s_L", "SD between laboratories"),
           Claim("s_R", "reproducibility SD"))  # fmt: skip
_FLAGS = (
    Claim("h", "Mandel's h, one laboratory", "test", 0.05), Claim("k", "Mandel's k, one laboratory", "test", 0.05),
    Claim("cochran", "Cochran's test, any laboratory", "test", 0.05),
    Claim("grubbs", "Grubbs' test, either end", "test", 0.05),
    Claim("pair_high", "Grubbs' test of the two highest", "test", 0.025),
    Claim("pair_low", "Grubbs' test of the two lowest", "test", 0.025),
)  # fmt: skip


def _cells(rng: np.random.Generator, counts: tuple[int, ...], law: str, between: float) -> pd.DataFrame:
    rows = []
    for i, n in enumerate(counts):
        x = 50 + between * float(noise(rng, law, (1,))[0]) + S_R * noise(rng, law, (n,))
        rows.append((f"L{i}", n, float(x.mean()), float(x.std(ddof=1)), 0))
    return pd.DataFrame(rows, columns=["laboratory", "n", "mean", "sd", "withstood"])


def _precision(
    repetitions: int, rng: np.random.Generator, *, counts: tuple[int, ...], law: str, between: float
) -> Outcomes:
    truth = {"s_r": S_R, "s_L": between, "s_R": float(np.hypot(S_R, between))}

    def one() -> dict[str, float | bool]:
        level, _ = estimate_cells("A", _cells(rng, counts, law, between), 0.95)
        out: dict[str, float | bool] = {
            k: inside(getattr(level, f"{k}_low"), v, getattr(level, f"{k}_high")) for k, v in truth.items()
        }
        out["h"] = abs(level.h["L0"]) > level.h_critical["0.05"]
        out["k"] = level.k["L0"] > level.k_critical["0.05"]
        out["cochran"] = float(level.cochran["p_value"]) < 0.05  # type: ignore[arg-type]
        p = {str(g["test"]): float(g["p_value"]) < 0.05 for g in level.grubbs}  # type: ignore[arg-type]
        out["grubbs"] = p["high"] or p["low"]
        out["pair_high"], out["pair_low"] = p["two_high"], p["two_low"]
        return out

    return repeat(repetitions, one, (c.key for c in (*_LIMITS, *_FLAGS)))


def _sizes(repetitions: int, rng: np.random.Generator, *, p: int, n: int, law: str) -> Outcomes:
    """The critical values themselves, in one batch."""
    x = noise(rng, law, (repetitions, p, 1)) + noise(rng, law, (repetitions, p, n))
    means, variances = x.mean(axis=2), x.var(axis=2, ddof=1)
    h = (means - means.mean(axis=1, keepdims=True)) / means.std(axis=1, ddof=1, keepdims=True)
    k = np.sqrt(variances / variances.mean(axis=1, keepdims=True))
    return {
        "h": np.abs(h[:, 0]) > mandel_h_critical(p),
        "k": k[:, 0] > mandel_k_critical(p, n),
        "cochran": variances.max(axis=1) / variances.sum(axis=1) > cochran_critical(p, n),
        "grubbs": np.abs(h).max(axis=1) > grubbs_critical(p),
    }


def studies() -> list[Study]:
    """Studies of precision experiments."""
    found = []
    for name, counts, law, between in (
        ("8 x 3", (3,) * 8, "normal", S_L), ("5 x 2", (2,) * 5, "normal", S_L), ("8 x 3", (3,) * 8, "weibull", S_L),
        ("8 x 3", (3,) * 8, "contaminated", S_L), ("8 x 3 none between", (3,) * 8, "normal", 0.0),
        ("8 uneven", (2, 3, 3, 3, 4, 5, 3, 2), "normal", S_L),
    ):  # fmt: skip
        data = scenarios.describe(law, fillings=False) + (
            ", laboratory effects" if between else ", laboratories all alike"
        )
        design = f"{len(counts)} laboratories, " + (
            f"{counts[0]} results each" if len(set(counts)) == 1 else "2 to 5 results each"
        )
        found.append(
            Study(f"precision {name} {law}", AREA, data, design, (*_LIMITS, *_FLAGS),
                  partial(_precision, counts=counts, law=law, between=between), (15, 2000))
        )  # fmt: skip
    for p, n, law in ((6, 2, "normal"), (20, 3, "normal"), (6, 2, "contaminated")):
        found.append(
            Study(f"flags {p} x {n} {law}", AREA, scenarios.describe(law, fillings=False) + ", laboratory effects",
                  f"{p} laboratories, {n} results each", _FLAGS[:4], partial(_sizes, p=p, n=n, law=law),
                  (2000, 20000))
        )  # fmt: skip
    return found
