"""What reading a file gives: the record table, and everything that was refused, noticed or guessed on the way."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from methods.records.account import Account
from methods.records.table import condition_codes, filling_codes, withstood

PROBLEM_KEYS = ("row", "column", "found", "rule", "action", "code", "refused")
GUESS_KEYS = ("what", "guess", "evidence", "option", "code", "row")


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
        (begins with ``kept`` or ``refused``), ``code`` (one word for the rule, the same in every version) and
        ``refused`` (True where the cell is not used as a breakdown).
    guesses : DataFrame
        ``what``, ``guess``, ``evidence``, ``option`` (what overrules it), ``code`` (one word for what was guessed)
        and ``row`` (where it stands; None: not one row).
    rows_read : int
        Cells of voltage columns that held something: breakdowns + withstood + refused.
    source : Source
    origin : DataFrame
        ``source_row`` and ``source_column`` (the heading) of each row of ``table``, ``source_sheet`` and
        ``source_place`` (the column's number in the sheet, from 1 on).
    cells : DataFrame
        The account of the file: a row a cell that holds something, see :attr:`cells`.
    marks : DataFrame
        The electrode log of an archive: ``marked_on, what, electrode, instrument, note``; empty for other files.
    """

    table: pd.DataFrame
    problems: pd.DataFrame
    guesses: pd.DataFrame
    rows_read: int
    source: Source
    origin: pd.DataFrame = field(default_factory=pd.DataFrame)
    account: Account = field(default_factory=Account, repr=False, compare=False)
    marks: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False, compare=False)

    @cached_property
    def cells(self) -> pd.DataFrame:
        """What became of every cell: made when it is first asked for.

        Columns: ``sheet`` (its name, empty for a text file), ``row`` and ``column`` (from 1 on), ``text`` (as it
        stands), ``number`` (whether it reads as a number), ``role`` (a name of the record table such as ``sample`` or
        ``order``, or one of :data:`methods.records.CELL_ROLES`) and ``why``.
        """
        return self.account.frame()

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


class Problem(NamedTuple):
    """One thing that was refused or noticed; see :attr:`Records.problems`."""

    row: Any
    column: str
    found: str
    rule: str
    action: str
    code: str
    refused: bool


class Log:
    """Collects problems and guesses while a file is read."""

    def __init__(self) -> None:
        self._problems: list[Problem] = []
        self._guesses: list[tuple[str, str, str, str, str, Any]] = []

    def problem(
        self, row: Any, column: str, found: str, rule: str, action: str, *, code: str, refused: bool = False
    ) -> None:
        """Note a problem; ``action`` begins with ``kept`` or ``refused``, as ``refused`` says.

        Parameters
        ----------
        row : int, str or None
            Row in the file; None for all of it.
        column : str
            Heading.
        found : str
            The text that was seen.
        rule : str
            The rule, in words.
        action : str
            What was done.
        code : str
            One word for the rule.
        refused : bool, default False
            Whether the cell is not used as a breakdown.
        """
        row = int(row) if isinstance(row, np.integer) else row
        self._problems.append(Problem(row, column, found, rule, action, code, refused))

    def guess(
        self, what: str, guess: str, evidence: str, option: str, *, code: str | None = None, row: Any = None
    ) -> None:
        """Note a guess, once; ``code`` is made of ``what`` where none is given.

        Parameters
        ----------
        what : str
            What was guessed.
        guess : str
            The guess.
        evidence : str
            What it rests on.
        option : str
            The option that overrules it.
        code : str, optional
            One word for it.
        row : int, str or None, optional
            Row in the file, where it is about one.
        """
        entry = (what, guess, evidence, option, code or what.replace(" ", "_"), row)
        if entry not in self._guesses:
            self._guesses.append(entry)

    @property
    def refused(self) -> int:
        return sum(p.refused for p in self._problems)

    def first_refusal(self) -> Problem | None:
        return next((p for p in self._problems if p.refused), None)

    def problems(self) -> pd.DataFrame:
        sheets: dict[str, int] = {}

        def place(entry: tuple[Any, ...]) -> tuple[int, int]:
            """Whole-file problems first, then by sheet and row."""
            if entry[0] is None:
                return -1, 0
            sheet, _, row = str(entry[0]).rpartition("!")
            return sheets.setdefault(sheet, len(sheets)), int(row) if row.isdecimal() else 0

        ordered = sorted(self._problems, key=place)
        frame = pd.DataFrame(ordered, columns=list(PROBLEM_KEYS), dtype=object)
        return frame

    def guesses(self) -> pd.DataFrame:
        return pd.DataFrame(self._guesses, columns=list(GUESS_KEYS), dtype=object)
