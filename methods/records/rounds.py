"""Many rounds at once: a folder of record tables on disk, summarised without loading it, by DuckDB."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import COLUMNS, CONDITION
from methods.errors import InputError, MissingExtra, UnusableFile
from methods.records.table import BREAKDOWN, WITHSTOOD
from methods.result import Caution

#: Voltages are counted in steps of this many kV for quantiles and histograms; finer than any test set reads.
STEP_KV = 0.01


@dataclass(frozen=True)
class Rounds:
    """A data set of rounds on disk: its files and what its columns are called there.

    ``columns`` maps the names of the record table to the headings in the files. Nothing is read until a
    summary is asked for.
    """

    files: tuple[str, ...]
    kind: str
    columns: dict[str, str]
    memory: str
    threads: int


@dataclass(frozen=True)
class RoundsSummary:
    """What a data set of rounds holds.

    ``groups`` has a row a combination of ``by`` with ``n, withstood, mean_kv, sd_kv, fillings, min_kv,
    max_kv`` and a column a quantile (``q1`` for 1 % ...). A group with withstood tests has no mean and SD,
    and no quantile at or above its lowest ceiling. ``histogram`` has the counts per ``by`` and bin
    (``low_kv, high_kv, breakdowns, withstood``). rows_read = rows + refused.
    """

    files: int
    rows_read: int
    rows: int
    refused: int
    by: tuple[str, ...]
    groups: pd.DataFrame
    histogram: pd.DataFrame
    cautions: tuple[Caution, ...]


def level_label(value: Any) -> str:
    """A level's name as the user would write it: 2.5 not 2.50, 1 not 1.0, an empty cell as a dash."""
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return "–"
    if isinstance(value, (float, np.floating)):
        return f"{value:g}"
    return str(value)


def _duckdb() -> Any:
    try:
        import duckdb
    except ImportError as why:
        raise MissingExtra(
            "Summarising rounds on disk needs DuckDB: install gapshift[bigdata] (pip install 'gapshift[bigdata]')."
        ) from why
    return duckdb


def _name(text: str) -> str:
    """A column name quoted for SQL."""
    return '"' + text.replace('"', '""') + '"'


def _literal_path(path: Path) -> str:
    """A file's path in which DuckDB sees no pattern."""
    return "".join(f"[{c}]" if c in "*?[" else c for c in str(path))


@contextmanager
def _connection(memory: str, threads: int) -> Iterator[Any]:
    """A DuckDB session of its own, with a memory ceiling and a place to spill that is removed afterwards."""
    with tempfile.TemporaryDirectory(prefix="gapshift-") as spill:
        settings = {
            "memory_limit": memory, "threads": str(threads), "temp_directory": spill,
            "preserve_insertion_order": "false", "autoinstall_known_extensions": "false",
        }  # fmt: skip
        connection = _duckdb().connect(":memory:", config=settings)
        try:
            yield connection
        finally:
            connection.close()


def _source(rounds: Rounds) -> str:
    if rounds.kind == "parquet":
        return "read_parquet(?, union_by_name = true, hive_partitioning = true)"
    return "read_csv(?, union_by_name = true, hive_partitioning = true, all_varchar = true, header = true)"


def open_rounds(
    path: str | os.PathLike[str],
    *,
    columns: Mapping[str, str] | None = None,
    memory: str = "1GB",
    threads: int | None = None,
) -> Rounds:
    """Look at a Parquet or CSV file, or at a folder of them (also partitioned: ``laboratory=A/round=3/part.parquet``).

    The files are long tables with the record table's column names; ``columns`` (name -> heading) says where
    a file calls one otherwise. They must be clean: rows whose kV is no number above zero are counted as
    refused. Untidy sheets are read with :func:`methods.read` first.

    Parameters
    ----------
    memory : str
        Ceiling of DuckDB's working memory; beyond it work goes to a temporary folder.
    threads : int, optional
        By default the number of processors, at most 4.

    Raises
    ------
    MissingExtra
        DuckDB is not installed.
    UnusableFile
        No Parquet or CSV file there, no kv column, or files that cannot be read together.
    InputError
        A heading that is not there.
    """
    _duckdb()
    place = Path(path)
    if not place.exists():
        raise UnusableFile(f"There is no file or folder {str(path)!r}.")
    found = sorted(p for p in place.rglob("*") if p.is_file()) if place.is_dir() else [place]
    parquet = [p for p in found if p.suffix.lower() in (".parquet", ".pq")]
    text = [p for p in found if p.suffix.lower() in (".csv", ".tsv")]
    if not parquet and not text:
        raise UnusableFile(f"{str(path)!r} holds no Parquet or CSV files.")
    if parquet and text:
        raise UnusableFile(f"{str(path)!r} holds both Parquet and CSV files; keep one kind in a folder.")
    kind, files = ("parquet" if parquet else "csv"), tuple(_literal_path(p.resolve()) for p in parquet or text)
    rounds = Rounds(files, kind, {}, memory, threads or min(4, os.cpu_count() or 1))
    heads = _headings(rounds)
    mapping = {c: c for c in heads if c in COLUMNS} | {c: c for c in heads if c not in COLUMNS}
    for name, heading in (columns or {}).items():
        if heading not in heads:
            raise InputError(f"No file has a column {heading!r}; there are {', '.join(heads)}.", column=heading)
        mapping[name] = heading
    if "kv" not in mapping:
        raise UnusableFile(f"The files have no column kv; say which one it is. There are: {', '.join(heads)}.")
    return Rounds(files, kind, mapping, memory, rounds.threads)


def _run(rounds: Rounds, query: str) -> pd.DataFrame:
    duckdb = _duckdb()
    try:
        with _connection(rounds.memory, rounds.threads) as connection:
            return connection.execute(query, [list(rounds.files)]).df()
    except duckdb.Error as why:
        first = str(why).splitlines()[0]
        raise UnusableFile(f"The files cannot be read together: {first}") from None


def _headings(rounds: Rounds) -> list[str]:
    return [str(c) for c in _run(rounds, f"SELECT * FROM {_source(rounds)} LIMIT 0").columns]


def _column(rounds: Rounds, name: str) -> str:
    if name not in rounds.columns:
        raise InputError(f"The rounds have no column {name!r}; there are {', '.join(rounds.columns)}.", column=name)
    return _name(rounds.columns[name])


def _kv(rounds: Rounds) -> str:
    return f"TRY_CAST({_column(rounds, 'kv')} AS DOUBLE)"


def _stood(rounds: Rounds) -> str:
    """SQL that is true for a withstood row."""
    return f"coalesce({_column(rounds, 'outcome')} = '{WITHSTOOD}', false)" if "outcome" in rounds.columns else "false"


def _valid(rounds: Rounds) -> str:
    """SQL that is true for a row that counts: a finite kV above zero and an outcome that is known or empty."""
    ok = f"coalesce(isfinite({_kv(rounds)}) AND {_kv(rounds)} > 0, false)"
    if "outcome" not in rounds.columns:
        return ok
    outcome = _column(rounds, "outcome")
    return f"({ok} AND coalesce({outcome} IN ('{BREAKDOWN}', '{WITHSTOOD}'), true))"


def _filling_key(rounds: Rounds) -> str:
    """SQL for one number a filling, over the same columns as :func:`methods.records.table.filling_codes`."""
    parts = [_column(rounds, c) for c in ("sample", *CONDITION) if c in rounds.columns]
    if "tested_on" in rounds.columns:
        parts.append(f"substr(CAST({_column(rounds, 'tested_on')} AS VARCHAR), 1, 10)")
    if "filling" in rounds.columns:
        parts.append(_column(rounds, "filling"))
    return f"hash({', '.join(parts)})" if parts else "0"


def _by(rounds: Rounds, by: Sequence[str] | None) -> tuple[str, ...]:
    if by is None:
        return tuple(c for c in CONDITION if c in rounds.columns)
    for name in by:
        _column(rounds, name)
    return tuple(by)


def summarise_rounds(
    rounds: Rounds,
    *,
    by: Sequence[str] | None = None,
    quantiles: Sequence[float] = (0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99),
    bins: int = 64,
    fillings: bool = True,
) -> RoundsSummary:
    """Count, mean, SD, fillings, quantiles and histogram of every group, in three passes over the files.

    Parameters
    ----------
    by : sequence of str, optional
        What makes a group; by default every column of a condition that the files have.
    quantiles : sequence of float
        Between 0 and 1; exact to 0.01 kV, linear between values as in NumPy.
    bins : int
        Bars of the histogram over the whole range, the same for all groups.
    fillings : bool
        Whether to count fillings, the slowest pass.
    """
    if not 1 <= bins <= 10_000:
        raise InputError(f"bins is {bins}; it must be between 1 and 10000.")
    if any(not 0 <= q <= 1 for q in quantiles):
        raise InputError("Quantiles lie between 0 and 1.")
    names = _by(rounds, by)
    selected = ", ".join(f"{_column(rounds, c)} AS {_name(c)}" for c in names)
    keys = ", ".join(_name(c) for c in names)
    head, group = (f"{selected}, ", f"GROUP BY {keys}") if names else ("", "")
    source, kv, stood, valid = _source(rounds), _kv(rounds), _stood(rounds), _valid(rounds)
    rows_read = int(_run(rounds, f"SELECT count(*) AS n FROM {source}")["n"].iloc[0])
    inner = f"SELECT {head}{kv} AS _kv, {stood} AS _stood FROM {source} WHERE {valid}"
    lead = f"{keys}, " if names else ""
    groups = _run(
        rounds,
        f"SELECT {lead}count(*) AS n, count(*) FILTER (_stood) AS withstood, avg(_kv) AS mean_kv, "
        f"stddev_samp(_kv) AS sd_kv, min(_kv) AS min_kv, max(_kv) AS max_kv, "
        f"min(_kv) FILTER (_stood) AS _ceiling FROM ({inner}) {group}",
    )
    steps = _run(
        rounds,
        f"SELECT {lead}CAST(round(_kv / {STEP_KV}) AS BIGINT) AS _step, count(*) AS _n, "
        f"count(*) FILTER (_stood) AS _w FROM ({inner}) GROUP BY {lead}_step",
    )
    rows = int(groups["n"].sum()) if len(groups) else 0
    if not rows:
        raise UnusableFile("No row of these files has a breakdown voltage above zero.")
    if fillings:
        counted = _run(
            rounds,
            f"SELECT {lead}count(*) AS fillings FROM (SELECT DISTINCT {head}{_filling_key(rounds)} AS _f "
            f"FROM {source} WHERE {valid}) {group}",
        )
        groups = _beside(groups, counted, names)
    groups = _finish(groups, steps, names, quantiles)
    return RoundsSummary(
        len(rounds.files), rows_read, rows, rows_read - rows, names, groups, _histogram(steps, names, bins),
        tuple(_warnings(groups, rows_read - rows)),
    )  # fmt: skip


def _codes(frames: Sequence[pd.DataFrame], names: Sequence[str]) -> list[np.ndarray]:
    """The same group number in each frame for the same values of ``names``; an empty cell is a value."""
    if not names:
        return [np.zeros(len(f), dtype=np.int64) for f in frames]
    joined = pd.concat([f[list(names)].astype("object") for f in frames], ignore_index=True)
    codes = joined.groupby(list(names), dropna=False, sort=False).ngroup().to_numpy()
    ends = np.cumsum([len(f) for f in frames])[:-1]
    return list(np.split(codes, ends))


def _beside(groups: pd.DataFrame, counted: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    left, right = _codes([groups, counted], names)
    lookup = dict(zip(right.tolist(), counted["fillings"].tolist(), strict=True))
    return groups.assign(fillings=[int(lookup[c]) for c in left.tolist()])


def _quantile(values: np.ndarray, counts: np.ndarray, q: float) -> float:
    """NumPy's linear quantile of values that occur ``counts`` times; values in order."""
    ends = np.cumsum(counts)
    place = q * (ends[-1] - 1)
    low, high = (int(np.searchsorted(ends, np.floor(place) + o, side="right")) for o in (0, 1))
    high = min(high, len(values) - 1)
    return float(values[low] + (place - np.floor(place)) * (values[high] - values[low]))


def _finish(
    groups: pd.DataFrame, steps: pd.DataFrame, names: Sequence[str], quantiles: Sequence[float]
) -> pd.DataFrame:
    """Add quantiles, and take away what withstood tests leave unknown."""
    left, right = _codes([groups, steps], names)
    order = np.lexsort((steps["_step"].to_numpy(), right))
    right, kv = right[order], steps["_step"].to_numpy()[order] * STEP_KV
    counts = steps["_n"].to_numpy()[order]
    starts = np.searchsorted(right, left, side="left")
    ends = np.searchsorted(right, left, side="right")
    ceiling = groups["_ceiling"].astype(float).to_numpy()
    out = groups.drop(columns="_ceiling")
    for q in quantiles:
        found = np.array([_quantile(kv[a:b], counts[a:b], q) for a, b in zip(starts, ends, strict=True)])
        out[f"q{100 * q:g}"] = np.where(found >= ceiling - STEP_KV / 2, np.nan, found)
    some = out["withstood"] > 0
    out[["mean_kv", "sd_kv", "max_kv"]] = out[["mean_kv", "sd_kv", "max_kv"]].astype(float).mask(some)
    return out.sort_values(list(names), ignore_index=True, na_position="first") if names else out


def _histogram(steps: pd.DataFrame, names: Sequence[str], bins: int) -> pd.DataFrame:
    kv = steps["_step"].to_numpy() * STEP_KV
    edges = np.linspace(kv.min() - STEP_KV / 2, kv.max() + STEP_KV / 2, bins + 1)
    at = np.clip(np.searchsorted(edges, kv, side="right") - 1, 0, bins - 1)
    table = steps.assign(_bin=at, breakdowns=steps["_n"] - steps["_w"], withstood=steps["_w"])
    out = table.groupby([*names, "_bin"], dropna=False, sort=True)[["breakdowns", "withstood"]].sum().reset_index()
    out.insert(len(names), "low_kv", edges[out["_bin"].to_numpy()])
    out.insert(len(names) + 1, "high_kv", edges[out["_bin"].to_numpy() + 1])
    return out.drop(columns="_bin")


def _warnings(groups: pd.DataFrame, refused: int) -> Iterator[Caution]:
    if refused:
        yield Caution(
            "refused", f"{refused} rows have no voltage above zero or an unknown outcome and count in no figure."
        )
    stood = int((groups["withstood"] > 0).sum())
    if stood:
        yield Caution(
            "withstood",
            f"{stood} groups hold withstood tests: they have no mean and SD here, because a ceiling is not a value.",
        )


def round_cells(
    rounds: Rounds, *, level: Sequence[str], laboratory: str = "laboratory", result: str = "result"
) -> pd.DataFrame:
    """The cells of a precision experiment, summed in the database.

    Returns
    -------
    DataFrame
        ``level, laboratory, n, mean, sd, withstood``, a row a level and laboratory, ready for
        :func:`methods.interlab.precision_of_cells`. With ``result='filling'`` a value is a filling's mean.
    """
    if result not in ("result", "breakdown", "filling"):
        raise InputError(f"result must be 'result', 'filling' or 'breakdown', not {result!r}.")
    if result == "result":  # a method that reports several fillings as one needs them in memory
        result = "filling" if "filling" in rounds.columns else "breakdown"
    if result == "filling" and "filling" not in rounds.columns:
        raise InputError("The rounds do not say which filling a row came from.", column="filling")
    selected = "".join(f"{_column(rounds, c)} AS _l{i}, " for i, c in enumerate(level))
    keys = "".join(f"_l{i}, " for i in range(len(level)))
    lab = _column(rounds, laboratory)
    rows = (
        f"SELECT {selected}CAST({lab} AS VARCHAR) AS laboratory, {_kv(rounds)} AS _kv, {_stood(rounds)} AS _stood, "
        f"{_filling_key(rounds)} AS _f FROM {_source(rounds)} WHERE {_valid(rounds)} AND {lab} IS NOT NULL"
    )
    if result == "filling":
        rows = (
            f"SELECT {keys}laboratory, avg(_kv) AS _kv, bool_or(_stood) AS _stood FROM ({rows}) "
            f"GROUP BY {keys}laboratory, _f"
        )
    found = _run(
        rounds,
        f"SELECT {keys}laboratory, count(*) AS n, avg(_kv) AS mean, stddev_samp(_kv) AS sd, "
        f"count(*) FILTER (_stood) AS withstood FROM ({rows}) GROUP BY {keys}laboratory",
    )
    named = pd.Series("all", index=found.index)
    for i in range(len(level)):
        part = found.pop(f"_l{i}").map(level_label)
        named = part if i == 0 else named + " / " + part
    found.insert(0, "level", named)
    return found
