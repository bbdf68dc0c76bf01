"""Which fillings are the same test met again: by their cells, whatever file they stand in."""

from __future__ import annotations

import hashlib

import numpy as np
import pandas as pd

from methods.columns import CONDITION
from methods.records.table import filling_codes, withstood

#: What tells fillings apart besides their readings.
WHOSE = ("sample", *CONDITION, "tested_on", "filling")
#: Readings from which on an equal series is no accident, where neither oil nor day is told.
FEWEST = 3


def fillings_of(table: pd.DataFrame) -> tuple[np.ndarray, pd.DataFrame]:
    """The fillings of one file.

    Returns
    -------
    codes : int array, one entry a row
    DataFrame
        A row a filling: ``whose`` (what tells it apart, as one text), ``readings`` (its values in order), ``alike``
        (a fingerprint of oil, day and readings alone), ``known`` (whether oil and day are told) and ``count``.
    """
    codes = filling_codes(table)
    said = pd.Series("", index=table.index)
    for column in WHOSE:
        said = said + "\x1f" + _texts(table[column])
    values = pd.Series([f"{v:.9g}" for v in table["kv"].to_numpy(dtype=float)], index=table.index)
    values = values.where(~withstood(table), ">" + values)
    first = pd.Series(codes).drop_duplicates().index
    grouped = values.groupby(codes)
    out = pd.DataFrame({
        "whose": said.iloc[first].to_numpy(),
        "readings": grouped.agg(" ".join).to_numpy(),
        "known": (table["sample"].notna() & table["tested_on"].notna()).iloc[first].to_numpy(),
        "count": grouped.size().to_numpy(),
    })  # fmt: skip
    who = _texts(table["sample"]).iloc[first].to_numpy() + "\x1f" + _texts(table["tested_on"]).iloc[first].to_numpy()
    out["alike"] = [_hash(f"{w}\x1e{r}") for w, r in zip(who, out["readings"], strict=True)]
    return codes, out


def _texts(column: pd.Series) -> pd.Series:
    if pd.api.types.is_numeric_dtype(column):
        return pd.Series(["" if v != v else f"{v:.9g}" for v in column.to_numpy(dtype=float)], index=column.index)
    return column.astype(object).where(column.notna(), "").astype(str)


def _hash(text: str) -> str:
    return hashlib.blake2b(text.encode(), digest_size=12).hexdigest()


def met_again(new: pd.DataFrame, kept: pd.DataFrame) -> pd.DataFrame:
    """What each new filling is to those that are kept.

    Parameters
    ----------
    new : DataFrame
        Of :func:`fillings_of`.
    kept : DataFrame
        ``filling_id, whose, readings, alike``.

    Returns
    -------
    DataFrame
        ``what``: ``new``; ``known`` (all cells are equal, or fewer readings of the same filling); ``grown`` (the kept
        one goes on in it; ``replaces`` has its id); ``alike`` (oil, day and readings are equal but something else is
        not: it is added, and said).
    """
    by_whose: dict[str, list[tuple[int, str]]] = {}
    wanted = set(new["whose"])
    for filling_id, whose, readings in zip(kept["filling_id"], kept["whose"], kept["readings"], strict=True):
        if whose in wanted:
            by_whose.setdefault(whose, []).append((int(filling_id), readings))
    alike = set(kept["alike"])
    what, replaces = [], []
    columns = [new[c].tolist() for c in ("whose", "readings", "known", "count", "alike")]
    for own, values, told, count, fingerprint in zip(*columns, strict=True):
        found, taken = "new", -1
        for filling_id, readings in by_whose.get(own, ()):
            if f"{readings} ".startswith(f"{values} ") and (told or count >= FEWEST):
                found = "known"
                break
            if told and f"{values} ".startswith(f"{readings} "):
                found, taken = "grown", filling_id
                break
        if found == "new" and fingerprint in alike and count >= FEWEST:
            found = "alike"
        what.append(found)
        replaces.append(taken)
    return pd.DataFrame({"what": what, "replaces": replaces})
