"""What a plan delivers: its benches are invented again and again, and judged as the real one will be."""

from __future__ import annotations

import math
from concurrent.futures import Executor
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import InputError, NotEstimable
from methods.families import family_of, weibull_shape_for_cov
from methods.planning import decide
from methods.planning.bench_design import DesignPlan
from methods.planning.decision_plan import DecisionPlan
from methods.planning.difference_plan import DifferencePlan
from methods.planning.equivalence_plan import EquivalencePlan
from methods.planning.mean_plan import MeanPlan
from methods.planning.percentile_plan import PercentilePlan
from methods.planning.spread_plan import SpreadPlan
from methods.prove import Array, Progress, Proof, count, counted, proof, prove_design
from methods.scatter import fit, one_oil
from methods.shifts.compare import compare
from methods.shifts.equivalent import two_one_sided_ratio
from methods.shifts.pairing import CodedRows, layout
from methods.shifts.spread import pooled_scatter, sd_ratio

#: Mean of the invented oils where the plan names none, kV; all is in proportion to it.
MEAN_KV = 100.0
#: CoV of the breakdowns of a plan for an SD, where none is named: any gives the same shares.
ANY_COV = 0.15
Plan = MeanPlan | DesignPlan | PercentilePlan | DifferencePlan | EquivalencePlan | DecisionPlan | SpreadPlan


def prove_plan(
    made: Plan,
    *,
    cov: float | None = None,
    between_cov: float | None = None,
    half_width: float | None = None,
    repetitions: int = 2000,
    rng: Any = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Proof:
    """Carry a plan out on invented oils and count how often it delivers what it tells.

    Parameters
    ----------
    made : plan
        Of a mean, a design, a percentile, a difference, an equivalence, a decision or an SD. A pilot's plan and the
        next step are carried out by :mod:`methods.prove_steps`.
    cov, between_cov : float
        The scatter that it was planned for, as fractions of the mean; None between: breakdowns count as independent. A
        plan for an SD needs neither: its fillings then differ by a third of the scatter within.
    half_width : float, optional
        What was asked of a design, as a fraction; other plans know it.
    repetitions, rng, progress, executor
        As for :func:`methods.prove.prove_oil`.

    Returns
    -------
    Proof
        Limits first (how often they held the truth), then what the plan promises beside what it told.

    Raises
    ------
    InputError
        A kind that is not carried out, or a plan in kV with no mean.
    """
    if repetitions < 1:
        raise InputError(f"{repetitions} repetitions prove nothing; name a number above zero.", column="repetitions")
    given: dict[str, Any] = {"repetitions": repetitions, "rng": rng, "progress": progress, "executor": executor}
    if isinstance(made, SpreadPlan):
        return _spread(made, ANY_COV if cov is None else cov, between_cov, given)
    if cov is None:
        raise InputError("Carrying a plan out needs the scatter that it was made for (cov).", column="cov")
    if isinstance(made, MeanPlan | DesignPlan):
        wanted = _fraction(made.target_percent, "half-width") if isinstance(made, MeanPlan) else half_width
        found = prove_design(
            made.fillings, made.breakdowns_per_filling, within_cov=cov, between_cov=between_cov or 0.0,
            half_width=wanted, confidence=made.confidence, **given,
        )  # fmt: skip
        return found if wanted is None else _told(found, "as narrow", made.assurance)
    if isinstance(made, PercentilePlan):
        return _percentile(made, cov, between_cov, given)
    if isinstance(made, DecisionPlan):
        return _decision(made, cov, between_cov, given)
    if isinstance(made, DifferencePlan | EquivalencePlan):
        return _two_levels(made, cov, between_cov, given)
    raise InputError(f"A plan of the kind {type(made).__name__} is not carried out; only its design can be proved.")


def _fraction(percent: float | None, what: str) -> float | None:
    if percent is None:
        return None
    if not math.isfinite(percent):
        raise InputError(f"The {what} is known in kV alone: give the mean.")
    return percent / 100


def _told(found: Proof, what: str, told: float | None) -> Proof:
    """The proof with what the plan told beside what was counted of it."""
    if told is None or not math.isfinite(told):
        return found
    return replace(found, sentence=f"{found.sentence} The plan told {100 * told:.0f} of 100 {what}.")


def _design(k: int, n: int, cov: float, between: float | None, more: str) -> str:
    where = f"{k} filling{'s' if k != 1 else ''} of {n}" if between is not None or k > 1 else f"{n} breakdowns"
    scatter = f"CoV {100 * cov:g} % within" + ("" if between is None else f" and {100 * between:g} % between")
    return ", ".join(x for x in (where, scatter, more) if x)


def _drawn(
    rng: np.random.Generator, mean: Array | float, filling: Array, cov: float, between: float, at: float = MEAN_KV
) -> Array:
    """Normal breakdowns (n,) about ``mean``, the CoVs those of a mean ``at``; never below a thousandth of a kV."""
    own = between * rng.standard_normal(int(filling.max()) + 1)[filling]
    return np.maximum(mean + at * (own + cov * rng.standard_normal(len(filling))), 1e-3)


# ---------------------------------------------------------------- a percentile


def _percentile(made: PercentilePlan, cov: float, between: float | None, given: dict[str, Any]) -> Proof:
    wanted = _fraction(made.target_percent, "half-width")
    shared = (made.family, made.fillings, made.breakdowns_per_filling, cov, between, made.p, made.confidence)
    found = counted(_percentile_piece, shared, **given)
    rows = [count(f"{100 * made.p:g} % point", made.confidence, found[:, 0])]
    design = _design(made.fillings, made.breakdowns_per_filling, cov, between, f"{family_of(made.family).title} law")
    if wanted is None:
        return proof(rows, design)
    share = count("half-width as narrow as asked", math.nan, found[:, 1] <= MEAN_KV * wanted)
    text = f"{proof(rows, design).sentence} The half-width was no wider than {100 * wanted:g} % of the mean in "
    return _told(Proof((*rows, share), design, f"{text}{100 * share.held:.0f} of 100."), "as narrow", made.assurance)


def _percentile_piece(
    family: str, k: int, n: int, cov: float, between: float | None, p: float, confidence: float, repetitions: int,
    seed: Any,
) -> Array:  # fmt: skip
    fam, rng, label = family_of(family), np.random.default_rng(seed), np.repeat(np.arange(k), n)
    true, invent = _law(family, cov if fam.name != "normal" else math.hypot(cov, between or 0.0), p)
    out = np.full((repetitions, 2), np.nan)
    for i in range(repetitions):
        kv = _drawn(rng, MEAN_KV, label, cov, between or 0.0) if fam.name == "normal" else invent(rng, k * n)
        try:
            fillings = label if between is not None and k > 1 else None
            point = fit(kv, None, family, percentiles=(p,), confidence=confidence, fillings=fillings).percentiles[0]
        except NotEstimable:
            continue
        out[i] = point.low <= true <= point.high, (point.high - point.low) / 2
    return out


def _law(family: str, cov: float, p: float) -> tuple[float, Any]:
    """The ``p`` point of the family with mean 100 kV and this CoV, and what draws from it."""
    fam = family_of(family)
    if fam.name == "weibull":
        shape = weibull_shape_for_cov(cov)
        mu, sigma = math.log(MEAN_KV / math.gamma(1 + 1 / shape)), 1 / shape
    elif fam.name == "lognormal":
        sigma = math.sqrt(math.log(1 + cov**2))
        mu = math.log(MEAN_KV) - sigma**2 / 2
    elif fam.name == "gumbel_min":
        sigma = cov * MEAN_KV * math.sqrt(6) / math.pi
        mu = MEAN_KV + np.euler_gamma * sigma
    else:
        mu, sigma = MEAN_KV, cov * MEAN_KV

    def at(q: Any) -> Any:
        y = mu + sigma * np.asarray(fam.kernel.quantile(np.asarray(q)))
        return np.exp(y) if fam.log else np.maximum(y, 1e-3)

    return float(at(p)), lambda rng, size: at(rng.uniform(1e-12, 1, size))


# ---------------------------------------------------------------- a verdict


def _decision(made: DecisionPlan, cov: float, between: float | None, given: dict[str, Any]) -> Proof:
    if made.interval == "known":
        raise InputError("A verdict by scatter known from history is not carried out: leave that out.")
    shared = (made.fillings, made.breakdowns_per_filling, cov, between, made.mean_kv, made.limit_kv, made.rule,
              made.confidence)  # fmt: skip
    passed = counted(_decision_piece, shared, **given)
    row = count("right verdict", 1 - made.wrong_verdict_probability, passed if made.should_pass else 1 - passed)
    more = f"an oil of {made.mean_kv:g} kV, limit {made.limit_kv:g} kV"
    design = _design(made.fillings, made.breakdowns_per_filling, cov, between, more)
    text = (
        f"At this design ({design}) the verdict was wrong in {100 * (1 - row.held):.1f} of 100 invented studies "
        f"({row.repetitions} were made); the plan told {100 * made.wrong_verdict_probability:.1f}."
    )
    return Proof((row,), design, text)


def _decision_piece(
    k: int, n: int, cov: float, between: float | None, mean: float, limit: float, rule: str, confidence: float,
    repetitions: int, seed: Any,
) -> Array:  # fmt: skip
    rng, label = np.random.default_rng(seed), np.repeat(np.arange(k), n)
    out = np.full(repetitions, np.nan)
    for i in range(repetitions):
        kv = _drawn(rng, mean, label, cov, between or 0.0, mean)
        fillings = label if between is not None else np.arange(k * n)
        out[i] = decide(kv, limit, rule, fillings=fillings, confidence=confidence).verdict == "pass"
    return out


# ---------------------------------------------------------------- an SD


def _spread(made: SpreadPlan, cov: float, between: float | None, given: dict[str, Any]) -> Proof:
    k, ratio = made.fillings, made.kind == "ratio"
    n = (made.breakdowns if made.breakdowns_per_condition is None else made.breakdowns_per_condition) // k
    between = cov / 3 if between is None and k > 1 else between
    asked = made.ratio if ratio else made.within
    found = counted(_spread_piece, (k, n, cov, between or 0.0, made.kind, asked, made.confidence), **given)
    what = "ratio of the SDs" if ratio else "SD within fillings" if k > 1 else "SD"
    rows = [count(what, made.confidence, found[:, 0])]
    design = _design(k, n, cov, between, f"SDs as {asked:g} to 1" if ratio else "")
    text = proof(rows, design).sentence
    if made.kind.startswith("upper"):
        middle = float(np.nanmedian(found[:, 1]))
        text += (
            f" The upper limit was {middle:.3g} times the SD found in the middle; the plan told {made.achieved:.3g}."
        )
        return Proof(tuple(rows), design, text)
    done = "told apart" if ratio else "as near as asked"
    row = count(done, made.achieved, found[:, 1])
    text += f" The SD{'s were' if ratio else ' found was'} {done} in {100 * row.held:.0f} of 100; the plan told "
    return Proof((*rows, row), design, f"{text}{100 * made.achieved:.0f}.")


def _spread_piece(
    k: int, n: int, cov: float, between: float, kind: str, asked: float, confidence: float, repetitions: int, seed: Any
) -> Array:
    rng, label = np.random.default_rng(seed), np.repeat(np.arange(k), n)
    true, out = MEAN_KV * cov, np.full((repetitions, 2), np.nan)
    level = 2 * confidence - 1 if kind == "upper_one_sided" else confidence
    for i in range(repetitions):
        kv = _drawn(rng, MEAN_KV, label, cov, between)
        if kind == "ratio":
            other = _drawn(rng, MEAN_KV, label, cov / asked, between)
            found = sd_ratio(pooled_scatter(kv, label), pooled_scatter(other, label), confidence, "")
            out[i] = found.low <= asked <= found.high, found.low > 1 or found.high < 1
            continue
        oil = one_oil(kv, fillings=label if k > 1 else None, confidence=level, percentiles=())
        low, high = oil.within_sd_limits_kv
        sd = oil.within_sd_kv
        out[i] = (
            (low <= true or kind == "upper_one_sided") and true <= high,
            (abs(sd / true - 1) <= asked if kind == "within" else high / sd),
        )
    return out


# ---------------------------------------------------------------- two conditions


def _two_levels(
    made: DifferencePlan | EquivalencePlan, cov: float, between: float | None, given: dict[str, Any]
) -> Proof:
    k, n = made.fillings_per_condition, made.breakdowns_per_filling
    paired = isinstance(made, DifferencePlan) and made.paired
    if isinstance(made, DifferencePlan):
        true, margin, sides = _fraction(made.difference_percent, "difference"), None, made.sides
    else:
        true = _fraction(made.expected_difference_percent, "expected difference") or 0.0
        margin, sides = _fraction(made.margin_percent, "margin"), 2
        if margin is None:
            raise InputError("The margin is known in kV alone: give the mean.")
    if true is None:
        raise InputError("The difference is known in kV alone: give the mean.")
    shared = (k, n, cov, between, paired, true, margin, made.confidence, sides)
    hits = counted(_two_levels_piece, shared, **given)
    rows = (count("difference", made.confidence, hits[:, 0]),
            count("found" if margin is None else "shown to agree", made.power, hits[:, 1]))  # fmt: skip
    unit = "oils, each once under either condition" if paired else "under each condition"
    more = f"{unit}, a true difference of {100 * true:g} %"
    design = _design(k, n, cov, between, more)
    told = "was found" if margin is None else f"agreement within {100 * margin:g} % was shown"
    text = (
        f"{proof(rows[:1], design).sentence} {'It' if margin is None else 'And'} {told} in {100 * rows[1].held:.0f} of "
        f"100; the plan told {100 * made.power:.0f}."
    )
    return Proof(rows, design, text)


def _bench(k: int, n: int, between: float | None, paired: bool) -> CodedRows:
    """Two levels of ``k`` fillings of ``n``; each breakdown a filling of its own where they count as independent."""
    rows = k * n
    unit = np.repeat(np.arange(k), n) if between is not None or k > 1 or paired else np.arange(rows)
    table = pd.DataFrame({
        "kv": MEAN_KV, "electrode": np.repeat(["a", "b"], rows),
        "sample": [f"oil {u}" if paired else "oil" for u in np.tile(unit, 2)],
        "filling": [f"{side}{u}" for side in "ab" for u in unit],
    })  # fmt: skip
    return layout(table, "electrode")


def _two_levels_piece(
    k: int, n: int, cov: float, between: float | None, paired: bool, true: float, margin: float | None,
    confidence: float, sides: int, repetitions: int, seed: Any,
) -> Array:  # fmt: skip
    rng, lay = np.random.default_rng(seed), _bench(k, n, between, paired)
    out = np.full((repetitions, 2), np.nan)
    mean = MEAN_KV * (1 + true * lay.level)
    for i in range(repetitions):
        kv = _drawn(rng, mean, lay.filling, cov, between or 0.0)
        d = compare(replace(lay, kv=kv), 1, 0).difference
        if d is None or not d.standard_error > 0:
            continue
        low, high = d.limits(confidence)
        out[i, 0] = low <= MEAN_KV * true <= high
        if margin is not None:
            out[i, 1] = two_one_sided_ratio(d, margin, confidence).p_value < 1 - confidence
        else:
            low, high = (low, high) if sides == 2 else d.limits(2 * confidence - 1)
            out[i, 1] = low > 0 or high < 0 if sides == 2 else (low > 0 if true > 0 else high < 0)
    return out
