"""Studies of one condition: fits, goodness of fit, survival, outliers."""

from __future__ import annotations

from functools import partial

import numpy as np

from methods.families import FAMILIES, quantile
from methods.scatter import anderson_darling, cramer_von_mises, fit, kaplan_meier, kolmogorov, shapiro_wilk
from methods.scatter.outliers import dixon_critical, dixon_q, grubbs_critical
from methods.scatter.survival import band_half_width
from tests.calibration import scenarios
from tests.calibration.registry import Claim, Outcomes, Study, inside, repeat

AREA = "One condition: fits, goodness of fit, survival"

TRUE: dict[str, dict[str, float]] = {
    "normal": {"mean": 50.0, "sd": 7.5},
    "lognormal": {"log_mean": 3.9, "log_sd": 0.15},
    "weibull": {"shape": 8.0, "scale": 53.0},
    "weibull3": {"shape": 3.0, "scale": 20.0, "threshold": 30.0},
    "gumbel_min": {"location": 53.0, "scale": 6.0},
}
SPREAD = {"normal": "sd", "lognormal": "log_sd", "weibull": "shape", "weibull3": "shape", "gumbel_min": "scale"}


def _fit_claims(family: str) -> tuple[Claim, ...]:
    hows = ("wald",) if family == "weibull3" else ("wald", "profile")
    parts = (("low", "1 % point"), ("half", "median"), ("spread", f"{SPREAD[family]} of the family"))
    return tuple(Claim(f"{how}_{key}", f"{what}, {how} limits ({family})") for how in hows for key, what in parts)


def _fits(repetitions: int, rng: np.random.Generator, *, family: str, n: int, ceiling: float = np.inf) -> Outcomes:
    true = TRUE[family]
    low, half = (float(quantile(family, true, p)) for p in (0.01, 0.5))

    def one(how: str) -> dict[str, float | bool]:
        kv = np.asarray(quantile(family, true, rng.random(n)))
        found = fit(np.minimum(kv, ceiling), kv >= ceiling, family, percentiles=(0.01, 0.5), interval=how)
        ends = found.parameter_limits.get(SPREAD[family], (np.nan, np.nan))
        low_point, median = found.percentiles
        return {
            f"{how}_low": inside(low_point.low, low, low_point.high),
            f"{how}_half": inside(median.low, half, median.high),
            f"{how}_spread": inside(ends[0], true[SPREAD[family]], ends[1]),
        }

    out: Outcomes = {}
    # Profile limits take ten times as long as those by normal approximation.
    for how, times in (("wald", repetitions), ("profile", max(repetitions // 4, 8))):
        keys = [c.key for c in _fit_claims(family) if c.key.startswith(how)]
        if keys:
            out |= repeat(times, partial(one, how), keys)
    return out


def _fit_study(family: str, n: int, stood: bool) -> Study:
    ceiling = float(quantile(family, TRUE[family], 0.8)) if stood else np.inf
    return Study(
        f"fit {family} {n}" + (" withstood" if stood else ""), AREA,
        f"{family}, independent" + (", ceiling that 20 % withstand" if stood else ""), f"n = {n}",
        _fit_claims(family), partial(_fits, family=family, n=n, ceiling=ceiling), (12, 1000),
    )  # fmt: skip


def _strained(repetitions: int, rng: np.random.Generator, *, law: str, family: str, fillings: bool) -> Outcomes:
    """A fit of 30 breakdowns where it cannot be right: fillings counted as one, or another law than the family's."""
    truth_sd = float(np.hypot(scenarios.BETWEEN, scenarios.WITHIN)) if fillings else scenarios.WITHIN
    truth = [scenarios.quantile(law, p, sd=truth_sd) for p in (0.01, 0.5)]

    def one() -> dict[str, float | bool]:
        between = scenarios.BETWEEN if fillings else 0.0
        kv = scenarios.nested(rng, 1, 5, 6, law, between=between).ravel()
        found = fit(kv, None, family, percentiles=(0.01, 0.5))
        return {k: inside(p.low, t, p.high) for k, p, t in zip(("low", "half"), found.percentiles, truth, strict=True)}

    return repeat(repetitions, one, ("low", "half"))


_POINTS = (Claim("low", "1 % point, wald limits"), Claim("half", "median, wald limits"))


def _goodness(repetitions: int, rng: np.random.Generator, *, law: str, n: int, fillings: bool = False) -> Outcomes:
    tests = {"ad": anderson_darling, "cvm": cramer_von_mises, "ks": kolmogorov}

    def one() -> dict[str, float | bool]:
        between, k = (scenarios.BETWEEN, 5) if fillings else (0.0, 1)
        kv = scenarios.nested(rng, 1, k, n // k, law, between=between).ravel()
        out: dict[str, float | bool] = {name: test(kv, family=law).p_value < 0.05 for name, test in tests.items()}
        if law == "normal":
            out["sw"] = shapiro_wilk(kv).p_value < 0.05
        return out

    return repeat(repetitions, one, [*tests, *(["sw"] if law == "normal" else [])])


def _goodness_claims(law: str) -> tuple[Claim, ...]:
    names = {"ad": "Anderson-Darling", "cvm": "Cramér-von Mises", "ks": "Kolmogorov"}
    if law == "normal":
        names["sw"] = "Shapiro-Wilk"
    return tuple(Claim(k, f"{v} test of the {law}", "test", 0.05) for k, v in names.items())


def _survival(
    repetitions: int, rng: np.random.Generator, *, n: int, law: str = "normal", k: int = 1, ceiling: float = np.inf
) -> Outcomes:
    between = scenarios.BETWEEN if k > 1 else 0.0
    sd = float(np.hypot(between, scenarios.WITHIN))
    at = {"low": 0.9, "half": 0.5}

    def one() -> dict[str, float | bool]:
        kv = scenarios.nested(rng, 1, k, n // k, law, between=between).ravel()
        out: dict[str, float | bool] = {}
        for how, limits in (("log", "log-log"), ("plain", "plain")):
            table = kaplan_meier(np.minimum(kv, ceiling), kv >= ceiling, limits=limits)
            for key, survival in at.items():
                row = int(np.searchsorted(table["kv"], scenarios.quantile(law, 1 - survival, sd=sd), side="right")) - 1
                low, high = (table["low"][row], table["high"][row]) if row >= 0 else (np.nan, np.nan)
                out[f"{how}_{key}"] = inside(low, survival, high)
        return out

    return repeat(repetitions, one, [f"{h}_{k}" for h in ("log", "plain") for k in at])


_SURVIVAL = tuple(
    Claim(f"{how}_{key}", f"Kaplan-Meier, {word} limits at the {point}")
    for how, word in (("log", "log-log"), ("plain", "plain"))
    for key, point in (("low", "10 % point"), ("half", "median"))
)


def _band(repetitions: int, rng: np.random.Generator, *, n: int, law: str, k: int = 1) -> Outcomes:
    """The band of the empirical distribution about uniform values: what the probabilities of the true law are."""
    if k == 1:
        u = np.sort(rng.random((repetitions, n)), axis=1)
    else:
        from scipy.special import ndtr

        kv = scenarios.nested(rng, repetitions, k, n // k, law).reshape(repetitions, n)
        sd = np.hypot(scenarios.BETWEEN, scenarios.WITHIN)
        u = np.sort(ndtr((kv - scenarios.MEAN) / sd), axis=1)
    i = np.arange(1, n + 1) / n
    off = np.maximum(i - u, u - i + 1 / n).max(axis=1)
    return {"band": off <= band_half_width(n)}


def _outliers(repetitions: int, rng: np.random.Generator, *, n: int, law: str) -> Outcomes:
    kv = scenarios.nested(rng, repetitions, 1, n, law, between=0.0)[:, 0, :]
    g = np.abs(kv - kv.mean(1, keepdims=True)).max(1) / kv.std(1, ddof=1)
    critical = dixon_critical(n)
    q = np.array([[dixon_q(x, low=True), dixon_q(x, low=False)] for x in kv])
    return {"grubbs": g > grubbs_critical(n), "dixon_low": q[:, 0] > critical, "dixon_high": q[:, 1] > critical}


_OUTLIERS = (
    Claim("grubbs", "Grubbs' test, either end", "test", 0.05),
    Claim("dixon_low", "Dixon's test at the low end", "test", 0.025),
    Claim("dixon_high", "Dixon's test at the high end", "test", 0.025),
)


def studies() -> list[Study]:
    """All studies of one condition without fillings of its own."""
    assert set(TRUE) == set(FAMILIES), "a family without a study"
    found = [_fit_study(f, n, stood) for f in ("normal", "weibull") for n in (6, 10, 30, 60) for stood in (False, True)]
    found += [_fit_study(f, n, s) for f in ("lognormal", "gumbel_min") for n, s in ((10, False), (30, True))]
    found += [_fit_study("weibull3", n, s) for n, s in ((10, False), (30, False), (60, False), (60, True))]
    for law, family, fillings in (
        ("normal", "normal", True), ("contaminated", "normal", False), ("weibull", "normal", False),
        ("contaminated", "weibull", False),
    ):  # fmt: skip
        found.append(
            Study(
                f"fit {family} to {law}" + (" with fillings" if fillings else ""), AREA,
                scenarios.describe(law, fillings=fillings) + f"; the {family} family fitted",
                "5 fillings of 6" if fillings else "n = 30", _POINTS,
                partial(_strained, law=law, family=family, fillings=fillings), (150, 2000),
            )
        )  # fmt: skip
    for law, n in (("normal", 6), ("normal", 10), ("normal", 30), ("weibull", 10), ("weibull", 30)):
        found.append(
            Study(f"goodness {law} {n}", AREA, scenarios.describe(law, fillings=False), f"n = {n}",
                  _goodness_claims(law), partial(_goodness, law=law, n=n), (60, 2000))
        )  # fmt: skip
    found.append(
        Study("goodness normal with fillings", AREA, scenarios.describe("normal"), "5 fillings of 6",
              _goodness_claims("normal"), partial(_goodness, law="normal", n=30, fillings=True), (60, 2000))
    )  # fmt: skip
    for n, k, law, ceiling in (
        (10, 1, "normal", np.inf), (30, 1, "normal", np.inf), (30, 1, "weibull", np.inf), (30, 1, "normal", 56.0),
        (30, 5, "normal", np.inf),
    ):  # fmt: skip
        data = scenarios.describe(law, fillings=k > 1) + (", ceiling that 21 % withstand" if ceiling < np.inf else "")
        found.append(
            Study(f"survival {law} {k} x {n // k}" + (" withstood" if ceiling < np.inf else ""), AREA, data,
                  f"{k} fillings of {n // k}" if k > 1 else f"n = {n}", _SURVIVAL,
                  partial(_survival, n=n, k=k, law=law, ceiling=ceiling), (80, 2000))
        )  # fmt: skip
    band = (Claim("band", "band of the empirical distribution, everywhere at once"),)
    for n, k in ((6, 1), (30, 1), (100, 1), (30, 5)):
        found.append(
            Study(f"ecdf band {k} x {n // k}", AREA, scenarios.describe("normal") if k > 1 else "any law, independent",
                  f"{k} fillings of {n // k}" if k > 1 else f"n = {n}", band,
                  partial(_band, n=n, law="normal", k=k), (1000, 10000))
        )  # fmt: skip
    for n, law in ((6, "normal"), (10, "normal"), (6, "weibull"), (6, "contaminated")):
        found.append(
            Study(f"outliers {law} {n}", AREA, scenarios.describe(law, fillings=False), f"n = {n}", _OUTLIERS,
                  partial(_outliers, n=n, law=law), (500, 4000))
        )  # fmt: skip
    return found
