"""The uncertainty budget of one reported mean, from its own breakdowns and what is known of the bench."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from methods.errors import NotEstimable
from methods.planning.standing import Series
from methods.planning.uncertainty import Budget, mean_budget
from methods.result import Caution

_ONE_FILLING = Caution(
    "one_filling",
    "All breakdowns are from one filling: what differs from filling to filling is in no line of this budget, so the "
    "true uncertainty is larger. Give the scatter between fillings from history, or test a second filling.",
)


def budget_of(series: Series, *, between_sd: float | None = None, **bench: Any) -> Budget:
    """Budget of the mean of one oil under one condition.

    With two fillings or more the scatter is the SD of their means (k - 1 degrees of freedom); with one it is that of
    its breakdowns, and ``between_sd`` (kV, from history) stands for what another filling would differ by.

    Parameters
    ----------
    series : Series
        Of :func:`methods.planning.standing.series_of`.
    between_sd : float, optional
        Only used for one filling.
    **bench
        ``voltmeter_percent``, ``gap_mm``, ``gap_tolerance_mm``, ``exponent``, ``temperature_half_width_k``,
        ``kv_per_kelvin``, ``confidence``: as for :func:`methods.planning.uncertainty.mean_budget`.

    Raises
    ------
    NotEstimable
        Withstands, whose mean is not that of values; one breakdown; no scatter at all.
    """
    if series.withstood:
        raise NotEstimable(
            f"{series.label}: {series.withstood} of {len(series.kv)} were withstood. A ceiling is no value, so the "
            "mean has no budget of this kind; its uncertainty by maximum likelihood is in the table of verdicts."
        )
    codes = np.unique(series.filling, return_inverse=True)[1]
    sizes = np.bincount(codes)
    means = np.bincount(codes, series.kv) / sizes
    k, n = len(sizes), max(int(np.median(sizes)), 1)
    if len(series.kv) < 2:
        raise NotEstimable(f"{series.label}: one breakdown shows no scatter.")
    mean = float(series.kv.mean())
    if k > 1:
        spread = float(means.std(ddof=1))
        if spread == 0:
            raise NotEstimable(f"{series.label}: all filling means are equal; copied or rounded values look like this.")
        return mean_budget(mean, fillings=k, breakdowns_per_filling=n, filling_means_sd=spread, **bench)
    inside = float(series.kv.std(ddof=1))
    if inside == 0:
        raise NotEstimable(f"{series.label}: all values are equal; copied or rounded values look like this.")
    if between_sd is not None:
        return mean_budget(
            mean, fillings=1, breakdowns_per_filling=n, within_sd=inside, between_sd=between_sd,
            between_df=float("inf"), **bench,
        )  # fmt: skip
    found = mean_budget(mean, fillings=1, breakdowns_per_filling=n, within_sd=inside, **bench)
    return replace(found, cautions=(*found.cautions, _ONE_FILLING))
