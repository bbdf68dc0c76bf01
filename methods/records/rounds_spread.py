"""Rounds summed file by file on workers, and merged exactly.

Each file of a partitioned data set is asked where a worker stands (DuckDB there), and gives back sums alone: counts,
voltages added up as whole numbers of mV (so that the order of adding changes nothing), counts of each step of voltage,
and a number for each filling, because a filling may stand in several files. The workers must see the files under the
same paths.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import pandas as pd

from methods.records.rounds_disk import FileKind, ask, connected, quoted, scan
from methods.records.rounds_files import Rounds, rows_sql, run
from methods.workers import carry_out

#: Voltages are added up as whole numbers of this many kV; no test set writes finer ones.
UNIT_KV = 1e-6
#: Stands for the rows in a query that is carried out on each piece.
ROWS = "$rows$"


@dataclass(frozen=True)
class Pieces:
    """A data set in pieces, each a file, and who works on them."""

    pieces: tuple[FileKind, ...]
    types: dict[str, str]
    memory: str
    threads: int
    executor: Executor

    @classmethod
    def of(cls, rounds: Rounds, executor: Executor) -> Pieces:
        """Cut the data set into its files; its columns keep the types that they have together."""
        asked = ", ".join(f"typeof({quoted(c)}) AS {quoted(c)}" for c in rounds.columns)
        kinds = run(rounds, f"SELECT {asked} FROM {rows_sql(rounds)} LIMIT 1")
        types = {c: str(kinds[c].iloc[0]) for c in rounds.columns} if len(kinds) else {}
        pieces = tuple(FileKind(p.kind, (file,), p.columns) for p in rounds.parts for file in p.files)
        return cls(pieces, types, rounds.memory, 1, executor)

    def ask(self, *queries: str) -> list[pd.DataFrame]:
        """The answers of all pieces to each query, under each other."""
        parts = [(piece,) for piece in self.pieces]
        shared = (queries, self.types, self.memory, self.threads)
        found = carry_out(_asked, shared, parts, executor=self.executor)
        return [pd.concat(answers, ignore_index=True) for answers in zip(*found, strict=True)]


def _asked(
    queries: Sequence[str], types: dict[str, str], memory: str, threads: int, piece: FileKind
) -> list[pd.DataFrame]:  # fmt: skip
    """Carry queries out on one piece, which may lack columns that others have."""
    with connected(memory, threads) as db:
        held = set(ask(db, f"SELECT * FROM {scan(piece.kind)} LIMIT 0", [list(piece.files)]).columns)
        cells = []
        for name, kind in types.items():
            head = piece.columns.get(name)
            if name == "file" and head is None:
                cells.append("parse_filename(filename) AS file")
            else:
                cell = quoted(head) if head in held else "NULL"
                cells.append(f"TRY_CAST({cell} AS {kind}) AS {quoted(name)}")
        rows = f"(SELECT {', '.join(cells)} FROM {scan(piece.kind)})"
        return [ask(db, query.replace(ROWS, rows), [list(piece.files)]) for query in queries]


def sums_sql(kv: str) -> str:
    """SQL for the sums of voltages and of their squares, as text: whole numbers have no place in a table."""
    whole = f"CAST(round({kv} / {UNIT_KV}) AS HUGEINT)"
    return f"CAST(sum({whole}) AS VARCHAR) AS _sum, CAST(sum({whole} * {whole}) AS VARCHAR) AS _squares"


def merged(frame: pd.DataFrame, keys: Sequence[str]) -> pd.DataFrame:
    """Pieces of groups as whole groups: ``n`` and ``withstood`` added, ``_sum`` and ``_squares`` exactly, the least of
    ``min_kv`` and ``_ceiling``, the greatest of ``max_kv``; with ``mean_kv`` and ``sd_kv``."""
    by = list(keys)
    code = frame.groupby(by, dropna=False, sort=False).ngroup().to_numpy() if by else np.zeros(len(frame), np.int64)
    first = np.unique(code, return_index=True)[1]
    out = frame.iloc[first][by].reset_index(drop=True)
    for name, how in (("n", np.add), ("withstood", np.add), ("min_kv", np.fmin), ("max_kv", np.fmax),
                      ("_ceiling", np.fmin)):  # fmt: skip
        if name in frame:
            values = frame[name].to_numpy(dtype=np.int64 if how is np.add else float)
            whole = values[first].copy()
            whole[:] = 0 if how is np.add else np.nan
            how.at(whole, code, values)
            out[name] = whole
    total, squares = [0] * len(first), [0] * len(first)
    for c, a, b in zip(code.tolist(), frame["_sum"], frame["_squares"], strict=True):
        total[c] += int(a)
        squares[c] += int(b)
    means, sds = [], []
    for n, a, b in zip(out["n"].tolist(), total, squares, strict=True):
        means.append(float(Fraction(a, n)) * UNIT_KV)
        sds.append(float(Fraction(b * n - a * a, n * (n - 1))) ** 0.5 * UNIT_KV if n > 1 else np.nan)
    return out.assign(mean_kv=means, sd_kv=sds)


def distinct(frame: pd.DataFrame) -> pd.Series:
    """How many different ``_f`` stand under each ``_g``; both are numbers."""
    return frame.drop_duplicates(["_g", "_f"])["_g"].value_counts()
