'''The pages, one module each, and how to add one.

A new page is one module and one line in :data:`PAGES`. The module ``dashboard.pages.NAME`` defines a class
``Page`` that derives from :class:`dashboard.pages.base.StudyPage`. It is imported and built when it is first
shown, and gets the session's study as ``self.study``. Nothing else registers it: menu, address, heading,
cautions, tables, downloads, empty and error states and the dark theme come from the frame.

A whole page::

    """Shift: how far the results move from level to level, and how surely."""

    import param
    from dashboard.pages.base import Figure, StudyPage
    from dashboard.plots import shift as plots

    class Page(StudyPage):
        TITLE = "Shift"                                   # the h1
        QUESTION = "How far do results move between the levels, and how surely?"   # one line under it
        HELP = "What the *p-value* says ..."              # Markdown, in the expander at the end
        FOLLOWS = ("by", "reference", "confidence")       # parameters of the study that make the result stale;
                                                          # the selected table itself always does
        INPUTS = ("scale",)                               # own parameters that live in the address (shift.scale=kv)
        COLUMNS = {"difference_kv": ("Difference (kV)", "This level's mean less the reference's.")}

        scale = param.Selector(default="percent", objects=["percent", "kv"], doc="Unit of the axis.")

        def controls(self):                               # a list of widgets; every one says what it does
            return [self.choice("scale", "Axis in", {"percent": "%", "kv": "kV"})]

        def result(self):                                 # numbers from methods, kept by content
            from methods import shift
            s = self.study
            return self.kept("shift", lambda: shift(s.selection, by=s.by, reference=s.reference_value,
                                                    confidence=s.confidence), s.by, s.reference, s.confidence)

        def sentence(self, result):                       # answers QUESTION, from the result's own cells
            return "Mushroom reads 12 % lower than spherical: between 5 and 18 % lower, 6 fillings each."

        def figures(self):                                # none, one or several
            return [Figure("Shift of each level", self.draw, self.describe)]

        def draw(self, result):                           # -> HoloViews element or Overlay, same type each time
            return plots.intervals(result, self.looks(self.study.by), unit=self.scale)

        def describe(self, result):                       # the plot in words: its text alternative
            return "..."

        def tables(self, result):                         # name of the download -> (heading, DataFrame)
            return {"shift": ("Shift of each level", result.table)}

        def cautions(self, result):                       # default: result.warnings
            return result.warnings

What to know:

* ``result`` runs on every change, so it must be quick (below about 0.1 s) or kept (``self.kept(name, compute,
  *settings)``: the selected table's fingerprint is part of the key). Longer work goes to
  :class:`dashboard.jobs.Runner`, a button with progress and cancel, among the controls or in ``extras``.
* An ``InputError`` or ``NotEstimable`` raised in ``result`` becomes the page's calm "cannot be answered" state with
  its text. ``raise Empty("what is missing", "what to do next")`` from ``base`` for an empty state.
* A page computes nothing: every number is a cell of a result of ``methods``.
* ``draw`` gives curves, already thinned by ``methods``. The frame passes it through ``theme.style_plot`` and patches
  the plot in place. When something changes that a patch cannot carry (axis type, ticks, number of panels), give
  ``Figure(..., key=lambda result: self.view)``: another key rebuilds the plot. ``Figure(..., live=False)``
  always rebuilds and may draw a ``Layout``.
* Colours: ``self.looks(column)`` gives level -> :class:`dashboard.theme.Cue`, the same whatever is filtered.
* Own parameters are set from the address before the page is built, and on back and forward; ``INPUTS`` need only be
  parameters. A page's ``KEY`` is its key below.
* Text from files is data: put it on screen through ``dashboard.parts`` (which escapes it), never into raw HTML.
* Pages that are more than question, plot and table override ``extras()``: further viewables, below the tables.
'''

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from typing import Any


@dataclass(frozen=True)
class Entry:
    """One line of the menu: key (in the address), label, Material icon, module."""

    key: str
    label: str
    icon: str
    module: str


#: The pages in the order of the menu. A module that is not there yet is left out.
PAGES: tuple[Entry, ...] = (
    Entry("records", "Records", "table_view", "dashboard.pages.records"),
    Entry("overlay", "Overlay", "stacked_line_chart", "dashboard.pages.overlay"),
    Entry("shift", "Shift", "compare_arrows", "dashboard.pages.shift"),
    Entry("howmany", "How many", "straighten", "dashboard.pages.howmany"),
    Entry("scatter", "Scatter", "scatter_plot", "dashboard.pages.scatter"),
    Entry("decision", "Decision", "rule", "dashboard.pages.decision"),
    Entry("precision", "Precision", "groups", "dashboard.pages.precision"),
    Entry("committee", "Method study", "balance", "dashboard.pages.committee"),
    Entry("classroom", "Classroom", "school", "dashboard.pages.classroom"),
)


@cache
def entries() -> tuple[Entry, ...]:
    """The pages whose modules are there."""
    return tuple(e for e in PAGES if find_spec(e.module) is not None)


@cache
def keys() -> frozenset[str]:
    """Their keys."""
    return frozenset(e.key for e in entries())


def page_class(key: str) -> Any:
    """Import one page's module and give its ``Page`` class."""
    entry = next(e for e in entries() if e.key == key)
    cls = import_module(entry.module).Page
    cls.KEY = key
    return cls
