"""Record tables as they lie on disk, asked by DuckDB: which are in order and can be, and how they are scanned."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import unquote

import pandas as pd

from methods.columns import COLUMNS, NUMERIC, ONE_CEILING
from methods.errors import UnusableFile, one_line
from methods.extras import need
from methods.records.ceilings import LEAST
from methods.records.headings import read_heading
from methods.records.table import BREAKDOWN, WITHSTOOD

PARQUET, TEXT = (".parquet", ".pq"), (".csv", ".tsv", ".txt")
#: Bytes from which a file in disorder is too large to be read whole; its unusable rows are then counted as refused.
TOO_LARGE = 100_000_000
#: Voltages above this are another unit than kV, for the reader to tell.
MOST_KV = 200.0


class FileKind(NamedTuple):
    """Files of one kind that are asked together; ``columns`` maps names of the record table to their headings."""

    kind: str
    files: tuple[str, ...]
    columns: dict[str, str]


def duckdb() -> Any:
    """The library, or MissingExtra."""
    return need("duckdb", "Summarising rounds on disk", "bigdata")


def _plain(path: str) -> str:
    """The path of a file that :func:`literal_path` wrote."""
    return re.sub(r"\[(.)\]", r"\1", path)


def quoted(text: str) -> str:
    """A column name quoted for SQL."""
    return '"' + text.replace('"', '""') + '"'


def literal_path(path: Path) -> str:
    """A file's path in which DuckDB sees no pattern."""
    return "".join(f"[{c}]" if c in "*?[" else c for c in str(path))


@contextmanager
def connected(memory: str, threads: int) -> Iterator[Any]:
    """A DuckDB session of its own, with a memory ceiling and a place to spill that is removed afterwards."""
    with tempfile.TemporaryDirectory(prefix="gapshift-") as spill:
        settings = {
            "memory_limit": memory, "threads": str(threads), "temp_directory": spill,
            "preserve_insertion_order": "false", "autoinstall_known_extensions": "false",
        }  # fmt: skip
        session = duckdb().connect(":memory:", config=settings)
        try:
            yield session
        finally:
            session.close()


def scan(kind: str) -> str:
    """SQL that gives the rows of files of a kind; its value is the list of files."""
    if kind == "parquet":
        return "read_parquet(?, union_by_name = true, hive_partitioning = true, filename = true)"
    return (
        "read_csv(?, union_by_name = true, hive_partitioning = true, all_varchar = true, header = true, skip = 0, "
        "filename = true)"
    )


def selected(part: FileKind, mixed: bool) -> str:
    """SQL that gives the columns of a part under their names, each of the same type in every part."""
    chosen = []
    for name, head in part.columns.items():
        cell = quoted(head)
        if name in NUMERIC and (mixed or part.kind == "text"):
            cell = f"TRY_CAST({cell} AS DOUBLE)"
        elif mixed:
            cell = f"CAST({cell} AS VARCHAR)"
        chosen.append(f"{cell} AS {quoted(name)}")
    if "file" not in part.columns:
        chosen.append("parse_filename(filename) AS file")
    return f"SELECT {', '.join(chosen)} FROM {scan(part.kind)}"


def ask(connection: Any, query: str, values: Sequence[Any]) -> pd.DataFrame:
    """Ask DuckDB, and give its answer as a table.

    Parameters
    ----------
    connection : DuckDBPyConnection
        The session.
    query : str
        SQL with a question mark for each value.
    values : sequence of object
        The values.
    """
    try:
        found: pd.DataFrame = connection.execute(query, list(values)).df()
    except duckdb().Error as why:
        raise UnusableFile(f"The files cannot be read together: {one_line(str(why).splitlines()[0])}") from None
    return found


def _named(heads: Sequence[str], columns: Mapping[str, str]) -> dict[str, str]:
    """Name -> heading, of headings as they stand and what was said of them."""
    said = {name: head for name, head in columns.items() if head in heads}
    return {c: c for c in heads if c not in said.values()} | said


def _other_words(named: Mapping[str, str]) -> bool:
    """Whether a heading is another word for a column of the record table, such as ``Lab``."""
    return any(name not in COLUMNS and read_heading(name).name is not None for name in named)


def _in_disorder(connection: Any, part: FileKind) -> set[str]:
    """The files of a part with a row that is no plausible voltage of a known outcome, a number that is none, or a wall
    of equal maxima such as the end of an instrument's range makes."""
    cell = {name: quoted(head) for name, head in part.columns.items()}
    kv = f"TRY_CAST({cell['kv']} AS DOUBLE)"
    wrong = [f"NOT coalesce(isfinite({kv}) AND {kv} > 0 AND {kv} <= {MOST_KV}, false)"]
    stood = "false"
    if "outcome" in cell:
        stood = f"coalesce({cell['outcome']} = '{WITHSTOOD}', false)"
        wrong.append(f"NOT coalesce({cell['outcome']} IN ('{BREAKDOWN}', '{WITHSTOOD}'), true)")
    for name in NUMERIC:
        if name in cell and name != "kv":
            wrong.append(f"({cell[name]} IS NOT NULL AND TRY_CAST({cell[name]} AS DOUBLE) IS NULL)")
    rows, files = scan(part.kind), [list(part.files)]
    found = ask(connection, f"SELECT DISTINCT filename FROM {rows} WHERE {' OR '.join(wrong)}", files)
    out = set(found["filename"])
    files = [[f for f in part.files if _plain(f) not in out]]
    for within in ("0", *(cell[c] for c in ONE_CEILING if c in cell)):
        held = f"SELECT filename AS f, {within} AS g, {kv} AS v FROM {rows} WHERE NOT {stood}"
        walls = (
            f"WITH counted AS (SELECT f, g, v, count(*) AS n FROM ({held}) GROUP BY f, g, v), "
            "tops AS (SELECT f, g, max(v) AS v, arg_max(n, v) AS n FROM counted GROUP BY f, g) "
            f"SELECT DISTINCT f FROM tops WHERE n >= {LEAST} AND v % 5 = 0 AND v BETWEEN 20 AND 150"
        )
        out |= set(ask(connection, walls, files)["f"]) if files[0] else set()
    return out


def _first_line(path: Path) -> str:
    with path.open("r", encoding="utf-8-sig", errors="replace") as file:
        return file.readline(100_000)


def on_disk(
    files: Sequence[Path], columns: Mapping[str, str], memory: str
) -> tuple[list[FileKind], set[Path], list[str]]:
    """What can be asked as it lies there: its parts, its files, and the names of those too large to be read first.

    Files of one kind whose columns and types are alike make a part.

    Parameters
    ----------
    files : sequence of Path
        The files.
    columns : mapping of str to str
        Column of the record table to heading, as the caller said.
    memory : str
        Most memory, as DuckDB writes it: ``4GB``.
    """
    alike: dict[tuple[Any, ...], list[Path]] = {}
    heads: dict[Path, list[str]] = {}
    parts, taken, large = [], set(), []
    with connected(memory, 2) as connection:
        for file in files:
            kind = "parquet" if file.suffix.lower() in PARQUET else "text"
            try:
                found = ask(connection, f"DESCRIBE SELECT * FROM {scan(kind)}", [[literal_path(file)]])
            except UnusableFile:
                continue
            types = dict(zip(found["column_name"], found["column_type"], strict=True))
            types.pop("filename", None)
            own = [h for h in types if h not in from_folders(file)]
            if kind == "text" and not all(h in _first_line(file) for h in own):
                continue  # something stands above the headings, which is for the reader to read
            heads[file] = list(types)
            if "kv" in _named(heads[file], columns):
                alike.setdefault((kind, tuple(types.items())), []).append(file)
        for (kind, _), some in alike.items():
            named = _named(heads[some[0]], columns)
            part = FileKind(kind, tuple(literal_path(f) for f in some), named)
            plain = named["kv"] == "kv" and not _other_words(named)
            bad = _in_disorder(connection, part) if plain else {str(f) for f in some}
            good = []
            for file in some:
                huge = file.stat().st_size > TOO_LARGE
                if str(file) not in bad or huge:
                    good.append(file)
                    large += [file.name] if str(file) in bad else []
            if good:
                parts.append(FileKind(kind, tuple(literal_path(f) for f in good), named))
                taken |= set(good)
    return parts, taken, large


def from_folders(path: Path) -> dict[str, str]:
    """What the folders say of a file, as ``laboratory=A/round=3``."""
    return {k: unquote(v) for k, sign, v in (p.partition("=") for p in path.parts[:-1]) if sign and k}
