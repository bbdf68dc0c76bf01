"""Studies of laws and lines: gap, rate, stressed area, agreement of methods, lines with error in both variables."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd

from methods.agreement import (
    compare_methods,
    deming,
    discrimination,
    limits_of_agreement,
    passing_bablok,
    sensitivity_ratio,
)
from methods.laws import gap_laws, rate_laws
from tests.calibration import scenarios
from tests.calibration.registry import Claim, Outcomes, Study, inside, repeat
from tests.calibration.shift_coverage import noise

LAWS = "Laws of gap, rate and stressed area"
LINES = "Two methods on the same oils"


def _table(rng: np.random.Generator, column: str, values: tuple[float, ...], kv: list[float], k: int, law: str):  # type: ignore[no-untyped-def]
    parts = []
    for i, (value, mean) in enumerate(zip(values, kv, strict=True)):
        part = scenarios.frame(
            scenarios.nested(rng, 1, k, 5, law, mean=mean, between=0.05 * mean, within=0.15 * mean)[0],
            sample="oil", laboratory="laboratory", electrode="spherical", **{column: value},
        )  # fmt: skip
        part["filling"] = [f"{i}-{f}" for f in part["filling"]]
        parts.append(part)
    return pd.concat(parts, ignore_index=True)


def _gap(repetitions: int, rng: np.random.Generator, *, k: int, law: str) -> Outcomes:
    gaps, a, m = (1.0, 2.0, 2.5), 30.0, 0.65

    def one() -> dict[str, float | bool]:
        (found,) = gap_laws(_table(rng, "gap_mm", gaps, [a * d**m for d in gaps], k, law))
        out: dict[str, float | bool] = {
            "m": inside(found.m_low, m, found.m_high), "a": inside(found.a_low_kv, a, found.a_high_kv),
            "fit": found.lack_of_fit_p < 0.05,
        }  # fmt: skip
        return out

    return repeat(repetitions, one, ("m", "a", "fit"))


def _rate(repetitions: int, rng: np.random.Generator, *, k: int) -> Outcomes:
    rates, life = (0.5, 2.0, 3.0), 12.0

    def one() -> dict[str, float | bool]:
        (found,) = rate_laws(_table(rng, "rise_kv_s", rates, [50 * r ** (1 / (life + 1)) for r in rates], k, "normal"))
        return {"slope": inside(found.slope_low, 1 / (life + 1), found.slope_high),
                "n": inside(found.n_low, life, found.n_high)}  # fmt: skip

    return repeat(repetitions, one, ("slope", "n"))


def _pairs_of_results(
    rng: np.random.Generator, n: int, law: str, *, slope: float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """Results of both methods on n oils, each with 3 kV of scatter."""
    true = 50 + 12 * rng.standard_normal(n)
    return true + 3 * noise(rng, law, (n,)), -4 + slope * true + 3 * noise(rng, law, (n,))


def _agreement(repetitions: int, rng: np.random.Generator, *, n: int, law: str) -> Outcomes:
    sd = np.sqrt(18.0)
    ends = (-4 - 1.959963984540054 * sd, -4 + 1.959963984540054 * sd)

    def one() -> dict[str, float | bool]:
        x, y = _pairs_of_results(rng, n, law)
        out: dict[str, float | bool] = {}
        for how in ("exact", "approximate"):
            found = limits_of_agreement(x, y, exact=how == "exact")
            out["bias"] = inside(found.bias_low, -4.0, found.bias_high)
            out[f"{how}_lower"] = inside(found.lower_low, ends[0], found.lower_high)
        out["slope"] = found.slope_p < 0.05
        return out

    return repeat(repetitions, one, ("bias", "exact_lower", "approximate_lower", "slope"))


def _lines(repetitions: int, rng: np.random.Generator, *, n: int, law: str) -> Outcomes:
    def one() -> dict[str, float | bool]:
        x, y = _pairs_of_results(rng, n, law, slope=0.9)
        d, pb = deming(x, y), passing_bablok(x, y)
        return {"d_slope": inside(d.slope_low, 0.9, d.slope_high),
                "d_intercept": inside(d.intercept_low, -4.0, d.intercept_high),
                "pb_slope": inside(pb.slope_low, 0.9, pb.slope_high),
                "pb_intercept": inside(pb.intercept_low, -4.0, pb.intercept_high)}  # fmt: skip

    return repeat(repetitions, one, ("d_slope", "d_intercept", "pb_slope", "pb_intercept"))


def _oils(rng: np.random.Generator, oils: int, extra: float = 0.0) -> pd.DataFrame:
    """Two methods, two fillings of five each on every oil; ``extra`` kV of scatter an oil and method."""
    true = 50 + 10 * rng.standard_normal(oils)
    parts = []
    for j, name in enumerate(("A", "B")):
        mean = (true if j == 0 else 5 + 0.8 * true) + extra * rng.standard_normal(oils)
        kv = scenarios.nested(rng, 1, 2 * oils, 5)[0] + np.repeat(mean - 50, 2)[:, None]
        part = scenarios.frame(kv, sample=np.repeat([f"oil {i}" for i in range(oils)], 10), method=name)
        part["kv"] = part["kv"].clip(lower=0.5)
        part["filling"] = name + part["filling"]
        parts.append(part)
    return pd.concat(parts, ignore_index=True)


def _predict(repetitions: int, rng: np.random.Generator, *, oils: int) -> Outcomes:
    """The band for one new oil: its mean of two fillings by the second method, from that by the first."""

    def one() -> dict[str, float | bool]:
        table = _oils(rng, oils + 1)
        new = table["sample"] == f"oil {oils}"
        found = compare_methods(table[~new].reset_index(drop=True), by="method", first="A", second="B")
        given = float(table.loc[new & (table["method"] == "A"), "kv"].mean())
        band = found.predict(given, beyond=True)
        seen = float(table.loc[new & (table["method"] == "B"), "kv"].mean())
        return {"band": inside(band.low_kv, seen, band.high_kv)}

    return repeat(repetitions, one, ["band"])


def _sensitivity(repetitions: int, rng: np.random.Generator, *, oils: int) -> Outcomes:
    sd = float(np.sqrt(2.5**2 + 7.5**2 / 5))
    truth = 10 / sd, 8 / sd

    def one() -> dict[str, float | bool]:
        table = _oils(rng, oils)
        out: dict[str, float | bool] = {}
        ratio = sensitivity_ratio(table, by="method", first="A", second="B")
        out["ratio"] = inside(ratio.ratio_low, 0.8, ratio.ratio_high)
        ranked = discrimination(table, by="method").methods
        row = ranked[ranked["method"] == "A"].iloc[0]
        out["signal"] = inside(row["discrimination_low"], truth[0], row["discrimination_high"])
        return out

    return repeat(repetitions, one, ("ratio", "signal"))


def studies() -> list[Study]:
    """Studies of laws and of two methods."""
    found = []
    claims = (Claim("m", "exponent of the gap law"), Claim("a", "kV at 1 mm"),
              Claim("fit", "lack of fit of the gap law", "test", 0.05))  # fmt: skip
    for k, law in ((2, "normal"), (4, "normal"), (4, "weibull"), (4, "contaminated")):
        found.append(
            Study(f"gap law {k} {law}", LAWS, scenarios.describe(law), f"3 gaps × {k} fillings of 5", claims,
                  partial(_gap, k=k, law=law), (8, 1000))
        )  # fmt: skip
    found += [
        Study("rate law", LAWS, scenarios.describe("normal"), "3 rates × 4 fillings of 5",
              (Claim("slope", "slope of kV against rate"), Claim("n", "life exponent n")), partial(_rate, k=4),
              (8, 1000)),
    ]  # fmt: skip
    agree = (Claim("bias", "mean difference"), Claim("exact_lower", "lower limit of agreement, exact limits"),
             Claim("approximate_lower", "lower limit of agreement, approximate limits"),
             Claim("slope", "trend of the differences", "test", 0.05))  # fmt: skip
    lines = (Claim("d_slope", "slope, Deming"), Claim("d_intercept", "intercept, Deming"),
             Claim("pb_slope", "slope, Passing-Bablok"),
             Claim("pb_intercept", "intercept, Passing-Bablok"))  # fmt: skip
    for n, law in ((10, "normal"), (30, "normal"), (30, "weibull"), (30, "contaminated")):
        data = scenarios.describe(law, fillings=False)
        found.append(Study(f"agreement {n} {law}", LINES, data, f"{n} oils", agree,
                           partial(_agreement, n=n, law=law), (80, 2000)))  # fmt: skip
        found.append(Study(f"lines {n} {law}", LINES, data, f"{n} oils", lines,
                           partial(_lines, n=n, law=law), (80, 2000)))  # fmt: skip
    found += [
        Study("prediction", LINES, scenarios.describe("normal"), "15 oils × 2 and 2 fillings of 5",
              (Claim("band", "band for a new oil's result"),), partial(_predict, oils=15), (8, 1000)),
        Study("sensitivity", LINES, scenarios.describe("normal"), "15 oils × 2 and 2 fillings of 5",
              (Claim("ratio", "sensitivity ratio"), Claim("signal", "discrimination of one method")),
              partial(_sensitivity, oils=15), (6, 1000)),
    ]  # fmt: skip
    return found
