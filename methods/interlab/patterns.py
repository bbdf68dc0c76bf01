"""What a laboratory does at all levels: high everywhere, low everywhere, or scattering everywhere."""

from __future__ import annotations

import pandas as pd
import scipy


def patterns(cells: pd.DataFrame) -> pd.DataFrame:
    """A row a laboratory, the furthest out first.

    Parameters
    ----------
    cells : DataFrame
        ``level, laboratory, h, k`` of a precision experiment (Mandel's statistics, nan where there is none).

    Returns
    -------
    DataFrame
        ``laboratory, cells, high, low, mean_h, mean_k, p_value, pattern``; ``high`` and ``low`` count the levels on
        which it reads above and below the average of the laboratories; ``p_value`` is the sign test's for so one-sided
        a count (two-sided, each laboratory by itself); ``pattern`` says it in words.
    """
    rows = []
    for name, part in cells.groupby("laboratory", sort=False):
        h = part["h"].dropna()
        high, low = int((h > 0).sum()), int((h < 0).sum())
        n = high + low
        k = part["k"].dropna()
        p = float(scipy.stats.binomtest(high, n).pvalue) if n else float("nan")
        rows.append(
            {"laboratory": str(name), "cells": len(h), "high": high, "low": low, "mean_h": h.mean(),
             "mean_k": k.mean(), "p_value": p, "pattern": _words(high, low, k)}
        )  # fmt: skip
    names = ["laboratory", "cells", "high", "low", "mean_h", "mean_k", "p_value", "pattern"]
    table = pd.DataFrame(rows, columns=names)
    return table.sort_values("mean_h", key=lambda v: -v.abs(), ignore_index=True)


def _words(high: int, low: int, k: pd.Series) -> str:
    n = high + low
    if n >= 3 and min(high, low) == 0:
        said = f"{'high' if high else 'low'} in all {n} cells"
    elif n >= 5 and min(high, low) == 1:
        said = f"{'high' if high > low else 'low'} in {max(high, low)} of {n} cells"
    else:
        said = ""
    if len(k) >= 3 and bool((k > 1).all()):
        said += f"{'; ' if said else ''}scatters more than the others in all {len(k)} cells"
    return said or "none"
