"""Scatter between and within fillings for many conditions at once: one-way restricted maximum likelihood in a batch."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from methods.errors import InputError

Floats = NDArray[Any]

_TOP = 1 - 1e-9
_HALVINGS = 60


def components_many(kv: ArrayLike) -> pd.DataFrame:
    """Components of many conditions, each with its own mean, filling and breakdown scatter.

    Parameters
    ----------
    kv : array (conditions, fillings, breakdowns)
        Padded with nan where a filling has fewer breakdowns or a condition fewer fillings.

    Returns
    -------
    DataFrame, a row a condition
        ``mean_kv, standard_error_kv, filling_sd, breakdown_sd, intraclass_correlation, log_likelihood, fillings,
        breakdowns``; nan where the numbers cannot give it (one filling, no repeats, no scatter at all).

    Raises
    ------
    InputError
        Not a three-dimensional array.

    Notes
    -----
    The restricted likelihood is profiled down to the ratio g of the two variances and its derivative in g brought
    to zero by bisection, for all conditions together (Searle, Casella & McCulloch, Variance Components, 1992, ch. 6).
    """
    y = np.asarray(kv, dtype=float)
    if y.ndim != 3:
        raise InputError("Many conditions come as an array of conditions, fillings and breakdowns.")
    seen = np.isfinite(y)
    n = seen.sum(axis=2).astype(float)
    total, fillings = n.sum(axis=1), (n > 0).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        centre = np.where(seen, y, 0.0).sum(axis=(1, 2)) / total
        z = np.where(seen, y - centre[:, None, None], 0.0)
        mean = np.where(n > 0, z.sum(axis=2) / n, 0.0)
        within = (np.where(seen, z - mean[:, :, None], 0.0) ** 2).sum(axis=(1, 2))
        usable = (fillings > 1) & (total > fillings) & (within > 0)
        out = _solve(n, mean, within, total, np.where(usable, 1.0, np.nan))
    out.insert(0, "mean_kv", out.pop("shift") + centre)
    out["fillings"], out["breakdowns"] = fillings, total.astype(int)
    return out


def _terms(g: Floats, n: Floats, mean: Floats, within: Floats) -> tuple[Floats, ...]:
    """Weights, their sum, the weighted mean and the quadratic form at ratio ``g`` (conditions,)."""
    w = n / (1 + g[:, None] * n)
    total = w.sum(axis=1)
    middle = (w * mean).sum(axis=1) / total
    left = mean - middle[:, None]
    return w, total, middle, left, within + (w * left**2).sum(axis=1)


def _slope(g: Floats, n: Floats, mean: Floats, within: Floats, rows: Floats) -> Floats:
    """Derivative of the deviance in the ratio (the fixed part and the residual variance profiled out)."""
    w, total, _, left, q = _terms(g, n, mean, within)
    return -(rows - 1) * (w**2 * left**2).sum(axis=1) / q + total - (w**2).sum(axis=1) / total


def _deviance(g: Floats, n: Floats, mean: Floats, within: Floats, rows: Floats) -> Floats:
    w, total, _, _, q = _terms(g, n, mean, within)
    s2 = q / (rows - 1)
    return (rows - 1) * (np.log(2 * np.pi * s2) + 1) + np.log1p(g[:, None] * n).sum(axis=1) + np.log(total)


def _solve(n: Floats, mean: Floats, within: Floats, rows: Floats, ok: Floats) -> pd.DataFrame:
    size = rows / np.maximum((n > 0).sum(axis=1), 1)

    def ratio(share: Floats) -> Floats:
        return share / (1 - share) / size

    grid = np.concatenate([np.linspace(0, 0.95, 20), 1 - np.geomspace(0.03, 1e-9, 9)])
    values = np.stack([_deviance(ratio(np.full(len(n), s)), n, mean, within, rows) for s in grid])
    best = np.where(np.isfinite(values), values, np.inf).argmin(axis=0)
    low, high = grid[np.maximum(best - 1, 0)], grid[np.minimum(best + 1, len(grid) - 1)]
    at_zero = (best == 0) & (_slope(np.zeros(len(n)), n, mean, within, rows) >= 0)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        rising = _slope(ratio(middle), n, mean, within, rows) > 0
        low, high = np.where(rising, low, middle), np.where(rising, middle, high)
    g = np.where(at_zero, 0.0, ratio((low + high) / 2)) * ok
    _, total, shift, _, q = _terms(g, n, mean, within)
    s2 = q / (rows - 1)
    return pd.DataFrame({
        "shift": shift, "standard_error_kv": np.sqrt(s2 / total), "filling_sd": np.sqrt(g * s2),
        "breakdown_sd": np.sqrt(s2), "intraclass_correlation": g / (1 + g),
        "log_likelihood": -_deviance(g, n, mean, within, rows) / 2,
    })  # fmt: skip
