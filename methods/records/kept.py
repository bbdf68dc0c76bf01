"""What reading a file gives: the record table, and everything that was refused, noticed or guessed on the way."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from methods.records.table import condition_codes, filling_codes, withstood

PROBLEM_KEYS = ("row", "column", "found", "rule", "action")
GUESS_KEYS = ("what", "guess", "evidence", "option")


@dataclass(frozen=True)
class Source:
    """Where the records came from. ``sha256`` is that of the bytes as they were read."""

    name: str
    sha256: str
    sheet: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    layout: str | None = None


@dataclass(frozen=True)
class Records:
    """Breakdowns read from one file.

    Attributes
    ----------
    table : DataFrame
        Long form, one row a breakdown; columns of :data:`methods.records.COLUMNS`, then the file's own.
    problems : DataFrame
        ``row`` (as the user sees it, None for the whole file), ``column``, ``found``, ``rule``, ``action``
        (begins with ``kept`` or ``refused``).
    guesses : DataFrame
        ``what``, ``guess``, ``evidence``, ``option`` (what overrules it).
    rows_read : int
        Cells of voltage columns that held something: breakdowns + withstood + refused.
    source : Source
    origin : DataFrame
        ``source_row`` and ``source_column`` of each row of ``table``.
    """

    table: pd.DataFrame
    problems: pd.DataFrame
    guesses: pd.DataFrame
    rows_read: int
    source: Source
    origin: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def breakdowns(self) -> int:
        """Number of breakdowns, without those withstood."""
        return len(self.table) - self.withstood

    @property
    def withstood(self) -> int:
        """Number of rows where the ceiling was reached without a breakdown."""
        return int(withstood(self.table).sum())

    @property
    def refused(self) -> int:
        """Number of cells that were refused, each with its row in ``problems``."""
        return self.rows_read - len(self.table)

    @cached_property
    def fillings(self) -> int:
        """Number of fillings told apart (see :func:`methods.records.filling_codes`)."""
        return int(filling_codes(self.table).max(initial=-1)) + 1

    @cached_property
    def conditions(self) -> int:
        """Number of different conditions."""
        return int(condition_codes(self.table).max(initial=-1)) + 1

    def to_dict(self) -> dict[str, Any]:
        """The document of ``gapshift check --json``."""
        return {
            "rows_read": self.rows_read,
            "breakdowns": self.breakdowns,
            "withstood": self.withstood,
            "fillings": self.fillings,
            "conditions": self.conditions,
            "problems": [{k: _plain(v) for k, v in row.items()} for row in self.problems.to_dict("records")],
            "guesses": [{k: _plain(v) for k, v in row.items()} for row in self.guesses.to_dict("records")],
            "source": {
                "name": self.source.name, "sha256": self.source.sha256, "sheet": self.source.sheet,
                "encoding": self.source.encoding, "delimiter": self.source.delimiter, "layout": self.source.layout,
            },
        }  # fmt: skip


def _plain(value: Any) -> Any:
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, float) and value != value:
        return None
    return value


class Log:
    """Collects problems and guesses while a file is read."""

    def __init__(self) -> None:
        self._problems: list[tuple[Any, str, str, str, str]] = []
        self._guesses: list[tuple[str, str, str, str]] = []

    def problem(self, row: Any, column: str, found: str, rule: str, action: str) -> None:
        self._problems.append((int(row) if isinstance(row, np.integer) else row, column, found, rule, action))

    def guess(self, what: str, guess: str, evidence: str, option: str) -> None:
        entry = (what, guess, evidence, option)
        if entry not in self._guesses:
            self._guesses.append(entry)

    @property
    def refused(self) -> int:
        return sum(p[4].startswith("refused") for p in self._problems)

    def first_refusal(self) -> tuple[Any, str, str, str, str] | None:
        return next((p for p in self._problems if p[4].startswith("refused")), None)

    def problems(self) -> pd.DataFrame:
        sheets: dict[str, int] = {}

        def place(entry: tuple[Any, ...]) -> tuple[int, int]:
            """Whole-file problems first, then by sheet and row."""
            if entry[0] is None:
                return -1, 0
            sheet, _, row = str(entry[0]).rpartition("!")
            return sheets.setdefault(sheet, len(sheets)), int(row) if row.isdigit() else 0

        ordered = sorted(self._problems, key=place)
        frame = pd.DataFrame(ordered, columns=list(PROBLEM_KEYS), dtype=object)
        return frame

    def guesses(self) -> pd.DataFrame:
        return pd.DataFrame(self._guesses, columns=list(GUESS_KEYS), dtype=object)
