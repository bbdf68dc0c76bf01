"""Studies of plans and verdicts: does a plan keep its promise, is a verdict wrong as seldom as it says."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

import numpy as np
from scipy import stats
from scipy.special import ndtr

from methods import plan
from methods.planning import decide
from methods.planning.mean_uncertainty import mean_uncertainty
from methods.planning.order_statistics import size_one_sided
from methods.planning.pilot_data import pilot, plan_from_pilot
from methods.planning.pivots import weibull_pivots
from methods.planning.spread_plan import sd_limit_factors
from methods.planning.stepping import error_rates, stein_total
from methods.planning.tolerance import tolerance_one_sided
from methods.planning.uncertainty import mean_budget
from methods.planning.verdicts import pass_probability
from methods.scatter import fit_many
from methods.scatter.free_limits import quantile_ranks
from methods.scatter.nested_pivots import mean_error, summarise
from methods.shifts.compare import compare
from methods.shifts.equivalent import two_one_sided_ratio
from methods.simulate import Bench, draw
from tests.calibration import scenarios
from tests.calibration import shift_coverage as benches
from tests.calibration.registry import Claim, Outcomes, Study, inside, repeat
from tests.calibration.scenarios import BETWEEN, MEAN, WITHIN

MEANS = "Plans for a mean and a difference"
TAILS = "Plans for percentiles and scatter"
VERDICTS = "Verdicts, next steps, uncertainty budgets"

TARGET = 0.10
COV, BETWEEN_COV = 0.15, 0.05


def _halves(kv: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and half-width from filling means (repetitions, k, n), as :func:`mean_uncertainty` gives them."""
    means = kv.mean(axis=2)
    k = means.shape[1]
    if k == 1:  # one filling: its breakdowns stand for themselves
        means, k = kv[:, 0, :], kv.shape[2]
    half = stats.t.ppf(0.975, k - 1) * means.std(axis=1, ddof=1) / math.sqrt(k)
    if kv.shape[1] > 1 and kv.shape[2] > 1:  # fillings that agree by luck are given room for what they hide
        inside = np.sqrt(kv.var(axis=2, ddof=1).mean(axis=1) / (kv.shape[1] * kv.shape[2]))
        label = np.repeat(np.arange(kv.shape[1]), kv.shape[2])
        for at in np.flatnonzero(inside > means.std(axis=1, ddof=1) / math.sqrt(k)):
            error, df, _ = mean_error(summarise(kv[at].ravel(), label), 0.95)
            half[at] = stats.t.ppf(0.975, df) * error
    one = mean_uncertainty(kv[0].ravel(), np.zeros(kv[0].size, bool), np.repeat(np.arange(kv.shape[1]), kv.shape[2]))
    assert one.standard_uncertainty_kv is not None and one.df is not None
    np.testing.assert_allclose(stats.t.ppf(0.975, one.df) * one.standard_uncertainty_kv, half[0])
    return means.mean(axis=1), half


def _mean_plan(
    repetitions: int, rng: np.random.Generator, *, options: dict[str, Any], bench: Bench, assured: bool
) -> Outcomes:
    """Run the plan's design on a bench whose scatter is as planned (or not: ``bench`` may differ)."""
    made = plan.mean(cov=COV, half_width=TARGET, **options)
    design = {"fillings": made.fillings, "breakdowns": made.breakdowns_per_filling}
    kv, _ = draw(bench, **design, repetitions=repetitions, rng=rng)
    mean, half = _halves(kv)
    out = {"covers": np.abs(mean - bench.true_mean_kv) <= half}
    if assured:
        out["narrow"] = half <= TARGET * bench.mean_kv
    return out


def _mean_study(name: str, data: str, bench: Bench, options: dict[str, Any], assured: bool = False) -> Study:
    made = plan.mean(cov=COV, half_width=TARGET, **options)
    claims = [Claim("covers", "interval of a planned mean")]
    if assured:
        claims.append(Claim("narrow", "interval as narrow as assured", "promise", float(made.assurance or 0)))
    k, n = made.fillings, made.breakdowns_per_filling
    return Study(f"plan mean {name}", MEANS, data, f"{k} filling{'s' * (k > 1)} of {n}", tuple(claims),
                 partial(_mean_plan, options=options, bench=bench, assured=assured), (1000, 10000))  # fmt: skip


def _difference(
    repetitions: int, rng: np.random.Generator, *, k: int, n: int, between: float, shift: float,
    correlation: float = 0.0,
) -> Outcomes:  # fmt: skip
    found = []
    for mean in (MEAN, MEAN * (1 - shift)):
        kv = scenarios.nested(rng, repetitions, k, n, mean=mean, between=between * MEAN, within=COV * MEAN,
                              correlation=correlation)  # fmt: skip
        found.append(kv.mean(axis=2) if k > 1 else kv[:, 0, :])
    p = stats.ttest_ind(found[0], found[1], axis=1, equal_var=False).pvalue
    return {"power": p < 0.05}


def _difference_study(name: str, options: dict[str, Any], correlation: float = 0.0) -> Study:
    made = plan.difference(cov=COV, difference=TARGET, **options)
    k, n = made.fillings_per_condition, made.breakdowns_per_filling
    claim = Claim("power", "difference of 10 % seen (Welch's test)", "promise", made.power)
    data = scenarios.describe("normal", fillings="between_cov" in options)
    data += f", correlation {correlation:g} of neighbours" if correlation else ""
    return Study(f"plan difference {name}", MEANS, data, f"2 × {k} filling{'s' * (k > 1)} of {n}", (claim,),
                 partial(_difference, k=k, n=n, between=options.get("between_cov", 0.0), shift=TARGET,
                         correlation=correlation), (1000, 10000))  # fmt: skip


def _equivalence_plan() -> Study:
    made = plan.equivalence(cov=COV, margin=0.15, between_cov=BETWEEN_COV)
    k, n = made.fillings_per_condition, made.breakdowns_per_filling

    def run(repetitions: int, rng: np.random.Generator) -> Outcomes:
        def one() -> dict[str, float | bool]:
            lay = benches.bench(rng, (k, k), means=(MEAN, MEAN), breakdowns=n)
            d = compare(lay, 1, 0).difference
            assert d is not None
            return {"power": two_one_sided_ratio(d, 0.15).p_value < 0.05}

        return repeat(repetitions, one, ["power"])

    claim = Claim("power", "agreement within 15 % shown where there is no shift", "promise", made.power)
    return Study("plan equivalence", MEANS, scenarios.describe("normal"), f"2 × {k} fillings of {n}", (claim,), run,
                 (250, 3000))  # fmt: skip


def _tails(repetitions: int, rng: np.random.Generator, *, n: int, p: float) -> Outcomes:
    """Normal breakdowns: the percentile's exact limits, the tolerance limit, the SD."""
    from methods.planning import inputs
    from methods.planning.percentile_width import PlannedPercentile

    z = scenarios.nested(rng, repetitions, 1, n, between=0.0)[:, 0, :]
    mean, sd = z.mean(axis=1), z.std(axis=1, ddof=1)
    low, high = PlannedPercentile("normal", p, 0.95, inputs.scatter(None, WITHIN, mean=MEAN), 1)._normal_limits(n)
    truth = MEAN + WITHIN * stats.norm.ppf(p)
    factors = sd_limit_factors(n - 1)
    one_sided = ndtr((MEAN - (mean - tolerance_one_sided(n, 0.9) * sd)) / WITHIN)
    return {
        "point": inside(mean + low * sd, truth, mean + high * sd),
        "one_sided": one_sided >= 0.9, "sd": inside(sd * factors[0], WITHIN, sd * factors[1]),
    }  # type: ignore[dict-item]  # fmt: skip


def _weibull_tails(repetitions: int, rng: np.random.Generator, *, n: int, p: float, family: str) -> Outcomes:
    """The Weibull percentile by its pivotal quantity, from the package's own fits."""
    if family == "weibull":
        kv = 53 * rng.weibull(8, (repetitions, n))
        truth = math.log(53) + math.log(-math.log1p(-p)) / 8
    else:
        kv = np.maximum(MEAN + WITHIN * rng.standard_normal((repetitions, n)), 0.5)
        truth = math.log(MEAN + WITHIN * stats.norm.ppf(p))
    table = fit_many(kv, family="weibull")
    low, high = weibull_pivots(n, repetitions=20000).quantiles("percentile", [0.025, 0.975], p)
    centre, shape = np.log(table["scale"].to_numpy()), table["shape"].to_numpy()
    return {"point": inside(centre - high / shape, truth, centre - low / shape)}  # type: ignore[dict-item]


def _order_statistics(repetitions: int, rng: np.random.Generator) -> Outcomes:
    lowest = rng.random((repetitions, size_one_sided(0.9))).min(axis=1)
    n = 60
    u = np.sort(rng.random((repetitions, n)), axis=1)
    low, high = quantile_ranks(n, 0.1)
    return {"lowest": lowest <= 0.1,
            "ranks": inside(u[:, low - 1] if low else np.full(repetitions, -np.inf), 0.1,
                            u[:, high - 1] if high else np.full(repetitions, np.inf))}  # type: ignore[dict-item]  # fmt: skip


def _verdict_claims() -> tuple[Claim, ...]:
    def said(rule: str) -> float:
        return float(pass_probability(55.0, 50.0, WITHIN, BETWEEN, fillings=3, breakdowns_per_filling=5, rule=rule))

    return tuple(
        Claim(rule, f"{rule} rule passes as often as said, oil 10 % above the limit", "promise", said(rule), room=0.02)
        for rule in ("simple", "guarded", "every")
    )


def _verdicts(repetitions: int, rng: np.random.Generator, *, law: str) -> Outcomes:
    label = np.repeat(np.arange(3), 5)

    def one() -> dict[str, float | bool]:
        kv = scenarios.nested(rng, 1, 3, 5, law, mean=55.0).ravel()
        return {r: decide(kv, 50.0, r, fillings=label).verdict == "pass" for r in ("simple", "guarded", "every")}

    return repeat(repetitions, one, ("simple", "guarded", "every"))


def _guarded(repetitions: int, rng: np.random.Generator, *, k: int, n: int, law: str, between: float) -> Outcomes:
    """An oil whose mean lies exactly at the limit: passing it is the error that the rule guards against."""
    label = np.repeat(np.arange(k), n)

    def one() -> dict[str, float | bool]:
        kv = scenarios.nested(rng, 1, k, n, law, between=between).ravel()
        found = decide(kv, MEAN, "guarded", fillings=label)
        assert found.mean_kv is not None and found.guard_band_kv is not None and found.expanded_uncertainty_kv
        return {"pass": found.verdict == "pass", "band": found.mean_kv >= MEAN + found.guard_band_kv,
                "expanded": abs(found.mean_kv - MEAN) <= found.expanded_uncertainty_kv}  # fmt: skip

    return repeat(repetitions, one, ("pass", "band", "expanded"))


def _decision_study() -> Study:
    made = plan.decision(limit=50, mean=55, cov=COV, between_cov=BETWEEN_COV)
    k, n = made.fillings, made.breakdowns_per_filling

    def run(repetitions: int, rng: np.random.Generator) -> Outcomes:
        kv, _ = draw(Bench(55.0, BETWEEN_COV, COV, family="normal"), fillings=k, breakdowns=n, repetitions=repetitions,
                     rng=rng)  # fmt: skip
        return {"wrong": kv.mean(axis=(1, 2)) < 50.0}

    claim = Claim("wrong", "wrong verdict as seldom as planned (simple rule)", "promise",
                  made.wrong_verdict_probability, room=0.01)  # fmt: skip
    return Study("plan decision", VERDICTS, scenarios.describe("normal"), f"{k} filling{'s' * (k > 1)} of {n}",
                 (claim,), run, (1000, 10000))  # fmt: skip


def _next_step(repetitions: int, rng: np.random.Generator, *, law: str, start: int) -> Outcomes:
    """Both rules on fresh breakdowns: take ``start``, then as many as the advice says; or stop when narrow."""
    target = TARGET * MEAN
    most = 200
    kv = scenarios.nested(rng, repetitions, 1, most, law, between=0.0)[:, 0, :]
    two, stop = np.zeros(repetitions), np.full(repetitions, np.nan)
    t = stats.t.ppf(0.975, np.arange(1, most))
    for r, x in enumerate(kv):
        sd = float(x[:start].std(ddof=1))
        total = min(stein_total(sd, start, target), most)
        two[r] = abs(x[:total].mean() - MEAN) <= t[start - 2] * sd / math.sqrt(total)
        for n in range(start, most):
            half = t[n - 2] * x[:n].std(ddof=1) / math.sqrt(n)
            if half <= target:
                stop[r] = abs(x[:n].mean() - MEAN) <= half
                break
    return {"two_stage": two, "when_narrow": stop, "as_told": stop}


def _next_claims(start: int) -> tuple[Claim, ...]:
    told = {r.rule: r.coverage for r in error_rates(COV, TARGET, start, repetitions=20000)}
    return (Claim("two_stage", "two-stage rule (after the first, as many as advised)"),
            Claim("when_narrow", "stop when the interval is narrow"),
            Claim("as_told", "stop when narrow, against the rate that is told with it", "promise",
                  told["stop_when_narrow"]))  # fmt: skip


_PILOT = (
    Claim("within", "upper limit of the SD within fillings", "promise", 0.8),
    Claim("between", "upper limit of the SD between fillings", "promise", 0.8),
    Claim("serial", "upper limit of the correlation of neighbours", "promise", 0.8),
    Claim("enough", "design assured from a pilot is enough", "promise", 0.8),
)


def _pilot(repetitions: int, rng: np.random.Generator, *, k: int, n: int, law: str) -> Outcomes:
    def one() -> dict[str, float | bool]:
        found = pilot(scenarios.frame(scenarios.nested(rng, 1, k, n, law)[0]), assured=0.8)
        out: dict[str, float | bool] = {"within": found.within_upper >= WITHIN}  # type: ignore[union-attr]
        if found.between_upper is not None:  # type: ignore[union-attr]
            out["between"] = found.between_upper >= BETWEEN  # type: ignore[union-attr]
        if found.serial_upper is not None:  # type: ignore[union-attr]
            out["serial"] = found.serial_upper >= 0.0  # type: ignore[union-attr]
        made = plan_from_pilot(found, half_width_kv=0.1 * MEAN, serial=False).assured
        if made is not None:
            variance = BETWEEN**2 + WITHIN**2 / made.breakdowns_per_filling
            half = stats.t.ppf(0.975, made.fillings - 1) * math.sqrt(variance / made.fillings)
            out["enough"] = half <= 0.1 * MEAN
        return out

    return repeat(repetitions, one, (c.key for c in _PILOT))


def _budget(repetitions: int, rng: np.random.Generator, *, k: int, law: str, percent: float) -> Outcomes:
    """The voltmeter is off by a rectangular error that all breakdowns share."""

    def one() -> dict[str, float | bool]:
        kv = scenarios.nested(rng, 1, k, 5, law)[0] * (1 + percent / 100 * rng.uniform(-1, 1))
        means = kv.mean(axis=1)
        found = mean_budget(float(means.mean()), fillings=k, breakdowns_per_filling=5,
                            filling_means_sd=float(means.std(ddof=1)), voltmeter_percent=percent)  # fmt: skip
        return {"mean": abs(found.mean_kv - MEAN) <= found.expanded_uncertainty_kv}

    return repeat(repetitions, one, ["mean"])


def _history(repetitions: int, rng: np.random.Generator, *, k: int) -> Outcomes:
    kv = scenarios.nested(rng, repetitions, k, 5).mean(axis=(1, 2))
    found = mean_budget(MEAN, fillings=k, breakdowns_per_filling=5, within_sd=WITHIN, between_sd=BETWEEN, history=True)
    return {"mean": np.abs(kv - MEAN) <= found.expanded_uncertainty_kv}


def studies() -> list[Study]:
    """Studies of plans, verdicts, steps and budgets."""
    both = {"between_cov": BETWEEN_COV, "breakdowns_per_filling": 5}
    bench = partial(Bench, MEAN, family="normal")
    found = [
        _mean_study("fillings", "normal, as planned", bench(BETWEEN_COV, COV), {"between_cov": BETWEEN_COV}),
        _mean_study("assured", "normal, as planned", bench(BETWEEN_COV, COV), {**both, "assurance": 0.9}, True),
        _mean_study("independent", "normal, fillings all alike", bench(0.0, COV), {}),
        _mean_study("independent assured", "normal, fillings all alike", bench(0.0, COV), {"assurance": 0.9}, True),
        _mean_study("hidden fillings", "normal, filling effects of 5 % not planned for", bench(BETWEEN_COV, COV), {}),
        _mean_study("correlated", "normal, correlation 0.3, planned for", bench(BETWEEN_COV, COV, 0.3),
                    {**both, "serial_correlation": 0.3, "assurance": 0.9}, True),
        _mean_study("correlation ignored", "normal, correlation 0.3, not planned for", bench(BETWEEN_COV, COV, 0.3),
                    {**both, "assurance": 0.9}, True),
        _mean_study("correlated one filling", "normal, fillings all alike, correlation 0.3, not planned for",
                    bench(0.0, COV, 0.3), {}),
        _mean_study("weibull", "Weibull of the same SD, as planned", Bench(MEAN, BETWEEN_COV, COV),
                    {**both, "assurance": 0.9}, True),
        _mean_study("low ones", "normal, 5 % of breakdowns low by 30 to 60 %",
                    Bench(MEAN / 0.9775, BETWEEN_COV, COV, low_share=0.05, family="normal"),
                    {**both, "assurance": 0.9}, True),
        _difference_study("independent", {}),
        _difference_study("fillings", {"between_cov": BETWEEN_COV}),
        _difference_study("few fillings", {"between_cov": BETWEEN_COV, "power": 0.4}),
        _difference_study("correlated", {**both, "serial_correlation": 0.3}, 0.3),
        _difference_study("correlation ignored", both, 0.3),
        _equivalence_plan(),
    ]  # fmt: skip
    claims = (Claim("point", "1 % point, exact limits"), Claim("one_sided", "one-sided tolerance limit for 90 %"),
              Claim("sd", "SD, chi-square limits"))  # fmt: skip
    for n in (6, 20):
        found.append(Study(f"normal tails {n}", TAILS, scenarios.describe("normal", fillings=False), f"n = {n}",
                           claims, partial(_tails, n=n, p=0.01), (150, 10000)))  # fmt: skip
    point = (Claim("point", "1 % point, Weibull pivots"),)
    for n, law in ((6, "weibull"), (20, "weibull"), (20, "normal")):
        found.append(Study(f"pivot tails {n} {law}", TAILS, scenarios.describe(law, fillings=False), f"n = {n}", point,
                           partial(_weibull_tails, n=n, p=0.01, family=law), (800, 6000)))  # fmt: skip
    least = size_one_sided(0.9)
    found.append(
        Study("order statistics", TAILS, "any law, independent", f"n = {least} and 60",
              (Claim("lowest", "lowest breakdown as a limit below 90 %"),
               Claim("ranks", "10 % point between two ranks")), _order_statistics, (1000, 20000))
    )  # fmt: skip
    for law in scenarios.LAWS:
        found.append(Study(f"verdicts {law}", VERDICTS, scenarios.describe(law), "3 fillings of 5", _verdict_claims(),
                           partial(_verdicts, law=law), (100, 2000)))  # fmt: skip
    guarded = (Claim("pass", "guarded rule passes an oil at the limit", "test", 0.05),
               Claim("band", "mean above limit and guard band, oil at the limit", "test", 0.05),
               Claim("expanded", "mean with its expanded uncertainty"))  # fmt: skip
    for k, n, law, between in (
        (3, 5, "normal", 2.5), (5, 1, "normal", 2.5), (3, 5, "weibull", 2.5), (3, 5, "contaminated", 2.5),
        (1, 6, "normal", 0.0), (1, 6, "normal", 5.0),
    ):  # fmt: skip
        data = scenarios.describe(law) if between else "normal, fillings all alike"
        data += " of 10 %" if between > BETWEEN else ""
        found.append(Study(f"guarded {k} x {n} {law} {between:g}", VERDICTS, data,
                           f"{k} filling{'s' * (k > 1)} of {n}", guarded,
                           partial(_guarded, k=k, n=n, law=law, between=between), (200, 4000)))  # fmt: skip
    found.append(_decision_study())
    for law, start in (("normal", 4), ("normal", 8), ("contaminated", 8)):
        found.append(Study(f"next step {start} {law}", VERDICTS, scenarios.describe(law, fillings=False),
                           f"begin with {start}", _next_claims(start), partial(_next_step, law=law, start=start),
                           (300, 3000)))  # fmt: skip
    for k, law in ((4, "normal"), (8, "normal"), (8, "weibull")):
        found.append(Study(f"pilot {k} {law}", VERDICTS, scenarios.describe(law), f"{k} fillings of 5", _PILOT,
                           partial(_pilot, k=k, n=5, law=law), (6, 1000)))  # fmt: skip
    budget = (Claim("mean", "expanded uncertainty of a mean"),)
    for k, law, percent in ((2, "normal", 2.0), (3, "normal", 2.0), (5, "normal", 5.0), (5, "contaminated", 2.0)):
        found.append(Study(f"budget {k} {law}", VERDICTS,
                           scenarios.describe(law) + f", voltmeter off by up to {percent:g} %", f"{k} fillings of 5",
                           budget, partial(_budget, k=k, law=law, percent=percent), (300, 20000)))  # fmt: skip
    found.append(Study("budget history", VERDICTS, scenarios.describe("normal") + ", scatter known from history",
                       "3 fillings of 5", budget, partial(_history, k=3), (1000, 20000)))  # fmt: skip
    return found
