"""Adding tests to the archive and taking them out again. A file is added whole or not at all."""

from __future__ import annotations

import datetime
import json
import os
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.archive.container import as_unusable, connect
from methods.archive.series import fillings_of, met_again
from methods.columns import COLUMNS, NUMERIC
from methods.errors import InputError
from methods.records.only import day
from methods.result import Caution, Shown

#: Where each reading stood in its file.
PLACES = ("source_row", "source_column", "source_sheet", "source_place")
#: The column of the records that says which file a reading came from.
FILE = "source_file"


@dataclass(frozen=True, repr=False)
class Added(Shown):
    """What came of adding files.

    ``files`` has a row a file: ``file``, ``status`` (``added``, ``nothing new`` or ``added before``; where it was added
    under another name then, ``added_as``), ``rows_read``,
    ``refused``, ``rows_added``, ``fillings_added``, ``fillings_known`` (the same filling is kept already),
    ``fillings_grown`` (a filling that is kept went on and was replaced) and ``fillings_alike`` (oil, day and readings
    are those of one that is kept, something else is not: added, and to be looked at).
    """

    archive: str
    files: pd.DataFrame
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True, repr=False)
class Listed(Shown):
    """What an archive holds.

    ``files`` has a row a file (``file, added_on, rows_read, refused, rows_kept, first_day, last_day, recipe, sha256``);
    ``marks`` a row an entry of the electrode log (``marked_on, what, electrode, instrument, note``).
    """

    archive: str
    files: pd.DataFrame
    marks: pd.DataFrame
    breakdowns: int
    withstood: int
    cautions: tuple[Caution, ...] = ()


class Archive:
    """An archive that is open for writing; ``with`` closes it. One process at a time writes.

    Raises
    ------
    UnusableFile
        No archive, or one that another process is writing to.
    MissingExtra
        DuckDB is not installed.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = os.fspath(path)
        self._db = connect(path, write=True)

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Write what is still in the journal into the file, and let it go."""
        self._db.close()

    def add(self, source: Any, *, recipe: str = "", **options: Any) -> Added:
        """Read one file and add what is new in it.

        Parameters
        ----------
        source : path, bytes, DataFrame or Records
        recipe : str
            How it is read: TOML, kept with the file.
        **options
            What else :func:`methods.read` takes.

        Raises
        ------
        InputError
            It cannot be read. Nothing is added then.
        """
        from methods.cage import read_in_cage

        given = {k: v for k, v in options.items() if v is not None}
        records = source if hasattr(source, "origin") else read_in_cage(source, recipe=recipe or None, **given)
        row: dict[str, Any] = {
            "file": records.source.name, "status": "added before", "rows_read": records.rows_read,
            "refused": records.refused, "rows_added": 0, "fillings_added": 0, "fillings_known": 0,
            "fillings_grown": 0, "fillings_alike": 0,
        }  # fmt: skip
        before = self._db.execute("SELECT file FROM files WHERE sha256 = ?", [records.source.sha256]).fetchone()
        if before is None:
            row |= self._take(records, recipe, given)
        elif before[0] != row["file"]:
            row["added_as"] = before[0]
        return Added(self.path, pd.DataFrame([row]), tuple(_cautions(row)))

    def _take(self, records: Any, recipe: str, options: dict[str, Any]) -> dict[str, Any]:
        table, origin = records.table.reset_index(drop=True), records.origin.reset_index(drop=True)
        codes, new = fillings_of(table)
        kept = self._db.execute(
            "SELECT filling_id, whose, readings, alike FROM fillings WHERE replaced_by IS NULL"
        ).df()
        met = met_again(new, kept)
        stays = (met["what"] != "known").to_numpy()
        keep = stays[codes]
        file_id = self._next("files", "file_id")
        ids = self._next("fillings", "filling_id") + np.arange(len(new))
        own = [c for c in table.columns if c not in COLUMNS]
        about = [
            file_id, records.source.name, records.source.sha256, recipe, json.dumps(options, default=str),
            datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"), _version(), records.rows_read,
            records.refused, int(keep.sum()), json.dumps(own),
        ]  # fmt: skip
        fillings = new[["whose", "readings", "alike"]].assign(filling_id=ids, file_id=file_id)[stays]
        self._db.execute("BEGIN")
        try:
            self._db.execute(f"INSERT INTO files VALUES ({', '.join('?' * len(about))})", about)
            if keep.any():
                replaced = met.loc[met["replaces"] >= 0, "replaces"].tolist()
                self._db.execute(
                    "UPDATE fillings SET replaced_by = ? WHERE list_contains(?, filling_id)",
                    [file_id, [int(i) for i in replaced]],
                )
                self._insert("fillings", fillings)
                self._insert("readings", _rows(table, origin, own, ids[codes], keep, file_id))
            self._db.execute("COMMIT")
        except BaseException:
            self._db.execute("ROLLBACK")
            raise
        count = met["what"].value_counts()
        return {
            "status": "added" if keep.any() else "nothing new", "rows_added": int(keep.sum()),
            "fillings_added": int(count.get("new", 0) + count.get("alike", 0)),
            "fillings_known": int(count.get("known", 0)), "fillings_grown": int(count.get("grown", 0)),
            "fillings_alike": int(count.get("alike", 0)),
        }  # fmt: skip

    def _insert(self, table: str, frame: pd.DataFrame) -> None:
        """Append a frame; ``readings`` is made with the first, with a column for each of the record table."""
        self._db.register("_new", frame)
        try:
            if table == "readings":
                self._db.execute("CREATE TABLE IF NOT EXISTS readings AS SELECT * FROM _new LIMIT 0")
            self._db.execute(f"INSERT INTO {table} BY NAME SELECT * FROM _new")
        finally:
            self._db.unregister("_new")

    def _next(self, table: str, key: str) -> int:
        return int(self._db.execute(f"SELECT coalesce(max({key}), 0) + 1 FROM {table}").fetchone()[0])

    def remove(self, file: str) -> int:
        """Take a file out again, by its name or the beginning of its SHA-256; give how many readings went.

        Fillings that it had replaced count again.

        Raises
        ------
        InputError
            There is no such file, or several.
        """
        found = self._db.execute(
            "SELECT file_id, rows_added FROM files WHERE file = ? OR (length(?) >= 8 AND starts_with(sha256, ?))",
            [file, file, file],
        ).fetchall()
        if len(found) != 1:
            what = "no file" if not found else f"{len(found)} files"
            raise InputError(
                f"The archive holds {what} called {file!r}; 'gapshift archive list' shows names and SHA-256."
            )
        ((file_id, rows),) = found
        self._db.execute("BEGIN")
        try:
            if self._has_readings():
                self._db.execute("DELETE FROM readings WHERE file_id = ?", [file_id])
            self._db.execute("DELETE FROM fillings WHERE file_id = ?", [file_id])
            self._db.execute("UPDATE fillings SET replaced_by = NULL WHERE replaced_by = ?", [file_id])
            self._db.execute("DELETE FROM files WHERE file_id = ?", [file_id])
            self._db.execute("COMMIT")
        except BaseException:
            self._db.execute("ROLLBACK")
            raise
        return int(rows)

    def _has_readings(self) -> bool:
        return bool(
            self._db.execute("SELECT count(*) FROM duckdb_tables() WHERE table_name = 'readings'").fetchone()[0]
        )

    def mark(self, marked_on: str, what: str, *, electrode: str = "", instrument: str = "", note: str = "") -> None:
        """Write into the electrode log: polished, conditioned, gap reset or whatever was done, on this day.

        Parameters
        ----------
        marked_on : str
            The day, YYYY-MM-DD.
        what : str
            What was done.
        electrode : str, optional
            The electrodes to which it was done.
        instrument : str, optional
            The test set.
        note : str, optional
            A remark.

        Raises
        ------
        InputError
            The day is not written as YYYY-MM-DD, or nothing is said to have been done.
        """
        if not what.strip():
            raise InputError("Say what was done, such as polished.", column="what")
        self._db.execute(
            "INSERT INTO marks VALUES (?, ?, ?, ?, ?)", [day(marked_on), what.strip(), electrode, instrument, note]
        )


def _rows(
    table: pd.DataFrame, origin: pd.DataFrame, own: list[str], ids: np.ndarray, keep: np.ndarray, file_id: int
) -> pd.DataFrame:
    """The readings as they are kept: the known columns, and the file's own ones as one JSON text."""
    out = {c: table[c].astype(float) if c in NUMERIC else _text(table[c]) for c in COLUMNS}
    out |= {c: _text(origin[c]) if c in origin else _text(pd.Series(None, index=table.index)) for c in PLACES}
    frame = pd.DataFrame(out).assign(file_id=file_id, filling_id=ids, row_number=np.arange(len(table)))
    cells = [[None if pd.isna(v) else v for v in table[c].tolist()] for c in own]
    packed = [json.dumps(row, default=str) for row in zip(*cells, strict=True)] if own else [""] * len(table)
    return frame.assign(own=pd.Series(packed, dtype="str"))[keep]


def _text(column: pd.Series) -> pd.Series:
    return column.astype("str") if len(column) else column.astype(object)


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("gapshift")
    except PackageNotFoundError:
        return ""


def _cautions(row: dict[str, Any]) -> list[Caution]:
    out = []
    if row["fillings_alike"]:
        out.append(Caution("alike", (
            f"{row['file']}: {row['fillings_alike']} fillings have oil, day and readings of kept ones, but "
            "something else differs. They were added and count twice if they are the same tests: look at both, and "
            "take one file out with 'gapshift archive remove'."
        )))  # fmt: skip
    if row["fillings_grown"]:
        out.append(Caution("grown", (
            f"{row['file']}: {row['fillings_grown']} fillings go on from ones that were kept and take their place."
        )))  # fmt: skip
    return out


def list_archive(path: str | os.PathLike[str]) -> Listed:
    """What the archive holds, file by file, and its electrode log.

    Raises
    ------
    UnusableFile
        No archive, or a damaged one.
    """
    with as_unusable(path):
        db = connect(path, write=False)
        try:
            files = db.execute("SELECT * FROM files ORDER BY file_id").df()
            marks = db.execute("SELECT * FROM marks ORDER BY marked_on").df()
            some = db.execute("SELECT count(*) FROM duckdb_tables() WHERE table_name = 'readings'").fetchone()[0]
            kept = db.execute(
                "SELECT r.file_id, count(*) AS rows_kept, count(*) FILTER (r.outcome = 'withstood') AS withstood, "
                "min(r.tested_on) AS first_day, max(r.tested_on) AS last_day FROM readings r "
                "JOIN fillings f USING (filling_id) WHERE f.replaced_by IS NULL GROUP BY r.file_id"
            ).df() if some else pd.DataFrame({"file_id": [], "rows_kept": [], "withstood": []})  # fmt: skip
        finally:
            db.close()
    whole = files.merge(kept, on="file_id", how="left")
    whole[["rows_kept", "withstood"]] = whole[["rows_kept", "withstood"]].fillna(0).astype(int)
    stood = int(whole["withstood"].sum())
    shown = ["file", "added_on", "rows_read", "refused", "rows_kept", "first_day", "last_day", "recipe", "sha256"]
    for name in ("first_day", "last_day"):
        if name not in whole:
            whole[name] = None
    whole["recipe"] = [_first_line(r) for r in whole["recipe"]]
    return Listed(os.fspath(path), whole[shown], marks, int(whole["rows_kept"].sum()) - stood, stood)


def _first_line(recipe: Any) -> str:
    return str(recipe).strip().splitlines()[0] if isinstance(recipe, str) and recipe.strip() else ""
