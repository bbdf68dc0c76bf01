"""The shift by a mixed model: several factors at once, random fillings, samples as blocks or at random."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import scipy

from methods.columns import OIL
from methods.errors import InputError, NotEstimable
from methods.result import Caution
from methods.scatter.censored import fit_censored
from methods.scatter.mixed import Contrast, fit_mixed
from methods.shifts.designs import Block, dummies, estimable, independent, main_effect, stack
from methods.shifts.pairing import Layout, find_column
from methods.wording import list_words


class Fitted(Protocol):
    """What both mixed models offer."""

    def contrast(self, row: Any, *, confidence: float = 0.95, value: float = 0.0) -> Contrast: ...


@dataclass(frozen=True)
class MixedLevel:
    """One level against the reference; ``difference`` is None where the design cannot tell it."""

    level: int
    difference: Contrast | None
    mean: Contrast | None
    reference: Contrast | None
    low_ratio: float
    high_ratio: float


@dataclass(frozen=True)
class MixedFit:
    """The fitted model: levels other than the reference, what it says of itself, and its cautions."""

    levels: list[MixedLevel]
    method: str
    cautions: list[Caution]


def mixed_levels(
    lay: Layout, base: int, factors: Sequence[str], *, log: bool, confidence: float, samples: str = "fixed"
) -> MixedFit:
    """Fit ``kv ~ sample + factors + by`` with random fillings and read off each level against the reference.

    The effects are additive: a shift is taken to be the same at every level of the other factors. Means are those
    at the average of the other columns over the oils that both levels share.

    Raises
    ------
    InputError
        Unknown factor, or ``samples`` neither ``fixed`` nor ``random``.
    NotEstimable
        No level can be told apart from the reference, or nothing is left to tell the scatter from.
    """
    if samples not in ("fixed", "random"):
        raise InputError("Samples enter a mixed model as 'fixed' or 'random'.")
    names = [find_column(lay.table, f) for f in factors]
    if lay.by in names:
        raise InputError(f"{lay.by} is compared already; name other factors beside it.", column=lay.by)
    oils = lay.by not in OIL and len(np.unique(lay.block)) > 1
    others = [main_effect(lay.table, n) for n in names]
    if oils and samples == "fixed":
        others.insert(0, Block(("sample",), dummies(lay.block, len(lay.blocks)), lay.blocks))
    order = [base, *[i for i in range(len(lay.levels)) if i != base]]
    rank = np.argsort(order)
    own = dummies(rank[lay.level], len(order))
    whole = np.hstack([stack(others, len(own)), own])
    keep = independent(whole)
    design = whole[:, keep]
    model, notes = _fit(lay, design, log=log, random_oils=oils and samples == "random")
    nuisance = whole.shape[1] - own.shape[1]
    levels = []
    for j, level in enumerate(order[1:]):
        one, two = _rows(lay, whole, nuisance, j, level, base, oils)
        levels.append(_level(model, whole, design, level, one, two, confidence, log))
    if all(v.difference is None for v in levels):
        raise NotEstimable(
            f"The levels of {lay.by} cannot be told apart from {list_words([b.effect[0] for b in others])}: they "
            "change together in these tests. Leave a factor out, or test what is missing (see the suggestions)."
        )
    cautions = [*notes, *_untold(lay, levels, others)]
    kind = "random" if oils and samples == "random" else "fixed"
    parts = [lay.by, *names]
    text = f"mixed model, {' + '.join(parts)} fixed, " + (f"samples {kind}, " if oils else "") + "fillings random"
    return MixedFit(sorted(levels, key=lambda v: v.level), text, cautions)


def _fit(lay: Layout, design: np.ndarray, *, log: bool, random_oils: bool) -> tuple[Fitted, list[Caution]]:
    """REML with Kenward-Roger inference; maximum likelihood with withstands right-censored where there are some."""
    if lay.withstood.any():
        family = "lognormal" if log else "normal"
        fitted = fit_censored(lay.kv, lay.withstood, design, lay.filling, family=family)
        notes = list(fitted.cautions)
        if random_oils:
            text = "With withstands the samples enter as fixed; their random form has no censored version here."
            raise InputError(text)
        return fitted, notes
    groups: dict[str, np.ndarray] = {"sample": lay.block} if random_oils else {}
    groups["filling"] = lay.filling
    mixed = fit_mixed(np.log(lay.kv) if log else lay.kv, design, groups)
    return mixed, list(mixed.cautions)


def _rows(
    lay: Layout, whole: np.ndarray, nuisance: int, j: int, level: int, base: int, oils: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the design that stand for the mean of the level and of the reference."""
    here, there = lay.level == level, lay.level == base
    used = here | there
    if oils:
        shared = np.intersect1d(lay.block[here], lay.block[there])
        if len(shared):
            used &= np.isin(lay.block, shared)
    blocks = np.unique(lay.block[used])
    average = np.mean([whole[used & (lay.block == b), :nuisance].mean(axis=0) for b in blocks], axis=0)
    two = np.concatenate([average, np.zeros(whole.shape[1] - nuisance)])
    one = two.copy()
    one[nuisance + j] = 1.0
    return one, two


def _level(
    model: Fitted, whole: np.ndarray, design: np.ndarray, level: int, one: np.ndarray, two: np.ndarray,
    confidence: float, log: bool,
) -> MixedLevel:  # fmt: skip
    nan = float("nan")
    cells = np.unique(np.hstack([whole, design]), axis=0)
    rows, reduced = cells[:, : whole.shape[1]], cells[:, whole.shape[1] :]

    def translate(contrast: np.ndarray) -> np.ndarray | None:
        weights = estimable(rows, contrast)
        return None if weights is None else weights @ reduced

    shift, mean, reference = translate(one - two), translate(one), translate(two)
    if shift is None:
        return MixedLevel(level, None, None, None, nan, nan)
    difference = model.contrast(shift, confidence=confidence)
    if mean is None or reference is None:
        return MixedLevel(level, difference, None, None, nan, nan)
    first, second = (model.contrast(v, confidence=confidence) for v in (mean, reference))
    low = high = nan
    if not log and second.estimate > 0 and difference.se > 0:
        low, high = _ratio_limits(
            lambda r: model.contrast(mean - r * reference, confidence=confidence), first.estimate / second.estimate,
            difference.se / second.estimate,
        )  # fmt: skip
    return MixedLevel(level, difference, first, second, low, high)


def _ratio_limits(at: Callable[[float], Contrast], best: float, step: float) -> tuple[float, float]:
    """Ratios that the test of mean - ratio * reference does not reject (Fieller 1954); nan without a limit."""

    def excess(ratio: float) -> float:
        c = at(ratio)
        return c.low * c.high  # negative while zero lies between the limits

    out = []
    for sign in (-1.0, 1.0):
        inner, width = best, sign * step
        found = float("nan")
        for _ in range(40):
            outer = inner + width
            if excess(outer) > 0:
                found = float(scipy.optimize.brentq(excess, min(inner, outer), max(inner, outer), xtol=1e-10))
                break
            inner, width = outer, 1.5 * width
        out.append(found)
    return out[0], out[1]


def _untold(lay: Layout, levels: list[MixedLevel], others: list[Block]) -> list[Caution]:
    lost = [lay.levels[v.level] for v in levels if v.difference is None]
    if not lost:
        return []
    names = list_words([b.effect[0] for b in others])
    return [
        Caution(
            "confounded",
            f"{list_words(lost)} cannot be told apart from {names}: they change together in these tests, so no "
            "shift is given.",
        )
    ]


def merge(first: Sequence[Caution], second: Sequence[Caution]) -> list[Caution]:
    """Both lists, equal ones once; what the model says of fillings it cannot see is said in the usual words."""
    out = {(c.code, c.text): c for c in second}
    seen = {c.code for c in second}
    for c in first:
        if c.code == "confounded" and "'filling'" in c.text:
            if "one_filling" not in seen:
                out[("one_filling", "")] = Caution(
                    "one_filling",
                    "Every combination of the factors has one filling only, so the model cannot see what differs from "
                    "filling to filling: it is not in the limits, and the true uncertainty is larger.",
                )
        elif not (c.code == "withstood" and "withstood" in seen):
            out.setdefault((c.code, c.text), c)
    return list(out.values())


def percent_limits(v: MixedLevel, log: bool) -> tuple[float, float]:
    """Limits of the shift in percent."""
    if v.difference is None:
        return float("nan"), float("nan")
    if log:
        return 100 * math.expm1(v.difference.low), 100 * math.expm1(v.difference.high)
    return 100 * (v.low_ratio - 1), 100 * (v.high_ratio - 1)
