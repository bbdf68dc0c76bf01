"""The columns of data below the heading, as text that is coded once: each different cell is looked at once only."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd


@dataclass
class Coded:
    """One column of text: ``codes`` (a row each, -1 for an empty cell) into ``uniques``; or plain ``numbers``."""

    codes: np.ndarray
    uniques: list[str]
    numbers: np.ndarray | None = None
    source: Any = None  # the cells as an Arrow array of text, while codes and uniques say just the same

    @property
    def empty(self) -> bool:
        return not self.uniques

    def text(self, row: int) -> str:
        """The cell as it was written."""
        if self.numbers is not None:
            return f"{self.numbers[row]:.12g}"
        return self.uniques[self.codes[row]] if self.codes[row] >= 0 else ""

    def take(self, index: np.ndarray) -> Coded:
        if self.numbers is not None:
            return Coded(self.codes, [], self.numbers[index])
        return Coded(self.codes[index], self.uniques)


@dataclass
class Body:
    """All columns, and each record's row as the user sees it."""

    columns: list[Coded]
    rows: np.ndarray
    overlong: np.ndarray | None = None  # rows with more cells than the heading has
    carried: np.ndarray | None = None  # rows whose sample or filling is that of a row above
    filled: dict[int, np.ndarray] = field(default_factory=dict)  # of a column: rows that are empty in the file
    width: int = 0  # columns that stand in the file; others were taken out of them

    def __post_init__(self) -> None:
        self.width = self.width or len(self.columns)

    def fill(self, at: int, column: Coded, rows: np.ndarray) -> None:
        """Another column in the place of one, with something in these rows where the file has nothing.

        Parameters
        ----------
        at : int
            Index of the column.
        column : Coded
            What takes its place.
        rows : ndarray
            (rows,) Where the file has nothing.
        """
        self.columns[at] = column
        self.filled[at] = self.filled[at] | rows if at in self.filled else rows

    def __len__(self) -> int:
        return len(self.rows)


def coded(cells: Any) -> Coded:
    """Code a column of text cells; blank cells get -1."""
    codes, uniques = pd.factorize(np.asarray(cells, dtype=object))
    return drop_blank(codes, [str(u) for u in uniques])


def drop_blank(codes: np.ndarray, uniques: list[str]) -> Coded:
    texts = [u.strip() for u in uniques]
    if all(texts):
        return Coded(codes.astype(np.int32, copy=False), texts)
    kept = [t for t in texts if t]
    new = np.cumsum([bool(t) for t in texts]) - 1
    lookup = np.append(np.where([bool(t) for t in texts], new, -1), -1).astype(np.int32)
    return Coded(lookup[codes], kept)
