"""Where the records at hand stand: the series they hold, and their scatter in the unit in which plans are asked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import NotEstimable
from methods.planning.pilot_data import Pilot
from methods.records.table import CONDITION, as_table, filling_codes, group_codes, withstood


@dataclass(frozen=True)
class Series:
    """The breakdowns of one oil under one condition: ``kv`` (n,), ``filling`` codes (n,), number of withstands."""

    label: str
    method: str | None
    kv: np.ndarray
    filling: np.ndarray
    withstood: int


@dataclass(frozen=True)
class Standing:
    """A typical series of the records: median number of fillings, and of values on each; the commonest method."""

    series: int
    fillings: int
    breakdowns_per_filling: int
    method: str | None


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


def series_of(data: Any) -> tuple[Series, ...]:
    """Every oil under every condition of a record table, in the order of the data.

    ``label`` names the columns among sample and condition in which the series differ.
    """
    table = as_table(data)
    keys = [k for k in ("sample", *CONDITION) if k in table.columns]
    shown = [k for k in keys if table[k].nunique(dropna=False) > 1] or keys[:1]
    codes, filling, gone = group_codes(table, keys), filling_codes(table), withstood(table)
    out = []
    for code in pd.unique(codes):
        rows = np.flatnonzero(codes == code)
        first = table.iloc[rows[0]]
        cells = [f"{v:g}" if isinstance(v, float) else str(v) for v in (first[k] for k in shown) if not pd.isna(v)]
        method = first["method"] if "method" in keys and not pd.isna(first["method"]) else None
        kv = table["kv"].to_numpy(dtype=float)[rows]
        label = ", ".join(cells) or "all records"
        out.append(Series(label, None if method is None else str(method), kv, filling[rows], int(gone[rows].sum())))
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
    return Standing(len(found), int(np.median(fillings)), max(int(np.median(each)), 1), common)


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
