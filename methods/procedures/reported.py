"""What one reported result is: so many breakdowns on so many fillings, as the method prescribes it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import RECOGNISED_BY
from methods.errors import InputError
from methods.records.table import filling_codes, group_codes, withstood
from methods.result import Caution

#: What may count as one result: what the method reports, the mean of a filling, each breakdown.
RESULTS: tuple[str, ...] = ("result", "filling", "breakdown")
#: Most fillings of which a result may be the mean.
MOST = 100

#: The question that a file leaves open whose rows name no method, or one that does not say it.
QUESTION = "What is one reported result?"


@dataclass(frozen=True)
class Reported:
    """A reported result is the mean of ``breakdowns_per_filling`` (None: what there are) on each of ``fillings``.

    ``assumed``: no method says it, and nobody was asked; the mean of one filling is then taken.
    """

    fillings: int
    breakdowns_per_filling: int | None = None
    assumed: bool = False

    @property
    def words(self) -> str:
        """What it is, in words: ``the mean of 5 breakdowns on one filling``."""
        k, n = self.fillings, self.breakdowns_per_filling
        if k == 1:
            return "the mean of one filling" if n is None else f"the mean of {n} breakdowns on one filling"
        return f"the mean of {k} fillings" + ("" if n is None else f" of {n}")

    def whole(self, fillings: int) -> int:
        """How many whole results so many fillings make."""
        return fillings // self.fillings


def check_result(result: Any) -> str | int:
    """One of :data:`RESULTS`, or the number of fillings of a result where no method says it.

    Raises
    ------
    InputError
    """
    if isinstance(result, str) and result in RESULTS:
        return result
    text = str(result).strip()
    if not isinstance(result, bool) and text.isdecimal() and 1 <= int(text) <= MOST:
        return int(text)
    raise InputError(
        f"result must be 'result', 'filling' or 'breakdown', or the number of fillings of which a result is the mean "
        f"where no method says it (1 to {MOST}), not {result!r}.",
        column="result", text=text,
    )  # fmt: skip


def reported_by(protocol: Any) -> Reported | None:
    """What a protocol reports; None where there is none or it does not say how many fillings make a result."""
    if protocol is None or not protocol.fillings.value:
        return None
    per = protocol.breakdowns_per_filling.value
    return Reported(int(protocol.fillings.value), None if per is None else int(per))


def result_of(rows: pd.DataFrame, result: str | int = "result") -> Reported:
    """What a result of these rows is, which are of one oil under one condition.

    Parameters
    ----------
    rows : DataFrame
        Record table.
    result
        A number answers for rows whose method does not say it.
    """
    fillings, per = _prescribed(rows)
    known = len(rows) > 0 and not np.isnan(fillings).any() and len(np.unique(fillings)) == 1
    if known:
        each = np.unique(per)
        return Reported(int(fillings[0]), int(each[0]) if len(each) == 1 and not np.isnan(each[0]) else None)
    return Reported(result, None) if isinstance(result, int) else Reported(1, None, True)


def asked() -> Caution:
    """The question, with the default that is used until it is answered."""
    return Caution(
        "result_assumed",
        f"{QUESTION} No method says it for some rows (they name none, or one that leaves it open), so the mean of one "
        "filling counts as a result. Say of how many fillings a result is the mean: 1, 2, 5 ...; or name the method.",
    )


def no_fillings() -> Caution:
    """What is taken of records in which no row says which filling it came from."""
    return Caution(
        "rows_are_results",
        "No row says which filling it came from, so each row counts as one result. If rows are breakdowns, name the "
        "filling: single breakdowns scatter more than results.",
    )


def result_rows(
    table: pd.DataFrame, keys: Sequence[str], *, by: Sequence[str] = (), result: str | int = "result"
) -> tuple[pd.DataFrame, list[Caution]]:
    """One row a result.

    Parameters
    ----------
    table : DataFrame
        Record table with the columns ``keys``, within which a result lies.
    by : sequence of str
        Columns under which the labels of fillings may start anew.
    result
        See :func:`check_result`. With ``"result"`` or a number, fillings are taken in their order; those that are left
        over make no result and are said. Where no row names its filling, each row is a result.
    keys : sequence of str
        Columns within which a result lies.

    Returns
    -------
    DataFrame
        The keys and ``kv`` (mean, kV), ``n`` and ``within`` (number and variance, kV², of what it is the mean of:
        breakdowns of its one filling, else means of its fillings), ``fillings`` (of how many it is the mean) and
        ``stood`` (some were withstood).
    """
    result, notes = check_result(result), []
    if result not in ("filling", "breakdown") and len(table) and not table["filling"].notna().any():
        result, notes = "breakdown", [no_fillings()]
    names = list(keys)
    frame = pd.DataFrame({k: table[k].to_numpy() for k in names})
    frame["_f"] = np.arange(len(table)) if result == "breakdown" else filling_codes(table, by=by)
    frame["kv"], frame["stood"] = table["kv"].to_numpy(dtype=float), withstood(table)
    grouped = frame.groupby([*names, "_f"], sort=False)
    rows = grouped.agg(kv=("kv", "mean"), n=("kv", "size"), within=("kv", "var"), stood=("stood", "any")).reset_index()
    if result in ("filling", "breakdown") or not len(rows):
        return rows.assign(fillings=1), notes
    frame["_k"], frame["_per"] = _prescribed(table)
    cells = frame.groupby(names, sort=False).agg(
        low=("_k", "min"), high=("_k", "max"), known=("_k", "count"), size=("_k", "size"), per=("_per", "max")
    )
    said = (cells["known"] == cells["size"]) & (cells["low"] == cells["high"])
    cells["_k"] = cells["low"].where(said, 1 if result == "result" else int(result)).astype(int)
    cells["_per"] = cells["per"].where(said)
    notes = [] if said.all() or isinstance(result, int) else [asked()]
    rows = rows.merge(cells[["_k", "_per"]], left_on=names, right_index=True, how="left", sort=False)
    short = int((rows["n"] < rows["_per"]).sum())
    if short:
        text = (
            f"{short} of {len(rows)} fillings hold fewer breakdowns than their method's result is the mean of; they "
            "count as they are, and scatter more than reported results would."
        )
        notes.append(Caution("short_fillings", text))
    if (rows["_k"] == 1).all():
        return rows[[*names, "kv", "n", "within", "stood"]].assign(fillings=1), notes
    rows["_b"] = rows.groupby(names, sort=False).cumcount() // rows["_k"]
    blocks = rows.groupby([*names, "_b", "_k"], sort=False)
    out = blocks.agg(
        kv=("kv", "mean"), stood=("stood", "any"), _n=("kv", "size"), _var=("kv", "var"), _one=("within", "first"),
        _per=("n", "first"),
    ).reset_index()  # fmt: skip
    whole = out["_n"] == out["_k"]
    left = int(out.loc[~whole, "_n"].sum())
    if left:
        text = f"{left} fillings make no whole result of their method (it prescribes several) and were left out."
        notes.append(Caution("incomplete_results", text))
    several = out["_k"] > 1
    out["n"] = out["_n"].where(several, out["_per"])
    out["within"] = out["_var"].where(several, out["_one"])
    out = out.rename(columns={"_k": "fillings"})
    return out.loc[whole, [*names, "kv", "n", "within", "stood", "fillings"]].reset_index(drop=True), notes


def _prescribed(table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Fillings of a result and breakdowns on each, as the method of each row prescribes them; nan where it does not."""
    from methods.protocols.recognition import recognise

    fillings, per = np.full(len(table), np.nan), np.full(len(table), np.nan)
    if not table["method"].notna().any():
        return fillings, per
    columns = [c for c in RECOGNISED_BY if c in table.columns]
    codes = group_codes(table, columns)
    for code, at in zip(*np.unique(codes, return_index=True), strict=True):
        method, edition, gap = (table[c].iloc[at] if c in columns else None for c in RECOGNISED_BY)
        if pd.isna(method):
            continue
        gap = None if pd.isna(gap) else float(gap)
        known = recognise(str(method), None if pd.isna(edition) else edition, gap_mm=gap)
        found = reported_by(known)
        if found is not None:
            fillings[codes == code] = found.fillings
            per[codes == code] = np.nan if found.breakdowns_per_filling is None else found.breakdowns_per_filling
    return fillings, per
