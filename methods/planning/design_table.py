"""Designs of the same oil side by side: what three fillings of two buy against one filling of six."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import InputError, NotEstimable
from methods.planning.bench_cost import assumed, design_cost
from methods.planning.nested import filling_variance, half_width_bench, half_width_known
from methods.result import Caution
from methods.scatter.component_table import Components

#: (fillings, breakdowns on each) that are set side by side unless others are named: six breakdowns in all.
USUAL: tuple[tuple[int, int], ...] = ((1, 6), (2, 3), (3, 2), (6, 1))


@dataclass(frozen=True)
class DesignTable:
    """Designs and what they buy with this scatter.

    ``designs`` has a row a design: ``design, fillings, breakdowns_per_filling, breakdowns, standard_error_kv``,
    ``gain`` (how many times smaller the standard error is than the first design's) with limits ``gain_low,
    gain_high`` from the limits of the intraclass correlation, ``half_width_known_kv`` (components known),
    ``half_width_kv`` (what the bench computes from its own filling means; nan for one filling), ``half_width_percent``,
    ``minutes``, ``oil_ml`` (nan without a protocol).
    """

    designs: pd.DataFrame
    mean_kv: float
    within_kv: float
    between_kv: float
    confidence: float
    cautions: tuple[Caution, ...]


def _gain(icc: float, k: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Standard error of the first design over that of each, when the parts are icc and 1 - icc."""
    if not np.isfinite(icc):
        return np.full(k.shape, np.nan)
    error = np.sqrt(icc / k + (1 - icc) / (k * n))
    return np.asarray(error[0] / error)


def design_table(
    components: Components,
    designs: Sequence[tuple[int, int]] = USUAL,
    *,
    protocol: Any = None,
    confidence: float = 0.95,
) -> DesignTable:
    """Set designs side by side with the scatter between fillings and between breakdowns of ``components``.

    The variance of a mean is ``s_f**2 / k + s_w**2 / (k n)`` (Cochran, *Sampling Techniques*, two-stage sampling).
    The first design is the one that the others are measured by.

    Parameters
    ----------
    components : Components
        With ``filling`` as the only random factor, so that its intraclass correlation is that of fillings.
    designs : sequence of (fillings, breakdowns on each)
    protocol : Protocol or str, optional
        For bench minutes and oil.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    InputError
        Counts below one. NotEstimable: the scatter between fillings is not known.
    """
    parts = {c.factor: c for c in components.components}
    if set(parts) != {"filling", "breakdown"}:
        raise NotEstimable(
            "These records do not show how fillings differ: no sample has two fillings of several breakdowns under one "
            "condition. Refill the cell with the same oil once or twice, and this can be answered."
        )
    k, n = (np.array([d[i] for d in designs], dtype=float) for i in (0, 1))
    if not len(k) or (k < 1).any() or (n < 1).any():
        raise InputError("A design has at least one filling of one breakdown.")
    within, between, mean = parts["breakdown"].sd, parts["filling"].sd, components.mean_kv
    if not np.isfinite([within, between]).all():
        raise NotEstimable("The scatter between fillings could not be estimated from these records.")
    costs = [design_cost(protocol, int(a), int(b), mean) for a, b in zip(k, n, strict=True)]
    icc = components.intraclass_correlation
    low, high = (_gain(v, k, n) for v in (components.intraclass_low, components.intraclass_high))
    own = half_width_bench(k, n, within, between, confidence)
    table = pd.DataFrame({
        "design": [f"{int(a)} × {int(b)}" for a, b in zip(k, n, strict=True)],
        "fillings": k.astype(int), "breakdowns_per_filling": n.astype(int), "breakdowns": (k * n).astype(int),
        "standard_error_kv": np.sqrt(filling_variance(within, between, n) / k),
        "gain": _gain(icc, k, n), "gain_low": np.fmin(low, high), "gain_high": np.fmax(low, high),
        "half_width_known_kv": half_width_known(k, n, within, between, confidence),
        "half_width_kv": own, "half_width_percent": 100 * own / mean,
        "minutes": [np.nan if c.bench_minutes is None else c.bench_minutes for c in costs],
        "oil_ml": [np.nan if c.oil_ml is None else c.oil_ml for c in costs],
    })  # fmt: skip
    notes = [*components.cautions, *assumed(protocol, mean)]
    return DesignTable(table, mean, within, between, confidence, tuple(notes))
