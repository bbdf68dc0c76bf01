"""An archive for many: a folder of Parquet files, one from each archive, that all may read and none has to lock.

Each laboratory keeps an archive of its own and puts its readings into the folder (:func:`share`), in one file that
takes the place of its last one at a stroke. Whoever reads the folder sees each filling once, as in one archive.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from methods.archive.choosing import COUNTED
from methods.archive.container import READINGS, as_unusable, connect, database_library, shared_parts
from methods.archive.reading import records_that_count
from methods.archive.series import met_again
from methods.archive.store import PLACES
from methods.columns import COLUMNS, ELECTRODE_LOG, NUMERIC
from methods.errors import UnusableFile, one_line
from methods.records.kept import Records

#: What a file with an electrode log ends in.
MARKS = ".marks.parquet"
_ABOUT = ("file_id", "filling_id", "row_number", "own", "file", "sha256", "recipe", "added_on", "columns", "whose",
          "readings", "alike")  # fmt: skip


def share(path: str | os.PathLike[str], folder: str | os.PathLike[str]) -> Path:
    """Put the readings of an archive that count, and its electrode log, into a folder; give the file that was written.

    Raises
    ------
    UnusableFile
        No archive, one without readings, or a folder into which nothing can be written.
    """
    from methods.archive.reading import held_readings

    with as_unusable(path):
        db = connect(path, write=False)
        try:
            held_readings(db, os.fspath(path))
            names = ", ".join(f'r."{c}"' for c in (*COLUMNS, *PLACES, "file_id", "filling_id", "row_number", "own"))
            readings = db.execute(
                f"SELECT {names}, s.file, s.sha256, s.recipe, s.added_on, s.columns, f.whose, f.readings, f.alike "
                f"FROM {COUNTED} ORDER BY r.file_id, r.row_number"
            ).df()
            marks = db.execute("SELECT * FROM marks").df()
        finally:
            db.close()
    place = Path(folder)
    out = place / f"{Path(path).stem}{READINGS}"
    try:
        place.mkdir(parents=True, exist_ok=True)
        _written(marks, place / f"{Path(path).stem}{MARKS}")
        _written(readings, out)
    except (OSError, database_library().Error) as why:
        raise UnusableFile(
            f"{str(place)!r} takes no files: {one_line(why, 120)}", rule="a folder to write to"
        ) from None
    return out


def _written(frame: pd.DataFrame, path: Path) -> None:
    """Write beside its place, then put there: a reader sees the old file or the new one."""
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".gapshift-") as beside:
        new = Path(beside, "new.parquet")
        db = database_library().connect()
        try:
            db.register("_frame", frame)
            # A column in which nothing stands has no kind of its own: it is said.
            kind = {
                **dict.fromkeys(NUMERIC, "DOUBLE"),
                **dict.fromkeys(("file_id", "filling_id", "row_number"), "BIGINT"),
            }
            cells = ", ".join(f'CAST("{c}" AS {kind.get(c, "VARCHAR")}) AS "{c}"' for c in frame.columns)
            db.execute(f"COPY (SELECT {cells} FROM _frame) TO {_quoted(new)} (FORMAT parquet, COMPRESSION zstd)")
        finally:
            db.close()
        os.replace(new, path)


def read_shared(
    folder: str | os.PathLike[str], name: str | None = None, *, where: Mapping[str, Any] | None = None,
    since: str | None = None, until: str | None = None,
) -> Records:  # fmt: skip
    """Read what a folder of shared archives holds, each filling once; as :func:`methods.archive.read_archive`.

    What is chosen by level or day is asked of the Parquet files, of which no other rows are read.

    Parameters
    ----------
    folder : str or path
        The folder.
    name : str, optional
        What the records are called; the folder's name by default.
    where : mapping of str to object, optional
        Column to level or levels that are read.
    since : str, optional
        First day, YYYY-MM-DD.
    until : str, optional
        Last day, YYYY-MM-DD.

    Raises
    ------
    UnusableFile
        No such folder, or a file in it is no shared archive.
    InputError
        As :func:`methods.read`.
    """
    import dataclasses

    called = name or os.path.basename(os.path.abspath(folder))
    with as_unusable(folder):
        db = _opened(folder)
        try:
            found = records_that_count(db, COUNTED, called, where, since, until)
            marks = db.execute("SELECT DISTINCT * FROM marks ORDER BY marked_on").df()
        finally:
            db.close()
    return dataclasses.replace(found, marks=marks)


def gather_shared(folder: str | os.PathLike[str], path: str | os.PathLike[str]) -> Path:
    """Make one archive of what a folder of shared archives holds, such as to open it on the page.

    Raises
    ------
    UnusableFile
        There is a file at ``path``, or as :func:`read_shared`.
    """
    out = Path(path)
    if out.exists():
        raise UnusableFile(f"There is a file {str(out)!r} already.", rule="a new file")
    with as_unusable(folder):
        db = _opened(folder)
        try:
            frames = {
                "files": db.execute("SELECT * EXCLUDE (part, was) FROM files ORDER BY file_id").df(),
                "fillings": db.execute(
                    "SELECT * EXCLUDE (part, was, was_of, count, known) FROM fillings WHERE replaced_by IS NULL"
                ).df(),
                "readings": db.execute(f"SELECT r.* FROM {COUNTED} ORDER BY r.file_id, r.row_number").df(),
                "marks": db.execute("SELECT DISTINCT * FROM marks").df(),
            }
        finally:
            db.close()
        new = connect(out, write=True)
        try:
            for table, frame in frames.items():
                new.register("_new", frame)
                if table == "readings":
                    new.execute("CREATE TABLE readings AS SELECT * FROM _new LIMIT 0")
                new.execute(f"INSERT INTO {table} BY NAME SELECT * FROM _new")
                new.unregister("_new")
        finally:
            new.close()
    return out


def _quoted(*paths: Path) -> str:
    return ", ".join("'" + str(p).replace("'", "''") + "'" for p in paths)


def _opened(folder: Any) -> Any:
    """A database in memory that shows the Parquet files as the tables of one archive."""
    parts = shared_parts(folder, READINGS)
    if not parts:
        raise UnusableFile(f"{str(folder)!r} holds no shared archive ({READINGS}).", rule="a shared archive")
    db = database_library().connect(config={"autoinstall_known_extensions": "false", "threads": "2"})
    db.execute(f"SET allowed_directories = [{_quoted(Path(folder).absolute())}]")
    db.execute("SET enable_external_access = false")
    parts = [p.absolute() for p in parts]
    for part in parts:
        held = {
            row[0]: row[1] for row in db.execute(f"DESCRIBE SELECT * FROM read_parquet({_quoted(part)})").fetchall()
        }
        wrong = [c for c in (*COLUMNS, *PLACES, *_ABOUT) if c not in held]
        wrong += [c for c in NUMERIC if c in held and held[c] not in ("DOUBLE", "FLOAT", "BIGINT", "INTEGER")]
        if wrong:
            raise UnusableFile(f"{part.name} is no shared archive: its column {wrong[0]!r} is missing or is no number.")
    db.execute(
        f"CREATE VIEW parts AS SELECT * FROM read_parquet([{_quoted(*parts)}], union_by_name=true, filename='part')"
    )
    said = ", ".join(f"any_value({c}) AS {c}" for c in ("file", "sha256", "recipe", "added_on", "columns"))
    files = db.execute(
        f"SELECT part, file_id AS was, {said}, count(*) AS rows_added FROM parts "
        "GROUP BY part, file_id ORDER BY part, was"
    ).df()
    said = ", ".join(f"any_value({c}) AS {c}" for c in ("whose", "readings", "alike"))
    fillings = db.execute(
        f"SELECT part, file_id AS was_of, filling_id AS was, {said}, count(*) AS count, "
        "bool_and(sample IS NOT NULL AND tested_on IS NOT NULL) AS known "
        "FROM parts GROUP BY part, file_id, filling_id ORDER BY part, was_of, was"
    ).df()
    files, fillings = _once(files, fillings)
    for name, frame in (("files", files), ("fillings", fillings)):
        db.register(f"_{name}", frame)
        db.execute(f"CREATE TABLE {name} AS SELECT * FROM _{name}")
        db.unregister(f"_{name}")
    db.execute(
        "CREATE VIEW readings AS SELECT p.* EXCLUDE (part, file_id, filling_id, file, sha256, recipe, added_on, "
        "columns, whose, readings, alike), g.file_id, g.filling_id FROM parts p "
        "JOIN fillings g ON g.part = p.part AND g.was = p.filling_id AND g.was_of = p.file_id"
    )
    logs = [p.absolute() for p in shared_parts(folder, MARKS)]
    source = f"SELECT {', '.join(ELECTRODE_LOG)} FROM read_parquet([{_quoted(*logs)}])" if logs else (
        "SELECT " + ", ".join(f"'' AS {c}" for c in ELECTRODE_LOG) + " LIMIT 0")  # fmt: skip
    db.execute(f"CREATE VIEW marks AS {source}")
    return db


def _once(files: pd.DataFrame, fillings: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Files and fillings numbered anew; a filling that an earlier one has, or goes on from it, counts once."""
    files = files.assign(
        file_id=range(1, len(files) + 1), options="", version="", rows_read=files["rows_added"], refused=0
    )
    place = files.set_index(["part", "was"])["file_id"]
    fillings = fillings.assign(
        filling_id=range(1, len(fillings) + 1),
        file_id=[int(place[key]) for key in zip(fillings["part"], fillings["was_of"], strict=True)],
        replaced_by=pd.array([None] * len(fillings), dtype="Int64"),
    )
    kept = fillings.iloc[:0]
    for _, new in fillings.groupby("part", sort=False):
        met = met_again(new, kept)
        met.index = new.index
        again = met.index[met["what"] == "known"]
        fillings.loc[again, "replaced_by"] = 0
        gone = fillings.index[fillings["filling_id"].isin(met.loc[met["replaces"] >= 0, "replaces"])]
        fillings.loc[gone, "replaced_by"] = 0
        kept = pd.concat([kept.drop(gone, errors="ignore"), new.drop(again)])
    double = files["sha256"].duplicated()
    files["sha256"] = files["sha256"].where(~double, files["sha256"] + " again")
    return files, fillings
