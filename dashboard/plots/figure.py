"""What a page says about one of its plots; drawing it is another module's, which is imported when it is needed."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.plots.layers import Drawing


@dataclass(frozen=True)
class Figure:
    """One plot of a page.

    Parameters
    ----------
    title : str
        The heading above it.
    draw : callable
        From the page's result to a drawing (:class:`dashboard.plots.layers.Drawing`).
    describe : callable
        From the page's result to the plot in words.
    key : callable
        What, when it changes, a patch cannot carry: axis types, ticks, the number of panels.
    ticks : callable, optional
        From the result to the y axis's ticks, as (position, label), for probability scales.
    height : int, or callable from the result
        Pixels; a plot with a row for each level grows with the levels.
    shown : callable from the result
        Whether there is anything to draw; without it the figure is out of sight.
    """

    title: str
    draw: Callable[[Any], Drawing]
    describe: Callable[[Any], str]
    key: Callable[[Any], Hashable] = lambda result: None
    ticks: Callable[[Any], Sequence[tuple[float, str]] | None] = lambda result: None
    height: int | Callable[[Any], int] = 440
    shown: Callable[[Any], bool] = lambda result: True
