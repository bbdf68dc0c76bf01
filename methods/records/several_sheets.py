"""Several sheets of one workbook: those that repeat another one, and those that nothing tells apart but their names."""

from __future__ import annotations

import pandas as pd

from methods.columns import PROCEDURE
from methods.records.account import Account
from methods.records.kept import Log
from methods.records.table import fillings_apart

_FEWEST = 3  # readings of a sheet that can be called a repetition


def leave_repeated(
    table: pd.DataFrame, places: pd.DataFrame, read_cells: dict[str, int], account: Account, log: Log
) -> tuple[pd.DataFrame, pd.DataFrame, int]:
    """The table without sheets that hold what another one holds, reading by reading; and the cells so left out.

    ``read_cells``: how many cells of each sheet were looked at. A sheet with refused cells is kept.

    Parameters
    ----------
    table : DataFrame
        Rows that were read (n).
    places : DataFrame
        (n rows) Where each stands in the file.
    read_cells : dict of str to int
        Name of a sheet to the number of its voltage cells.
    account : Account
        Told of the sheets that are left out.
    log : Log
        Takes the problems and guesses.
    """
    names = places["source_sheet"].astype(str).to_numpy()
    keys = [c for c in ("sample", "fluid", "filling", "order", *PROCEDURE, "kv", "outcome") if c in table.columns]
    seen: dict[tuple[object, ...], str] = {}
    left = 0
    keep = pd.Series(True, index=table.index)
    for name in dict.fromkeys(names):
        mine = names == name
        held = table.loc[mine, keys]
        if len(held) < _FEWEST or read_cells.get(name) != len(held):
            continue
        what = tuple(held.astype(object).where(held.notna(), None).itertuples(index=False, name=None))
        first = seen.setdefault(what, name)
        if first == name:
            continue
        keep &= ~mine
        left += len(held)
        why = f"it repeats {first!r}, reading by reading"
        account.parts = [p for p in account.parts if p.sheet.name != name]
        account.unread[name] = f"the sheet is not read: {why}"
        log.guess("sheets", f"{name!r} is not read", why, "--sheet", code="sheet_not_read")
    if not left:
        return table, places, 0
    return table[keep].reset_index(drop=True), places[keep].reset_index(drop=True), left


def tell_sheets_apart(table: pd.DataFrame, places: pd.DataFrame, log: Log) -> None:
    """Write the names of sheets into a column ``sheet`` where nothing says how the tests of two of them were made and
    one oil stands on both, in place: they may be several methods, and are told apart until somebody says more.

    Parameters
    ----------
    table : DataFrame
        Rows that were read (n); changed in place.
    places : DataFrame
        (n rows) Where each stands in the file.
    log : Log
        Takes the problems and guesses.
    """
    names = places["source_sheet"].astype(str)
    if names.nunique() < 2 or "sheet" in table.columns:
        return
    known = table[[c for c in PROCEDURE if c in table.columns]].notna().any(axis=1)
    silent = [n for n in dict.fromkeys(names) if not known[names == n].any()]
    samples = [set(table.loc[names == n, "sample"].dropna()) for n in silent]
    if len(silent) < 2 or not _share(samples):
        return
    table["sheet"] = names.astype("str")
    log.guess(
        "procedure", "told apart by the names of the sheets: " + ", ".join(map(repr, silent)),
        "no sheet says how its tests were made, and the same oils stand on several",
        "--context electrode=TEXT@SHEET (or gap_mm, stirring)", code="sheets_alike",
    )  # fmt: skip


def tell_fillings_apart(table: pd.DataFrame, places: pd.DataFrame, log: Log) -> None:
    """Filling 1 of two sheets is two fillings, unless its breakdowns are counted on, in place.

    Parameters
    ----------
    table : DataFrame
        Rows that were read (n); changed in place.
    places : DataFrame
        (n rows) Where each stands in the file.
    log : Log
        Takes the problems and guesses.
    """
    names = places["source_sheet"].astype(str)
    if names.nunique() > 1 and fillings_apart(table, names, may_go_on=True):
        log.guess(
            "filling", "fillings of two sheets are two, though they are called the same or not at all",
            "nothing else tells the sheets apart", "--column filling=HEADING", code="filling_by_sheet",
        )  # fmt: skip


def _share(samples: list[set[str]]) -> bool:
    """Whether some oil stands on two sheets, or none is named."""
    if not any(samples):
        return True
    return any(a & b for at, a in enumerate(samples) for b in samples[at + 1 :])
