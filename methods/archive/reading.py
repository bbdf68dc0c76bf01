"""The records of an archive: one table of all fillings that count, each row with its source."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
from collections.abc import Mapping
from typing import Any

import pandas as pd

from methods.archive.choosing import COUNTED, labels_clash, wanted
from methods.archive.container import as_unusable, connect
from methods.archive.store import FILE, PLACES
from methods.columns import COLUMNS, NUMERIC
from methods.errors import UnusableFile
from methods.records.joining import join_tables
from methods.records.kept import Log, Records, Source
from methods.records.only import nothing_left, only
from methods.records.table import as_table


def read_archive(
    path: str | os.PathLike[str], name: str | None = None, *, where: Mapping[str, Any] | None = None,
    since: str | None = None, until: str | None = None,
) -> Records:  # fmt: skip
    """Read the fillings of an archive that were not replaced by longer ones.

    Parameters
    ----------
    where, since, until
        As for :func:`methods.read`; asked of the database, which then reads no other rows.
    path : str or path
        The archive.
    name : str, optional
        What the records are called; the file's name by default.

    Returns
    -------
    Records
        ``origin`` also has ``source_file``, ``recipe`` and ``added_on``; ``marks`` is the electrode log. Labels of
        fillings that occur in several files get the file's name in front.

    Raises
    ------
    UnusableFile
        No archive, a damaged one, or one that holds no readings yet.
    """
    called = name or os.path.basename(os.fspath(path))
    with as_unusable(path):
        db = connect(path, write=False)
        try:
            held_readings(db, name or os.fspath(path))
            found = records_that_count(db, COUNTED, called, where, since, until)
            marks = db.execute("SELECT * FROM marks ORDER BY marked_on").df()
        finally:
            db.close()
    return dataclasses.replace(found, marks=marks)


def held_readings(db: Any, name: str) -> None:
    """See that the archive holds readings; UnusableFile where it does not."""
    if not db.execute("SELECT count(*) FROM duckdb_tables() WHERE table_name = 'readings'").fetchone()[0]:
        raise UnusableFile(f"{name} is an archive to which nothing has been added yet.")
    if not db.execute(f"SELECT 1 FROM {COUNTED} LIMIT 1").fetchall():
        raise UnusableFile(f"{name} is an archive that holds no readings any more.")


def records_that_count(
    db: Any, counted: str, name: str, where: Mapping[str, Any] | None, since: str | None, until: str | None
) -> Records:  # fmt: skip
    """The records of the readings that count and are wanted; ``counted`` as for :func:`wanted`.

    Parameters
    ----------
    db : DuckDBPyConnection
        The open archive.
    counted : str
        SQL of the readings that count, as for :func:`wanted`.
    name : str
        What the records are called.
    where : mapping of str to object or None
        Column to level or levels that are read.
    since : str or None
        First day, YYYY-MM-DD.
    until : str or None
        Last day, YYYY-MM-DD.
    """
    asked_for = wanted(db, counted, where, since, until)
    rows = db.execute(
        f"SELECT r.* FROM {counted} AND {asked_for.sql} ORDER BY r.file_id, r.row_number", asked_for.values
    ).df()
    if not len(rows):
        raise nothing_left(name)
    files = db.execute("SELECT file_id, file, sha256, recipe, added_on, columns FROM files").df()
    with_names = files.set_index("file_id")
    parts = [
        _part(mine, with_names.loc[file_id]) for file_id, mine in rows.groupby("file_id", sort=False)
    ]  # fmt: skip
    table = join_tables(parts, apart=labels_clash(db, counted)).rename(columns={"file": FILE}).reset_index(drop=True)
    table = as_table(table)
    at = with_names.loc[rows["file_id"]]
    origin = rows[list(PLACES)].assign(
        **{FILE: table[FILE].to_numpy(), "recipe": at["recipe"].to_numpy(), "added_on": at["added_on"].to_numpy()}
    )
    log = Log()
    digest = hashlib.sha256("".join(sorted(files["sha256"])).encode()).hexdigest()
    found = Records(table, log.problems(), log.guesses(), len(table), Source(name, digest, layout="archive"), origin)
    return found if asked_for.whole else only(found, where, since, until)


def _part(rows: pd.DataFrame, file: pd.Series) -> pd.DataFrame:
    """The readings of one file as a record table."""
    out = pd.DataFrame({
        c: rows[c].astype(float) if c in NUMERIC else rows[c].astype("str") for c in COLUMNS
    })  # fmt: skip
    own = json.loads(file["columns"])
    if own:
        cells = pd.DataFrame([json.loads(t) for t in rows["own"]], columns=own, index=rows.index)
        for c in own:
            values = pd.to_numeric(cells[c], errors="coerce")
            whole = bool((values.notna() == cells[c].notna()).all()) and not cells[c].map(type).eq(str).any()
            out[c if c != "file" else "file of the records"] = values if whole else cells[c].astype("str")
    return out.assign(file=str(file["file"]))
