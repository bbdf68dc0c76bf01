"""Layers said shortly: lines, points, spans, bands, bars and names, each in the look of its level."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from dashboard import theme
from dashboard.plots.layers import Layer


def line(
    x: Any, y: Any, colour: str, label: str = "", *, dash: str = "solid", width: float = 2.5, of: str = "",
    about: Mapping[str, Any] | None = None, silent: bool = False,
) -> Layer:  # fmt: skip
    """A line; without ``about`` it tells where it is."""
    data = {"x": np.asarray(x, dtype=float), "y": np.asarray(y, dtype=float)}
    look = {"line_color": colour, "line_width": width, "line_dash": dash}
    return Layer("line", data, label, look, about or {}, of, silent=silent)


def points(
    x: Any, y: Any, colour: str | Sequence[str], label: str = "", *, marker: str = "circle", size: float = 10,
    of: str | Sequence[str] = "", about: Mapping[str, Any] | None = None, **look: Any,
) -> Layer:  # fmt: skip
    """Marks of one kind."""
    x = np.asarray(x, dtype=float)
    colours = [colour] * len(x) if isinstance(colour, str) else list(colour)
    data = {"x": x, "y": np.asarray(y, dtype=float), "colour": colours}
    thin = {"line_width": 2.5} if marker in ("x", "y", "plus", "asterisk") else {}
    shown = {"marker": marker, "size": size, "colour": colours[0] if colours else str(colour), **thin, **look}
    return Layer("marks", data, label, shown, about or {}, of)


def spans(
    x0: Any, y0: Any, x1: Any, y1: Any, colour: str | Sequence[str], label: str = "", *, width: float = 2.5,
    dash: str = "solid", of: str | Sequence[str] = "", about: Mapping[str, Any] | None = None,
) -> Layer:  # fmt: skip
    """Straight lines from one point to another: intervals, limits."""
    ends = [np.atleast_1d(np.asarray(v, dtype=float)) for v in (x0, y0, x1, y1)]
    n = max(len(v) for v in ends)
    data: dict[str, Any] = dict(zip(("x0", "y0", "x1", "y1"), (np.broadcast_to(v, n) for v in ends), strict=True))
    data["colour"] = [colour] * n if isinstance(colour, str) else list(colour)
    shown = {"line_width": width, "line_dash": dash, "colour": data["colour"][0] if n else str(colour)}
    return Layer("segments", data, label, shown, about or {}, of, silent=about is None)


def band(x: Any, low: Any, high: Any, colour: str, label: str = "", *, of: str = "") -> Layer:
    """What lies between two lines."""
    x, low, high = (np.asarray(v, dtype=float) for v in (x, low, high))
    inside = np.isfinite(low) & np.isfinite(high)
    x, low, high = x[inside], low[inside], high[inside]
    some = bool(len(x))
    data = {"xs": [np.r_[x, x[::-1]]] if some else [], "ys": [np.r_[low, high[::-1]]] if some else [],
            "colour": [colour] if some else []}  # fmt: skip
    return Layer("bands", data, label, {"fill_alpha": theme.BAND_ALPHA, "colour": colour}, of=of, silent=True)


def box(left: float, bottom: float, right: float, top: float, colour: str, label: str = "") -> Layer:
    """A shaded range."""
    data = {n: np.array([v], dtype=float) for n, v in zip(("left", "bottom", "right", "top"),
                                                         (left, bottom, right, top), strict=True)}  # fmt: skip
    look = {"fill_alpha": theme.BAND_ALPHA, "line_alpha": 0.0, "colour": colour}
    return Layer("bars", data | {"colour": [colour]}, label, look, silent=True)


def name(x: float, y: float, text: str, colour: str, *, left: bool = True, above: bool = True, off: float = 6) -> Layer:
    """A name that stands at what it names instead of in the legend.

    ``left``: it begins at the place, otherwise it ends there; ``above``: it stands on it, otherwise it hangs below;
    ``off``: pixels between the two.
    """
    data = {"x": np.array([x], dtype=float), "y": np.array([y], dtype=float), "text": [text], "colour": [colour]}
    look = {"text_align": "left" if left else "right", "text_baseline": "bottom" if above else "top",
            "x_offset": off if left else -off, "y_offset": -off / 2 if above else off / 2}  # fmt: skip
    return Layer("names", data, look=look, silent=True)
