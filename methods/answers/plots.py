"""Where the plots of answers come from: whoever can draw fills this registry, so that computing needs no screen."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import entry_points
from typing import Any

from methods.errors import InputError

#: Installed packages that draw name a function here; it is called once and registers what it draws.
GROUP = "gapshift.plots"

_DRAWN: dict[str, Callable[..., Any]] = {}
_PRINTED: dict[str, Callable[..., Any]] = {}


def register(name: str, draw: Callable[..., Any], pictured: Callable[..., Any]) -> None:
    """Say how the plot ``name`` is drawn.

    Parameters
    ----------
    name : str
        Of the plot, as answers name it.
    draw : callable
        ``draw(answer, **options)`` returns a HoloViews element.
    pictured : callable
        ``pictured(answer, **options)`` returns a still picture, which a notebook displays.
    """
    _DRAWN[name], _PRINTED[name] = draw, pictured


def plot(answer: Any, name: str | None = None, **options: Any) -> Any:
    """Draw one plot of an answer, the main one by default, as a HoloViews element.

    Raises
    ------
    InputError
        The answer has no such plot, or nothing is installed that draws it.
    """
    return _DRAWN[_wanted(answer, name)](answer, **options)


def picture(answer: Any, name: str | None = None, **options: Any) -> Any:
    """Draw one plot of an answer, the main one by default, as a still picture that needs no script and no host.

    Raises
    ------
    InputError
        The answer has no such plot, or nothing is installed that draws it.
    """
    return _PRINTED[_wanted(answer, name)](answer, **options)


def _wanted(answer: Any, name: str | None) -> str:
    wanted = name or (answer.plots[0] if answer.plots else None)
    if wanted is None or wanted not in answer.plots:
        there = ", ".join(answer.plots) or "none"
        raise InputError(f"The answer has no plot {wanted!r}; it has {there}.", rule="a plot of the answer")
    if wanted not in _DRAWN:
        for entry in entry_points(group=GROUP):
            entry.load()()
    if wanted not in _DRAWN:
        raise InputError("Plots are drawn by the dashboard: import dashboard.plots.results first.", rule="a plotter")
    return str(wanted)
