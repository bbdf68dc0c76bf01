"""What was said by hand, applied: cells left out before the table is looked for, columns overruled afterwards."""

from __future__ import annotations

import numpy as np
import pandas as pd

from methods.columns import NUMERIC
from methods.records import factors
from methods.records.account import Account
from methods.records.areas import Area
from methods.records.assemble import convert_column
from methods.records.coded import Coded
from methods.records.headings import Heading
from methods.records.kept import Log
from methods.records.text import Sheet

_OUT = {"leave_out": "left_out", "summary": "summary"}


def leave_out(sheet: Sheet, areas: tuple[Area, ...], account: Account) -> Sheet:
    """The sheet without the cells that are to be left out or that sum others up; the account says so.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    areas : tuple of Area
        What was said of areas.
    account : Account
        Told of every cell that is left out.
    """
    mine = [a for a in areas if a.role in _OUT and a.sheet in (None, sheet.name)]
    if not mine or sheet.long:
        return sheet
    cells = [list(r) for r in sheet.cells]
    for line, row in zip(cells, sheet.rows, strict=True):
        for at, text in enumerate(line):
            said = next((a for a in mine if a.holds(sheet.name, row, at + 1)), None)
            if said is not None and text.strip():
                account.mark(sheet.name, row, at + 1, _OUT[str(said.role)], "said by hand")
                line[at] = ""
    return sheet.with_cells(cells)


def rows_said(areas: tuple[Area, ...], sheet: Sheet, role: str) -> frozenset[int]:
    """The rows of a sheet that whole areas of this role cover.

    Parameters
    ----------
    areas : tuple of Area
        What was said of areas.
    sheet : Sheet
        The sheet.
    role : str
        The role that is asked for.
    """
    mine = [a.rows for a in areas if a.role == role and a.rows is not None and a.sheet in (None, sheet.name)]
    return frozenset(n for first, last in mine for n in range(first, last + 1))


def overrule(
    table: pd.DataFrame, sheet: str, rows: np.ndarray, places: np.ndarray, areas: tuple[Area, ...],
    day_first: bool | None, log: Log,
) -> None:  # fmt: skip
    """Write what was typed for areas into the columns of ``table``, in place; later areas overrule earlier ones.

    Parameters
    ----------
    table : DataFrame
        Rows that were read (n).
    sheet : str
        Name of the sheet.
    rows : ndarray
        (n,) Rows of the cells in the file, from 1.
    places : ndarray
        (n,) Columns of the cells, from 1.
    areas : tuple of Area
        What was said of areas.
    day_first : bool or None
        Whether 03/04 is a day in April; None: told by the dates.
    log : Log
        Takes the problems and guesses.
    """
    for area in areas:
        if not area.context or area.sheet not in (None, sheet) or not len(table):
            continue
        held = np.ones(len(table), bool)
        if area.rows is not None:
            held &= (rows >= area.rows[0]) & (rows <= area.rows[1])
        if area.columns is not None:
            held &= (places >= area.columns[0]) & (places <= area.columns[1])
        if not held.any():
            continue
        for name, text in area.context.items():
            if name not in table.columns:
                continue
            one = Coded(np.zeros(1, np.int64), [text])
            value = convert_column(name, one, Heading(name, name), np.zeros(1, np.int64), day_first, log)
            if name in NUMERIC:
                table[name] = np.where(held, float(value[0]), table[name].to_numpy(dtype=float))
            else:
                new = factors.text_series(value).iloc[0]
                table[name] = table[name].mask(held, new).astype("str")
