"""Many rounds at once: a folder of record tables on disk, summarised without loading it, by DuckDB."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import CONDITION
from methods.errors import InputError, UnusableFile
from methods.records.headings import resolve_column
from methods.records.rounds_files import Rounds, open_rounds, quoted, rows_sql, run
from methods.records.rounds_spread import ROWS, Pieces, distinct, merged, sums_sql
from methods.records.table import BREAKDOWN, WITHSTOOD
from methods.result import Caution

__all__ = ["Rounds", "RoundsSummary", "level_label", "open_rounds", "round_cells", "summarise_rounds"]

#: Voltages are counted in steps of this many kV for quantiles and histograms; finer than any test set reads.
STEP_KV = 0.01


@dataclass(frozen=True)
class RoundsSummary:
    """What a data set of rounds holds.

    ``groups`` has a row a combination of ``by`` with ``n, withstood, mean_kv, sd_kv, fillings, min_kv,
    max_kv`` and a column a quantile (``q1`` for 1 % ...). A group with withstood tests has no mean and SD,
    and no quantile at or above its lowest ceiling. ``histogram`` has the counts per ``by`` and bin
    (``low_kv, high_kv, breakdowns, withstood``). rows_read = rows + refused. ``read_first`` lists the files that went
    through the reader, ``problems`` and ``guesses`` what it said, ``skipped`` the files that take no part, and why.
    """

    files: int
    rows_read: int
    rows: int
    refused: int
    by: tuple[str, ...]
    groups: pd.DataFrame
    histogram: pd.DataFrame
    cautions: tuple[Caution, ...]
    read_first: pd.DataFrame
    problems: pd.DataFrame
    guesses: pd.DataFrame
    skipped: pd.DataFrame


def level_label(value: Any) -> str:
    """A level's name as the user would write it: 2.5 not 2.50, 1 not 1.0, an empty cell as a dash."""
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return "–"
    if isinstance(value, (float, np.floating)):
        return f"{value:g}"
    return str(value)


def _named(rounds: Rounds, name: str) -> str:
    """The column that ``name`` stands for: its own name, or another word for it."""
    if name not in rounds.columns:
        try:
            return resolve_column(pd.DataFrame(columns=list(rounds.columns)), name)
        except InputError:
            raise InputError(
                f"The rounds have no column {name!r}; there are {', '.join(rounds.columns)}. "
                "--column NAME=HEADING says which heading stands for one.",
                column=name,
            ) from None
    return name


def _column(rounds: Rounds, name: str) -> str:
    return quoted(_named(rounds, name))


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
    return tuple(_named(rounds, name) for name in by)


def summarise_rounds(
    rounds: Rounds,
    *,
    by: Sequence[str] | None = None,
    quantiles: Sequence[float] = (0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99),
    bins: int = 64,
    fillings: bool = True,
    executor: Executor | None = None,
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
    executor : concurrent.futures.Executor, optional
        Who sums the files, one by one (:mod:`methods.records.rounds_spread`); without one, DuckDB here.
    rounds : Rounds
        The data set.
    """
    if not 1 <= bins <= 10_000:
        raise InputError(f"bins is {bins}; it must be between 1 and 10000.")
    if any(not 0 <= q <= 1 for q in quantiles):
        raise InputError("Quantiles lie between 0 and 1.")
    names = _by(rounds, by)
    selected = ", ".join(f"{_column(rounds, c)} AS {quoted(c)}" for c in names)
    keys = ", ".join(quoted(c) for c in names)
    head, group = (f"{selected}, ", f"GROUP BY {keys}") if names else ("", "")
    rows_of, kv, stood, valid = rows_sql(rounds), _kv(rounds), _stood(rounds), _valid(rounds)
    if executor is not None:
        rows_read, groups, steps = _on_workers(rounds, Pieces.of(rounds, executor), names, head, keys, fillings)
        return _summary(rounds, rows_read, groups, steps, names, quantiles, bins)
    rows_read = int(run(rounds, f"SELECT count(*) AS n FROM {rows_of}")["n"].iloc[0]) + rounds.refused_before
    inner = f"SELECT {head}{kv} AS _kv, {stood} AS _stood FROM {rows_of} WHERE {valid}"
    lead = f"{keys}, " if names else ""
    groups = run(
        rounds,
        f"SELECT {lead}count(*) AS n, count(*) FILTER (_stood) AS withstood, avg(_kv) AS mean_kv, "
        f"stddev_samp(_kv) AS sd_kv, min(_kv) AS min_kv, max(_kv) AS max_kv, "
        f"min(_kv) FILTER (_stood) AS _ceiling FROM ({inner}) {group}",
    )
    steps = run(
        rounds,
        f"SELECT {lead}CAST(round(_kv / {STEP_KV}) AS BIGINT) AS _step, count(*) AS _n, "
        f"count(*) FILTER (_stood) AS _w FROM ({inner}) GROUP BY {lead}_step",
    )
    if fillings and len(groups) and groups["n"].sum():
        counted = run(
            rounds,
            f"SELECT {lead}count(*) AS fillings FROM (SELECT DISTINCT {head}{_filling_key(rounds)} AS _f "
            f"FROM {rows_of} WHERE {valid}) {group}",
        )
        groups = _beside(groups, counted, names)
    return _summary(rounds, rows_read, groups, steps, names, quantiles, bins)


def _summary(
    rounds: Rounds, rows_read: int, groups: pd.DataFrame, steps: pd.DataFrame, names: tuple[str, ...],
    quantiles: Sequence[float], bins: int,
) -> RoundsSummary:  # fmt: skip
    rows = int(groups["n"].sum()) if len(groups) else 0
    if not rows:
        raise UnusableFile("No row of these files has a breakdown voltage above zero.")
    groups = _finish(groups, steps, names, quantiles)
    return RoundsSummary(
        rounds.files, rows_read, rows, rows_read - rows, names, groups, _histogram(steps, names, bins),
        tuple(_cautions(groups, rows_read - rows, rounds)), rounds.read_first, rounds.problems, rounds.guesses,
        rounds.skipped,
    )  # fmt: skip


def _on_workers(
    rounds: Rounds, spread: Pieces, names: tuple[str, ...], head: str, keys: str, fillings: bool
) -> tuple[int, pd.DataFrame, pd.DataFrame]:
    """Rows read, groups and steps as :func:`summarise_rounds` has them, summed file by file."""
    lead, group = (f"{keys}, ", f"GROUP BY {keys}") if names else ("", "")
    number = f"hash({keys})" if names else "0"
    kv, stood, valid = _kv(rounds), _stood(rounds), _valid(rounds)
    inner = f"SELECT {head}{kv} AS _kv, {stood} AS _stood FROM {ROWS} WHERE {valid}"
    queries = [
        f"SELECT count(*) AS n FROM {ROWS}",
        f"SELECT {lead}{number} AS _g, count(*) AS n, count(*) FILTER (_stood) AS withstood, {sums_sql('_kv')}, "
        f"min(_kv) AS min_kv, max(_kv) AS max_kv, min(_kv) FILTER (_stood) AS _ceiling FROM ({inner}) {group}",
        f"SELECT {lead}CAST(round(_kv / {STEP_KV}) AS BIGINT) AS _step, count(*) AS _n, "
        f"count(*) FILTER (_stood) AS _w FROM ({inner}) GROUP BY {lead}_step",
    ]
    if fillings:
        queries.append(
            f"SELECT DISTINCT {number} AS _g, _f FROM (SELECT {head}{_filling_key(rounds)} AS _f FROM {ROWS} "
            f"WHERE {valid})"
        )
    counts, groups, steps, *counted = spread.ask(*queries)
    whole = merged(groups[groups["n"] > 0], [*names, "_g"])
    if fillings:
        whole["fillings"] = distinct(counted[0]).reindex(whole["_g"]).fillna(0).to_numpy(dtype=np.int64)
    steps = steps.groupby([*names, "_step"], dropna=False, sort=False)[["_n", "_w"]].sum().reset_index()
    return int(counts["n"].sum()) + rounds.refused_before, whole.drop(columns="_g"), steps


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


def _cautions(groups: pd.DataFrame, refused: int, rounds: Rounds) -> Iterator[Caution]:
    if refused:
        yield Caution("refused", f"Readings that were refused and count in no figure: {refused}.")
    if len(rounds.skipped):
        told = "; ".join(f"{s.file}: {s.why}" for s in rounds.skipped.head(5).itertuples())
        yield Caution("skipped", f"Files that take no part: {len(rounds.skipped)}. {told}")
    if rounds.large:
        yield Caution(
            "large",
            f"{', '.join(rounds.large[:5])}: too large to be read row by row, so rows that are no voltage above zero "
            "count as refused, and equal maxima are not taken for withstands.",
        )
    walls = rounds.guesses[rounds.guesses["code"] == "ceiling"] if len(rounds.guesses) else rounds.guesses
    for guess in walls.itertuples():
        yield Caution("ceiling", f"{guess.file}: guessed {guess.guess} ({guess.option} overrules it).")
    stood = int((groups["withstood"] > 0).sum())
    if stood:
        yield Caution(
            "withstood",
            f"Groups with withstood tests, without mean and SD here because a ceiling is not a value: {stood}.",
        )


def _refuse_several(rounds: Rounds) -> None:
    """Refuse methods that report several fillings as one result: that is not counted on disk.

    Raises
    ------
    InputError
    """
    from methods.procedures.reported import reported_by
    from methods.protocols.recognition import recognise

    if "method" not in rounds.columns:
        return
    named = run(rounds, f"SELECT DISTINCT CAST({_column(rounds, 'method')} AS VARCHAR) AS m FROM {rows_sql(rounds)}")
    for text in named["m"].dropna():
        found = reported_by(recognise(text))
        if found is not None and found.fillings > 1:
            raise InputError(
                f"{text} reports {found.words} as one result, which is not counted on disk: open these files with "
                "'gapshift precision', or take the mean of a filling (result='filling').",
                column="method", text=str(text),
            )  # fmt: skip


def round_cells(
    rounds: Rounds, *, level: Sequence[str], laboratory: str = "laboratory", result: str = "result",
    executor: Executor | None = None,
) -> pd.DataFrame:  # fmt: skip
    """The cells of a precision experiment, summed in the database.

    Parameters
    ----------
    rounds : Rounds
        The data set.
    level : sequence of str
        Columns that make a level.
    laboratory : str, default 'laboratory'
        Column that says who tested.
    result : str, default 'result'
        What one value is: ``result``, ``filling`` or ``breakdown``.
    executor : Executor, optional
        Sums the files elsewhere; without it one connection sums all.

    Returns
    -------
    DataFrame
        ``level, laboratory, n, mean, sd, withstood``, a row a level and laboratory, ready for
        :func:`methods.interlab.precision_of_cells`. With ``result='filling'`` a value is a filling's mean.
    executor
        As for :func:`summarise_rounds`.
    """
    if result not in ("result", "breakdown", "filling"):
        raise InputError(f"result must be 'result', 'filling' or 'breakdown', not {result!r}.")
    if result == "result":
        result = "filling" if "filling" in rounds.columns else "breakdown"
        _refuse_several(rounds)
    if result == "filling" and "filling" not in rounds.columns:
        raise InputError("The rounds do not say which filling a row came from.", column="filling")
    selected = "".join(f"{_column(rounds, c)} AS _l{i}, " for i, c in enumerate(level))
    keys = "".join(f"_l{i}, " for i in range(len(level)))
    lab = _column(rounds, laboratory)
    rows = (
        f"SELECT {selected}CAST({lab} AS VARCHAR) AS laboratory, {_kv(rounds)} AS _kv, {_stood(rounds)} AS _stood, "
        f"{_filling_key(rounds)} AS _f FROM {rows_sql(rounds) if executor is None else ROWS} "
        f"WHERE {_valid(rounds)} AND {lab} IS NOT NULL"
    )
    if executor is not None:
        found = _cells_on_workers(Pieces.of(rounds, executor), rows, len(level), result)
        return _labelled(found, len(level))
    if result == "filling":
        rows = (
            f"SELECT {keys}laboratory, avg(_kv) AS _kv, bool_or(_stood) AS _stood FROM ({rows}) "
            f"GROUP BY {keys}laboratory, _f"
        )
    found = run(
        rounds,
        f"SELECT {keys}laboratory, count(*) AS n, avg(_kv) AS mean, stddev_samp(_kv) AS sd, "
        f"count(*) FILTER (_stood) AS withstood FROM ({rows}) GROUP BY {keys}laboratory",
    )
    return _labelled(found, len(level))


def _cells_on_workers(spread: Pieces, rows: str, levels: int, result: str) -> pd.DataFrame:
    """The cells of :func:`round_cells`, summed file by file; fillings that stand in several files are put together."""
    names = [*(f"_l{i}" for i in range(levels)), "laboratory"]
    keys = ", ".join(names)
    each = f"{keys}, _f" if result == "filling" else keys
    (found,) = spread.ask(
        f"SELECT {each}, count(*) AS n, {sums_sql('_kv')}, count(*) FILTER (_stood) AS withstood FROM ({rows}) "
        f"GROUP BY {each}"
    )
    whole = merged(found, [*names, "_f"] if result == "filling" else names)
    if result != "filling":
        return whole.rename(columns={"mean_kv": "mean", "sd_kv": "sd"})[[*names, "n", "mean", "sd", "withstood"]]
    whole["stood"] = whole["withstood"] > 0
    cells = whole.groupby(names, dropna=False, sort=False)
    return cells.agg(
        n=("mean_kv", "size"), mean=("mean_kv", "mean"), sd=("mean_kv", "std"), withstood=("stood", "sum")
    ).reset_index()  # fmt: skip


def _labelled(found: pd.DataFrame, levels: int) -> pd.DataFrame:
    """Cells with their level in one column."""
    named = pd.Series("all", index=found.index)
    for i in range(levels):
        part = found.pop(f"_l{i}").map(level_label)
        named = part if i == 0 else named + " / " + part
    found.insert(0, "level", named)
    return found
