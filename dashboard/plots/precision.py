"""Plots of the precision page: spreads against the level, Mandel's h and k, and the scatter-against-mean chart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from dashboard import theme
from dashboard.plots.layers import Drawing, Layer, Plot
from dashboard.plots.marks import band, line, points, spans

KINDS = {"s_r": "Within a laboratory (s_r)", "s_R": "Between laboratories (s_R)"}


def levels_of(found: Any) -> pd.DataFrame:
    """What :func:`spreads` draws of a precision experiment: the levels that have figures."""
    names = ("level", "mean", *(f"{k}{e}" for k in KINDS for e in ("", "_low", "_high")))
    return pd.DataFrame([{n: getattr(lv, n) for n in names} for lv in found.levels if not lv.error])


def spreads(levels: pd.DataFrame, curves: Mapping[str, tuple[Any, Any]], dark: bool) -> Drawing:
    """s_r and s_R with their limits against the mean of the level, and the chosen relation of each as a line.

    ``levels`` has ``mean`` and, for each kind, itself with ``_low`` and ``_high``; ``curves`` its means and spreads.
    The axis holds every limit, up to six times the largest spread; what goes on has an arrow.
    """
    looks = theme.cues(list(KINDS), dark)
    span = float(np.ptp(levels["mean"])) if len(levels) > 1 else 10.0
    most = 6 * float(np.nanmax(levels[list(KINDS)].to_numpy(dtype=float)))
    layers: list[Layer] = []
    ends = [0.0]
    for sign, (kind, name) in zip((-1, 1), KINDS.items(), strict=True):
        look = looks[kind]
        x, y = levels["mean"].to_numpy(dtype=float) + sign * 0.006 * span, levels[kind].to_numpy(dtype=float)
        low, high = (levels[f"{kind}_{end}"].to_numpy(dtype=float) for end in ("low", "high"))
        known = np.isfinite(low) & ~np.isnan(high)
        about = {"": levels["level"].tolist() if "level" in levels else [name] * len(x), "Mean (kV)": x,
                 f"{kind} (kV)": y, "from (kV)": low, "to (kV)": high}  # fmt: skip
        over = known & (high > most)
        ends += [float(v) for v in np.minimum(high, most)[known]] + [float(v) for v in y if np.isfinite(v)]
        layers += [
            spans(x[known], low[known], x[known], np.minimum(high, most)[known], look.colour,
                  of=[name] * int(known.sum())),
            points(x[over], np.full(int(over.sum()), most), look.colour, marker="triangle", size=11,
                   of=[name] * int(over.sum())),
            points(x, y, look.colour, name, marker=look.marker, size=11, about=about),
            line(*curves[kind], look.colour, dash=look.dash, width=2, of=name),
        ]  # fmt: skip
    return Drawing([
        Plot(layers, "Mean of the level (kV)", "Standard deviation (kV)", y_range=(0.0, 1.05 * max(ends) or 1.0))
    ])  # fmt: skip


def two_methods(sides: Sequence[tuple[str, Any, Mapping[str, tuple[Any, Any]]]], dark: bool) -> Drawing:
    """s_r and s_R of two methods against the level: a colour and mark a method, its relation a line (s_R dashed).

    ``sides`` are name, experiment (:class:`methods.interlab.Precision`) and curves of each.
    """
    looks = theme.cues([name for name, _, _ in sides], dark)
    layers: list[Layer] = []
    top = [0.0]
    for name, found, curves in sides:
        levels, look = levels_of(found), looks[name]
        for kind, alpha, dash in (("s_r", 0.8, "solid"), ("s_R", 0.0, "dashed")):
            x, y = levels["mean"].to_numpy(dtype=float), levels[kind].to_numpy(dtype=float)
            about = {"": [name] * len(x), "Oil": levels["level"].tolist(), "Mean (kV)": x, f"{kind} (kV)": y,
                     "from (kV)": levels[f"{kind}_low"].to_numpy(dtype=float),
                     "to (kV)": levels[f"{kind}_high"].to_numpy(dtype=float)}  # fmt: skip
            label = f"{name}, {kind}"
            layers.append(points(x, y, look.colour, label, marker=look.marker, size=11, fill_alpha=alpha, of=name,
                                 about=about))  # fmt: skip
            layers.append(line(*curves[kind], look.colour, dash=dash, width=2, of=name))
            top += [float(v) for v in y if np.isfinite(v)]
    return Drawing([
        Plot(layers, "Mean of the level (kV)", "Standard deviation (kV)", y_range=(0.0, 1.1 * max(top) or 1.0))
    ])  # fmt: skip


def mandel(
    cells: pd.DataFrame, levels: Sequence[str], statistic: str, critical: Mapping[str, Mapping[str, float]], dark: bool
) -> Drawing:
    """Mandel's h or k, a group of stems for each laboratory, a stem for each level; its critical lines at 5 % and 1 %.

    ``critical`` maps a level to its critical values by significance (``0.05``, ``0.01``).
    """
    colours, looks = theme.palette(dark), theme.cues(levels, dark)
    laboratories = list(dict.fromkeys(cells["laboratory"]))
    place = {name: i for i, name in enumerate(laboratories)}
    step = 0.8 / max(len(levels), 1)
    signs = (1, -1) if statistic == "h" else (1,)
    layers: list[Layer] = [spans(-0.6, 0, len(laboratories) - 0.4, 0, colours.line, width=1)]
    lines: dict[str, list[tuple[float, float, float, float]]] = {"0.05": [], "0.01": []}
    for j, level in enumerate(levels):
        part = cells[cells["level"] == level]
        x = part["laboratory"].map(place).to_numpy(dtype=float) - 0.4 + (j + 0.5) * step
        y, look = part[statistic].to_numpy(dtype=float), looks[level]
        about = {"Laboratory": part["laboratory"].tolist(), "Level": [level] * len(y), statistic: y}
        layers.append(spans(x, 0 * y, x, y, look.colour, width=2, of=[level] * len(y)))
        layers.append(points(x, y, look.colour, level, marker=look.marker, size=9, about=about))
        for risk, found in lines.items():
            limit = critical.get(level, {}).get(risk, float("nan"))
            if np.isfinite(limit):
                found += [(v - step / 2, s * limit, v + step / 2, s * limit) for v in x for s in signs]
    for risk, name, dash, colour in (
        ("0.05", "Critical at 5 %", "dashed", colours.caution), ("0.01", "Critical at 1 %", "solid", colours.wrong),
    ):  # fmt: skip
        ends = np.array(lines[risk], dtype=float).reshape(-1, 4).T
        layers.append(
            spans(ends[0], ends[1], ends[2], ends[3], colour, name if len(lines[risk]) else "", width=2, dash=dash)
        )
    return Drawing([
        Plot(layers, "", f"Mandel's {statistic}", x_range=(-0.6, len(laboratories) - 0.4),
             x_ticks=[(float(i), str(n)) for i, n in enumerate(laboratories)])
    ])  # fmt: skip


def chart(cells: pd.DataFrame, levels: Sequence[str], own: pd.DataFrame | None, dark: bool) -> Drawing:
    """Each cell's SD in per cent of its mean against its mean, with the user's own band where there is one."""
    colours, looks = theme.palette(dark), theme.cues(levels, dark)
    layers: list[Layer] = []
    if own is not None:
        x, low, high = (own[c].to_numpy(dtype=float) for c in ("mean_kv", "low", "high"))
        layers.append(band(x, 100 * low, 100 * high, colours.good, "Your band"))
    top = 0.0
    for level in levels:
        part, look = cells[cells["level"] == level], looks[level]
        x, y = part["mean"].to_numpy(dtype=float), 100 * part["cov"].to_numpy(dtype=float)
        top = max([top, *(float(v) for v in y if np.isfinite(v))])
        about = {"Laboratory": part["laboratory"].tolist(), "Level": [level] * len(x), "Mean (kV)": x, "SD (%)": y}
        layers.append(points(x, y, look.colour, level, marker=look.marker, size=10, about=about))
    return Drawing([
        Plot(layers, "Mean of the cell (kV)", "SD in % of the mean",
             y_range=None if own is not None else (-0.03 * top, 1.08 * top or 1.0), y_bounds=(0.0, 1.08 * top or 1.0))
    ])  # fmt: skip
