"""Where the records at hand stand: the series they hold, and their scatter in the unit in which plans are asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import CONDITION, STIRRED, with_unit
from methods.errors import NotEstimable
from methods.planning.pilot_data import Pilot
from methods.records.table import as_table, filling_codes, group_codes, withstood


@dataclass(frozen=True)
class Series:
    """The breakdowns of one oil under one condition: ``kv`` (n,), ``filling`` codes (n,), withstands, gap (mm).

    ``labelled``: every breakdown says which filling it is from; otherwise they count as of one.
    """

    label: str
    method: str | None
    kv: np.ndarray
    filling: np.ndarray
    withstood: int
    gap_mm: float | None = None
    fluid: str | None = None
    edition: str | None = None
    labelled: bool = True


@dataclass(frozen=True)
class Standing:
    """A typical series of the records: median number of fillings, and of values on each; the commonest method.

    ``fluids``: what each series' liquid is, as far as the records say.
    """

    series: int
    fillings: int
    breakdowns_per_filling: int
    method: str | None
    fluids: tuple[str | None, ...] = ()


@dataclass(frozen=True)
class Coefficients:
    """A pilot's scatter as fractions of its mean, as estimated and at its upper limits; None where it cannot be seen.

    ``serial_correlation`` is never below zero: a negative one is planned as none.
    """

    cov: float
    cov_upper: float
    between_cov: float | None
    between_cov_upper: float | None
    mean_kv: float
    serial_correlation: float


def telling(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """The columns, in their order, that it takes to tell the rows apart; those that only repeat others are left out.

    The first column is always among them, so that a single row has a name too.
    """
    columns = list(rows[0]) if rows else []
    kept = columns[:1]

    def apart(names: Sequence[str]) -> int:
        return len({tuple(str(r[n]) for n in names) for r in rows})

    for name in columns[1:]:
        if apart([*kept, name]) > apart(kept):
            kept.append(name)
    return kept


def name_of(row: Mapping[str, Any], columns: Sequence[str]) -> str:
    """The cells of these columns as a name: ``Alderholt T1, 2 mm``; what is empty is left out."""
    cells = []
    for column in columns:
        value = row[column]
        if value is None or pd.isna(value):
            continue
        cells.append(STIRRED.get(value, str(value)) if column == "stirring" else with_unit(column, value))
    return ", ".join(cells) or "all records"


def series_of(data: Any) -> tuple[Series, ...]:
    """Every oil under every condition of a record table, in the order of the data.

    ``label`` names the columns among sample and condition that it takes to tell the series apart.
    """
    table = as_table(data)
    keys = [k for k in ("sample", *CONDITION) if k in table.columns]
    codes, filling, gone = group_codes(table, keys), filling_codes(table), withstood(table)
    firsts = np.unique(codes, return_index=True)[1]
    shown = telling([{k: row[k] for k in keys} for _, row in table.iloc[firsts].iterrows()])
    out = []
    for code in pd.unique(codes):
        rows = np.flatnonzero(codes == code)
        first = table.iloc[rows[0]]
        label = name_of(first, shown)
        method = first["method"] if "method" in keys and not pd.isna(first["method"]) else None
        kv = table["kv"].to_numpy(dtype=float)[rows]
        gap = None if pd.isna(first["gap_mm"]) else float(first["gap_mm"])
        named = None if method is None else str(method)
        fluid = str(first["fluid"]) if "fluid" in table.columns and not pd.isna(first["fluid"]) else None
        edition = None if pd.isna(first["edition"]) else str(first["edition"])
        labelled = not table["filling"].iloc[rows].isna().any()
        out.append(Series(label, named, kv, filling[rows], int(gone[rows].sum()), gap, fluid, edition, labelled))
    return tuple(out)


def standing(data: Any) -> Standing:
    """What a typical series of the records has: medians over oils and conditions, rounded down.

    Raises
    ------
    NotEstimable
        An empty table.
    """
    found = series_of(data)
    if not found:
        raise NotEstimable("The table holds no breakdowns.")
    fillings = [len(np.unique(s.filling)) for s in found]
    each = [len(s.kv) / k for s, k in zip(found, fillings, strict=True)]
    methods = pd.Series([s.method for s in found], dtype=object).dropna()
    common = None if methods.empty else str(methods.mode().iloc[0])
    return Standing(
        len(found), int(np.median(fillings)), max(int(np.median(each)), 1), common, tuple(s.fluid for s in found)
    )


def coefficients(pilot: Pilot) -> Coefficients:
    """The pilot's SDs divided by its mean."""
    mean = pilot.mean_kv

    def part(sd: float | None) -> float | None:
        return None if sd is None else sd / mean

    return Coefficients(
        cov=pilot.within_sd / mean,
        cov_upper=pilot.within_upper / mean,
        between_cov=part(pilot.between_sd),
        between_cov_upper=part(pilot.between_upper),
        mean_kv=mean,
        serial_correlation=max(pilot.serial_correlation or 0.0, 0.0),
    )
