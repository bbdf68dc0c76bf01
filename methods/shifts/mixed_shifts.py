"""The shift by a mixed model: several factors at once, random fillings, samples as blocks or at random."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np
import pandas as pd
import scipy

from methods.columns import OIL, factor_name
from methods.errors import InputError, NotEstimable
from methods.result import Caution
from methods.scatter.censored import Censored, fit_censored
from methods.scatter.mixed import Contrast, fit_mixed
from methods.scatter.withstood_levels import Levels, fit_levels
from methods.shifts.compare import ENOUGH_OILS, LIKE_THESE, THESE
from methods.shifts.designs import EffectColumns, dummies, estimable, independent, main_effect, rank, stack
from methods.shifts.filling_model import MOST_JOINED, FillingModel, Sums, fit_fillings
from methods.shifts.pairing import CodedRows, find_column
from methods.shifts.widening import NONE, Widening, widening
from methods.wording import list_words


class Fitted(Protocol):
    """What both mixed models offer."""

    def contrast(self, row: Any, *, confidence: float = 0.95, value: float = 0.0) -> Contrast:
        """``row @ beta`` with its limits and p-value.

        Parameters
        ----------
        row : array_like
            (p,) Weights of the fixed effects.
        confidence : float, default 0.95
            Of the limits, a fraction between 0 and 1.
        value : float, default 0.0
            Null value of the p-value.
        """
        ...


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
    holds_for: str = THESE
    these: list[MixedLevel] | None = None
    slopes: dict[str, tuple[Contrast, float]] = field(default_factory=dict)


ONE_FILLING = (
    "Every combination of the factors has one filling only, so the model cannot see what differs from filling to "
    "filling: no limits can be given."
)
HIDDEN = (
    "What differs from filling to filling cannot be told from the fixed factors: it is not in the limits, and the true "
    "uncertainty is larger."
)
UNNAMED = (
    "The file does not say which filling a breakdown came from. The limits count each breakdown as a filling of its "
    "own; if several came from one filling, the true uncertainty is larger."
)
ADDITIVE = (
    "The model takes the shift to be the same on every oil: its limits hold for these oils, and for others only if "
    "that is so."
)


def mixed_levels(
    lay: CodedRows, base: int, factors: Sequence[str], *, log: bool, confidence: float, samples: str = "fixed",
    covariates: Sequence[str] = (),
) -> MixedFit:  # fmt: skip
    """Fit ``kv ~ sample + factors + covariates + by``, fillings random, and read off each level against the reference.

    The effects are additive: a shift is taken to be the same at every level of the other factors. Means are those
    at the average of the other columns over the oils that both levels share. A covariate, such as
    ``relative_saturation_percent``, enters with one slope for all levels and oils, each filling with its mean of it;
    ``slopes`` has for each the slope (kV, or log kV, a unit) and the value at which the means are given.

    Parameters
    ----------
    lay : CodedRows
        The rows, coded.
    base : int
        Index of the reference level.
    factors : sequence of str
        Columns that the model takes out beside the oils.
    log : bool
        Whether ln kV is analysed.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    samples : str, default 'fixed'
        How oils enter: ``fixed`` or ``random``.
    covariates : sequence of str, optional
        Columns of quantities that enter as lines.

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
    lay = _filling_means(lay, covariates)
    data = _Data.of(lay, [*names, *covariates], log=log)
    lay = data.lay
    others = [main_effect(lay.table, n) for n in names]
    centres = {c: float(np.average(lay.table[c].to_numpy(dtype=float), weights=data.weights)) for c in covariates}
    others += [EffectColumns((c,), lay.table[c].to_numpy(dtype=float)[:, None] - centres[c], [c]) for c in covariates]
    if oils and samples == "fixed":
        others.insert(0, EffectColumns(("sample",), dummies(lay.block, len(lay.blocks)), lay.blocks))
    order = [base, *[i for i in range(len(lay.levels)) if i != base]]
    place = np.argsort(order)
    own = dummies(place[lay.level], len(order))
    whole = np.hstack([stack(others, len(own)), own])
    keep = independent(whole)
    design = whole[:, keep]
    fit = _fit(data, design, log=log, oils=oils, random_oils=oils and samples == "random")
    nuisance = whole.shape[1] - own.shape[1]
    contrasts = [
        (level, *_rows(lay, data.weights, whole, nuisance, j, level, base, oils)) for j, level in enumerate(order[1:])
    ]
    levels, these = (
        [
            _level(model, whole, design, level, one, two, confidence, log, fit.widen(level, base) if narrow else NONE)
            for level, one, two in contrasts
        ]
        if model is not None
        else None
        for model, narrow in ((fit.model, fit.holds_for == THESE), (fit.these, True))
    )
    assert levels is not None
    if all(v.difference is None for v in levels):
        raise NotEstimable(
            f"The levels of {lay.by} cannot be told apart from {list_words([b.effect[0] for b in others])}: they "
            "change together in these tests. Leave a factor out, or test what is missing (see the suggestions)."
        )
    slopes = {}
    for c in covariates:
        row = np.zeros(whole.shape[1])
        row[1 + sum(b.size for b in others[: [b.effect for b in others].index((c,))])] = 1.0
        slope = _translate(whole, design, row)
        if slope is None:
            raise NotEstimable(
                f"{factor_name(c)[:1].upper() + factor_name(c)[1:]} is the same in all tests of an oil or changes with "
                "another factor, so its slope cannot be told from these tests: leave it out."
            )
        slopes[c] = (fit.model.contrast(slope, confidence=confidence), centres[c])
    cautions = [*fit.cautions, *_untold(lay, levels, others)]
    kind = "random" if oils and samples == "random" else "fixed"
    parts = [lay.by, *names, *covariates]
    text = f"mixed model, {' + '.join(parts)} fixed, " + (f"samples {kind}, " if oils else "") + "fillings random"
    if fit.said:
        text += f", {fit.said}"

    def in_order(found: list[MixedLevel]) -> list[MixedLevel]:
        return sorted(found, key=lambda v: v.level)

    return MixedFit(in_order(levels), text, cautions, fit.holds_for, None if these is None else in_order(these), slopes)


@dataclass(frozen=True)
class _Data:
    """What a model is fitted to: sums of alike fillings, a row of the layout each; all rows where sums will not do."""

    lay: CodedRows
    sums: Sums | None
    kv: np.ndarray
    unnamed: bool = False

    @classmethod
    def of(cls, lay: CodedRows, factors: Sequence[str], *, log: bool) -> _Data:
        """Sum the rows of each filling up, unless there are withstands or a factor changes within a filling."""
        if lay.withstood.any():
            return cls(lay, None, lay.kv)
        values = np.log(lay.kv) if log else lay.kv
        filling, unnamed = lay.filling, False
        if not lay.fillings_named:
            cells = np.unique(lay.level * (int(lay.block.max()) + 1) + lay.block)
            if len(np.unique(filling)) <= len(cells) and len(np.unique(lay.block)) == 1:
                filling, unnamed = np.arange(len(values)), True
        sums = Sums.of(values, filling)
        alike = lay.level[sums.first].astype(np.int64) * len(lay.blocks) + lay.block[sums.first]
        for name in factors:
            code = pd.factorize(lay.table[name])[0]
            if not _constant(code, filling):
                return cls(lay, None, values)
            alike = pd.factorize(alike)[0] * (int(code.max()) + 2) + code[sums.first] + 1
        sums = sums.join(alike)
        first = sums.first
        part = replace(
            lay, table=lay.table.iloc[first] if len(lay.table.columns) else lay.table, level=lay.level[first],
            block=lay.block[first], filling=filling[first], kv=lay.kv[first], withstood=lay.withstood[first],
            oil=lay.oil[first] if len(lay.oil) else lay.oil,
        )  # fmt: skip
        return cls(part, sums, values, unnamed)

    @property
    def weights(self) -> np.ndarray:
        """Fillings (or rows) behind each row of the layout."""
        return np.ones(len(self.lay.level)) if self.sums is None else self.sums.count


def _filling_means(lay: CodedRows, covariates: Sequence[str]) -> CodedRows:
    """The layout with each covariate at its mean over the filling."""
    if not covariates:
        return lay
    code = np.unique(lay.filling, return_inverse=True)[1]
    means = {}
    for name in covariates:
        values = lay.table[name].to_numpy(dtype=float)
        means[name] = (np.bincount(code, values) / np.bincount(code))[code]
    return replace(lay, table=lay.table.assign(**means))


def _translate(whole: np.ndarray, design: np.ndarray, contrast: np.ndarray) -> np.ndarray | None:
    """A contrast of the whole design as one of its independent columns; None where it cannot be told."""
    cells = np.unique(np.hstack([whole, design]), axis=0)
    weights = estimable(cells[:, : whole.shape[1]], contrast)
    return None if weights is None else weights @ cells[:, whole.shape[1] :]


def _constant(code: np.ndarray, filling: np.ndarray) -> bool:
    """Whether a factor has one level within every filling."""
    together = filling.astype(np.int64) * (int(code.max()) + 2) + code + 1
    return len(pd.unique(together)) == len(pd.unique(filling))


@dataclass(frozen=True)
class _Fit:
    """The fitted model and of what its limits speak; ``these`` is that for exactly these oils where it is another."""

    model: Fitted
    cautions: list[Caution]
    holds_for: str = THESE
    these: Fitted | None = None
    said: str = ""
    freedom: dict[int, int] | None = None

    def widen(self, level: int, base: int) -> Widening:
        """Factors on t for two levels, each with a scatter of its own known from its own fillings."""
        if self.freedom is None:
            return NONE
        return widening((self.freedom[level] + 1,), (self.freedom[base] + 1,))


def _fit(data: _Data, design: np.ndarray, *, log: bool, oils: bool, random_oils: bool) -> _Fit:
    """Restricted likelihood on the sums of fillings; maximum likelihood with withstands right-censored.

    The design says which variances there are: one for each level where each level's own fillings tell it, else one for
    all; the oils' own shifts where three oils or more were tested and some were filled twice.
    """
    lay = data.lay
    if lay.withstood.any():
        return _withstood(lay, design, log=log, oils=oils, random_oils=random_oils)
    if data.sums is None:
        groups: dict[str, np.ndarray] = {"sample": lay.block} if random_oils else {}
        groups["filling"] = lay.filling
        mixed = fit_mixed(data.kv, design, groups)
        return _Fit(mixed, list(mixed.cautions))
    weights = data.weights
    own = {int(i): int(weights[lay.level == i].sum()) - rank(design[lay.level == i]) for i in np.unique(lay.level)}
    apart = min(own.values()) >= 1
    scatter = lay.level if apart else np.zeros_like(lay.level)
    joined: dict[str, np.ndarray] = {}
    small = len(lay.level) <= MOST_JOINED
    if random_oils and small:
        joined["oil"] = lay.block
    these = fit_fillings(data.sums, design, scatter, joined)
    cautions, said = [], "each level its own scatter" if apart else "one scatter for all levels"
    said += ", the same on every oil" if oils else ""
    if these.freedom < 1:
        cautions.append(Caution("one_filling", ONE_FILLING))
    elif data.unnamed:
        cautions.append(Caution("one_filling", UNNAMED))
    oil = lay.oil if len(lay.oil) else lay.block
    holds_for, model = THESE, these
    freedom = own if apart and these.freedom >= 1 else None
    if oils and len(np.unique(oil)) >= ENOUGH_OILS and these.freedom >= 1:
        cell = np.unique(oil * len(lay.levels) + lay.level, return_inverse=True)[1]
        at = np.unique(cell, return_index=True)[1]
        if int(weights.sum()) == len(at):  # an oil's own shift cannot be told from its filling: it is in that scatter
            return _Fit(these, cautions, LIKE_THESE, None, said)
        if small and len(at) > rank(design[at]):
            joined["oils' own shifts"] = cell
            model, holds_for = fit_fillings(data.sums, design, scatter, joined), LIKE_THESE
            return _Fit(model, cautions, holds_for, these, said + ", the oils' own shifts random",
                        freedom)  # fmt: skip
        cautions.append(Caution("additive", ADDITIVE))
    return _Fit(model, cautions, holds_for, None, said, freedom)


def _withstood(lay: CodedRows, design: np.ndarray, *, log: bool, oils: bool, random_oils: bool) -> _Fit:
    """Withstands right-censored: one random level by quadrature, several by Laplace's approximation and simulation."""

    def fit(factors: dict[str, np.ndarray]) -> Levels:
        return fit_levels(lay.kv, lay.withstood, design, {**factors, "filling": lay.filling}, log=log)

    joined: dict[str, np.ndarray] = {"oil": lay.block} if random_oils else {}
    these: Levels | Censored
    if joined:
        these = fit(joined)
    else:
        these = fit_censored(lay.kv, lay.withstood, design, lay.filling, family="lognormal" if log else "normal")
    cautions, said = list(these.cautions), "withstands right-censored"
    oil = lay.oil if len(lay.oil) else lay.block
    cell = np.unique(oil * len(lay.levels) + lay.level, return_inverse=True)[1]
    at = np.unique(cell, return_index=True)[1]
    if oils and len(np.unique(oil)) >= ENOUGH_OILS and len(np.unique(lay.filling)) > len(at) > rank(design[at]):
        model = fit({**joined, "oils' own shifts": cell})
        return _Fit(model, cautions, LIKE_THESE, these, said + ", the oils' own shifts random")
    if oils:
        cautions.append(Caution("additive", ADDITIVE))
    return _Fit(these, cautions, THESE, None, said)


def _rows(
    lay: CodedRows, weights: np.ndarray, whole: np.ndarray, nuisance: int, j: int, level: int, base: int, oils: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the design that stand for the mean of the level and of the reference."""
    here, there = lay.level == level, lay.level == base
    used = here | there
    if oils:
        shared = np.intersect1d(lay.block[here], lay.block[there])
        if len(shared):
            used &= np.isin(lay.block, shared)
    blocks = np.unique(lay.block[used])
    average = np.mean(
        [
            np.average(whole[used & (lay.block == b), :nuisance], axis=0, weights=weights[used & (lay.block == b)])
            for b in blocks
        ],
        axis=0,
    )
    two = np.concatenate([average, np.zeros(whole.shape[1] - nuisance)])
    one = two.copy()
    one[nuisance + j] = 1.0
    return one, two


def _level(
    model: Fitted, whole: np.ndarray, design: np.ndarray, level: int, one: np.ndarray, two: np.ndarray,
    confidence: float, log: bool, widen: Widening = NONE,
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

    def contrast(row: np.ndarray) -> Contrast:
        if isinstance(model, FillingModel):
            return model.contrast(row, confidence=confidence, widen=widen)
        return model.contrast(row, confidence=confidence)

    difference = contrast(shift)
    if mean is None or reference is None:
        return MixedLevel(level, difference, None, None, nan, nan)
    first, second = contrast(mean), contrast(reference)
    low = high = nan
    if not log and second.estimate > 0 and difference.standard_error > 0:
        low, high = _ratio_limits(
            lambda r: contrast(mean - r * reference), first.estimate / second.estimate,
            difference.standard_error / second.estimate,
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
    return max(out[0], 0.0), out[1]  # voltages are not below zero


def _untold(lay: CodedRows, levels: list[MixedLevel], others: list[EffectColumns]) -> list[Caution]:
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
        if c.code == "confounded" and "'filling'" in c.text and "one breakdown" in c.text:
            continue  # fillings of one breakdown each: their scatter is the residual one
        if c.code == "confounded" and "'filling'" in c.text:
            if "one_filling" not in seen:
                out[("one_filling", "")] = Caution("one_filling", HIDDEN)
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
