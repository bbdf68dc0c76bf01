"""The files of a data set of rounds: which are asked as they lie on disk, and which are read first.

A record table on disk that is in order - its headings, every row a plausible voltage, no wall of equal maxima - is left
where it is and asked by DuckDB, whatever its size. Every other file is read as any file is read, one at a time, and its
record table put into a temporary Parquet file beside: so that title lines, decimal commas, ``> 60`` and sheets of a
workbook mean here what they mean everywhere.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from methods.archive.container import SUFFIX as ARCHIVE
from methods.errors import InputError, UnusableFile, one_line
from methods.records.joining import join_tables
from methods.records.kept import Records
from methods.records.reading import read
from methods.records.rounds_disk import (
    PARQUET,
    TEXT,
    FileKind,
    ask,
    connected,
    duckdb,
    from_folders,
    literal_path,
    on_disk,
    quoted,
    selected,
)
from methods.records.table import as_table

READABLE = (*PARQUET, *TEXT, ".xlsx", ARCHIVE)

Progress = Callable[[float, float], None]


@dataclass(frozen=True)
class Rounds:
    """A data set of rounds: files on disk, and tables of those that had to be read first.

    ``columns`` are the names that can be asked for. ``read_first`` has a row a file that went through the reader
    (``file, rows_read, rows, refused``), ``problems`` and ``guesses`` what it said of them, ``skipped`` a row a file
    that takes no part (``file, why``), ``large`` files in disorder that are too large to be read first.
    """

    parts: tuple[FileKind, ...]
    columns: tuple[str, ...]
    memory: str
    threads: int
    files: int
    read_first: pd.DataFrame
    problems: pd.DataFrame
    guesses: pd.DataFrame
    skipped: pd.DataFrame
    large: tuple[str, ...]
    _beside: Any = field(default=None, repr=False, compare=False)

    @property
    def refused_before(self) -> int:
        """Cells that the reader refused."""
        return int(self.read_first["refused"].sum()) if len(self.read_first) else 0


def rows_sql(rounds: Rounds) -> str:
    """SQL in brackets that gives all rows under the names of ``rounds.columns``; its values are :func:`places`."""
    mixed = len(rounds.parts) > 1
    return "(" + " UNION ALL BY NAME ".join(f"({selected(p, mixed)})" for p in rounds.parts) + ")"


def run(rounds: Rounds, query: str) -> pd.DataFrame:
    """What a query gives in which :func:`rows_sql` stands once; UnusableFile where the files do not go together."""
    with connected(rounds.memory, rounds.threads) as connection:
        return ask(connection, query, [list(p.files) for p in rounds.parts])


def _listed(paths: Sequence[str | os.PathLike[str]]) -> dict[Path, str]:
    """Every file, and the name it is called by."""
    out: dict[Path, str] = {}
    for path in paths:
        top = Path(path)
        if not top.exists():
            raise UnusableFile(f"There is no file or folder {str(path)!r}.")
        inner = sorted(p for p in top.rglob("*") if p.is_file()) if top.is_dir() else [top]
        for file in inner:
            out.setdefault(file.resolve(), str(file.relative_to(top)) if top.is_dir() else file.name)
    return out


def open_rounds(
    path: str | os.PathLike[str] | Sequence[str | os.PathLike[str]],
    *,
    columns: Mapping[str, str] | None = None,
    memory: str = "1GB",
    threads: int | None = None,
    reader: Callable[..., Records] = read,
    progress: Progress | None = None,
    **options: Any,
) -> Rounds:
    """Look at files of rounds, or folders of them (also partitioned: ``laboratory=A/round=3/part.parquet``).

    Parameters
    ----------
    path : path or sequence of paths
        Whatever :func:`methods.read` reads, and folders. Files that are record tables in order are asked where they
        lie; all others are read first.
    columns : mapping, optional
        Name of the record table -> heading in the files.
    memory : str
        Ceiling of DuckDB's working memory; beyond it work goes to a temporary folder.
    threads : int, optional
        By default the number of processors, at most 4.
    reader : callable, optional
        What reads a file; takes what :func:`methods.read` takes.
    progress : callable, optional
        Called with the number of files looked at and that of all.
    **options
        Those of :func:`methods.read`; with any of them every file is read first.

    Raises
    ------
    MissingExtra
        DuckDB is not installed.
    UnusableFile
        Nothing there can be read. Of several files those that cannot be read are named in ``skipped``.
    InputError
        A heading that no file has.
    """
    duckdb()
    named = [path] if isinstance(path, (str, os.PathLike)) else list(path)
    files = _listed(named)
    wanted = {k: v for k, v in options.items() if v is not None}
    said, beside = dict(columns or {}), tempfile.TemporaryDirectory(prefix="gapshift-")
    tables = [f for f in files if f.suffix.lower() in (*PARQUET, *TEXT)]
    parts, taken, large = ([], set(), []) if wanted else on_disk(tables, said, memory)
    records: list[tuple[Path, Records]] = []
    skipped: list[tuple[str, str]] = []
    wrong: InputError | None = None
    for at, (file, called) in enumerate(files.items()):
        if progress is not None:
            progress(at, len(files))
        if file in taken:
            continue
        if file.suffix.lower() not in READABLE:
            skipped.append((called, f"its name ends in none of {', '.join(READABLE)}"))
            continue
        try:
            records.append((file, reader(file, **({"columns": said} if said else {}), **wanted)))
        except InputError as why:
            wrong = why
            skipped.append((called, one_line(why)))
    if not parts and not records:
        if len(files) == 1 and wrong is not None:
            raise wrong
        first = "; ".join(f"{name}: {why}" for name, why in skipped[:3]) or "There is no file."
        raise UnusableFile(f"Nothing in {', '.join(map(str, named))} can be read. {first}")
    if records:
        parts.append(_set_beside(records, files, Path(beside.name)))
    names = dict.fromkeys(c for p in parts for c in p.columns)
    for name, heading in said.items():
        if name not in names:
            raise InputError(f"No file has a column {heading!r}; there are {', '.join(names)}.", column=heading)
    return Rounds(
        tuple(parts), tuple(names), memory, threads or min(4, os.cpu_count() or 1), len(files) - len(skipped),
        pd.DataFrame([(files[f], r.rows_read, len(r.table), r.refused) for f, r in records],
                     columns=["file", "rows_read", "rows", "refused"]),
        _all([r.problems.assign(file=files[f]) for f, r in records]),
        _all([r.guesses.assign(file=files[f]) for f, r in records]),
        pd.DataFrame(skipped, columns=["file", "why"]),
        tuple(large),
        beside,
    )  # fmt: skip


def _all(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def _set_beside(records: Sequence[tuple[Path, Records]], files: Mapping[Path, str], folder: Path) -> FileKind:
    """The record tables of the files that were read, in one Parquet file, fillings of different files kept apart."""
    tables = []
    for file, found in records:
        table = found.table.assign(file=files[file])
        for name, value in from_folders(file).items():
            if name not in table.columns or table[name].isna().all():
                table[name] = value
        tables.append(table)
    whole = as_table(join_tables(tables))
    held = [c for c in whole.columns if c == "kv" or not whole[c].isna().all()]
    place = folder / "read_first.parquet"
    whole[held].to_parquet(place)
    return FileKind("parquet", (literal_path(place),), {c: c for c in held})


__all__ = ["FileKind", "Rounds", "duckdb", "open_rounds", "quoted", "run", "rows_sql"]
