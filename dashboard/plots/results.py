"""The plots of answers for a notebook: each a HoloViews element, drawn as the page draws it.

Importing this module says to :mod:`methods.answers.plots` what can be drawn; the installed package is found anyway.
"""

from __future__ import annotations

from typing import Any

from dashboard import theme
from methods.answers import Answer
from methods.answers.plots import register
from methods.columns import level_text


def load() -> None:
    """Say what can be drawn."""
    register("shift", _shift)
    register("percentile_shift", _percentiles)


def _styled(element: Any, options: dict[str, Any]) -> Any:
    """The element with the backend loaded, and the caller's options on every layer that takes them."""
    import holoviews as hv

    if not hv.Store.current_backend or "bokeh" not in hv.Store.loaded_backends():
        hv.extension("bokeh", logo=False)
    return element.opts(**options) if options else element


def _shift(answer: Answer, unit: str = "percent", dark: bool = False, **options: Any) -> Any:
    """Each level's shift with its limits against the reference, in ``percent`` or ``kv``."""
    from dashboard.plots import shift as plots

    found = answer.result
    reference = level_text(found.reference)
    names = [reference, *(level_text(s.level) for s in found.shifts)]
    looks = theme.cues(names)
    bars = [plots.Bar(reference, 0.0, float("nan"), float("nan"), looks[reference])]
    bars += [
        plots.Bar(
            name, getattr(s, f"difference_{unit}"), getattr(s, f"low_{unit}"), getattr(s, f"high_{unit}"), looks[name]
        )
        for name, s in zip(names[1:], found.shifts, strict=True)
    ]
    axis = f"Shift against {reference} ({'%' if unit == 'percent' else 'kV'})"
    return _styled(plots.intervals(bars, axis, None, dark), options)


def _percentiles(answer: Answer, dark: bool = False, **options: Any) -> Any:
    """The shift at every percentile, by the data alone, with the band that holds for all at once."""
    from dashboard.plots import shift as plots

    found = answer.result
    names = tuple(level_text(v.level) for v in found.levels)
    return _styled(plots.whole(found.levels, theme.cues(names), names, dark), options)


load()
