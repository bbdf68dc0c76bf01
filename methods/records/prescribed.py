"""What the recognised test method adds to the records: only empty cells, only what the standard fixes, always said."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from methods.protocols import Protocol, recognise
from methods.records.kept import Log
from methods.records.table import group_codes

_FIXED = ("electrode", "gap_mm", "stirring", "rise_kv_s")


def apply_protocols(table: pd.DataFrame, rows: np.ndarray, known: dict[str, np.ndarray], log: Log) -> None:
    """Fill ``table`` in place from the protocols that its method texts name; ``rows`` are the user's row numbers."""
    if not table["method"].notna().any():
        return
    codes = group_codes(table, ["method", "edition", *_FIXED], known)
    firsts = np.unique(codes, return_index=True)[1]
    spellings: dict[str, dict[str, Protocol]] = {}
    plans: list[tuple[np.ndarray, Protocol]] = []
    for code, first in enumerate(firsts):
        head = table.iloc[first]
        found = _recognised(head)
        if found is None:
            continue
        where = np.flatnonzero(codes == code) if len(firsts) > 1 else np.arange(len(table))
        plans.append((where, found))
        spellings.setdefault(found.key, {})[head["method"]] = found
        _departures(head, found, rows[where[0]], len(where), log)
        if found.family == "astm_d1816" and found.gap_mm.value is None and pd.isna(head["gap_mm"]):
            log.problem(rows[where[0]], "gap", "", "ASTM D1816 is done at 1 mm or at 2 mm",
                        f"kept without a gap; no comparison with a limit until the gap is given "
                        f"({len(where)} rows)")  # fmt: skip
    _fill(table, plans, known, log)
    _one_spelling(table, plans, spellings, known, log)


def _recognised(head: pd.Series) -> Protocol | None:
    if pd.isna(head["method"]):
        return None
    gap = None if pd.isna(head["gap_mm"]) else float(head["gap_mm"])
    return recognise(str(head["method"]), None if pd.isna(head["edition"]) else str(head["edition"]), gap_mm=gap)


def _departures(head: pd.Series, found: Protocol, row: Any, count: int, log: Log) -> None:
    own = {name: head[name] for name in _FIXED if not pd.isna(head[name])}
    for sentence in found.departures(**own):
        name = sentence.split(" ", 1)[0]
        log.problem(row, name, str(own.get(name, "")), sentence, f"kept as the file says ({count} rows)")
    for name, said in found.stated.items():
        if name in own and own[name] != said and not (name == "gap_mm" and abs(float(own[name]) - float(said)) <= 0.05):
            log.problem(
                row, name, str(own[name]), f"the method text says {said}", f"kept as the column says ({count} rows)"
            )


def _fill(
    table: pd.DataFrame, plans: list[tuple[np.ndarray, Protocol]], known: dict[str, np.ndarray], log: Log
) -> None:
    done: dict[str, set[str]] = {}
    for name in (*_FIXED, "edition"):
        text = name not in ("gap_mm", "rise_kv_s")
        codes, levels = _levels(table, name, known)
        pool: list[Any] = list(np.asarray(levels))
        changed = False
        for where, found in plans:
            value = found.edition_stated if name == "edition" else found.stated.get(name, found.fixed().get(name))
            if value is None or codes[where[0]] >= 0:
                continue
            if value not in pool:
                pool.append(value)
            codes[where] = pool.index(value)
            changed = True
            shown = f"{name} {value:g}" if isinstance(value, float) else f"{name} {value}"
            done.setdefault(found.designation, set()).add(shown)
        if changed:
            if text:
                table[name] = pd.array(pool, dtype="str").take(codes, allow_fill=True)
            else:
                table[name] = np.append(np.asarray(pool, dtype=float), np.nan)[codes]
            known[name] = codes + 1
    for designation, values in done.items():
        log.guess(
            "filled from protocol",
            ", ".join(sorted(values)),
            f"{designation}, where the cells were empty",
            "fill the cells in the file",
        )


def _levels(table: pd.DataFrame, name: str, known: dict[str, np.ndarray]) -> tuple[np.ndarray, Any]:
    """Codes of a column (-1 for empty) and what each means; from codes that are known already where there are some."""
    if not table[name].notna().any():
        return np.full(len(table), -1, np.int32), []
    if name not in known:
        return pd.factorize(table[name])
    codes = known[name] - 1
    size = int(codes.max(initial=-1)) + 1
    first = np.zeros(size, np.int64)
    first[codes[codes >= 0]] = np.flatnonzero(codes >= 0)
    return codes, table[name].iloc[first].tolist()


def _one_spelling(
    table: pd.DataFrame,
    plans: list[tuple[np.ndarray, Protocol]],
    spellings: dict[str, dict[str, Protocol]],
    known: dict[str, np.ndarray],
    log: Log,
) -> None:
    """Rows of one protocol group together: several spellings become its designation; a single one stays."""
    several = {key: texts for key, texts in spellings.items() if len(texts) > 1}
    if not several:
        return
    method = table["method"].to_numpy(dtype=object, copy=True)
    for where, found in plans:
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
