"""One question of the method-study page: its controls, numbers, sentence, figures and tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from dashboard import parts, theme
from dashboard.controls import Choice
from dashboard.levels import texts
from dashboard.pages.base import Figure
from dashboard.study import Selection
from methods.result import Caution


class View:
    """Base of the questions. ``page`` holds the parameters; a view is built when it is first chosen."""

    KEY = ""
    LABEL = ""
    QUESTION = ""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.study = page.study
        self.choosers: list[Any] = []

    @property
    def dark(self) -> bool:
        return bool(self.page.dark)

    def controls(self) -> Sequence[Any]:
        return ()

    def result(self) -> Any:
        raise NotImplementedError

    def sentence(self, result: Any) -> str:
        raise NotImplementedError

    def figures(self) -> Sequence[Figure]:
        return ()

    def tables(self, result: Any) -> Mapping[str, tuple[str, pd.DataFrame]]:
        return {}

    def cautions(self, result: Any) -> Sequence[Caution]:
        return getattr(result, "cautions", ())

    def extras(self) -> Sequence[Any]:
        return ()

    # ------------------------------------------------------------- what views share

    def chooser(self, name: str, label: str, text: str, width: int = 300) -> Any:
        """A drop-down for a text parameter of the page whose options come with the result (:meth:`offer`)."""
        select = Choice(label)
        select.param.watch(lambda event: self._chosen(name, event.new), "value")
        setattr(self, f"_{name}_select", select)
        return parts.explained(select, text, width=width)

    _busy = False

    def offer(self, name: str, options: Sequence[str], default: str = "") -> str:
        """Offer these values, and give the one that holds: the parameter's, or else the default, or else the first."""
        wanted = getattr(self.page, name)
        value = wanted if wanted in options else default if default in options else (options[0] if options else "")
        select = getattr(self, f"_{name}_select", None)
        if select is not None and (list(select.options or []) != list(options) or select.value != value):
            self._busy = True
            select.param.update(options=list(options), value=value or None)
            self._busy = False
        return value

    def _chosen(self, name: str, value: Any) -> None:
        if not self._busy and value is not None and value != getattr(self.page, name):
            setattr(self.page, name, value)

    def level_rows(self, level: str) -> pd.DataFrame:
        """The rows of one level of the compared factor."""
        table = self.study.table
        if not self.study.by or not level:
            return table
        return table[(texts(table[self.study.by]) == level).to_numpy()].reset_index(drop=True)

    def most_rows(self) -> str:
        """The level of the compared factor with most readings."""
        counts = texts(self.study.table[self.study.by]).value_counts()
        return str(counts.index[0]) if len(counts) else ""

    def cue(self, index: int = 0) -> theme.Cue:
        """The look of the ``index``-th thing in a plot."""
        names = [str(i) for i in range(theme.MOST_LEVELS)]
        return theme.cues(names, self.dark)[names[index % len(names)]]


def selection(table: pd.DataFrame) -> Selection:
    """A part of the records in the form that methods take."""
    return Selection(table)
