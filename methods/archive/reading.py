"""The records of an archive: one table of all fillings that count, each row with its source."""

from __future__ import annotations

import hashlib
import json
import os

import pandas as pd

from methods.archive.container import asked, connect
from methods.archive.store import FILE, PLACES
from methods.columns import COLUMNS, NUMERIC
from methods.errors import UnusableFile
from methods.records.joining import join_tables
from methods.records.kept import Log, Records, Source
from methods.records.table import as_table


def read_archive(path: str | os.PathLike[str], name: str | None = None) -> Records:
    """Read all fillings of an archive that were not replaced by longer ones.

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
    with asked(path):
        db = connect(path, write=False)
        try:
            if not db.execute("SELECT count(*) FROM duckdb_tables() WHERE table_name = 'readings'").fetchone()[0]:
                raise UnusableFile(f"{name or path} is an archive to which nothing has been added yet.")
            rows = db.execute(
                "SELECT r.* FROM readings r JOIN fillings f USING (filling_id) WHERE f.replaced_by IS NULL "
                "ORDER BY r.file_id, r.row_number"
            ).df()
            files = db.execute("SELECT file_id, file, sha256, recipe, added_on, columns FROM files").df()
            marks = db.execute("SELECT * FROM marks ORDER BY marked_on").df()
        finally:
            db.close()
    if not len(rows):
        raise UnusableFile(f"{name or path} is an archive that holds no readings any more.")
    with_names = files.set_index("file_id")
    parts = [
        _part(mine, with_names.loc[file_id]) for file_id, mine in rows.groupby("file_id", sort=False)
    ]  # fmt: skip
    table = join_tables(parts).rename(columns={"file": FILE}).reset_index(drop=True)
    table = as_table(table)
    at = with_names.loc[rows["file_id"]]
    origin = rows[list(PLACES)].assign(
        **{FILE: table[FILE].to_numpy(), "recipe": at["recipe"].to_numpy(), "added_on": at["added_on"].to_numpy()}
    )
    log = Log()
    digest = hashlib.sha256("".join(sorted(files["sha256"])).encode()).hexdigest()
    called = name or os.path.basename(os.fspath(path))
    return Records(table, log.problems(), log.guesses(), len(table), Source(called, digest, layout="archive"),
                   origin, marks=marks)  # fmt: skip


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
