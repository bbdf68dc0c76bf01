"""Charts of the workbook that a spreadsheet draws itself from the cells beside them, so that they can be restyled."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard import theme
from dashboard.report.asked import plain
from dashboard.report.document import Table

#: Rows above the first row of a table's cells.
HEAD = 4


def chart_of(book: Any, sheet: str, table: Table) -> Any:
    """The chart of a table that has one, else None: shifts with their limits, r and R of each level."""
    frame = table.frame
    if table.name == "shift" and {"difference_percent", "low_percent", "high_percent"} <= set(frame.columns):
        return _shifts(book, sheet, frame)
    if table.name == "precision" and {"r", "R"} <= set(frame.columns):
        return _columns(book, sheet, frame, ["r", "R"], "kV")
    return None


def _range(sheet: str, frame: pd.DataFrame, column: str) -> list[Any]:
    at = list(frame.columns).index(column)
    return [sheet, HEAD, at, HEAD + len(frame) - 1, at]


def _shifts(book: Any, sheet: str, frame: pd.DataFrame) -> Any:
    """A bar for each level's shift in per cent, with its limits as error bars."""
    middle, low, high = (frame[c].map(plain) for c in ("difference_percent", "low_percent", "high_percent"))
    known = [v is not None and v == v for v in (*middle, *low, *high)]
    if not len(frame) or not all(known):  # a level without limits would be drawn as if it had none
        return None
    chart = book.add_chart({"type": "bar"})
    chart.add_series({
        "name": "Shift (%)", "categories": _range(sheet, frame, frame.columns[0]),
        "values": _range(sheet, frame, "difference_percent"), "fill": {"color": theme.palette(dark=False).primary},
        "y_error_bars": {
            "type": "custom", "plus_values": (high - middle).tolist(), "minus_values": (middle - low).tolist(),
        },
    })  # fmt: skip
    chart.set_title({"name": "Shift of each level (%), with its limits"})
    chart.set_y_axis({"reverse": True, "label_position": "low"})
    chart.set_legend({"none": True})
    return chart


def _columns(book: Any, sheet: str, frame: pd.DataFrame, names: list[str], unit: str) -> Any:
    chart = book.add_chart({"type": "column"})
    for name in names:
        chart.add_series({
            "name": name, "categories": _range(sheet, frame, "level"), "values": _range(sheet, frame, name),
        })  # fmt: skip
    chart.set_title({"name": "Repeatability and reproducibility limits"})
    chart.set_y_axis({"name": unit})
    return chart
