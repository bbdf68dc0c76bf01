"""The archive as a file: how it is told from others, opened, and read where only its bytes are at hand."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from methods.errors import InputError, UnusableFile, one_line
from methods.extras import need

#: What the name of an archive ends in.
SUFFIX = ".duckdb"
#: What the readings of an archive end in where many share a folder.
READINGS = ".readings.parquet"
#: A database says so in these bytes.
_MARK = slice(8, 12)
#: The layout of the tables; a file of a later one is refused.
FORMAT = 1

_TABLES = """
CREATE TABLE about (format INTEGER);
CREATE TABLE files (
    file_id INTEGER PRIMARY KEY, file VARCHAR, sha256 VARCHAR UNIQUE, recipe VARCHAR, options VARCHAR,
    added_on VARCHAR, version VARCHAR, rows_read BIGINT, refused BIGINT, rows_added BIGINT, columns VARCHAR
);
CREATE TABLE fillings (
    filling_id BIGINT PRIMARY KEY, file_id INTEGER, whose VARCHAR, readings VARCHAR, alike VARCHAR,
    replaced_by INTEGER
);
CREATE TABLE marks (marked_on VARCHAR, what VARCHAR, electrode VARCHAR, instrument VARCHAR, note VARCHAR);
"""


def database_library() -> Any:
    """The library.

    Raises
    ------
    MissingExtra
        It is not installed.
    """
    return need("duckdb", "An archive", "archive")


def is_archive(head: bytes) -> bool:
    """Whether a file that begins with these bytes is a database."""
    return head[_MARK] == b"DUCK"


def is_shared(path: Any) -> bool:
    """Whether this is a folder that holds shared archives (:mod:`methods.archive.shared`)."""
    try:
        return isinstance(path, (str, os.PathLike)) and os.path.isdir(path) and bool(shared_parts(path, READINGS))
    except OSError:
        return False


def shared_parts(folder: str | os.PathLike[str], ending: str) -> list[Path]:
    """The files of a folder with this ending, in the order of their names."""
    return sorted(p for p in Path(folder).glob(f"*{ending}") if p.is_file() and not p.name.startswith("."))


def connect(path: str | os.PathLike[str], *, write: bool) -> Any:
    """Open the database at ``path``; to write, it is made where there is none.

    What a killed process had brought to its end is there; what it had begun is not.

    Raises
    ------
    UnusableFile
        No archive, one that another process is writing to, one of a later version, or a place where nothing can be
        written.
    MissingExtra
        DuckDB is not installed.
    """
    library, place = database_library(), Path(path)
    if not write and not place.is_file():
        raise UnusableFile(f"There is no archive {str(path)!r}.", rule="an existing file", lacks="archive")
    if place.is_file() and place.stat().st_size:
        with place.open("rb") as file:
            if not is_archive(file.read(16)):
                raise UnusableFile(f"{str(path)!r} is not an archive, so nothing is added to it.", rule="an archive")
    # A database from elsewhere may hold views: none of them reaches another file.
    settings = {"enable_external_access": "false", "autoinstall_known_extensions": "false", "threads": "2"}
    try:
        connection = library.connect(str(place), read_only=not write, config=settings)
        known = {row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
        if not known and write:
            connection.execute(f"BEGIN; {_TABLES} INSERT INTO about VALUES ({FORMAT}); COMMIT")
            return connection
        if not {"about", "files", "fillings", "marks"} <= known:
            raise UnusableFile(f"{str(path)!r} is a database, but no archive of tests.", rule="an archive")
        format = connection.execute("SELECT max(format) FROM about").fetchone()[0]
        if format != FORMAT:
            raise UnusableFile(f"{str(path)!r} was made by another version of gapshift (layout {format}).")
    except library.Error as why:
        raise UnusableFile(_said(path, why), rule="an archive that can be opened") from None
    return connection


def _said(path: str | os.PathLike[str], why: Exception) -> str:
    if "lock" in str(why).lower():
        return f"{str(path)!r} is in use: another process is adding to it. Try again when it is done."
    return f"{str(path)!r} cannot be opened as an archive: {one_line(why, 160)}"


@contextmanager
def as_unusable(path: str | os.PathLike[str]) -> Iterator[None]:
    """Have what the library says of a damaged archive said as an :class:`UnusableFile`."""
    try:
        yield
    except database_library().Error as why:
        raise UnusableFile(f"{str(path)!r} cannot be read: {one_line(why, 160)}", rule="an intact archive") from None


def settle_file(path: str | os.PathLike[str]) -> None:
    """Bring the file to the state of its last finished change, so that its bytes alone are the whole of it.

    Raises
    ------
    UnusableFile
        Another process is writing to it.
    """
    beside = Path(f"{os.fspath(path)}.wal")
    if beside.exists():  # a process was killed before it closed the archive
        connect(path, write=True).close()
        if beside.exists():
            raise UnusableFile(f"{str(path)!r} is in use: another process is adding to it.")


@contextmanager
def as_file(raw: bytes) -> Iterator[str]:
    """A path under which these bytes can be opened, in memory where the system has a place for that."""
    memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    with tempfile.TemporaryDirectory(prefix="gapshift-", dir=memory) as folder:
        path = Path(folder, f"upload{SUFFIX}")
        try:
            path.write_bytes(raw)
        except OSError as why:
            raise InputError(f"There is no room to open the archive: {os.strerror(why.errno or 0).lower()}.") from None
        yield str(path)
