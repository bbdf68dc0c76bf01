"""Quantities such as relative saturation that the mixed model takes out of a shift as straight lines."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import QUANTITIES, UNITS, factor_name, name_level
from methods.errors import InputError, NotEstimable
from methods.records.folding import fold
from methods.records.saturation import SATURATION, with_saturation
from methods.result import Caution
from methods.scatter.mixed import Contrast
from methods.shifts.liquid_state import mean_words
from methods.shifts.pairing import CodedRows, find_column
from methods.shifts.shift_results import CovariateLine
from methods.wording import list_words

#: Other spellings of the relative saturation.
_SATURATION = ("relativesaturation", "saturation", "rs")


def covariates_of(
    data: Any, covariates: Sequence[str], liquid: str | tuple[float, float] | None, model: str
) -> tuple[Any, list[str], list[Caution]]:
    """The records with the rows that have every covariate, their column names, and what was left out.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    covariates : sequence of str
        Names of the columns that are taken out as lines.
    liquid : str or tuple[float, float] or None
        The liquid, or the two constants of its solubility, where the records do not say it.
    model : str
        The model of the shift; only ``mixed`` takes covariates.

    Raises
    ------
    InputError
        Another model, or a column that holds no numbers.
    NotEstimable
        No row has them, or the saturation cannot be computed.
    """
    names = [covariates] if isinstance(covariates, str) else list(covariates)
    table = with_saturation(data, liquid)
    if not names:
        return table, [], []
    if model != "mixed":
        raise InputError("A covariate is taken out by the mixed model only; use model='mixed'.")
    lines = []
    for name in names:
        if fold(name).replace(" ", "") in (*_SATURATION, fold(SATURATION).replace(" ", "")):
            if SATURATION not in table.columns:
                raise NotEstimable(
                    "The relative saturation needs water (mg/kg), temperature (°C) and a liquid whose solubility is "
                    "known: one of them lacks in every row. Where the file does not say the fluid, name the liquid.",
                    column="water_mg_kg",
                )
            lines.append(SATURATION)
        else:
            lines.append(find_column(table, name))
    lines = list(dict.fromkeys(lines))
    there = np.ones(len(table), dtype=bool)
    for name in lines:
        values = pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=float)
        if name == "kv" or (table[name].notna().any() and not np.isfinite(values).any()):
            raise InputError(
                f"The column {name!r} holds no numbers; a covariate is a quantity such as {list_words(QUANTITIES)}.",
                column=name, rule="a number in every row",
            )  # fmt: skip
        table = table.assign(**{name: values})
        there &= np.isfinite(values)
    said = list_words([factor_name(n) for n in lines])
    if not there.any():
        raise NotEstimable(f"No row has {said}, so there is nothing to take out.", column=lines[0])
    if there.all():
        return table, lines, []
    text = f"{int((~there).sum())} of {len(there)} readings have no {said} and take no part."
    return table.loc[there].reset_index(drop=True), lines, [Caution("covariate_missing", text)]


def covariate_lines(
    lay: CodedRows, slopes: Mapping[str, tuple[Contrast, float]], log: bool, confidence: float
) -> list[CovariateLine]:
    """The fitted lines in kV (with ``log`` in per cent) a unit, each with its assumption in words.

    Parameters
    ----------
    lay : CodedRows
        The rows, coded.
    slopes : mapping of str to tuple[Contrast, float]
        Covariate to its slope and the value at which means are given.
    log : bool
        Whether ln kV was analysed.
    confidence : float
        Of the limits, a fraction; they come with the slopes.
    """
    out = []
    for name, (c, at) in slopes.items():
        values = (c.estimate, c.low, c.high)
        slope, low, high = (100 * math.expm1(v) for v in values) if log else values
        unit = UNITS.get(name, "unit")
        a = "percentage point" if unit == "%" else unit
        text = (
            f"{factor_name(name)[:1].upper()}{factor_name(name)[1:]} is taken out as a straight line of "
            f"{'log kV' if log else 'kV'}, the same for every {factor_name(lay.by)} and oil: {slope:+.3g} "
            f"{'%' if log else 'kV'} a {a}"
            + (f" ({low:+.3g} to {high:+.3g})" if math.isfinite(low) and math.isfinite(high) else "")
            + f", shown at {mean_words(name, at)}. If the line bends, or is steeper under one level, the shift hangs "
            "on where it is read."
        )
        out.append(CovariateLine(name, slope, low, high, c.p_value, at, text))
    return out


def covariate_cautions(lay: CodedRows, lines: Sequence[CovariateLine]) -> list[Caution]:
    """The assumption of every line, and where levels have no range of a quantity in common."""
    out = []
    for line in lines:
        out.append(Caution("covariate", line.sentence))
        values = lay.table[line.covariate].to_numpy(dtype=float)
        spans = [(values[lay.level == i].min(), values[lay.level == i].max()) for i in range(len(lay.levels))]
        if max(low for low, _ in spans) > min(high for _, high in spans):
            ends = "; ".join(
                f"{name_level(lay.by, level)}: {mean_words(line.covariate, low)} to {mean_words(line.covariate, high)}"
                for level, (low, high) in zip(lay.levels, spans, strict=True)
            )
            text = (
                f"The levels have no {factor_name(line.covariate)} in common ({ends}): the line is prolonged from one "
                "to the other, and no test shows that it holds there."
            )
            out.append(Caution("extrapolated", text))
    return out
