"""What a plot of voltage against order shows: deviations from each filling's mean, and the pooled trend."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from methods.records.table import as_table, filling_codes, withstood
from methods.scatter.order import OrderEffects

#: Points that a plot can carry; of more fillings every k-th is shown.
MOST_POINTS = 2000


def order_points(data: Any, *, most: int = MOST_POINTS) -> pd.DataFrame:
    """Breakdowns less their filling's mean, so that fillings and oils of different level lie over each other.

    Fillings that hold a withstood value (which have no mean), an empty or a repeated breakdown number, or one breakdown
    only are left out, as :func:`methods.scatter.order_effects` leaves them out of the trend.

    Returns
    -------
    DataFrame
        ``filling`` (a number), ``order``, ``kv``, ``deviation_kv``, ``row`` (its place in the table); whole fillings,
        evenly chosen where there are more than ``most`` rows.
    """
    table = as_table(data)
    frame = pd.DataFrame(
        {
            "filling": filling_codes(table),
            "order": table["order"].to_numpy(dtype=float),
            "kv": table["kv"].to_numpy(dtype=float),
            "bad": withstood(table) | table["order"].isna().to_numpy(),
        }
    )
    frame["bad"] |= frame.duplicated(["filling", "order"], keep=False)
    grouped = frame.groupby("filling")
    keep = ~grouped["bad"].transform("any") & (grouped["kv"].transform("size") > 1)
    frame = frame.loc[keep, ["filling", "order", "kv"]]
    frame["deviation_kv"] = frame["kv"] - frame.groupby("filling")["kv"].transform("mean")
    if len(frame) > most:
        labels = frame["filling"].unique()
        chosen = labels[np.linspace(0, len(labels) - 1, max(int(len(labels) * most / len(frame)), 1)).astype(int)]
        frame = frame[frame["filling"].isin(chosen)]
    frame = frame.sort_values(["filling", "order"])
    return frame.assign(row=frame.index).reset_index(drop=True)


def trend_line(effects: OrderEffects) -> pd.DataFrame:
    """The pooled trend as deviation from the filling's mean, with the limits of its slope: a fan about the middle.

    Returns
    -------
    DataFrame
        ``order``, ``deviation_kv``, ``low_kv``, ``high_kv``; empty where there is no trend to show.
    """
    names = ["order", "deviation_kv", "low_kv", "high_kv"]
    if effects.trend is None or len(effects.positions) < 2:
        return pd.DataFrame(columns=names, dtype=float)
    at = effects.positions["order"].to_numpy(dtype=float)
    middle = float(np.average(at, weights=effects.positions["fillings"]))
    x = np.unique(np.concatenate([np.linspace(at.min(), at.max(), 21), [middle]])) - middle
    slope = effects.trend
    ends = np.sort(np.array([slope.low_kv * x, slope.high_kv * x]), axis=0)
    return pd.DataFrame(dict(zip(names, (x + middle, slope.kv * x, ends[0], ends[1]), strict=True)))
