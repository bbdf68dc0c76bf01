"""Studies of what fillings do: components of scatter, order effects, means under a ceiling."""

from __future__ import annotations

from functools import partial

import numpy as np

from methods.scatter import components, fit_censored, one_way, order_effects
from methods.scatter import serial as tests
from tests.calibration import scenarios
from tests.calibration.registry import Claim, Outcomes, Study, inside, repeat
from tests.calibration.scenarios import BETWEEN, MEAN, WITHIN

COMPONENTS = "Scatter between and within fillings"
ORDER = "Order of the breakdowns"

_PARTS = (
    Claim("filling", "SD between fillings"), Claim("breakdown", "SD within fillings"),
    Claim("icc", "intraclass correlation"), Claim("mean", "mean over fillings"),
)  # fmt: skip


def _components(
    repetitions: int, rng: np.random.Generator, *, k: int, n: int, law: str = "normal", between: float = BETWEEN,
    correlation: float = 0.0, uneven: bool = False, limits: str = "auto", ceiling: float = np.inf,
) -> Outcomes:  # fmt: skip
    icc = between**2 / (between**2 + WITHIN**2)

    def one() -> dict[str, float | bool]:
        kv = scenarios.nested(rng, 1, k, n, law, between=between, correlation=correlation)[0]
        if uneven:
            for i in range(k):
                kv[i, 2 + (3 * i) % (n - 1) :] = np.nan
        table = scenarios.frame(np.minimum(kv, ceiling))
        table.loc[table["kv"] >= ceiling, "outcome"] = "withstood"
        found = components(table, limits=limits)
        parts = {c.factor: c for c in found.components}
        out: dict[str, float | bool] = {
            "breakdown": inside(parts["breakdown"].low, WITHIN, parts["breakdown"].high),
            "icc": inside(found.intraclass_low, icc, found.intraclass_high),
            "mean": inside(found.low_kv, MEAN, found.high_kv),
        }
        if "filling" in parts:
            out["filling"] = inside(parts["filling"].low, between, parts["filling"].high)
        return out

    return repeat(repetitions, one, (c.key for c in _PARTS))


def _samples(repetitions: int, rng: np.random.Generator, *, oils: int) -> Outcomes:
    """Fillings within samples: three components."""
    of_sample = 4.0

    def one() -> dict[str, float | bool]:
        shift = np.repeat(of_sample * rng.standard_normal(oils), 3)[:, None]
        kv = scenarios.nested(rng, 1, 3 * oils, 4)[0] + shift
        found = components(scenarios.frame(kv, sample=np.repeat([f"oil {i}" for i in range(oils)], 12)))
        parts = {c.factor: c for c in found.components}
        truth = {"sample": of_sample, "filling": BETWEEN, "breakdown": WITHIN}
        out: dict[str, float | bool] = {k: inside(parts[k].low, v, parts[k].high) for k, v in truth.items()}
        out["mean"] = inside(found.low_kv, MEAN, found.high_kv)
        return out

    return repeat(repetitions, one, ("sample", "filling", "breakdown", "mean"))


def _one_way(repetitions: int, rng: np.random.Generator, *, k: int, n: int, law: str) -> Outcomes:
    icc = BETWEEN**2 / (BETWEEN**2 + WITHIN**2)
    label = np.repeat(np.arange(k), n)

    def one() -> dict[str, float | bool]:
        found = one_way(scenarios.nested(rng, 1, k, n, law).ravel(), label)
        return {
            "within": inside(found.sd_within_limits[0], WITHIN, found.sd_within_limits[1]),
            "icc": inside(found.icc_limits[0], icc, found.icc_limits[1]),
            "total": inside(found.total_variance_limits[0], BETWEEN**2 + WITHIN**2, found.total_variance_limits[1]),
            "satterthwaite": inside(
                found.total_variance_limits_satterthwaite[0], BETWEEN**2 + WITHIN**2,
                found.total_variance_limits_satterthwaite[1],
            ),
        }  # fmt: skip

    return repeat(repetitions, one, ("within", "icc", "total", "satterthwaite"))


def _censored(
    repetitions: int, rng: np.random.Generator, *, k: int, n: int, ceiling: float, law: str = "normal"
) -> Outcomes:
    label = np.repeat(np.arange(k), n)

    def one() -> dict[str, float | bool]:
        kv = scenarios.nested(rng, 1, k, n, law).ravel()
        found = fit_censored(np.minimum(kv, ceiling), kv >= ceiling, filling=label)
        mean = found.contrast([1.0])
        return {
            "mean": inside(mean.low, MEAN, mean.high),
            "filling": inside(found.filling_low, BETWEEN, found.filling_high),
            "breakdown": inside(float(found.residual_low[0]), WITHIN, float(found.residual_high[0])),
        }

    return repeat(repetitions, one, ("mean", "filling", "breakdown"))


_TESTS = ("Mann-Kendall", "runs", "von Neumann", "Bartels")
_ORDER = (
    Claim("trend", "trend, kV a breakdown"), Claim("first", "first breakdown less the rest"),
    Claim("lag1", "correlation of neighbours"), Claim("inflation", "variance inflation of a filling's mean"),
    *(Claim(name, f"{name} test of order, pooled over fillings", "test", 0.05) for name in _TESTS),
)  # fmt: skip


def _order(
    repetitions: int, rng: np.random.Generator, *, k: int, n: int, law: str = "normal", correlation: float = 0.0,
    trend: float = 0.0,
) -> Outcomes:  # fmt: skip
    factor = tests.variance_inflation(correlation, n)

    def one() -> dict[str, float | bool]:
        kv = scenarios.nested(rng, 1, k, n, law, correlation=correlation, trend=trend)[0]
        found = order_effects(scenarios.frame(kv))
        out: dict[str, float | bool] = {t.name: t.p_value < 0.05 for t in found.tests}
        if found.trend is not None:
            out["trend"] = inside(found.trend.low_kv, trend, found.trend.high_kv)
        if found.first is not None:
            out["first"] = inside(found.first.low_kv, -trend * n / 2, found.first.high_kv)
        if found.neighbours is not None:
            out["lag1"] = inside(found.neighbours.low, correlation, found.neighbours.high)
        if found.variance_inflation is not None:
            out["inflation"] = inside(found.variance_inflation.low, factor, found.variance_inflation.high)
        return out

    return repeat(repetitions, one, (c.key for c in _ORDER))


_SERIES = {
    "Mann-Kendall": lambda x: tests.mann_kendall(x)[0].p_value,
    "runs": lambda x: tests.runs(x)[0].p_value,
    "von Neumann": lambda x: tests.von_neumann(x).p_value,
    "Bartels": lambda x: tests.bartels(x).p_value,
}


def _series(repetitions: int, rng: np.random.Generator, *, n: int, law: str) -> Outcomes:
    """The tests of one filling by itself, under no order effect; and Sen's slope."""

    def one() -> dict[str, float | bool]:
        kv = scenarios.nested(rng, 1, 1, n, law).ravel()
        out: dict[str, float | bool] = {name: test(kv) < 0.05 for name, test in _SERIES.items()}
        _, low, high = tests.sen_slope(kv)
        out["sen"] = inside(low, 0.0, high)
        return out

    return repeat(repetitions, one, [*_SERIES, "sen"])


def _component_studies() -> list[Study]:
    found = []
    designs: list[tuple[str, str, dict[str, object]]] = [
        ("3 x 5", "3 fillings of 5", {"k": 3, "n": 5}),
        ("5 x 5", "5 fillings of 5", {"k": 5, "n": 5}),
        ("10 x 5", "10 fillings of 5", {"k": 10, "n": 5}),
        ("5 x 5 weibull", "5 fillings of 5", {"k": 5, "n": 5, "law": "weibull"}),
        ("5 x 5 contaminated", "5 fillings of 5", {"k": 5, "n": 5, "law": "contaminated"}),
        ("5 x 5 none between", "5 fillings of 5", {"k": 5, "n": 5, "between": 0.0}),
        ("5 x 5 correlated", "5 fillings of 5", {"k": 5, "n": 5, "correlation": 0.3}),
        ("6 uneven", "6 fillings of 2 to 7", {"k": 6, "n": 7, "uneven": True}),
        ("5 x 5 profile", "5 fillings of 5, profile limits", {"k": 5, "n": 5, "limits": "profile"}),
        ("5 x 5 wald", "5 fillings of 5, wald limits", {"k": 5, "n": 5, "limits": "wald"}),
        ("6 x 5 withstood", "6 fillings of 5", {"k": 6, "n": 5, "ceiling": 57.0}),
    ]
    for name, design, options in designs:
        data = scenarios.describe(str(options.get("law", "normal")))
        data = "normal, fillings all alike" if options.get("between") == 0 else data
        data += ", correlation 0.3 of neighbours" if "correlation" in options else ""
        data += ", ceiling that 19 % withstand" if "ceiling" in options else ""
        slow = "ceiling" in options or options.get("limits") == "profile"
        reps = (5, 1000) if slow else (7, 1000)
        found.append(
            Study(f"components {name}", COMPONENTS, data, design, _PARTS, partial(_components, **options), reps)  # type: ignore[arg-type]
        )
    claims = (Claim("sample", "SD between samples"), *_PARTS[:2], _PARTS[3])
    found.append(
        Study("components in samples", COMPONENTS, "normal, samples, filling effects", "5 samples × 3 fillings of 4",
              claims, partial(_samples, oils=5), (5, 1000))
    )  # fmt: skip
    claims = (
        Claim("within", "SD within fillings (analysis of variance)"), Claim("icc", "intraclass correlation (F limits)"),
        Claim("total", "total variance (modified large sample)"),
        Claim("satterthwaite", "total variance (Satterthwaite)"),
    )  # fmt: skip
    for law in scenarios.LAWS:
        found.append(
            Study(f"one way {law}", COMPONENTS, scenarios.describe(law), "5 fillings of 5", claims,
                  partial(_one_way, k=5, n=5, law=law), (100, 2000))
        )  # fmt: skip
    claims = (Claim("mean", "mean, by censored likelihood"), Claim("filling", "SD between fillings, censored"),
              Claim("breakdown", "SD within fillings, censored"))  # fmt: skip
    for k, law in ((4, "normal"), (8, "normal"), (8, "weibull")):
        found.append(
            Study(f"censored mean {k} {law}", COMPONENTS, scenarios.describe(law) + ", ceiling that 19 % withstand",
                  f"{k} fillings of 5", claims, partial(_censored, k=k, n=5, ceiling=57.0, law=law), (5, 1000))
        )  # fmt: skip
    return found


def studies() -> list[Study]:
    """Studies of components and of order."""
    found = _component_studies()
    designs: list[tuple[str, str, dict[str, object]]] = [
        ("3 x 6", "3 fillings of 6", {"k": 3, "n": 6}),
        ("6 x 6", "6 fillings of 6", {"k": 6, "n": 6}),
        ("6 x 6 weibull", "6 fillings of 6", {"k": 6, "n": 6, "law": "weibull"}),
        ("6 x 6 contaminated", "6 fillings of 6", {"k": 6, "n": 6, "law": "contaminated"}),
        ("6 x 6 correlated", "6 fillings of 6", {"k": 6, "n": 6, "correlation": 0.3}),
        ("6 x 6 trend", "6 fillings of 6", {"k": 6, "n": 6, "trend": 0.5}),
        ("20 x 6 correlated", "20 fillings of 6", {"k": 20, "n": 6, "correlation": 0.3}),
    ]
    for name, design, options in designs:
        data = scenarios.describe(str(options.get("law", "normal")))
        data += ", correlation 0.3 of neighbours" if "correlation" in options else ""
        data += ", trend of 0.5 kV a breakdown" if "trend" in options else ""
        # With a trend or a correlation the tests of order are right to reject: their size is not in question there.
        claims = _ORDER[:4] if {"trend", "correlation"} & set(options) else _ORDER
        claims = (_ORDER[:2] if "trend" in options else _ORDER[:4]) if len(claims) == 4 else claims
        if "correlation" in options:
            claims = (*claims, _ORDER[4])
        found.append(
            Study(f"order {name}", ORDER, data, design, claims, _only(partial(_order, **options), claims),  # type: ignore[arg-type]
                  (5, 1000))
        )  # fmt: skip
    single = (
        *(Claim(name, f"{name} test on one filling", "test", 0.05) for name in _SERIES),
        Claim("sen", "Sen's slope on one filling"),
    )
    for n, law in ((6, "normal"), (12, "normal"), (12, "weibull")):
        found.append(
            Study(f"series of {n} {law}", ORDER, scenarios.describe(law, fillings=False) + ", no order effect",
                  f"1 filling of {n}", single, partial(_series, n=n, law=law), (120, 2000))
        )  # fmt: skip
    return found


def _only(run, claims):  # type: ignore[no-untyped-def]
    """Keep the outcomes that a study claims something about."""

    def kept(repetitions: int, rng: np.random.Generator) -> Outcomes:
        found = run(repetitions, rng)
        return {c.key: found[c.key] for c in claims}

    return kept
