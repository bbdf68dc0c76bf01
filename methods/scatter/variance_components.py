"""How the scatter divides between laboratories, samples, fillings and single breakdowns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from methods.columns import factor_name
from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.records.table import as_table, filling_codes, group_codes, withstood
from methods.result import Caution
from methods.scatter.component_table import Component, Components, percent_of_mean
from methods.scatter.degrees import FixedEffects, fixed_effects
from methods.scatter.limits import component_limits
from methods.scatter.nesting import fixed_columns, random_factors, told_apart
from methods.scatter.one_oil import one_oil
from methods.scatter.reml import Criterion, VarianceEstimate, collapse
from methods.scatter.search import minimise
from methods.scatter.withstood_components import censored_components
from methods.threads import single_threaded

Floats = NDArray[Any]


@single_threaded
def components(
    data: Any,
    *,
    by: Sequence[str] = (),
    fixed: Sequence[str] | None = None,
    confidence: float = 0.95,
    factors: Sequence[str] | None = None,
    residual_by: Sequence[str] = (),
    method: str | None = None,
    limits: str = "auto",
) -> Components:
    """Divide the scatter of breakdown voltages among laboratory, sample, filling and breakdown.

    Parameters
    ----------
    data : Records or DataFrame
        The record table, one row a breakdown.
    by : columns
        Adds ``groups``: the same analysis for each combination of these columns.
    fixed : columns or None
        What is held fixed (each combination gets its own mean). None: the columns of method and fluid that take
        several values, so that methods which read differently do not swell the scatter between fillings. An
        empty sequence: one common mean.
    factors : columns or None
        Random factors from the outside in; None: those of laboratory, sample, filling that the table has.
        ``"laboratory:sample"`` means samples within laboratories.
    residual_by : columns
        Let the scatter within fillings differ between the levels of these columns.
    method : {"reml", "ml"}, optional
        Restricted (unless said) or full maximum likelihood. Where it is said, the mean and its standard error are the
        likelihood's own for one oil too.
    limits : {"auto", "mls", "profile", "wald"}
        See :func:`methods.scatter.limits.component_limits`.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    InputError
        An unknown column or option.
    NotEstimable
        Fewer than two breakdowns, no variation, or withstood series in a design that the censored model does not
        cover.

    Notes
    -----
    The mean of one oil under one condition is that of :func:`methods.scatter.one_oil`, with its limits; with several
    oils, conditions or named factors it is the generalised least-squares one.
    Restricted maximum likelihood: Searle, Casella & McCulloch, Variance Components, Wiley 1992. Degrees of freedom
    after Satterthwaite. Withstood ceilings are right-censored: such tables go to maximum likelihood
    (:func:`methods.scatter.censored.fit_censored`) and say so.
    """
    plain = factors is None and fixed is None and not residual_by and method is None
    method = "reml" if method is None else method
    if method not in ("reml", "ml") or limits not in ("auto", "mls", "profile", "wald"):
        raise InputError("The method is 'reml' or 'ml' and the limits are 'auto', 'mls', 'profile' or 'wald'.")
    check_confidence(confidence)
    table = as_table(data)
    for name in (*by, *residual_by):
        if name not in table.columns:
            raise InputError(f"There is no column {name!r}.", column=name)
    options: dict[str, Any] = {
        "fixed": fixed, "confidence": confidence, "factors": factors, "residual_by": tuple(residual_by),
        "method": method, "limits": limits,
    }  # fmt: skip
    whole = _with_mean(_one(table, **options), table, plain, limits == "auto")
    if not by:
        return whole
    groups: list[Any] = []
    for key, part in table.groupby(list(by), sort=True, dropna=False):
        label = {name: _level(level) for name, level in zip(by, key, strict=True)}
        try:
            rows = part.reset_index(drop=True)
            groups.append(replace(_with_mean(_one(rows, **options), rows, plain, limits == "auto"), group=label))
        except NotEstimable as error:
            groups.append({"group": label, "error": str(error)})
    return replace(whole, groups=groups)


def _with_mean(found: Components, table: pd.DataFrame, plain: bool, usual: bool) -> Components:
    """The mean and SDs of one oil under one condition, with the limits that every other surface gives them."""
    if not plain or found.fixed or not {c.factor for c in found.components} <= {"filling", "breakdown"}:
        return found
    if table["sample"].nunique(dropna=False) > 1 or table["laboratory"].nunique(dropna=False) > 1:
        return found
    code = filling_codes(table)
    oil = one_oil(table["kv"], withstood(table), code, confidence=found.confidence, percentiles=())
    if not oil.df > 0:
        return found
    total = found.components[-1].sd ** 2 + sum(c.sd**2 for c in found.components[:-1])
    known = total / oil.standard_error_kv**2 if oil.standard_error_kv > 0 else float(len(table))
    own = {
        "filling": (oil.between_sd_kv, oil.between_sd_limits_kv),
        "breakdown": (oil.within_sd_kv if len(found.components) > 1 else oil.sd_kv,
                      oil.within_sd_limits_kv if len(found.components) > 1 else oil.sd_limits_kv),
    }  # fmt: skip
    lines = [_line(c, *own[c.factor], oil.mean_kv) if usual else c for c in found.components]
    return replace(
        found, components=lines, mean_kv=oil.mean_kv, standard_error_kv=oil.standard_error_kv, df=oil.df,
        low_kv=oil.mean_low_kv, high_kv=oil.mean_high_kv, effective_breakdowns=min(known, float(len(table))),
        cautions=[*found.cautions, *(c for c in oil.cautions if c.code == "lucky_fillings")],
    )  # fmt: skip


def _line(c: Component, sd: float, limits: tuple[float, float], mean: float) -> Component:
    """A source of scatter with the SD and limits of the oil, where it has them."""
    return replace(c, sd=sd, low=limits[0], high=limits[1], percent=percent_of_mean(sd, mean)) if np.isfinite(sd) else c


def _level(value: Any) -> Any:
    return None if pd.isna(value) else value


def _one(
    table: pd.DataFrame, fixed: Sequence[str] | None, confidence: float, factors: Sequence[str] | None,
    residual_by: Sequence[str], method: str, limits: str,
) -> Components:  # fmt: skip
    if len(table) < 2:
        raise NotEstimable("One breakdown has no scatter to divide up; two or more are needed.")
    held = fixed_columns(table, fixed)
    cell = group_codes(table, held)
    found, cautions = random_factors(table, factors)
    kept, more = told_apart(found, cell)
    cautions += more
    if held and fixed is None and int(cell.max()) > 0:
        named = ", ".join(map(factor_name, held))
        cautions.append(Caution("conditions", (
            f"{int(cell.max()) + 1} conditions ({named}) occur. Each was given its own mean, so that their "
            "differences do not count as scatter; the mean shown is the plain average of theirs."
        )))  # fmt: skip
    x = (cell[:, None] == np.arange(cell.max() + 1)).astype(float)
    if withstood(table).any():
        return censored_components(table, x, kept, held, cautions, confidence)
    group = group_codes(table, residual_by)
    cells = collapse(table["kv"].to_numpy(dtype=float), x, list(kept.values()), group)
    criterion = Criterion(cells, restricted=method == "reml")
    estimate = minimise(criterion)
    known = fixed_effects(criterion, estimate)
    pairs, how = component_limits(criterion, estimate, known, confidence, limits)
    cautions += _about(kept, estimate, how)
    if not estimate.converged:
        cautions.append(
            Caution("not_settled", "The search for the components did not settle fully; digits may be off.")
        )
    return _assemble(
        table, criterion, estimate, known, pairs, how, list(kept), held, confidence, method,
        _residual_labels(table, residual_by, group), cautions,
    )  # fmt: skip


def _residual_labels(table: pd.DataFrame, names: Sequence[str], group: NDArray[np.int64]) -> list[dict[str, Any]]:
    if not names:
        return []
    first = [int(np.flatnonzero(group == g)[0]) for g in range(int(group.max()) + 1)]
    return [
        {"level": {n: _level(table[n].iloc[i]) for n in names}, "breakdowns": int(c)}
        for i, c in zip(first, np.bincount(group), strict=True)
    ]


#: What several of a source of scatter are called.
_MANY = {"laboratory": "laboratories", "sample": "oils", "filling": "fillings"}


def _about(kept: dict[str, NDArray[np.int64]], estimate: VarianceEstimate, how: str) -> list[Caution]:
    out = []
    for (name, code), variance in zip(kept.items(), estimate.variances, strict=True):
        levels = int(code.max()) + 1
        if variance == 0:
            out.append(Caution("at_zero", (
                f"Between {_MANY.get(name, name)} no spread shows beyond what the spread inside them explains; it is "
                "given as 0. That is not proof of none: look at its upper limit."
            )))  # fmt: skip
        if levels < 5:
            out.append(Caution("few", (
                f"Only {levels} {_MANY.get(name, f'levels of {name}')}: how far they differ is hardly known; plan with "
                "the upper limit in mind."
            )))  # fmt: skip
    return out


def _assemble(
    table: pd.DataFrame, criterion: Criterion, estimate: VarianceEstimate, known: FixedEffects,
    pairs: list[tuple[float, float]], how: str, names: list[str], held: list[str], confidence: float, method: str,
    residuals: list[dict[str, Any]], cautions: list[Caution],
) -> Components:  # fmt: skip
    weights = np.full(len(estimate.beta), 1 / len(estimate.beta))
    mean = float(weights @ estimate.beta) + criterion.cells.centre
    se = float(np.sqrt(weights @ known.covariance @ weights))
    df = float(np.clip(known.degrees(weights), 1.0, criterion.freedom))
    t = float(scipy.stats.t.isf((1 - confidence) / 2, df))
    k = len(names)
    share = np.array([r["breakdowns"] for r in residuals], dtype=float) if residuals else np.ones(1)
    share /= share.sum()
    pooled = float(share @ estimate.residual)
    lines = [
        Component(n, float(v**0.5), *pairs[i], criterion.levels[i], percent_of_mean(v**0.5, mean))
        for i, (n, v) in enumerate(zip(names, estimate.variances, strict=True))
    ]
    low, high = (float(np.sqrt(share @ np.square([p[j] for p in pairs[k:]]))) for j in (0, 1))
    lines.append(Component("breakdown", pooled**0.5, low, high, len(table), percent_of_mean(pooled**0.5, mean)))
    for r, v, pair in zip(residuals, estimate.residual, pairs[k:], strict=bool(residuals)):
        r.update(sd=float(v**0.5), low=pair[0], high=pair[1])
    between = float(estimate.variances.sum())
    icc = _intraclass(criterion, estimate, known, share, confidence) if k else (0.0, np.nan, np.nan)
    return Components(
        mean_kv=mean, standard_error_kv=se, components=lines, low_kv=mean - t * se, high_kv=mean + t * se, df=df,
        confidence=confidence, intraclass_correlation=icc[0] if k else np.nan, intraclass_low=icc[1],
        intraclass_high=icc[2], effective_breakdowns=min((between + pooled) / se**2, float(len(table))),
        breakdowns=len(table), withstood=0, method=method, limits=how, fixed=held,
        log_likelihood=-estimate.deviance / 2, residuals=residuals, cautions=cautions,
    )  # fmt: skip


def _intraclass(
    criterion: Criterion, estimate: VarianceEstimate, known: FixedEffects, share: Floats, confidence: float
) -> tuple[float, float, float]:
    """Intraclass correlation with limits: exact F for one balanced factor, unweighted means for an unbalanced one,
    the normal approximation of its logit otherwise."""
    between, pooled = float(estimate.variances.sum()), float(share @ estimate.residual)
    icc = between / (between + pooled)
    cells = criterion.cells
    a = (1 - confidence) / 2
    if len(criterion.levels) == 1 and criterion.groups == 1 and len(cells.mean) == criterion.levels[0]:
        left = cells.mean - cells.x @ np.linalg.lstsq(cells.x, cells.mean, rcond=None)[0]
        df, df_w = len(left) - cells.x.shape[1], float(cells.within_df[0])
        within = float(cells.within_ss[0]) / df_w
        n = 1 / float(np.mean(1 / cells.weight))
        f = n * float(left @ left) / df / within if within > 0 else np.inf
        cut = [f / scipy.stats.f.isf(a, df, df_w), f / scipy.stats.f.ppf(a, df, df_w)]
        low, high = (float((c - 1) / (c + n - 1)) if np.isfinite(c) else 1.0 for c in cut)
        return icc, min(max(low, 0.0), icc), max(high, icc)
    if between == 0:
        return 0.0, 0.0, np.nan
    k = len(criterion.levels)
    g = np.concatenate([np.full(k, 1 / between), -share / pooled])
    width = float(-scipy.special.ndtri(a) * np.sqrt(max(g @ known.variance_covariance @ g, 0.0)))
    z = np.log(between / pooled)
    return icc, float(1 / (1 + np.exp(width - z))), float(1 / (1 + np.exp(-width - z)))
