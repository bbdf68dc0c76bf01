"""A bare Bokeh server with one figure that is patched with the overlay's own arrays: what a dashboard is held against.

Run by :mod:`tests.benchmarks.bench_dashboard`: ``python -m tests.benchmarks.bare_figure FILE PORT``.
"""

from __future__ import annotations

import pickle
import sys
from pathlib import Path
from typing import Any

from bokeh.models import ColumnDataSource, RadioButtonGroup
from bokeh.plotting import figure
from bokeh.server.server import Server

#: What ``bench_dashboard`` sets, in the page, on both sides.
CHOICES = ("0.8", "0.9", "0.95", "0.99")


def build(document: Any, states: list[list[tuple[str, dict[str, Any], dict[str, Any]]]]) -> None:
    """One figure; choosing another button replaces the columns of its sources."""
    shown = figure(height=460, sizing_mode="stretch_width")
    sources = []
    for kind, columns, look in states[2]:
        source = ColumnDataSource(columns)
        sources.append(source)
        if kind == "line":
            shown.line("x", "y", source=source, **look)
        elif kind == "lines":
            shown.multi_line("xs", "ys", line_color="colour", source=source, **look)
        elif kind == "bands":
            shown.patches("xs", "ys", fill_color="colour", line_color=None, source=source, **look)
        else:
            shown.scatter("x", "y", color="colour", source=source, **look)
    choice = RadioButtonGroup(labels=list(CHOICES), active=2, name="choice")

    def chosen(_attr: str, _old: Any, new: int) -> None:
        for source, (_, columns, _) in zip(sources, states[new], strict=True):
            if any(source.data[name] is not column for name, column in columns.items()):
                source.data = columns

    choice.on_change("active", chosen)
    document.add_root(choice)
    document.add_root(shown)


def main(path: str, port: int) -> None:
    states = pickle.loads(Path(path).read_bytes())  # written a moment ago by the benchmark itself
    server = Server({"/": lambda document: build(document, states)}, port=port)
    server.run_until_shutdown()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
