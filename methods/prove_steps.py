"""Plans that start from breakdowns, carried out on invented oils: a pilot's plan, and whether to stop or go on.

Both are procedures, so the whole of them is carried out again and again: the breakdowns that they start from are
invented too, with the scatter that the real ones show, then what is advised is done, and judged as the bench will be.
"""

from __future__ import annotations

import math
from concurrent.futures import Executor
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from methods.errors import InputError, NotEstimable
from methods.planning.pilot_data import Pilot, carried, pilot, plan_from_pilot
from methods.planning.stepping import first_stage, next_step
from methods.prove import Array, Progress, Proof, count, counted
from methods.records.table import as_table, filling_codes, group_codes
from methods.records.table import withstood as is_withstood
from methods.scatter.nested_pivots import mean_error, student, summarise
from methods.scatter.one_oil import one_oil

#: Units at which the rule that stops when narrow gives up.
MOST_UNITS = 300


def prove_pilot(
    data: Any,
    half_width: float | None = None,
    *,
    half_width_kv: float | None = None,
    assured: float = 0.8,
    confidence: float = 0.95,
    repetitions: int = 2000,
    rng: Any = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
    **fixed: Any,
) -> Proof:
    """Invent the pilot, plan from it, carry the plan out: how often is it as narrow as wanted, as surely as it told?

    Parameters
    ----------
    data : Records or DataFrame
        The pilot's records. Invented are its fillings and breakdowns, each oil and condition about its own mean, with
        the scatter (and the correlation of neighbours) that the pilot shows, normal.
    half_width, half_width_kv, assured, confidence, fixed
        As for :func:`methods.planning.plan.pilot`.
    repetitions, rng, progress, executor
        As for :func:`methods.prove.prove_oil`.

    Raises
    ------
    InputError, NotEstimable
        As for the plan; also a pilot with withstands.
    """
    _at_least_one(repetitions)
    table = as_table(data)
    if is_withstood(table).any():
        raise InputError("A pilot with withstands is not carried out; only the plan made from it can be.")
    known = pilot(table, assured=assured)
    assert isinstance(known, Pilot)
    asked = {"half_width": half_width, "half_width_kv": half_width_kv, "confidence": confidence, **fixed}
    plan_from_pilot(known, **asked)  # refuses what cannot be planned
    rho = carried(known.serial_correlation) if fixed.get("serial", True) else 0.0
    half = half_width_kv if half_width_kv is not None else (half_width or 0.0) * known.mean_kv
    found = counted(
        _pilot_piece, (_bare(table), known, rho, half, asked), repetitions, rng, progress, executor
    )  # fmt: skip
    rows = [count("as narrow as wanted, assured plan", assured, found[:, 1])]
    if np.isfinite(found[:, 0]).any():
        rows.append(count("mean of the oil", confidence, found[:, 0]))
    none = int(np.isnan(found[:, 1]).sum())
    cov = f"CoV {100 * known.within_sd / known.mean_kv:.3g} % within"
    if known.between_sd is not None:
        cov += f" and {100 * known.between_sd / known.mean_kv:.3g} % between"
    design = (
        f"a pilot of {known.breakdowns} breakdowns on {known.fillings} filling{'s' if known.fillings > 1 else ''}, "
    )
    design += cov + (f", correlation of neighbours {rho:.2f}" if rho > 0 else "")
    text = (
        f"At this design ({design}) the assured plan, carried out, was as narrow as wanted in {100 * rows[0].held:.0f} "
        f"of 100 invented studies ({rows[0].repetitions} were made); the plan told {100 * assured:.0f}."
    )
    if len(rows) > 1:
        text += f" Its limits of the mean held the truth in {100 * rows[1].held:.0f} of 100."
    if none:
        text += f" In {none} more the pilot was too small to promise a design, and said so."
    return Proof(tuple(rows), design, text)


def prove_next(
    kv: ArrayLike,
    target: float = 0.10,
    *,
    fillings: ArrayLike | None = None,
    target_kv: float | None = None,
    confidence: float = 0.95,
    repetitions: int = 2000,
    rng: Any = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Proof:
    """Invent the breakdowns taken so far, do what is advised after them, and count whether the limits hold the truth.

    Two ways are carried out: going on by as many as advised, and looking after every further one and stopping when the
    limits are narrow enough. The true scatter of each invented oil is one that may be behind the SD found.

    Parameters
    ----------
    kv, target, fillings, target_kv, confidence
        As for :func:`methods.planning.plan.next`.
    repetitions, rng, progress, executor
        As for :func:`methods.prove.prove_oil`.

    Raises
    ------
    InputError, NotEstimable
        As for the advice.
    """
    _at_least_one(repetitions)
    made = next_step(kv, target, fillings=fillings, target_kv=target_kv, confidence=confidence)
    units, within = first_stage(np.asarray(kv, dtype=float).ravel(), fillings)
    each = 1 if within is None and made.unit == "breakdowns" else max(round(len(np.ravel(kv)) / made.taken), 1)
    inside = None if within is None or each < 2 else within[:2]
    shared = (made.taken, each, made.unit == "fillings", made.mean_kv, float(units.std(ddof=1)), inside, made.target_kv,
              confidence)  # fmt: skip
    found = counted(_next_piece, shared, repetitions, rng, progress, executor)
    told = {r.rule: r.coverage for r in made.rates}
    rows = (
        count("mean, going on as advised, by the limits told", confidence, found[:, 0]),
        count("mean, going on as advised, by the analysis of all", confidence, found[:, 1]),
        count("mean, stopped when narrow", confidence, found[:, 2]),
    )
    one = made.unit if each == 1 else f"{made.unit} of {each}"
    design = f"{made.taken} {one} to begin with, SD {made.sd_kv:.3g} kV, ±{made.target_kv:.3g} kV wanted"
    text = (
        f"At this design ({design}) going on as advised gave limits that held the truth in {100 * rows[0].held:.0f} of "
        f"100 invented studies ({rows[0].repetitions} were made; the advice told {100 * told['two_stage']:.0f}), the "
        f"analysis of all that was taken in {100 * rows[1].held:.0f}. Stopping as soon as the limits are narrow held "
        f"it in {100 * rows[2].held:.0f} (told: {100 * told['stop_when_narrow']:.0f})."
    )
    return Proof(rows, design, text)


def _at_least_one(repetitions: int) -> None:
    if repetitions < 1:
        raise InputError(f"{repetitions} repetitions prove nothing; name a number above zero.", column="repetitions")


# ---------------------------------------------------------------- a pilot


def _bare(table: pd.DataFrame) -> pd.DataFrame:
    """The rows in the order of their breakdowns, each filling's one after the other."""
    code = filling_codes(table)
    order = table["order"].to_numpy(dtype=float) if "order" in table.columns else np.arange(len(table), dtype=float)
    return table.iloc[np.lexsort((np.nan_to_num(order, nan=np.inf), code))].reset_index(drop=True)


def _pilot_piece(
    table: pd.DataFrame, known: Pilot, rho: float, half: float, asked: dict[str, Any], repetitions: int, seed: Any
) -> Array:
    """For each study: whether the limits of the bench that was planned held the mean, and whether they were narrow."""
    rng, out = np.random.default_rng(seed), np.full((repetitions, 2), np.nan)
    code, kv = filling_codes(table), table["kv"].to_numpy(dtype=float)
    oil = group_codes(table, [c for c in ("method", "fluid", "laboratory", "sample") if c in table.columns])
    own = (np.bincount(oil, kv) / np.bincount(oil))[oil]
    for i in range(repetitions):
        first = table.assign(kv=_scattered(rng, own, code, known, rho))
        try:
            made = plan_from_pilot(first, assured=known.assured, **_in_kv(asked, half)).assured
        except InputError:  # no scatter within, or nothing that the limits of a plan allow
            continue
        if made is None:
            continue
        label = np.repeat(np.arange(made.fillings), made.breakdowns_per_filling)
        bench = _scattered(rng, np.full(len(label), known.mean_kv), label, known, rho)
        named = known.between_sd is not None or known.one_each
        found = one_oil(bench, fillings=label if named else None, confidence=asked["confidence"], percentiles=())
        if found.df > 0:
            low, high = found.mean_low_kv, found.mean_high_kv
            out[i] = low <= known.mean_kv <= high, high - low <= 2 * half
    return out


def _in_kv(asked: dict[str, Any], half: float) -> dict[str, Any]:
    return {**asked, "half_width": None, "half_width_kv": half}


def _scattered(rng: np.random.Generator, mean: Array, code: Array, known: Pilot, rho: float) -> Array:
    """Breakdowns (n,) about ``mean`` by fillings, whose rows stand together; neighbours correlated by ``rho``."""
    sizes = np.bincount(code)
    z = rng.standard_normal((len(sizes), int(sizes.max())))
    for j in range(1, z.shape[1] if rho > 0 else 0):
        z[:, j] = rho * z[:, j - 1] + math.sqrt(1 - rho**2) * z[:, j]
    place = np.arange(len(code)) - np.concatenate([[0], np.cumsum(sizes)[:-1]])[code]
    between = (known.between_sd or 0.0) * rng.standard_normal(len(sizes))
    return np.maximum(mean + between[code] + known.within_sd * z[code, place], 1e-3)


# ---------------------------------------------------------------- stop or go on


def _next_piece(
    taken: int, each: int, by_filling: bool, mean: float, sd: float, inside: tuple[float, int] | None, width: float,
    confidence: float, repetitions: int, seed: Any,
) -> Array:  # fmt: skip
    """For each study: whether the limits told, those of the analysis of all, and those at the stop hold the mean."""
    rng, out = np.random.default_rng(seed), np.full((repetitions, 3), np.nan)
    for i in range(repetitions):
        spread = sd * math.sqrt((taken - 1) / rng.chisquare(taken - 1))  # of the units
        within = 0.0 if inside is None else inside[0] * math.sqrt(inside[1] / rng.chisquare(inside[1]))
        spread = max(spread, within / math.sqrt(each))
        between = math.sqrt(max(spread**2 - within**2 / each, 0.0))

        def draw(units: int, between: float = between, within: float = within) -> tuple[Array, Array]:
            label = np.repeat(np.arange(units), each)
            own = between * rng.standard_normal(units)
            return mean + own[label] + within * rng.standard_normal(len(label)), label

        kv, label = draw(MOST_UNITS)
        start = kv[: taken * each]
        if start.min() <= 0:
            continue
        try:
            step = next_step(start, fillings=label[: taken * each] if by_filling else None, target_kv=width,
                             confidence=confidence, repetitions=1)  # fmt: skip
        except (InputError, NotEstimable):
            continue
        if step.total > MOST_UNITS:
            more = draw(step.total - MOST_UNITS)
            whole, names = np.concatenate([kv, more[0]]), np.concatenate([label, more[1] + MOST_UNITS])
        else:
            whole, names = kv[: step.total * each], label[: step.total * each]
        away = abs(float((np.bincount(names, whole) / each).mean()) - mean)
        out[i, 0] = away <= step.half_width_after_kv
        out[i, 1] = away <= _half(whole, names, confidence)
        for units in range(taken, MOST_UNITS + 1):
            half = _half(kv[: units * each], label[: units * each], confidence)
            if half <= width:
                out[i, 2] = abs(float(kv[: units * each].mean()) - mean) <= half
                break
    return out


def _half(kv: Array, label: Array, confidence: float) -> float:
    """Half-width of the limits of the mean, kV, as one oil's are made."""
    error, df, _ = mean_error(summarise(kv, label), confidence)
    return student(df, confidence) * error
