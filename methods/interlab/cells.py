"""From the record table to the cells of a precision experiment: one laboratory at one level."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from methods.columns import COLUMNS, HELD, factor_name
from methods.errors import InputError
from methods.procedures.reported import check_result, no_fillings, result_rows
from methods.records.rounds import level_label
from methods.records.table import WITHSTOOD, as_table, filling_codes, fillings_known, frame_of
from methods.result import Caution
from methods.wording import list_words


@dataclass(frozen=True)
class Exclusion:
    """A cell that the user left out, and why; kept in the result so that a report can show it."""

    laboratory: str
    level: str
    reason: str
    n: int
    mean: float


@dataclass(frozen=True)
class Cells:
    """The rows of the experiment (``laboratory, level, value, withstood``) and what was noted on the way."""

    rows: pd.DataFrame
    level_columns: tuple[str, ...]
    exclusions: tuple[Exclusion, ...]
    cautions: tuple[Caution, ...]
    result: str


#: Headings under which published experiments give what is tested.
LEVEL_HEADINGS: frozenset[str] = frozenset({"level", "levels", "material", "materials", "niveau"})


def natural(text: str) -> list[Any]:
    """Sorting key that puts ``Lab 10`` after ``Lab 9``."""
    return [(0, float(part), "") if part.isdecimal() else (1, 0.0, part) for part in re.split(r"(\d+)", text) if part]


def _table(data: Any, value: str) -> pd.DataFrame:
    """The record table with ``value`` as its kv column."""
    frame = frame_of(data)
    if value != "kv":
        if not isinstance(frame, pd.DataFrame) or value not in frame.columns:
            raise InputError(f"There is no column {value!r} to take the values from.", column=value)
        frame = frame.drop(columns=[c for c in ("kv",) if c in frame.columns]).rename(columns={value: "kv"})
        return as_table(frame)
    return as_table(data)


def default_levels(table: pd.DataFrame, laboratory: str) -> tuple[str, ...]:
    """The columns that make a level when the user names none: the oil, split where the procedure differs within it.

    Results of two methods are never pooled into one repeatability, so whatever of :data:`methods.columns.HELD`
    divides the rows further is added. Without a sample a column headed level or material takes its place;
    without any of these the procedure alone makes the levels, or there is one.
    """
    chosen: list[str] = []
    groups = 1
    if not table["sample"].notna().any():
        extra = [c for c in table.columns if c not in COLUMNS and str(c).strip().casefold() in LEVEL_HEADINGS]
        if extra:
            return (extra[0],)
    for name in ("sample", *HELD):
        if name == laboratory or name not in table.columns or not table[name].notna().any():
            continue
        split = table.groupby([*chosen, name], dropna=False).ngroups
        if name == "sample" or split > groups:
            chosen.append(name)
            groups = split
    return tuple(chosen)


def _level_columns(table: pd.DataFrame, laboratory: str, level: str | Sequence[str] | None) -> tuple[str, ...]:
    if level is None:
        return default_levels(table, laboratory)
    if isinstance(level, str):
        if level == "condition" and "condition" not in table.columns:
            return tuple(c for c in HELD if table[c].nunique(dropna=False) > 1 or table[c].notna().any())
        level = [level]
    missing = [c for c in level if c not in table.columns]
    if missing:
        extra = [c for c in table.columns if c not in COLUMNS]
        known = [c for c in COLUMNS if c in table.columns and table[c].notna().any() and c not in ("kv", "outcome")]
        raise InputError(
            f"There is no column {missing[0]!r} for the levels; the file has: {', '.join([*known, *extra])}.",
            column=missing[0],
        )
    return tuple(level)


def split_levels(table: pd.DataFrame, laboratory: str, level_columns: Sequence[str]) -> tuple[str, ...]:
    """The columns of a level, and after them the oil and the procedure where these still differ within a level.

    What differs would otherwise count as scatter: four oils in one level make of their differences a repeatability.
    A column is added only where two laboratories at least still share a level.

    Parameters
    ----------
    table : DataFrame
        Rows of the record table.
    laboratory : str
        Column that says who tested.
    level_columns : sequence of str
        Columns that make a level.
    """
    chosen = list(level_columns)
    if any(c not in COLUMNS for c in chosen):
        return tuple(chosen)  # a column of the file's own says what a level is
    for name in ("sample", *HELD):
        if name in chosen or name == laboratory or name not in table.columns or not table[name].notna().any():
            continue
        finer = [*chosen, name]
        if table.groupby(finer, dropna=False).ngroups == (table.groupby(chosen, dropna=False).ngroups if chosen else 1):
            continue
        if table.groupby(finer, dropna=False)[laboratory].nunique().max() > 1:
            chosen = finer
    return tuple(chosen)


def _split(before: Sequence[str], after: Sequence[str]) -> list[Caution]:
    added = [factor_name(c) for c in after if c not in before]
    if not added or not before:
        return []
    text = (
        f"Levels are split by {list_words(added)} too: within {list_words([factor_name(c) for c in before])} alone the "
        "tests differ in that, and the difference would count as scatter of one laboratory."
    )
    return [Caution("level_split", text)]


def _mixed(table: pd.DataFrame, level_columns: tuple[str, ...]) -> list[Caution]:
    """A caution where one level pools rows of different procedures."""
    keys = table["_level"]
    found = [
        c
        for c in HELD
        if c not in level_columns and table[c].notna().any() and table.groupby(keys)[c].nunique(dropna=False).max() > 1
    ]
    if not found:
        return []
    return [
        Caution(
            "mixed_procedure",
            f"Within a level the rows differ in {', '.join(found)}. Their difference counts as scatter, so s_r and s_R "
            "are too large for either procedure; name those columns as part of the level.",
        )
    ]


def _by_result(table: pd.DataFrame, laboratory: str, result: str | int) -> tuple[pd.DataFrame, list[Caution]]:
    """One row a result, as :func:`methods.procedures.reported.result_rows` counts them.

    A result of which a test was withstood has no mean.
    """
    if not fillings_known(table):
        raise InputError(
            "Not every row says which filling it came from, so filling means cannot be the results; "
            "name it with --column filling=HEADING, or take each breakdown as a result.",
            column="filling",
        )
    return result_rows(table, ("_lab", "_level"), by=(laboratory,), result=result)


def _one_filling_spread(table: pd.DataFrame, laboratory: str) -> list[Caution]:
    """Breakdowns of one filling share its oil: their spread is not the repeatability of a reported result."""
    if not table["filling"].notna().any():
        return []
    codes = pd.Series(filling_codes(table, by=(laboratory,)), index=table.index)
    if codes.nunique() == len(table):
        return []
    per_cell = codes.groupby([table["_lab"], table["_level"]]).nunique()
    only_one = bool((per_cell == 1).all())
    text = (
        "Each laboratory filled its cell once at a level, so s_r is the spread of breakdowns within one filling and "
        "says nothing of what a second filling would read; r must not be used to compare two reported means."
        if only_one
        else "Each single breakdown counts as a result here. A reported result is the mean of a filling's breakdowns: "
        "take filling means as results (result='filling') for the r and R by which two reports are compared."
    )
    return [Caution("one_filling" if only_one else "breakdowns_as_results", text)]


#: Level of an exclusion that leaves a laboratory out altogether.
EVERY = "*"


def _exclude(rows: pd.DataFrame, exclude: Iterable[Any]) -> tuple[pd.DataFrame, tuple[Exclusion, ...]]:
    kept, notes = rows, []
    for entry in exclude:
        if isinstance(entry, Mapping):
            lab, level, reason = (str(entry.get(k, "")).strip() for k in ("laboratory", "level", "reason"))
        else:
            lab, level, reason = (str(part).strip() for part in entry)
        if not reason:
            raise InputError(
                f"Leaving out laboratory {lab!r} at level {level!r} needs a reason, which the report keeps."
            )
        hit = (kept["laboratory"] == lab) & ((kept["level"] == level) | (level == EVERY))
        if not hit.any():
            labs, levels = sorted(set(rows["laboratory"]), key=natural), sorted(set(rows["level"]), key=natural)
            raise InputError(
                f"There is no cell of laboratory {lab!r} at level {level!r} to leave out; laboratories: "
                f"{', '.join(labs[:12])}; levels: {', '.join(levels[:12])}."
            )
        for one, part in kept.loc[hit].groupby("level", sort=False):
            notes.append(Exclusion(lab, str(one), reason, len(part), float(part["value"].mean())))
        kept = kept[~hit]
    return kept, tuple(notes)


def gather(
    data: Any,
    *,
    laboratory: str,
    level: str | Sequence[str] | None,
    value: str,
    result: str | int,
    exclude: Iterable[Any],
) -> Cells:
    """Sort the rows into cells; see :func:`methods.interlab.precision` for the arguments and errors.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    laboratory : str
        Column that says who tested.
    level : str or sequence of str or None
        Column or columns that make a level; None: by what differs.
    value : str
        Column of the values.
    result : str or int
        What one result is: ``result``, ``filling``, ``breakdown``, or so many fillings.
    exclude : iterable of object
        Cells to leave out: laboratory, level, reason.
    """
    result = check_result(result)
    table = _table(data, value)
    if laboratory not in table.columns or not table[laboratory].notna().any():
        raise InputError(
            f"No row says which laboratory it came from (column {laboratory!r}); name the column that does.",
            column=laboratory,
            lacks="laboratory",
        )
    asked = _level_columns(table, laboratory, level)
    level_columns = split_levels(table, laboratory, asked) if asked or level is not None else asked
    cautions = _split(asked, level_columns)
    absent = table[laboratory].isna()
    if absent.any():
        cautions.append(
            Caution("no_laboratory", f"{int(absent.sum())} rows name no laboratory and were left out of every figure.")
        )
        table = table[~absent]
    levels = [table[c].map(level_label) for c in level_columns]
    named = pd.Series("all", index=table.index) if not levels else levels[0]
    for part in levels[1:]:
        named = named + " / " + part
    table = table.assign(_lab=table[laboratory].map(level_label), _level=named)
    cautions += _mixed(table, level_columns)
    if not level_columns:
        cautions.append(
            Caution(
                "one_level", "All rows count as one level; if the file holds several oils, name their column as level."
            )
        )
    if result not in ("filling", "breakdown") and not table["filling"].notna().any():
        result = "breakdown"  # a file without fillings holds a result a row
        cautions.append(no_fillings())
    if result != "breakdown":
        table, more = _by_result(table, laboratory, result)
        cautions += more
        stood = table["stood"].to_numpy(dtype=bool)
    else:
        cautions += _one_filling_spread(table, laboratory)
        stood = (table["outcome"] == WITHSTOOD).to_numpy()
    rows = pd.DataFrame(
        {
            "laboratory": table["_lab"].to_numpy(),
            "level": table["_level"].to_numpy(),
            "value": table["kv"].to_numpy(dtype=float),
            "withstood": stood,
        }
    )
    rows, notes = _exclude(rows, exclude)
    return Cells(rows, level_columns, notes, tuple(cautions), str(result))
