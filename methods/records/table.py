"""The record table: long form, one row a breakdown; what its columns mean and how rows group into fillings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import COLUMNS, CONDITION, NUMERIC
from methods.errors import InputError

BREAKDOWN = "breakdown"
WITHSTOOD = "withstood"

#: Rows that are looked at in one go while something is searched that mostly stands near the top.
_STEP = 65_536
#: Rows up to which plain lists are faster than columns.
_FEW = 2_000


def frame_of(data: Any) -> Any:
    """The table of records; a DataFrame itself, whatever its columns are called; anything else as it is."""
    return data if isinstance(data, pd.DataFrame) else getattr(data, "table", data)


def as_table(data: Any) -> pd.DataFrame:
    """Give the record table of whatever was passed: a ``Records``, or a frame that has a ``kv`` column.

    Missing known columns are added empty, ``outcome`` defaults to ``breakdown``, extra columns stay at
    the end. The input is not changed.

    Raises
    ------
    InputError
        No ``kv`` column, a ``kv`` that is not a positive number, an unknown ``outcome``.
    """
    frame = frame_of(data)
    if not isinstance(frame, pd.DataFrame):
        raise InputError(f"Expected records or a table with a kv column, not {type(frame).__name__}.")
    if "kv" not in frame.columns:
        raise InputError("The table has no kv column.", column="kv", rule="one row a breakdown, voltage in kv")
    if frame is not data:  # records are complete by construction
        return frame
    out = frame.copy()
    out["kv"] = pd.to_numeric(out["kv"], errors="coerce")
    bad = ~(np.isfinite(out["kv"].to_numpy(dtype=float)) & (out["kv"].to_numpy(dtype=float) > 0))
    if bad.any():
        row = int(np.flatnonzero(bad)[0])
        text = str(frame["kv"].iloc[row])
        raise InputError(
            f"Row {row + 1}: kv is {text!r}; a breakdown voltage is a number above zero.",
            row=row + 1, column="kv", text=text, rule="kv > 0",
        )  # fmt: skip
    if "outcome" not in out.columns:
        out["outcome"] = BREAKDOWN
    out["outcome"] = out["outcome"].fillna(BREAKDOWN).astype(str)
    wrong = ~out["outcome"].isin([BREAKDOWN, WITHSTOOD])
    if wrong.any():
        row = int(np.flatnonzero(wrong.to_numpy())[0])
        text = str(out["outcome"].iloc[row])
        raise InputError(
            f"Row {row + 1}: outcome is {text!r}; it must be breakdown or withstood.",
            row=row + 1, column="outcome", text=text, rule="breakdown or withstood",
        )  # fmt: skip
    for name in COLUMNS:
        if name not in out.columns:
            out[name] = np.nan if name in NUMERIC else pd.Series(pd.NA, index=out.index, dtype="str")
    extra = [c for c in out.columns if c not in COLUMNS]
    return out[[*COLUMNS, *extra]].reset_index(drop=True)


def withstood(table: pd.DataFrame) -> np.ndarray:
    """Boolean array, one entry a row: True where the ceiling was reached without a breakdown."""
    return (table["outcome"] == WITHSTOOD).to_numpy()


def group_codes(
    table: pd.DataFrame, columns: Iterable[str], known: Mapping[str, np.ndarray] | None = None
) -> np.ndarray:
    """Dense integer codes, one a row, of the combinations of ``columns``, numbered as they first appear.

    An empty cell is a level of its own. ``known`` holds codes (0 for empty) of columns that were coded before.

    Parameters
    ----------
    table : DataFrame
        The table (n rows).
    columns : iterable of str
        Columns whose combinations are coded; those that it lacks do not count.
    known : mapping of str to ndarray, optional
        Column to codes (n,) of columns that were coded before.

    Examples
    --------
    >>> group_codes(pd.DataFrame({"a": ["x", "y", "x"]}), ["a"]).tolist()
    [0, 1, 0]
    """
    return _combine([_codes(table[c], (known or {}).get(c)) for c in columns if c in table.columns], len(table))


def _codes(column: pd.Series, known: np.ndarray | None = None) -> np.ndarray | None:
    """Codes of one column, 0 for empty; None when all its cells are alike, so that it tells no rows apart."""
    if known is not None:
        return None if not len(known) or bool((known == known[0]).all()) else known
    if len(column) <= _FEW:
        return _few_codes(column.tolist())
    if not len(column) or bool(column.isna().all()) or bool((column == column.iloc[0]).all()):
        return None
    part = pd.factorize(column, use_na_sentinel=True)[0].astype(np.int64)
    return None if part[0] >= 0 and int(part.min()) == int(part.max()) else part + 1


def _few_codes(cells: list[Any]) -> np.ndarray | None:
    """The same for a short column, cell by cell."""
    seen: dict[Any, int] = {}
    codes = [0 if c is None or c is pd.NA or c != c else seen.setdefault(c, len(seen) + 1) for c in cells]
    return np.array(codes, dtype=np.int64) if len(set(codes)) > 1 else None


def _combine(parts: Iterable[np.ndarray | None], size: int) -> np.ndarray:
    used = [p for p in parts if p is not None]
    if not used or not size:
        return np.zeros(size, dtype=np.int64)
    change = np.zeros(size - 1, bool)
    for part in used:
        change |= part[1:] != part[:-1]
    starts = np.r_[0, np.flatnonzero(change) + 1]
    if 2 * len(starts) > size:
        return _dense(used, size)
    runs = _dense([p[starts] for p in used], len(starts))  # rows of one filling mostly stand together
    return np.repeat(runs, np.diff(np.r_[starts, size]))


def _dense(parts: list[np.ndarray], size: int) -> np.ndarray:
    codes = np.zeros(size, dtype=np.int64)
    room = 1
    for part in parts:
        levels = int(part.max(initial=0)) + 1
        if room * levels > 2**62:  # keep the product from overflowing
            codes = pd.factorize(codes)[0].astype(np.int64)
            room = int(codes.max(initial=0)) + 1
        codes = codes * levels + part
        room *= levels
    return pd.factorize(codes)[0].astype(np.int64)


def filling_codes(
    table: pd.DataFrame, by: Sequence[str] = (), known: Mapping[str, np.ndarray] | None = None
) -> np.ndarray:
    """Dense integer codes, one a row: which rows came from the same filling of the cell.

    A filling's label is only unique within its sample, its condition and its day, so those are part of
    the key; ``by`` adds an extra column under which labels may start anew. Rows whose ``filling`` is
    empty count as one filling for each sample and condition: fewer replicates than there may have been,
    never more. :func:`fillings_known` says whether that happened.

    Parameters
    ----------
    table : DataFrame
        The record table (n rows).
    by : sequence of str, optional
        Further columns under which labels may start anew.
    known : mapping of str to ndarray, optional
        Column to codes (n,) of columns that were coded before.
    """
    keys = ["sample", *CONDITION, *[b for b in by if b not in CONDITION and b != "sample"], "filling"]
    return _combine(
        [
            _day_codes(table["tested_on"], (known or {}).get("tested_on")),
            *(_codes(table[k], (known or {}).get(k)) for k in keys if k in table.columns),
        ],
        len(table),
    )


def fillings_apart(table: pd.DataFrame, place: pd.Series, *, may_go_on: bool = False) -> bool:
    """Tell the fillings of several places (files, sheets) apart, in place; whether any had to be.

    Filling 1 of two places is two fillings: their labels get the place's name in front. Where no label stands and
    nothing else tells the places apart, each place is one filling, called by its name. With ``may_go_on`` a filling may
    go on from one place to the next: it does where the numbers of its breakdowns do.

    Parameters
    ----------
    table : DataFrame
        The record table (n rows); changed in place.
    place : Series
        (n,) The place of each row.
    may_go_on : bool, default False
        Whether a filling may go on from one place to the next.
    """
    one = filling_codes(table)
    if int(filling_codes(table.assign(place=place.to_numpy()), by=["place"]).max(initial=-1)) == int(
        one.max(initial=-1)
    ):
        return False
    both = group_codes(pd.DataFrame({"one": one, "place": place.to_numpy()}), ["one", "place"])
    several = pd.Series(both).groupby(one).transform("nunique").to_numpy() > 1
    if may_go_on and several.any():
        order = table["order"].to_numpy(dtype=float)
        frame = pd.DataFrame({"one": one, "order": order})
        again = frame.duplicated(keep=False).to_numpy() | ~np.isfinite(order)
        several &= pd.Series(again).groupby(one).transform("any").to_numpy()
    if not several.any():
        return False
    named = placed_labels(table["filling"], place)
    table["filling"] = named.where(table["filling"].notna() | several, table["filling"]).astype("str")
    return True


def placed_labels(labels: pd.Series, place: pd.Series) -> pd.Series:
    """Labels of fillings with the name of their place in front; the name alone where there is no label."""
    names = pd.Series(place.astype("str").to_numpy(), index=labels.index, dtype="str")
    written = labels.map(lambda v: f"{v:g}" if isinstance(v, float) else str(v), na_action="ignore")
    return (names + ": " + written.astype("str")).where(labels.notna(), names).astype("str")


def first_rows(codes: np.ndarray) -> np.ndarray:
    """The first row of each code from 0 on; -1 where there is none. Looks no further than it must."""
    place = np.full(int(codes.max(initial=-1)) + 1, -1, np.int64)
    missing = len(place)
    for begin in range(0, len(codes), _STEP):
        part = codes[begin : begin + _STEP]
        new = np.flatnonzero(place[part] < 0)[::-1]  # backwards, so that the first is written last
        place[part[new]] = begin + new
        if len(new):
            missing = int((place < 0).sum())
        if not missing:
            break
    return place


def _some_rows(known: np.ndarray) -> np.ndarray:
    """A row of each code of a column; 0 is for its empty cells."""
    rows = first_rows(known)
    return rows[rows >= 0]


def _day_codes(column: pd.Series, known: np.ndarray | None = None) -> np.ndarray | None:
    """Codes of the day of a date that may have a time behind it; 0 for empty."""
    if not len(column) or bool(column.isna().all()):
        return None
    if known is None and len(column) <= _FEW:
        return _few_codes([c[:10] if isinstance(c, str) else c for c in column.tolist()])
    if known is not None and bool(column.iloc[_some_rows(known)].str.len().max() <= 10):
        return known
    part, stamps = pd.factorize(column, use_na_sentinel=True)
    days = pd.factorize(np.array([str(s)[:10] for s in stamps], dtype=object))[0] + 1
    return np.append(days, 0)[part]


def fillings_known(table: pd.DataFrame) -> bool:
    """Whether every row says which filling it came from."""
    return bool(len(table)) and not bool(table["filling"].isna().any())


def condition_codes(table: pd.DataFrame) -> np.ndarray:
    """Dense integer codes, one a row, of the condition under which the row was taken."""
    return group_codes(table, CONDITION)
