"""Division of the scatter where some series were withstood: maximum likelihood with right-censored ceilings."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from methods.errors import NotEstimable
from methods.records.table import withstood
from methods.result import Caution
from methods.scatter.censored import Censored, fit_censored
from methods.scatter.component_table import Component, Components, percent

Floats = NDArray[Any]
Codes = NDArray[np.int64]


def censored_components(
    table: pd.DataFrame, x: Floats, kept: dict[str, Codes], held: list[str], cautions: list[Caution], confidence: float
) -> Components:
    """Components of a record table with withstood rows; the innermost random factor of ``kept`` is the random one.

    Factors outside it are held fixed, because the censored model has one random level: their own spread is not given
    (nan), their levels' means are averaged. ``x`` (n, p) holds an indicator for each fixed condition.

    Raises
    ------
    NotEstimable
        All withstood, or a level with withstood series only.
    """
    gone = withstood(table)
    names = list(kept)
    cell = x.argmax(axis=1)
    for name in names[:-1]:
        code = kept[name]
        cell = np.unique(cell * (int(code.max()) + 1) + code, return_inverse=True)[1]
    if len(names) > 1:
        cautions = [*cautions, Caution("withstood_levels", (
            f"Because some series were withstood, {' and '.join(names[:-1])} had to be held fixed: the spread between "
            "their levels is not given, and the standard error does not contain it."
        ))]  # fmt: skip
    design = (cell[:, None] == np.arange(cell.max() + 1)).astype(float)
    seen = np.bincount(cell, ~gone)
    if (seen == 0).any():
        raise NotEstimable(
            f"{int((seen == 0).sum())} of {len(seen)} levels have withstood series only, so their means lie somewhere "
            "above the ceiling and the scatter cannot be divided up over all of them. Look at the others by themselves."
        )
    inner = kept[names[-1]] if names else None
    found = fit_censored(table["kv"].to_numpy(dtype=float), gone, design, inner, confidence=confidence)
    return _assemble(found, table, kept, held, [*cautions, *found.cautions], confidence)


def _assemble(
    found: Censored, table: pd.DataFrame, kept: dict[str, Codes], held: list[str], cautions: list[Caution],
    confidence: float,
) -> Components:  # fmt: skip
    weights = np.full(len(found.beta), 1 / len(found.beta))
    mean = found.contrast(weights, confidence=confidence)
    residual, tau = float(found.residual_sd[0]), found.filling_sd
    lines = []
    for i, (name, code) in enumerate(kept.items()):
        last = i == len(kept) - 1
        sd, low, high = (tau, found.filling_low, found.filling_high) if last else (np.nan, np.nan, np.nan)
        lines.append(Component(name, sd, low, high, len(np.unique(code)), percent(sd, mean.estimate)))
    lines.append(Component(
        "breakdown", residual, float(found.residual_low[0]), float(found.residual_high[0]), len(table),
        percent(residual, mean.estimate),
    ))  # fmt: skip
    between = tau**2 if kept else np.nan
    total = (tau**2 if kept else 0.0) + residual**2
    icc = (between / total, found.filling_low**2, found.filling_high**2) if kept else (np.nan, np.nan, np.nan)
    return Components(
        mean_kv=mean.estimate, standard_error_kv=mean.standard_error, components=lines,
        low_kv=mean.low, high_kv=mean.high,
        df=mean.df, confidence=confidence, intraclass_correlation=icc[0],
        intraclass_low=icc[1] / (icc[1] + residual**2), intraclass_high=icc[2] / (icc[2] + residual**2),
        effective_breakdowns=min(total / mean.standard_error**2, float(len(table))),
        breakdowns=len(table) - found.withstood,
        withstood=found.withstood, method="censored ml", limits=_limits(bool(kept)), fixed=held,
        log_likelihood=found.log_likelihood, cautions=cautions,
    )  # fmt: skip


def _limits(random: bool) -> str:
    normal = "normal approximation of the logarithm"
    return f"profile likelihood ({normal} for breakdown)" if random else normal
