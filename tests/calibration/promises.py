"""Studies: every plan carried out as it stands, and judged by the very analysis; does it deliver what it tells?

The half-width that a plan tells as probable, the power, the chance of a wrong verdict, the rate of a stopping rule.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from methods import plan
from methods.families import weibull_shape_for_cov
from methods.planning import decide
from methods.planning.pilot_data import plan_from_pilot
from methods.planning.stepping import error_rates, next_step
from methods.scatter import fit, one_oil
from methods.shifts.compare import compare
from methods.shifts.equivalent import two_one_sided
from methods.shifts.spread import pooled_scatter, sd_ratio
from tests.calibration.registry import Claim, Outcomes, Study, inside, repeat
from tests.calibration.scenarios import frame
from tests.calibration.shift_designs import Design
from tests.calibration.shift_designs import draw as draw_shift

AREA = "Plans carried out, judged by the analysis"
MEAN, COV = 60.0, 0.15
One = Callable[[np.random.Generator], dict[str, float | bool]]


def _kv(rng: np.random.Generator, k: int, n: int, between: float, mean: float = MEAN) -> tuple[Any, Any]:
    label = np.repeat(np.arange(k), n)
    kv = mean * (1 + between * rng.standard_normal(k)[label] + COV * rng.standard_normal(k * n))
    return np.maximum(kv, 0.5), label


def _run(repetitions: int, rng: np.random.Generator, *, one: One, keys: tuple[str, ...]) -> Outcomes:
    return repeat(repetitions, lambda: one(rng), keys)


def _study(
    kind: str, name: str, data: str, design: str, claims: tuple[Claim, ...], one: One, many: int = 2000
) -> Study:  # fmt: skip
    run = partial(_run, one=one, keys=tuple(c.key for c in claims))
    return Study(f"promise {kind} {name}".strip(), AREA, data, design, claims, run, (40, many))


def _promise(key: str, what: str, told: float | None, room: float | None = None) -> Claim:
    assert told is not None
    return Claim(key, what, "promise", float(told), room)


def _means() -> list[Study]:
    out = []
    for kind, k, n, between, target in (
        ("mean", 3, 5, 0.0, 0.17), ("mean", 3, 5, 0.05, 0.2), ("mean", 2, 5, 0.0, 0.4), ("mean", 5, 6, 0.05, 0.1),
        ("mean", 1, 8, None, 0.12), ("design", 0, 0, 0.05, 0.1),
    ):  # fmt: skip
        if kind == "design":
            made: Any = plan.design(cov=COV, between_cov=0.05, mean=MEAN, half_width=target, protocol="IEC 60156")
        else:
            made = plan.mean(cov=COV, between_cov=between, half_width=target, fillings=k, breakdowns_per_filling=n)
        k, n = made.fillings, made.breakdowns_per_filling

        def one(
            rng: np.random.Generator, k: int = k, n: int = n, sf: float = between or 0.0, target: float = target,
            named: bool = between is not None,
        ) -> dict[str, float | bool]:  # fmt: skip
            kv, label = _kv(rng, k, n, sf)
            oil = one_oil(kv, fillings=label if named else None, percentiles=())
            return {"narrow": oil.mean_high_kv - oil.mean_low_kv <= 2 * target * MEAN}

        data = f"CoV 15 % within, {'none' if not between else f'{100 * between:g} %'} between"
        out.append(
            _study(kind, f"{k} {n} {between}", data, f"{k} × {n}, ±{100 * target:g} %",
                   (_promise("narrow", f"plan {kind}: as narrow as told", made.assurance),), one)
        )  # fmt: skip
    return out


def _percentiles() -> list[Study]:
    out = []
    for family, k, n, between, target in (
        ("normal", 1, 10, None, 0.25), ("weibull", 1, 10, None, 0.17), ("normal", 3, 5, 0.05, 0.35),
        ("normal", 5, 5, 0.0, 0.2),
    ):  # fmt: skip
        made = plan.percentile(cov=COV, p=0.01, half_width=target, family=family, between_cov=between, fillings=k,
                               breakdowns_per_filling=n)  # fmt: skip

        def one(
            rng: np.random.Generator, k: int = k, n: int = n, sf: float | None = between, target: float = target,
            family: str = family, shape: float = weibull_shape_for_cov(COV),
        ) -> dict[str, float | bool]:  # fmt: skip
            kv, label = _kv(rng, k, n, sf or 0.0)
            if family == "weibull":
                kv = MEAN / math.gamma(1 + 1 / shape) * rng.weibull(shape, n)
            point = fit(kv, None, family, percentiles=(0.01,), fillings=None if sf is None else label).percentiles[0]
            return {"narrow": point.high - point.low <= 2 * target * MEAN}

        data = f"{family}, CoV 15 % within, {'none' if not between else f'{100 * between:g} %'} between"
        out.append(
            _study("percentile", f"{family} {k} {n}", data, f"{k} × {n}, ±{100 * target:g} %",
                   (_promise("narrow", "plan percentile: 1 % point as narrow as told", made.assurance),), one)
        )  # fmt: skip
    return out


def _differences() -> list[Study]:
    out = []
    for name, k, n, sf, share, paired in (
        ("rows", 0, 0, None, 0.2, False), ("fillings", 4, 5, 0.05, 0.2, False), ("paired", 6, 5, 0.05, 0.15, True),
    ):  # fmt: skip
        options: dict[str, Any] = {} if sf is None else {"fillings": k, "breakdowns_per_filling": n}
        made = plan.difference(cov=COV, difference=share, between_cov=sf, paired=paired, **options)
        k, n = made.fillings_per_condition, made.breakdowns_per_filling
        design = Design([(1, 1)] * k if paired else [(k, k)], breakdowns=n, within=COV * 50,
                        between=(sf or 0.0) / COV, oils_kv=0.0)  # fmt: skip
        if sf is None:  # one breakdown on each of as many fillings: what counts each by itself
            design = Design([(n, n)], breakdowns=1, within=COV * 50, between=0.0, oils_kv=0.0)

        def one(rng: np.random.Generator, design: Design = design, share: float = share) -> dict[str, float | bool]:
            b = draw_shift(rng, design)
            kv = np.where(b.lay.level == 1, b.lay.kv - b.these_kv - share * 50, b.lay.kv)
            d = compare(type(b.lay)(**{**vars(b.lay), "kv": kv}), 1, 0).difference
            assert d is not None
            low, high = d.limits(0.95)
            return {"power": low > 0 or high < 0}

        out.append(
            _study("difference", name, f"CoV 15 % within, {100 * (sf or 0):g} % between",
                   f"2 × {k} {'oils' if paired else 'fillings'} of {n}, {100 * share:g} %",
                   (_promise("power", "plan difference: found as often as told", made.power),), one)
        )  # fmt: skip
    return out


def _equivalences() -> list[Study]:
    out = []
    for name, options in (("fillings", {"between_cov": 0.05}), ("rows", {})):
        made = plan.equivalence(cov=COV, margin=0.15, **options)
        k, n = made.fillings_per_condition, made.breakdowns_per_filling
        sf = options.get("between_cov", 0.0) / COV
        design = Design([(k, k)] if sf else [(n, n)], breakdowns=n if sf else 1, within=COV * 50, between=sf,
                        oils_kv=0.0)  # fmt: skip

        def one(rng: np.random.Generator, design: Design = design) -> dict[str, float | bool]:
            b = draw_shift(rng, design)
            kv = np.where(b.lay.level == 1, b.lay.kv - b.these_kv, b.lay.kv)
            d = compare(type(b.lay)(**{**vars(b.lay), "kv": kv}), 1, 0).difference
            assert d is not None
            return {"power": two_one_sided(d, -0.15 * 50, 0.15 * 50).p_value < 0.05}

        claim = _promise("power", "plan equivalence: shown as often as told", made.power)
        data = f"CoV 15 % within, {100 * options.get('between_cov', 0):g} % between, no shift"
        out.append(_study("equivalence", name, data, f"2 × {k} fillings of {n}", (claim,), one))
    return out


def _decisions() -> list[Study]:
    out = []
    for rule, options in (
        ("simple", {"between_cov": 0.05}), ("guarded", {"between_cov": 0.05}), ("guarded", {}),
        ("guarded", {"fillings": 1, "breakdowns_per_filling": 8}), ("every", {"between_cov": 0.05}),
    ):  # fmt: skip
        mean = {"simple": 55.0, "guarded": 62.0, "every": 80.0}[rule]
        if options.get("fillings") == 1:
            mean = 75.0
        made = plan.decision(limit=50, mean=mean, cov=COV, rule=rule, **options)
        k, n = made.fillings, made.breakdowns_per_filling

        def one(
            rng: np.random.Generator, k: int = k, n: int = n, rule: str = rule, mean: float = mean,
            sf: float = options.get("between_cov", 0.0),
        ) -> dict[str, float | bool]:  # fmt: skip
            kv, label = _kv(rng, k, n, sf, mean)
            return {"wrong": decide(kv, 50.0, rule, fillings=label).verdict != "pass"}

        claim = Claim("wrong", f"plan decision: {rule} rule wrong as seldom as told", "test",
                      made.wrong_verdict_probability)  # fmt: skip
        data = f"CoV 15 % within, {100 * options.get('between_cov', 0):g} % between, oil of {mean:g} kV, limit 50 kV"
        out.append(_study("decision", f"{rule} {k} {n}", data, f"{k} × {n}", (claim,), one))
    return out


def _spreads() -> list[Study]:
    made, ratio = plan.sd(0.3, confidence=0.8, fillings=3), plan.sd(ratio=2.0, fillings=3)
    n, m = made.breakdowns // 3, (ratio.breakdowns_per_condition or 0) // 3

    def near(rng: np.random.Generator) -> dict[str, float | bool]:
        kv, label = _kv(rng, 3, n, 0.05)
        return {"near": abs(one_oil(kv, fillings=label, percentiles=()).within_sd_kv / (COV * MEAN) - 1) <= 0.3}

    def apart(rng: np.random.Generator) -> dict[str, float | bool]:
        sides = [_kv(rng, 3, m, 0.05) for _ in range(2)]
        first, second = (pooled_scatter(f * (kv - MEAN), label) for f, (kv, label) in zip((2, 1), sides, strict=True))
        found = sd_ratio(first, second, 0.95, "")
        return {"power": found.low > 1 or found.high < 1}

    data = "CoV 15 % within, 5 % between"
    within = _promise("near", "plan sd: within 30 % as often as told", made.achieved)
    power = _promise("power", "plan sd: ratio of 2 found as often as told", ratio.achieved)
    return [
        _study("sd", "near", data, f"3 × {n}", (within,), near),
        _study("sd", "ratio", data, f"2 × 3 × {m}", (power,), apart),
    ]


def _pilots() -> list[Study]:
    def one(rng: np.random.Generator) -> dict[str, float | bool]:
        kv, _ = _kv(rng, 4, 5, 0.1)
        made = plan_from_pilot(frame(kv.reshape(4, 5)), half_width_kv=0.15 * MEAN, serial=False).assured
        if made is None:
            return {}
        kv, label = _kv(rng, made.fillings, made.breakdowns_per_filling, 0.1)
        oil = one_oil(kv, fillings=label, percentiles=())
        return {"narrow": oil.mean_high_kv - oil.mean_low_kv <= 2 * 0.15 * MEAN}

    claim = _promise("narrow", "plan pilot: the design assured from a pilot is as narrow as wanted", 0.8)
    return [_study("pilot", "", "CoV 15 % within, 10 % between", "pilot of 4 × 5", (claim,), one, 1000)]


def _stops() -> list[Study]:
    """Filling after filling, stopped by the half-width that the next step tells; what it holds is counted."""
    out = []
    for between, target in ((0.0, 0.1), (0.05, 0.1), (0.15, 0.2)):
        means = math.sqrt(between**2 + COV**2 / 5)
        told = error_rates(means, target, 3, inside=(COV, math.inf, 5), repetitions=3000, most=60)

        def one(rng: np.random.Generator, sf: float = between, target: float = target) -> dict[str, float | bool]:
            kv, label = _kv(rng, 120, 5, sf)
            first = next_step(kv[:15], target_kv=target * MEAN, fillings=label[:15], repetitions=1)
            total = min(first.total, 120)
            out: dict[str, float | bool] = {
                "two": abs(kv[: 5 * total].mean() - MEAN) <= first.half_width_kv * math.sqrt(3 / total)
            }
            for k in range(3, 121):
                oil = one_oil(kv[: 5 * k], fillings=label[: 5 * k], percentiles=())
                half = (oil.mean_high_kv - oil.mean_low_kv) / 2
                if half <= target * MEAN:
                    out["narrow"] = inside(oil.mean_low_kv, MEAN, oil.mean_high_kv)  # type: ignore[assignment]
                    break
            return out

        claims = (
            _promise("two", "plan next: two stages of fillings hold as often as told", told[0].coverage),
            _promise("narrow", "plan next: fillings until narrow hold as often as told", told[1].coverage),
        )
        out.append(
            _study("next", f"{between:g}", f"CoV 15 % within, {100 * between:g} % between",
                   f"from 3 fillings of 5 on, ±{100 * target:g} %", claims, one)
        )  # fmt: skip
    return out


def studies() -> list[Study]:
    """Every kind of plan, at designs small enough that luck and few degrees of freedom show."""
    makers = (_means, _percentiles, _differences, _equivalences, _decisions, _spreads, _pilots, _stops)
    return [s for maker in makers for s in maker()]
