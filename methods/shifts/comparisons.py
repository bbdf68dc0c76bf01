"""Several comparisons at once, each procedure under its own name: Holm, Bonferroni, Tukey, Games-Howell."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.errors import InputError, NotEstimable

ADJUSTMENTS: tuple[str, ...] = ("holm", "bonferroni", "none")


def adjust_p(p_values: Sequence[float], method: str = "holm") -> np.ndarray:
    """Adjust p-values for their number; nan stays nan and is not counted.

    ``holm``: Holm, Scandinavian Journal of Statistics 6 (1979) 65, which never gives larger p-values than
    ``bonferroni`` and holds under any dependence.

    Raises
    ------
    InputError
        Unknown method.
    """
    if method not in ADJUSTMENTS:
        raise InputError(f"There is no adjustment {method!r}; use one of {', '.join(ADJUSTMENTS)}.")
    p = np.asarray(p_values, dtype=float)
    out = p.copy()
    known = np.flatnonzero(np.isfinite(p))
    m = len(known)
    if method == "none" or m < 2:
        return out
    if method == "bonferroni":
        out[known] = np.minimum(p[known] * m, 1.0)
        return out
    order = known[np.argsort(p[known], kind="stable")]
    out[order] = np.minimum(np.maximum.accumulate(p[order] * (m - np.arange(m))), 1.0)
    return out


def holm(p_values: Sequence[float]) -> np.ndarray:
    """Holm's adjusted p-values; see :func:`adjust_p`."""
    return adjust_p(p_values, "holm")


def _samples(groups: dict[Any, Any]) -> tuple[list[Any], list[np.ndarray]]:
    names = list(groups)
    values = [np.asarray(groups[n], dtype=float) for n in names]
    if len(names) < 2:
        raise NotEstimable("Two or more groups are needed to compare all pairs.")
    for name, v in zip(names, values, strict=True):
        if len(v) < 2:
            raise NotEstimable(f"The group {name!r} has fewer than two values: it has no scatter of its own.")
    return names, values


def tukey(groups: dict[Any, Any], *, confidence: float = 0.95) -> pd.DataFrame:
    """Tukey's honest significant difference (Tukey-Kramer for unequal numbers), one common SD.

    Parameters
    ----------
    groups : dict of level -> array
        Values (filling means, in kV) of each level.

    Returns
    -------
    DataFrame
        One row a pair: ``first, second, difference`` (second - first), ``low, high, p_value``;
        simultaneous over the pairs.
    """
    names, values = _samples(groups)
    df = sum(len(v) - 1 for v in values)
    mean_square = sum(float(np.sum((v - v.mean()) ** 2)) for v in values) / df
    return tukey_from_means(
        names, [float(v.mean()) for v in values], [len(v) for v in values], mean_square, df, confidence=confidence
    )


def tukey_from_means(
    names: Sequence[Any],
    means: Sequence[float],
    counts: Sequence[float],
    mean_square: float,
    df: float,
    *,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Tukey's procedure from means, the numbers behind them and a residual mean square of any model.

    Parameters
    ----------
    names : sequence of object
        (k,) The levels.
    means : sequence of float
        (k,) Their means.
    counts : sequence of float
        (k,) Numbers behind them.
    mean_square : float
        Residual mean square.
    df : float
        Its degrees of freedom.
    confidence : float, default 0.95
        Of all limits together, a fraction.
    """
    k = len(names)
    quantile = float(scipy.stats.studentized_range.ppf(confidence, k, df))
    rows = []
    for i, j in combinations(range(k), 2):
        difference = means[j] - means[i]
        unit = float(np.sqrt(mean_square / 2 * (1 / counts[i] + 1 / counts[j])))
        p = float(scipy.stats.studentized_range.sf(abs(difference) / unit, k, df)) if unit > 0 else float("nan")
        rows.append((names[i], names[j], difference, difference - quantile * unit, difference + quantile * unit, p))
    return pd.DataFrame(rows, columns=["first", "second", "difference", "low", "high", "p_value"])


def games_howell(groups: dict[Any, Any], *, confidence: float = 0.95) -> pd.DataFrame:
    """Games and Howell (Journal of Educational Statistics 1 (1976) 113): all pairs, each level its own SD.

    Parameters and result as :func:`tukey`, with ``t`` and ``df`` (Welch) besides.
    """
    names, values = _samples(groups)
    return games_howell_from_means(
        names, [float(v.mean()) for v in values], [float(v.var(ddof=1)) / len(v) for v in values],
        [len(v) - 1 for v in values], confidence=confidence,
    )  # fmt: skip


def games_howell_from_means(
    names: Sequence[Any],
    means: Sequence[float],
    variances: Sequence[float],
    df: Sequence[float],
    *,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Games and Howell's procedure from means, the variances of these means and their degrees of freedom.

    Parameters
    ----------
    names : sequence of object
        (k,) The levels.
    means : sequence of float
        (k,) Their means.
    variances : sequence of float
        (k,) Variances of these means.
    df : sequence of float
        (k,) Their degrees of freedom.
    confidence : float, default 0.95
        Of all limits together, a fraction.
    """
    k = len(names)
    rows = []
    for i, j in combinations(range(k), 2):
        a, b = variances[i], variances[j]
        difference, error = means[j] - means[i], float(np.sqrt(a + b))
        if not error > 0:
            nan = float("nan")
            rows.append((names[i], names[j], difference, nan, nan, nan, nan, nan))
            continue
        freedom = float((a + b) ** 2 / (a**2 / df[i] + b**2 / df[j]))
        half = float(scipy.stats.studentized_range.ppf(confidence, k, freedom)) * error / np.sqrt(2)
        p = float(scipy.stats.studentized_range.sf(abs(difference) / error * np.sqrt(2), k, freedom))
        rows.append(
            (names[i], names[j], difference, difference - half, difference + half, p, difference / error, freedom)
        )
    return pd.DataFrame(rows, columns=["first", "second", "difference", "low", "high", "p_value", "t", "df"])
