"""What a pair of two methods is of: an oil, or an oil in a laboratory; and what has no counterpart."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from methods.errors import InputError
from methods.result import Caution


def cell_words(rows: pd.DataFrame, keys: Sequence[str]) -> pd.Series:
    """What a pair is of, as one text: the oil, or the oil in a laboratory."""
    return rows[list(keys)].astype(str).agg(", ".join, axis=1) if len(keys) > 1 else rows["sample"]


def pairs_of(rows: pd.DataFrame, keys: Sequence[str], first: str, second: str) -> pd.DataFrame:
    """A row for each oil (in each laboratory): means and numbers of results by both methods.

    Parameters
    ----------
    rows : DataFrame
        One row a result, as of :func:`results_of`.
    keys : sequence of str
        What a pair is of, as of :func:`by_laboratory`.
    first, second : str
        The two levels.
    """
    sides = [rows[rows["level"] == name] for name in (first, second)]
    means = [side.groupby(list(keys), sort=False).agg(kv=("kv", "mean"), results=("kv", "size")) for side in sides]
    pairs = pd.concat([means[0], means[1].reindex(means[0].index)], axis=1).reset_index()
    pairs.columns = pd.Index([*keys, "first_kv", "first_results", "second_kv", "second_results"])
    return pairs[[*keys, "first_kv", "second_kv", "first_results", "second_results"]]


def by_laboratory(rows: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...], list[Caution]]:
    """The results whose counterpart is of the same laboratory and oil, and what a pair is of.

    Where two laboratories or more tested the same three oils or more by both methods, a pair is of one oil in one
    laboratory, so that what lies between laboratories is no part of it; elsewhere of one oil.
    """
    named = rows[rows["laboratory"] != ""]
    cells = named.groupby(["sample", "laboratory"])["level"].nunique()
    both = cells[cells == 2].reset_index()
    shared = both.groupby("sample")["laboratory"].nunique()
    freedom = len(both) - both["sample"].nunique() - both["laboratory"].nunique() + 1
    if both["laboratory"].nunique() < 2 or both["sample"].nunique() < 3 or (shared > 1).sum() < 3 or freedom < 2:
        return rows, ("sample",), []
    kept = rows.merge(both[["sample", "laboratory"]], on=["sample", "laboratory"], how="inner")
    gone = len(rows) - len(kept)
    notes = []
    if gone:
        text = f"{gone} results without a counterpart by the other method in the same laboratory and oil were left out."
        notes.append(Caution("unpaired", text))
    return kept, ("sample", "laboratory"), notes


def two_levels(levels: list[str], by: str, first: str | None, second: str | None) -> tuple[str, str]:
    """The two levels that are compared: those that are said, or the only two that there are.

    Parameters
    ----------
    levels : list of str
        All that there are.
    by : str
        What they are levels of.
    first, second : str, optional
        Those that are said.

    Raises
    ------
    InputError
        No such level, twice the same, or more than two without saying which.
    """
    for name in (first, second):
        if name is not None and name not in levels:
            raise InputError(f"{by} has no level {name!r}; it has {'; '.join(levels)}.", column=by, text=name)
    if first is None and second is None:
        if len(levels) != 2:
            raise InputError(
                f"{by} has {len(levels)} levels ({'; '.join(levels)}); say which two to compare.",
                column=by,
                lacks="two_levels",
            )
        return levels[0], levels[1]
    rest = [v for v in levels if v not in (first, second)]
    if first is None or second is None:
        if len(rest) != 1:
            raise InputError(
                f"{by} has {len(levels)} levels ({'; '.join(levels)}); say which two to compare.",
                column=by,
                lacks="two_levels",
            )
        return first or rest[0], second or rest[0]
    if first == second:
        raise InputError(f"{first} cannot be compared with itself.", column=by)
    return first, second


def pairable(rows: pd.DataFrame, first: str, second: str) -> tuple[pd.DataFrame, list[Caution]]:
    """Keep the oils with usable results by both; name the rest.

    Parameters
    ----------
    rows : DataFrame
        One row a result, as of :func:`results_of`.
    first, second : str
        The two levels.
    """
    notes = []
    stood = sorted(set(rows.loc[rows["stood"], "sample"]))
    if stood:
        notes.append(
            Caution(
                "withstood",
                f"Left out because a test was withstood, so their mean is unknown: {', '.join(stood)}. They are "
                "likely the strongest oils; nothing here speaks for such oils.",
            )
        )
    rows = rows[~rows["sample"].isin(stood)]
    have = rows.groupby("sample")["level"].nunique()
    lone = list(have.index[have < 2])
    if lone:
        notes.append(
            Caution("unpaired", f"Tested by one of {first} and {second} only and left out: {', '.join(lone)}.")
        )
    return rows[~rows["sample"].isin(lone)], notes
