"""Breakdown voltage against what was measured of the oil: relative saturation, water, temperature."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.levels import texts
from dashboard.plots import readings
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import line
from dashboard.plots.readings import Told
from methods.columns import known


def rows_of(table: pd.DataFrame, column: str) -> np.ndarray:
    """Places of the readings that are drawn: those that have the quantity, evenly chosen if many."""
    there = np.flatnonzero(table[column].notna().to_numpy())
    return there if len(there) <= readings.MOST else there[np.linspace(0, len(there) - 1, readings.MOST).astype(int)]


def against(
    table: pd.DataFrame, said: Told, column: str, by: str, look: Callable[[str], theme.Cue],
    lines: Sequence[tuple[str, float, float, float]] = (),
) -> Drawing:  # fmt: skip
    """Readings against a quantity, a colour and mark a level of ``by``.

    ``lines`` are those that a model takes out: level, its mean in kV at ``at`` (the column's unit), the slope.
    """
    rows = table.iloc[said.at]
    names = texts(rows[by]).tolist() if by in rows else [""] * len(rows)
    cues = [look(n) for n in names]
    stood = (rows["outcome"] == "withstood").to_numpy()
    marks = [theme.WITHSTOOD_MARKER if s else c.marker for s, c in zip(stood, cues, strict=True)]
    x = rows[column].to_numpy(dtype=float)
    layers: list[Layer] = []
    for level in dict.fromkeys(names):
        mine = [i for i, n in enumerate(names) if n == level]
        layers.append(
            readings.layer(said.some(mine), x[mine], rows["kv"].to_numpy(dtype=float)[mine],
                           [cues[i].colour for i in mine], [marks[i] for i in mine], level, level)
        )  # fmt: skip
        for name, mean, at, slope in lines:
            if name == level and np.isfinite(mean):
                ends = np.array([x[mine].min(), x[mine].max()])
                cue = look(level)
                layers.append(line(ends, mean + slope * (ends - at), cue.colour, dash=cue.dash, of=level))
    row = known(column)
    return Drawing([Plot(layers, row.heading if row is not None else column, "Breakdown voltage (kV)")])


def empty() -> Drawing:
    """The plot of records that have no such quantity."""
    return Drawing([Plot([], "", "Breakdown voltage (kV)")])


def drawn_of(found: Any, column: str) -> list[tuple[str, float, float, float]]:
    """The lines of a mixed model in kV (:class:`methods.shifts.Shift`) for a covariate; none where it took out none."""
    from dashboard.levels import level_text

    taken = [c for c in found.covariates if c.covariate == column]
    if not taken or found.log or len(found.covariates) > 1:
        return []
    levels = [(level_text(s.level), s.mean_kv) for s in found.shifts]
    levels.append((level_text(found.reference), found.shifts[0].reference_mean_kv))
    return [(name, mean, taken[0].at, taken[0].slope) for name, mean in levels]
