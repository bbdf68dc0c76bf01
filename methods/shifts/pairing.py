"""Which rows are compared with which: the levels of a factor, within the same oil."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import OIL
from methods.errors import InputError, NotEstimable
from methods.procedures import parts_of, with_factor
from methods.records import resolve_column
from methods.records.table import filling_codes, group_codes, withstood

#: Factors that are the oil itself: between their levels no sample can be shared, and none is asked for.

#: Most levels of a factor; each is compared with the reference.
MOST_LEVELS = 60


@dataclass(frozen=True)
class CodedRows:
    """The rows of a comparison, coded. Every array has one entry a row of ``table``.

    ``level`` and ``block`` index ``levels`` and ``blocks``; a block is an oil (and the ``within``
    columns, where given); ``filling`` holds dense codes of the fillings of the cell. ``oil`` and ``oils`` stay those
    of the oil where what is held equal makes blocks finer.
    """

    by: str
    within: tuple[str, ...]
    table: pd.DataFrame
    levels: list[Any]
    level: np.ndarray
    blocks: list[str]
    block: np.ndarray
    filling: np.ndarray
    kv: np.ndarray
    withstood: np.ndarray
    left_out: int
    sample_known: bool
    oil: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    oils: list[str] = field(default_factory=list)

    @property
    def fillings_named(self) -> bool:
        """Whether any row says which filling it came from."""
        return len(self.table) == 0 or bool(self.table["filling"].notna().any())

    def fillings_of(self, rows: np.ndarray) -> int:
        """Number of fillings among the rows (boolean array)."""
        return int(np.count_nonzero(np.bincount(self.filling[rows])))


def find_column(table: pd.DataFrame, name: str) -> str:
    """The column that ``name`` means; see :func:`methods.records.resolve_column`.

    Raises
    ------
    InputError
        There is no such column; the message lists those that hold something.
    """
    return resolve_column(table, str(name))


def plain_level(value: Any) -> Any:
    """A level as plain Python: numbers stay numbers, everything else is text."""
    if isinstance(value, (bool, np.bool_)):
        return str(bool(value))
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value)
    return str(value)


def show_level(value: Any) -> str:
    """A level in a sentence: 2.0 is written 2."""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _factorize(column: pd.Series) -> tuple[np.ndarray, list[Any]]:
    """Codes and levels; numbers ascending, words in the order of the data; empty cells are -1."""
    codes, values = pd.factorize(column, sort=pd.api.types.is_numeric_dtype(column), use_na_sentinel=True)
    return np.asarray(codes), [plain_level(v) for v in values]


def _blocks(table: pd.DataFrame, columns: Sequence[str]) -> tuple[np.ndarray, list[str]]:
    codes = group_codes(table, columns)
    first = np.unique(codes, return_index=True)[1]
    labels = []
    for row in first:
        parts = [table[c].iloc[row] for c in columns]
        words = [show_level(plain_level(p)) for p in parts if not pd.isna(p)]
        labels.append(", ".join(words) if words else "unnamed oil")
    order = np.argsort(first)  # blocks in the order of the data
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return rank[codes], [labels[i] for i in order]


def layout(data: Any, by: str | Sequence[str], within: Sequence[str] = ()) -> CodedRows:
    """Code the rows of ``data`` by level, oil and filling.

    Parameters
    ----------
    data : Records or DataFrame
        One row a breakdown.
    by : str or sequence of str
        The factor: any column but ``kv``, ``order``, ``outcome``; ``procedure``; or several columns, whose
        combinations are then the levels.
    within : sequence of str
        Further columns that must be equal, as the sample must, for two tests to be compared.

    Raises
    ------
    InputError
        No such column, or one that cannot be a factor.
    NotEstimable
        Fewer than two levels.
    """
    table, by = with_factor(data, by)
    inside = tuple(find_column(table, w) for w in ([within] if isinstance(within, str) else within))
    if by in ("kv", "outcome", "order", "filling"):
        raise InputError(
            f"The column {by!r} is not a factor that can be compared; name one such as electrode.", column=by
        )
    if by in inside or set(inside) & set(parts_of(by)):
        raise InputError(f"The column {by!r} cannot be compared and held equal at once.", column=by)
    known = table[by].notna().to_numpy()
    kept = table.loc[known].reset_index(drop=True)
    level, levels = _factorize(kept[by])
    if len(levels) < 2:
        found = f"only {show_level(levels[0])}" if levels else "nothing"
        raise NotEstimable(f"There is nothing to compare: the column {by!r} holds {found}.", column=by)
    if len(levels) > MOST_LEVELS:
        raise InputError(
            f"The column {by!r} has {len(levels)} different values, more than {MOST_LEVELS}: it is a measurement or a "
            "name rather than a factor. Put it into a few classes first.",
            column=by,
        )
    oil = [] if by in OIL else _oil_columns(kept)
    block, blocks = _blocks(kept, [*oil, *[w for w in inside if w != "sample"]])
    alone = _blocks(kept, oil) if inside else (block, blocks)
    return CodedRows(
        by=by, within=inside, table=kept, levels=levels, level=level, blocks=blocks, block=block,
        filling=filling_codes(kept, by=(by, *inside)), kv=kept["kv"].to_numpy(dtype=float),
        withstood=withstood(kept), left_out=int((~known).sum()),
        sample_known=bool(oil) and bool(kept[oil].notna().to_numpy().any()),
        oil=alone[0], oils=alone[1],
    )  # fmt: skip


def _oil_columns(table: pd.DataFrame) -> list[str]:
    """What tells oils apart: the sample; where none is named, fluid and state as far as they differ."""
    if table["sample"].notna().any():
        return ["sample"]
    return [c for c in ("fluid", "state") if table[c].nunique() > 1] or ["sample"]


def choose_reference(lay: CodedRows, reference: Any = None) -> int:
    """Index of the reference level; without one, the level with most fillings, the first of equals.

    Raises
    ------
    InputError
        The reference is not among the levels; the message lists them.
    """
    if reference is None:
        counts = [lay.fillings_of(lay.level == i) for i in range(len(lay.levels))]
        return int(np.argmax(counts))
    for i, level in enumerate(lay.levels):
        if level == reference or show_level(level) == str(reference).strip():
            return i
        if not isinstance(level, str):
            try:
                if float(str(reference).replace(",", ".")) == float(level):
                    return i
            except ValueError:
                pass
    folded = [i for i, level in enumerate(lay.levels) if str(level).lower() == str(reference).strip().lower()]
    if len(folded) == 1:
        return folded[0]
    raise InputError(
        f"The reference {str(reference)!r} is not a level of {lay.by}; the levels are "
        f"{', '.join(show_level(v) for v in lay.levels)}.",
        column=lay.by, text=str(reference), rule="the reference is one of the levels",
    )  # fmt: skip


@dataclass(frozen=True)
class Pair:
    """The rows of one level and of the reference that can be compared.

    ``rows`` and ``reference_rows`` are boolean, one entry a row of the layout; ``blocks`` are the oils
    used, ``left_out`` the oils tested under one of the two only; ``shared`` is False where no oil was
    tested under both, and then the comparison is over all rows as if they were one oil.
    """

    rows: np.ndarray
    reference_rows: np.ndarray
    blocks: list[int]
    left_out: list[int]
    shared: bool


def pair_up(lay: CodedRows, level: int, reference: int) -> Pair:
    """Find the oils that were tested under both levels.

    Parameters
    ----------
    lay : CodedRows
        The rows, coded.
    level : int
        Index of the level.
    reference : int
        Index of the reference level.
    """
    here, there = lay.level == level, lay.level == reference
    mine, theirs = set(lay.block[here].tolist()), set(lay.block[there].tolist())
    shared = sorted(mine & theirs)
    if not shared:
        return Pair(here, there, [], [], False)
    keep = np.isin(lay.block, shared)
    return Pair(here & keep, there & keep, shared, sorted(mine ^ theirs), True)
