"""What the overlay draws of each group of readings: gathered from ``methods``, thinned, ready to draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from dashboard.levels import level_text
from dashboard.plots.readings import MOST
from methods import scatter
from methods.errors import NotEstimable
from methods.records.table import group_codes, withstood

#: Points of one curve that are drawn: enough for every pixel, and both tails in full.
POINTS, TAIL = 1200, 200
#: Markers of one group on a probability scale: they overlap long before lines do.
SCALE_POINTS = 600
#: Points of a density: one for every few pixels.
DENSITY_POINTS = 256
#: Single readings that the strip shows of one group at least, however many groups there are.
STRIP = 100


@dataclass(frozen=True)
class Curve:
    """One group of readings."""

    label: str
    levels: tuple[str, ...]
    n: int
    withstood: int
    steps: pd.DataFrame  # kv, probability
    stood: pd.DataFrame  # kv, probability: where withstands left
    points: pd.DataFrame  # kv, probability: plotting positions
    density: pd.DataFrame  # kv, density; empty where withstands forbid it
    fitted: pd.DataFrame  # probability, kv, low, high, density; empty where the family cannot be fitted
    strip: pd.DataFrame  # kv, withstood, row: its place in the table
    box: dict[str, float] = field(default_factory=dict)
    thinned: bool = False


def gather(table: pd.DataFrame, by: Sequence[str], family: str, confidence: float) -> list[Curve]:
    """The curves of every combination of the levels of ``by``, in order of their first appearance."""
    found = scatter.estimate_groups(table, by, [family]) if family != "none" and len(table) else []
    return fitted(shapes(table, by), found, confidence)


def shapes(table: pd.DataFrame, by: Sequence[str]) -> list[Curve]:
    """The same without a fitted curve: what depends on neither family nor confidence."""
    codes = group_codes(table, by)
    kv, gone = table["kv"].to_numpy(dtype=float), withstood(table)
    out = []
    found = pd.unique(codes)
    most = max(STRIP, MOST // max(len(found), 1))
    for code in found:
        rows = np.flatnonzero(codes == code)
        levels = tuple(level_text(table[name].iloc[rows[0]]) for name in by)
        out.append(_shape(kv[rows], gone[rows], levels, rows, most))
    return out


def fitted(curves: Sequence[Curve], found: Sequence[scatter.GroupEstimate], confidence: float) -> list[Curve]:
    """Give each curve the fitted one of its group, in the same order; none where the family cannot be fitted."""
    by_levels = {tuple(level_text(v) for v in group.group.values()): group.estimate for group in found}
    out = []
    for curve in curves:
        estimate = by_levels.get(curve.levels)
        out.append(curve if estimate is None else replace(curve, fitted=_fitted(estimate, confidence)))
    return out


def _shape(
    kv: np.ndarray[Any, Any], gone: np.ndarray[Any, Any], levels: tuple[str, ...], rows: np.ndarray[Any, Any], most: int
) -> Curve:
    empty = pd.DataFrame({"kv": [], "probability": []})
    label = ", ".join(levels) or "all readings"
    steps = points = stood = empty
    box: dict[str, float] = {}
    if not gone.all():
        whole = scatter.kaplan_meier(kv, gone)
        box = {str(p): scatter.survival_quantile(whole, p) for p in (0.25, 0.5, 0.75)}
        box |= {"low": float(whole["kv"].iloc[0]), "high": float(whole["kv"].iloc[-1])}
        steps = _thin(whole[["kv", "probability"]])
        points = _thin(scatter.plotting_positions(kv, gone), SCALE_POINTS)
        stood = _withstood(kv[gone], whole)
    nothing = pd.DataFrame({c: [] for c in ("probability", "kv", "low", "high", "density")})
    return Curve(
        label, levels, len(kv), int(gone.sum()), steps, stood, points, _density(kv, gone), nothing,
        _strip(kv, gone, rows, most), box, len(kv) > SCALE_POINTS,
    )  # fmt: skip


def _thin(frame: pd.DataFrame, points: int = POINTS) -> pd.DataFrame:
    return frame.iloc[scatter.thin(frame, points, TAIL)].reset_index(drop=True)


def _withstood(ceilings: np.ndarray[Any, Any], steps: pd.DataFrame) -> pd.DataFrame:
    """Where on the curve the withstands left it."""
    at = np.unique(ceilings)
    place = np.searchsorted(steps["kv"].to_numpy(), at, side="right") - 1
    heights = np.where(place >= 0, steps["probability"].to_numpy()[np.maximum(place, 0)], 0.0)
    return pd.DataFrame({"kv": at, "probability": heights})


def _density(kv: np.ndarray[Any, Any], gone: np.ndarray[Any, Any]) -> pd.DataFrame:
    if not gone.any():
        try:
            return scatter.kernel_density(kv, points=DENSITY_POINTS)
        except NotEstimable:
            pass
    return pd.DataFrame({"kv": [], "density": []})


def _fitted(estimate: scatter.Estimate, confidence: float) -> pd.DataFrame:
    try:
        return scatter.curve_of(estimate, confidence=confidence)
    except NotEstimable:
        return pd.DataFrame({c: [] for c in ("probability", "kv", "low", "high", "density")})


def _strip(kv: np.ndarray[Any, Any], gone: np.ndarray[Any, Any], rows: np.ndarray[Any, Any], most: int) -> pd.DataFrame:
    order = np.argsort(kv, kind="stable")
    chosen = order[scatter.thin(order, most, most // 8)] if len(order) > most else order
    return pd.DataFrame({"kv": kv[chosen], "withstood": gone[chosen], "row": rows[chosen]})
