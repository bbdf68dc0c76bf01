"""Small things that every result shares: cautions in words, and the way to JSON."""

from __future__ import annotations

import dataclasses
import datetime
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Caution:
    """A warning that travels with a result.

    ``code`` is for programs (``one_filling``, ``confounded``, ``withstood``, ``few`` ...),
    ``text`` for people: what was found and what it means for the decision.
    """

    code: str
    text: str


class Shown:
    """What a result does in a notebook and at a prompt: it shows its answer (:mod:`methods.answers`)."""

    def answer(self) -> Any:
        """Sentence, cautions, tables and the names of the plots: a :class:`methods.answers.Answer`."""
        from methods.answers import answer

        return answer(self)

    def to_frame(self, table: str | None = None) -> pd.DataFrame:
        """One of its tables as a DataFrame, the main one by default.

        Raises
        ------
        KeyError
            There is no table of this name.
        """
        made = self.answer()
        return (made.table(table) if table else made.tables[0]).frame

    def plot(self, name: str | None = None, **options: Any) -> Any:
        """A HoloViews element that shows it; ``options`` go to that plot.

        Raises
        ------
        methods.InputError
            It has no plot of this name, or nothing is installed that draws it.
        """
        from methods.answers.plots import plot

        return plot(self.answer(), name, **options)

    def picture(self, name: str | None = None, **options: Any) -> Any:
        """A still picture of the same plot, as the report prints it; a notebook shows it without scripts.

        Raises
        ------
        methods.InputError
            It has no plot of this name, or nothing is installed that draws it.
        """
        from methods.answers.plots import picture

        return picture(self.answer(), name, **options)

    def __repr__(self) -> str:
        made = self.answer()
        tables = ", ".join(f"{t.name} ({len(t.frame)})" for t in made.tables)
        lines = [
            type(self).__name__,
            f"  {made.sentence}" if made.sentence else "",
            f"  cautions: {', '.join(dict.fromkeys(c.code for c in made.cautions))}" if made.cautions else "",
            f"  tables: {tables}" if tables else "",
            f"  plots: {', '.join(made.plots)}" if made.plots else "",
        ]
        return "\n".join(line for line in lines if line)

    def _repr_html_(self) -> str:
        return str(self.answer().html())


def as_json(value: Any) -> Any:
    """Turn a result (dataclass, table, array, number) into what :mod:`json` can write.

    Not-a-number, infinite and missing become ``None``: JSON has no word for them, and a number that is
    not there must not look like one. A dataclass with a ``to_dict`` method is asked for it.
    """
    if value is None or isinstance(value, (bool, str, int)):
        return value
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    if value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, (datetime.date, datetime.datetime)):
        return value.isoformat()
    if isinstance(value, dict):
        return {str(k): as_json(v) for k, v in value.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        own: Any = getattr(value, "to_dict", None)
        if own is not None:
            return as_json(own())
        return {f.name: as_json(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, pd.DataFrame):
        return [as_json(row) for row in value.to_dict("records")]
    if isinstance(value, pd.Series):
        return [as_json(v) for v in value.tolist()]
    if isinstance(value, np.ndarray):
        return [as_json(v) for v in value.tolist()]
    if isinstance(value, (list, tuple, set, frozenset)):
        return [as_json(v) for v in value]
    return str(value)
