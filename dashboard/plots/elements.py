"""Elements of HoloViews in the style that every plot has."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import holoviews as hv

from dashboard import theme

hv.extension("bokeh", logo=False) if "bokeh" not in hv.Store.renderers else None
hv.renderer("bokeh").webgl = False  # without a GPU, WebGL is many times slower, and thinned curves gain nothing from it

MOST_NAMED = theme.MOST_NAMED


def finish(
    element: Any, *, dark: bool = False, height: int | None = 440, ticks: Sequence[tuple[float, str]] | None = None
) -> Any:
    """Give an element, overlay or layout the style that every plot has."""
    if isinstance(element, hv.Layout):
        panels = [finish(e, dark=dark, height=max(220, (height or 440) // 2), ticks=ticks) for e in element]
        return hv.Layout(panels).opts(shared_axes=True, merge_tools=True).cols(2)
    shared: dict[str, Any] = {
        "responsive": True, "min_height": height or 140, "show_grid": True, "hooks": [theme.style_plot(dark, ticks)],
        "toolbar": "above", "framewise": True,
    }  # fmt: skip
    if isinstance(element, hv.Overlay):
        for layer in element:
            layer.opts(framewise=True)  # not axiswise: HoloViews then keeps the limits of the first frame
        named = len({layer.label for layer in element if layer.label})
        if named > MOST_NAMED:
            return element.opts(show_legend=False, **shared)
        if height is not None:
            shared["min_height"] = height + theme.LEGEND_LINE * named  # the legend stands below and takes nothing away
        return element.opts(legend_position="bottom", legend_cols=1, **shared)
    return element.opts(**shared)
