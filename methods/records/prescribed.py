"""What the recognised test method adds to the records: only empty cells, only what the standard fixes, always said."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from methods.columns import NUMERIC, PRESCRIBED
from methods.protocols import Protocol, recognise
from methods.records.factors import one_text
from methods.records.kept import Log
from methods.records.table import first_rows, group_codes

#: The rows of one recognised way of testing (all, or by their places), the first of them, and its protocol.
Plan = tuple[slice | np.ndarray, int, Protocol]


def apply_protocols(table: pd.DataFrame, rows: np.ndarray, known: dict[str, np.ndarray], log: Log) -> None:
    """Fill ``table`` in place from the protocols that its method texts name; ``rows`` are the user's row numbers.

    Parameters
    ----------
    table : DataFrame
        Rows that were read (n); changed in place.
    rows : ndarray
        (n,) Rows of the cells in the file.
    known : dict of str to ndarray
        Column to codes (n,) of columns that were coded before.
    log : Log
        Takes the problems and guesses.
    """
    if not table["method"].notna().any():
        return
    codes = group_codes(table, ["method", "edition", *PRESCRIBED], known)
    firsts = first_rows(codes)
    spellings: dict[str, dict[str, Protocol]] = {}
    plans: list[Plan] = []
    for code, first in enumerate(firsts):
        head = table.iloc[first]
        found = _recognised(head)
        if found is None:
            continue
        where = np.flatnonzero(codes == code) if len(firsts) > 1 else slice(None)
        count = len(where) if isinstance(where, np.ndarray) else len(table)
        plans.append((where, first, found))
        spellings.setdefault(found.key, {})[head["method"]] = found
        _departures(head, found, rows[first], count, log)
        if found.family == "astm_d1816" and found.gap_mm.value is None and pd.isna(head["gap_mm"]):
            log.problem(rows[first], "gap", "", "ASTM D1816 is done at 1 mm or at 2 mm",
                        f"kept without a gap; no comparison with a limit until the gap is given "
                        f"({count} rows)", code="gap_missing")  # fmt: skip
    _fill(table, plans, known, log)
    _one_spelling(table, plans, spellings, known, log)


def _recognised(head: pd.Series) -> Protocol | None:
    if pd.isna(head["method"]):
        return None
    gap = None if pd.isna(head["gap_mm"]) else float(head["gap_mm"])
    return recognise(str(head["method"]), None if pd.isna(head["edition"]) else str(head["edition"]), gap_mm=gap)


def _departures(head: pd.Series, found: Protocol, row: Any, count: int, log: Log) -> None:
    own = {name: head[name] for name in PRESCRIBED if not pd.isna(head[name])}
    for name, sentence in found.departed(**own).items():
        log.problem(
            row, name, str(own.get(name, "")), sentence, f"kept as the file says ({count} rows)", code="departure"
        )
    for name, said in found.stated.items():
        if name in own and own[name] != said and not (name == "gap_mm" and abs(float(own[name]) - float(said)) <= 0.05):
            log.problem(
                row,
                name,
                str(own[name]),
                f"the method text says {said}",
                f"kept as the column says ({count} rows)",
                code="departure",
            )


def _fill(table: pd.DataFrame, plans: list[Plan], known: dict[str, np.ndarray], log: Log) -> None:
    done: dict[str, set[str]] = {}
    for name in (*PRESCRIBED, "edition"):
        values = [_value(found, name) for _, _, found in plans]
        if all(v is None for v in values):
            continue
        if len(set(values)) == 1 and not table[name].notna().any() and _rows_of(plans, len(table)) == len(table):
            filled = _fill_all(table, name, values[0], plans, known)
        else:
            filled = _fill_some(table, name, values, plans, known)
        for at in filled:
            shown = f"{name} {values[at]:g}" if isinstance(values[at], float) else f"{name} {values[at]}"
            done.setdefault(plans[at][2].designation, set()).add(shown)
    for designation, said in done.items():
        log.guess(
            "filled from protocol",
            ", ".join(sorted(said)),
            f"{designation}, where the cells were empty",
            "fill the cells in the file",
        )


def _value(found: Protocol, name: str) -> Any:
    """What a protocol fixes of a column; None where it does not."""
    return found.edition_stated if name == "edition" else found.stated.get(name, found.fixed().get(name))


def _rows_of(plans: list[Plan], size: int) -> int:
    return sum(len(where) if isinstance(where, np.ndarray) else size for where, _, _ in plans)


def _fill_all(
    table: pd.DataFrame, name: str, value: Any, plans: list[Plan], known: dict[str, np.ndarray]
) -> list[int]:  # fmt: skip
    """A column that is empty all through gets one value all through."""
    size = len(table)
    table[name] = np.full(size, float(value)) if name in NUMERIC else one_text(value, size)
    known[name] = np.ones(size, np.int32)
    return list(range(len(plans)))


def _fill_some(
    table: pd.DataFrame, name: str, values: list[Any], plans: list[Plan], known: dict[str, np.ndarray]
) -> list[int]:  # fmt: skip
    """Each plan fills its rows where the file says nothing; which of them did."""
    codes, levels = _levels(table, name, known)
    pool: list[Any] = list(np.asarray(levels))
    filled = []
    for at, ((where, first, _), value) in enumerate(zip(plans, values, strict=True)):
        if value is None or codes[first] >= 0:
            continue
        if value not in pool:
            pool.append(value)
        codes[where] = pool.index(value)
        filled.append(at)
    if filled:
        if name in NUMERIC:
            table[name] = np.append(np.asarray(pool, dtype=float), np.nan)[codes]
        else:
            table[name] = pd.array(pool, dtype="str").take(codes, allow_fill=True)
        known[name] = codes + 1
    return filled


def _levels(table: pd.DataFrame, name: str, known: dict[str, np.ndarray]) -> tuple[np.ndarray, Any]:
    """Codes of a column (-1 for empty) and what each means; from codes that are known already where there are some."""
    if not table[name].notna().any():
        return np.full(len(table), -1, np.int32), []
    if name not in known:
        return pd.factorize(table[name])
    return known[name] - 1, table[name].iloc[first_rows(known[name])[1:]].tolist()


def _one_spelling(
    table: pd.DataFrame,
    plans: list[Plan],
    spellings: dict[str, dict[str, Protocol]],
    known: dict[str, np.ndarray],
    log: Log,
) -> None:
    """Rows of one protocol group together: several spellings become its designation; a single one stays."""
    several = {key: texts for key, texts in spellings.items() if len(texts) > 1}
    if not several:
        return
    method = table["method"].to_numpy(dtype=object, copy=True)
    for where, _, found in plans:
        if found.key in several:
            method[where] = found.designation
    known.pop("method", None)
    table["method"] = pd.Series(method, index=table.index, dtype="str")
    for texts in several.values():
        designation = next(iter(texts.values())).designation
        shown = ", ".join(repr(t) for t in texts if t != designation)
        log.guess(
            "method", designation, f"written in several ways: {shown}", "--column method=HEADING of another column"
        )
