"""The families side by side: which the values prefer, and how far apart their low percentiles lie."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import InputError, NotEstimable
from methods.families import FAMILIES, family_of
from methods.scatter.fitting import fit


def compare_families(
    kv: Any,
    withstood: Any = None,
    families: Sequence[str] = FAMILIES,
    *,
    p: float = 0.01,
    confidence: float = 0.95,
    interval: str = "pivot",
) -> pd.DataFrame:
    """Fit several families to the same values and rank them by AICc.

    Parameters
    ----------
    kv, withstood, confidence, interval
        As for :func:`methods.fit`.
    families : sequence of str
    p : float
        The low percentile to compare, as a fraction.

    Returns
    -------
    DataFrame
        Best first: ``family, n, withstood, log_likelihood, aicc, delta`` (to the best), ``weight`` (Akaike:
        ``exp(-delta / 2)``, summing to 1 over the families that could be fitted), ``p, kv, low, high`` (that
        percentile and its limits under the family, kV), ``error`` (why a family could not be fitted, else "").

    Notes
    -----
    A difference in AICc below about 2 decides nothing (Burnham & Anderson, Model Selection and Multimodel
    Inference, 2nd ed. 2002, 2.6). The spread of ``kv`` over families that the values cannot tell apart is part
    of the uncertainty of a low percentile, and no single family's limits contain it.
    """
    rows: list[dict[str, Any]] = []
    for name in families:
        fam = family_of(name)
        try:
            found = fit(kv, withstood, fam.name, confidence=confidence, percentiles=[p], interval=interval)
        except NotEstimable as error:
            rows.append({"family": fam.name, "error": str(error)})
            continue
        point = found.percentiles[0]
        rows.append(
            {
                "family": fam.name, "n": found.n, "withstood": found.withstood, "log_likelihood": found.log_likelihood,
                "aicc": found.aicc, "p": p, "kv": point.kv, "low": point.low, "high": point.high, "error": "",
            }
        )  # fmt: skip
    if not rows:
        raise InputError("Name at least one family.", column="families")
    columns = ["family", "n", "withstood", "log_likelihood", "aicc", "p", "kv", "low", "high", "error"]
    table = pd.DataFrame(rows).reindex(columns=columns).sort_values("aicc", na_position="last", kind="stable")
    aicc = table["aicc"].to_numpy(dtype=float)
    delta = aicc - (np.nanmin(aicc) if np.isfinite(aicc).any() else np.nan)
    weight = np.exp(-delta / 2)
    table.insert(5, "delta", delta)
    table.insert(6, "weight", weight / np.nansum(weight) if np.isfinite(weight).any() else np.nan)
    return table.reset_index(drop=True)


def low_end_curves(
    kv: Any, withstood: Any = None, families: Sequence[str] = FAMILIES, *, lowest: float = 0.001, points: int = 60
) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """Share that breaks down against the voltage under each family, down to the share ``lowest``; and the readings.

    Parameters
    ----------
    kv : array_like
        (n,) Voltages, kV.
    withstood : array_like, optional
        (n,) Which of them are withstands.
    families : sequence of str, default FAMILIES
        The families that are fitted.
    lowest : float, default 0.001
        Lowest share, a fraction.
    points : int, default 60
        Points of each curve.

    Returns
    -------
    curves : dict of DataFrame
        Family -> ``percent, kv``; families that cannot be fitted are absent.
    readings : DataFrame
        ``kv, percent``: plotting positions of the breakdowns, withstands moving the ranks; ``row``: which of ``kv``.
    """
    from methods.scatter.probability import plotting_positions

    shares = np.geomspace(lowest, 0.6, points)
    curves = {}
    for name in families:
        try:
            found = fit(kv, withstood, family_of(name).name)
        except NotEstimable:
            continue
        curves[name] = pd.DataFrame({"percent": 100 * shares, "kv": found.quantile(shares)})
    positions = plotting_positions(kv, withstood)
    values = np.asarray(kv, dtype=float)
    gone = np.zeros(len(values), dtype=bool) if withstood is None else np.asarray(withstood, dtype=bool)
    order = np.lexsort((gone, values))  # as the positions are ordered
    return curves, pd.DataFrame(
        {"kv": positions["kv"], "percent": 100 * positions["probability"], "row": order[~gone[order]]}
    )
