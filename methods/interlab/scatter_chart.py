"""Scatter against mean: each cell's coefficient of variation at its mean, with a band of the user's own."""

from __future__ import annotations

import numpy as np
import pandas as pd

from methods.errors import InputError


def scatter_against_mean(cells: pd.DataFrame, band: pd.DataFrame | None = None) -> pd.DataFrame:
    """Points of the chart SD / mean against mean, and where each lies in the band.

    Parameters
    ----------
    cells : DataFrame
        ``level, laboratory, n, mean, sd`` as in :attr:`methods.interlab.Precision.cells`; cells of one
        value or without a mean are left out.
    band : DataFrame, optional
        ``mean_kv, low, high``: SD / mean as fractions, read by the user from their own copy of a standard.
        None is shipped: the chart of IEC 60156 is not known here well enough to draw. Between
        its points it is interpolated, beyond its ends nothing is said.

    Returns
    -------
    DataFrame
        ``level, laboratory, n, mean, cov, band_low, band_high, place`` with place ``inside``, ``above``,
        ``below`` or ``unknown``.

    Raises
    ------
    InputError
        A band without those columns, with fewer than two points, or with low above high.
    """
    out = cells.loc[(cells["n"] > 1) & cells["mean"].notna(), ["level", "laboratory", "n", "mean", "sd"]].copy()
    out["cov"] = out["sd"] / out["mean"]
    out = out.drop(columns="sd").reset_index(drop=True)
    if band is None or not len(band):
        return out.assign(band_low=np.nan, band_high=np.nan, place="unknown")
    missing = [c for c in ("mean_kv", "low", "high") if c not in band.columns]
    if missing:
        raise InputError(f"The band has no column {missing[0]!r}; it needs mean_kv, low and high.", column=missing[0])
    points = band[["mean_kv", "low", "high"]].astype(float).sort_values("mean_kv")
    if len(points) < 2 or points.isna().any(axis=None) or (points["low"] > points["high"]).any():
        raise InputError("The band needs two or more complete points, with low not above high.")
    low, high = (
        np.interp(out["mean"], points["mean_kv"], points[c], left=np.nan, right=np.nan) for c in ("low", "high")
    )
    cov = out["cov"].to_numpy()
    place = np.select([np.isnan(low), cov > high, cov < low], ["unknown", "above", "below"], "inside")
    return out.assign(band_low=low, band_high=high, place=place)
