"""What the overlay draws of each group of readings: gathered from ``methods``, thinned, ready to draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from dashboard.levels import level_text
from methods import scatter
from methods.errors import NotEstimable
from methods.records.table import group_codes, withstood

#: Points of one curve that are drawn: enough for every pixel, and both tails in full.
POINTS, TAIL = 1200, 200
#: Single readings that the strip shows of one group.
STRIP = 400


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
    strip: pd.DataFrame  # kv, withstood
    box: dict[str, float] = field(default_factory=dict)
    thinned: bool = False


def gather(table: pd.DataFrame, by: Sequence[str], family: str, confidence: float) -> list[Curve]:
    """The curves of every combination of the levels of ``by``, in order of their first appearance."""
    codes = group_codes(table, by)
    out = []
    for code in pd.unique(codes):
        part = table[codes == code]
        levels = tuple(level_text(part[name].iloc[0]) for name in by)
        out.append(_curve(part, levels, family, confidence))
    return out


def _curve(part: pd.DataFrame, levels: tuple[str, ...], family: str, confidence: float) -> Curve:
    kv, gone = part["kv"].to_numpy(dtype=float), withstood(part)
    empty = pd.DataFrame({"kv": [], "probability": []})
    label = ", ".join(levels) or "all readings"
    steps = points = stood = empty
    box: dict[str, float] = {}
    if not gone.all():
        whole = scatter.kaplan_meier(kv, gone, confidence=confidence)
        box = {str(p): scatter.survival_quantile(whole, p) for p in (0.25, 0.5, 0.75)}
        box |= {"low": float(whole["kv"].iloc[0]), "high": float(whole["kv"].iloc[-1])}
        steps = _thin(whole[["kv", "probability"]])
        points = _thin(scatter.plotting_positions(kv, gone))
        stood = _withstood(kv[gone], whole)
    return Curve(
        label, levels, len(kv), int(gone.sum()), steps, stood, points,
        _density(kv, gone), _fitted(kv, gone, family, confidence), _strip(kv, gone), box, len(kv) > POINTS,
    )  # fmt: skip


def _thin(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.iloc[scatter.thin(frame, POINTS, TAIL)].reset_index(drop=True)


def _withstood(ceilings: np.ndarray[Any, Any], steps: pd.DataFrame) -> pd.DataFrame:
    """Where on the curve the withstands left it."""
    at = np.unique(ceilings)
    place = np.searchsorted(steps["kv"].to_numpy(), at, side="right") - 1
    heights = np.where(place >= 0, steps["probability"].to_numpy()[np.maximum(place, 0)], 0.0)
    return pd.DataFrame({"kv": at, "probability": heights})


def _density(kv: np.ndarray[Any, Any], gone: np.ndarray[Any, Any]) -> pd.DataFrame:
    if not gone.any():
        try:
            return scatter.kernel_density(kv)
        except NotEstimable:
            pass
    return pd.DataFrame({"kv": [], "density": []})


def _fitted(kv: np.ndarray[Any, Any], gone: np.ndarray[Any, Any], family: str, confidence: float) -> pd.DataFrame:
    if family != "none":
        try:
            return scatter.fitted_curve(kv, gone, family, confidence=confidence)
        except NotEstimable:
            pass
    return pd.DataFrame({c: [] for c in ("probability", "kv", "low", "high", "density")})


def _strip(kv: np.ndarray[Any, Any], gone: np.ndarray[Any, Any]) -> pd.DataFrame:
    order = np.lexsort((gone, kv))
    chosen = order[scatter.thin(order, STRIP, STRIP // 8)]
    return pd.DataFrame({"kv": kv[chosen], "withstood": gone[chosen]})
