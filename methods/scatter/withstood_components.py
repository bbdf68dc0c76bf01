"""Division of the scatter where some series were withstood: likelihood with right-censored ceilings."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from methods.errors import NotEstimable
from methods.records.table import withstood
from methods.result import Caution
from methods.scatter.censored import Censored, fit_censored
from methods.scatter.component_table import Component, Components, percent_of_mean
from methods.scatter.withstood_levels import Levels, fit_levels

Floats = NDArray[Any]
Codes = NDArray[np.int64]


def censored_components(
    table: pd.DataFrame, x: Floats, kept: dict[str, Codes], held: list[str], cautions: list[Caution], confidence: float
) -> Components:
    """Components of a record table with withstood rows; ``x`` (n, p) holds an indicator for each fixed condition.

    One random factor: maximum likelihood by quadrature (:func:`methods.scatter.censored.fit_censored`). Several:
    restricted likelihood with all of them random, limits by simulation
    (:func:`methods.scatter.withstood_levels.fit_levels`).

    Parameters
    ----------
    table : DataFrame
        Rows of the record table (n).
    x : ndarray
        (n, p) Indicators of the fixed conditions.
    kept : dict of str to Codes
        Random factor to its level codes (n,), from the outside in.
    held : list of str
        Names of the fixed columns.
    cautions : list of Caution
        What was noted before.
    confidence : float
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        All withstood, or a fixed condition with withstood series only.
    """
    gone = withstood(table)
    seen = np.bincount(x.argmax(axis=1), ~gone)
    if (seen == 0).any():
        raise NotEstimable(
            f"{int((seen == 0).sum())} of {len(seen)} levels have withstood series only, so their means lie somewhere "
            "above the ceiling and the scatter cannot be divided up over all of them. Look at the others by themselves."
        )
    kv, names = table["kv"].to_numpy(dtype=float), list(kept)
    if len(names) > 1:
        several = fit_levels(kv, gone, x, kept, confidence=confidence)
        return _several(several, table, kept, held, [*cautions, *several.cautions], confidence)
    inner = kept[names[-1]] if names else None
    found = fit_censored(kv, gone, x, inner, confidence=confidence)
    return _assemble(found, table, kept, held, [*cautions, *found.cautions], confidence)


def _several(
    found: Levels, table: pd.DataFrame, kept: dict[str, Codes], held: list[str], cautions: list[Caution],
    confidence: float,
) -> Components:  # fmt: skip
    mean = found.contrast(np.full(len(found.beta), 1 / len(found.beta)), confidence=confidence)
    lines = [
        Component(name, found.sds[name], *found.limits[name], len(np.unique(code)),
                  percent_of_mean(found.sds[name], mean.estimate))
        for name, code in kept.items()
    ]  # fmt: skip
    residual = found.residual_sd
    lines.append(
        Component("breakdown", residual, *found.residual_limits, len(table), percent_of_mean(residual, mean.estimate))
    )
    between = sum(sd**2 for sd in found.sds.values())
    return Components(
        mean_kv=mean.estimate, standard_error_kv=mean.standard_error, components=lines, low_kv=mean.low,
        high_kv=mean.high, df=mean.df, confidence=confidence,
        intraclass_correlation=between / (between + residual**2), intraclass_low=np.nan, intraclass_high=np.nan,
        effective_breakdowns=min((between + residual**2) / mean.standard_error**2, float(len(table))),
        breakdowns=len(table) - found.withstood, withstood=found.withstood, method="censored reml (Laplace)",
        limits="parametric bootstrap", fixed=held, log_likelihood=found.log_likelihood, cautions=cautions,
    )  # fmt: skip


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
        lines.append(Component(name, sd, low, high, len(np.unique(code)), percent_of_mean(sd, mean.estimate)))
    lines.append(Component(
        "breakdown", residual, float(found.residual_low[0]), float(found.residual_high[0]), len(table),
        percent_of_mean(residual, mean.estimate),
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
