'''The pages, one module each, and how to add one.

A new page is one module and one line in :data:`PAGES`. The module ``dashboard.pages.NAME`` defines a class
``Page`` that derives from :class:`dashboard.pages.base.StudyPage`. It is imported and built when it is first
shown, and gets the session's study as ``self.study``. Nothing else registers it: menu, address, heading,
cautions, tables, downloads, empty and error states and the dark theme come from the frame.

A whole page::

    """Shift: how far the results move from level to level, and how surely."""

    import param
    from dashboard.pages.base import Figure, StudyPage
    from dashboard.plots import results as plots          # the plots of answers
    from methods.answers import answer
    from methods.answers.heads import OWN

    class Page(StudyPage):
        TITLE = "Shift"                                   # the h1
        QUESTION = "How far do results move between the levels, and how surely?"   # one line under it
        HELP = "What the *p-value* says ..."              # Markdown, in the expander at the end
        FOLLOWS = ("by", "reference", "confidence")       # parameters of the study that make the result stale;
                                                          # the selected table itself always does
        INPUTS = ("scale",)                               # own parameters that live in the address (shift.scale=kv)
        COLUMNS = OWN["shift"]                            # headings that this question has for itself

        scale = param.Selector(default="percent", objects=["percent", "kv"], doc="Unit of the axis.")

        def controls(self):                               # a list of widgets; every one says what it does
            return [self.choice("scale", "Axis in", {"percent": "%", "kv": "kV"})]

        def result(self):                                 # numbers from methods, kept by content
            from methods import shift
            s = self.study
            return self.kept("shift", lambda: shift(s.selection, by=s.by, reference=s.reference_value,
                                                    confidence=s.confidence), s.by, s.reference, s.confidence)

        def sentence(self, result):                       # answers QUESTION, in the answer's words
            return answer(result).sentence

        def figures(self):                                # none, one or several
            return [Figure("Shift of each level", self.draw, self.describe)]

        def draw(self, result):                           # -> a Drawing (dashboard/plots/layers.py)
            return plots.shift(answer(result), unit=self.scale, dark=self.dark)

        def describe(self, result):                       # the plot in words: its text alternative
            return "; ".join(s.sentence for s in result.shifts)

        def tables(self, result):                         # name of the download -> (heading, DataFrame)
            return {t.name: (t.title, t.frame) for t in answer(result).tables}

        def cautions(self, result):                       # default: result.cautions
            return result.cautions

What to know:

* ``result`` runs on every change, so it must be quick (below about 0.1 s) or kept (``self.kept(name, compute,
  *settings)``: the selected table's fingerprint is part of the key). Longer work goes to
  :class:`dashboard.jobs.Runner`, a button with progress and cancel, among the controls or in ``extras``.
* An ``InputError`` or ``NotEstimable`` raised in ``result`` becomes the page's calm "cannot be answered" state with
  its text. ``raise Empty("what is missing", "what to do next")`` from ``base`` for an empty state.
* A page computes nothing: every number is a cell of a result of ``methods``.
* ``draw`` gives layers of curves, already thinned by ``methods``. The frame styles them and patches the plot in place;
  a drawing of another shape (kinds of layers, axis types, panels) is made beside it by itself. Where something else
  changes that a patch cannot carry, give ``Figure(..., key=lambda result: self.view)``: another key is another plot.
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
    """One line of the menu: key (in the address), label, its sign as an SVG path in 24 by 24, module."""

    key: str
    label: str
    sign: str
    module: str


#: The pages in the order of the menu. A module that is not there yet is left out.
PAGES: tuple[Entry, ...] = (
    Entry("records", "Records", "M4 5h16v14H4zM4 10h16M4 14.5h16M10 10v9", "dashboard.pages.records"),
    Entry("choose", "Which method", "M4 6h10M4 12h7M4 18h4M15 13l3 3 4-7", "dashboard.pages.choose"),
    Entry("overlay", "Overlay", "M2 19c4 0 4-12 7-12s3 12 7 12M8 19c4 0 4-9 7-9s3 9 7 9", "dashboard.pages.overlay"),
    Entry("shift", "Shift", "M5 4v16M19 4v16M8.5 12h7M13 9l3 3-3 3", "dashboard.pages.shift"),
    Entry("howmany", "How many", "M5 5v14M9 5v14M13 5v14M17 5v14M2.5 16.5 20 7.5", "dashboard.pages.howmany"),
    Entry("bench_plan", "Run sheet", "M6 3h12v18H6zM9 8h6M9 12h6M9 16h3", "dashboard.pages.bench_plan"),
    Entry(
        "scatter",
        "Scatter",
        "M3 20h18M6 15v.01M9 11v.01M12 15v.01M12 8v.01M15 12v.01M18 15v.01",
        "dashboard.pages.scatter",
    ),
    Entry("check_oil", "Check oil", "M3 6h18M3 18h18M4 13l4-3 4 4 4-6 4 4", "dashboard.pages.check_oil"),
    Entry("decision", "Decision", "M3 20h18M5 9l5 5L20 4", "dashboard.pages.decision"),
    Entry(
        "precision",
        "Precision",
        "M12 5a7 7 0 1 0 .01 0M12 2v6M12 16v6M2 12h6M16 12h6",
        "dashboard.pages.precision",
    ),
    Entry(
        "method_study",
        "Method study",
        "M4 4h6v6H4zM14 4h6v6h-6zM4 14h6v6H4zM14 17h6m-3-3v6",
        "dashboard.pages.method_study",
    ),
    Entry("classroom", "Classroom", "M3 4h18v11H3zM12 15v3M8 21l4-3 4 3M7 11l3-3 3 2 4-4", "dashboard.pages.classroom"),
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
