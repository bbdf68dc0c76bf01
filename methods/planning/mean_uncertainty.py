"""The mean of one oil under one condition and its standard uncertainty, fillings and withstands respected."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from methods.errors import NotEstimable
from methods.result import Caution
from methods.scatter import components, fit


@dataclass(frozen=True)
class MeanUncertainty:
    """Mean, kV; standard uncertainty, kV; degrees of freedom; what they were taken from. None: cannot be had."""

    mean_kv: float | None
    standard_uncertainty_kv: float | None
    df: float | None
    basis: str
    cautions: tuple[Caution, ...]


_ONE_FILLING = Caution(
    "one_filling",
    "All breakdowns are from one filling: how much another filling of the same oil would differ is not in the "
    "uncertainty, so the verdict is less sure than it looks. A second filling, or the scatter between fillings known "
    "from history, mends it.",
)


def mean_uncertainty(
    kv: np.ndarray,
    withstood: np.ndarray,
    fillings: np.ndarray,
    *,
    between_sd: float | None = None,
    instrument_kv: float = 0.0,
) -> MeanUncertainty:
    """Estimate the mean of breakdowns (n,) with their fillings' labels (n,).

    With two or more fillings the uncertainty is that of the filling means (k - 1 degrees of freedom); with one it is
    that of the breakdowns, plus ``between_sd`` (kV, from history) where given. Withstands are right-censored: the mean
    is then the maximum-likelihood one of the normal family. ``instrument_kv`` is added in quadrature; degrees of
    freedom after Welch and Satterthwaite (JCGM 100:2008, G.4).
    """
    labels = np.unique(fillings, return_inverse=True)[1]
    k, n = int(labels.max()) + 1, len(kv)
    if withstood.all():
        return MeanUncertainty(None, None, None, "withstood only", ())
    if withstood.any():
        return _censored(kv, withstood, labels, k, between_sd, instrument_kv)
    mean, found = float(kv.mean()), []
    sizes = np.bincount(labels)
    means = np.bincount(labels, kv) / sizes
    within = float(np.sum((kv - means[labels]) ** 2))
    if k > 1 and between_sd is None:
        share = sizes / n
        variance, df = k / (k - 1) * float(np.sum(share**2 * (means - mean) ** 2)), float(k - 1)
        basis = "filling means"
    elif n - k < 1:
        return MeanUncertainty(
            mean, None, None, "one value", (Caution("few", "One breakdown alone has no uncertainty."),)
        )
    else:
        scatter = within / (n - k) / n
        history = (between_sd or 0.0) ** 2 * float(np.sum((sizes / n) ** 2))
        variance, basis = scatter + history, "breakdowns of one filling"
        df = (n - k) * (variance / scatter) ** 2 if scatter > 0 else math.inf
        if between_sd is not None:
            basis = "breakdowns, and scatter between fillings from history"
        else:
            found.append(_ONE_FILLING)
    if (k if basis == "filling means" else n) < 3:
        found.append(Caution("few", "The uncertainty rests on two values only and is itself hardly known."))
    return _with_instrument(mean, variance, df, basis, instrument_kv, found)


def _with_instrument(
    mean: float, variance: float, df: float, basis: str, instrument_kv: float, found: list[Caution]
) -> MeanUncertainty:
    total = variance + instrument_kv**2
    if instrument_kv > 0 and variance > 0:
        df = df * (total / variance) ** 2
    elif variance == 0:
        df = math.inf
        found.append(
            Caution(
                "no_scatter",
                f"All {'filling means' if basis == 'filling means' else 'values'} are equal; copied or rounded values "
                "look like this. The uncertainty is understated.",
            )
        )
    return MeanUncertainty(mean, math.sqrt(total), df, basis, tuple(found))


def _censored(
    kv: np.ndarray, withstood: np.ndarray, labels: np.ndarray, k: int, between_sd: float | None, instrument_kv: float
) -> MeanUncertainty:
    """Maximum likelihood with the ceilings right-censored."""
    found = [
        Caution(
            "withstood",
            f"{int(withstood.sum())} of {len(kv)} reached the ceiling without a breakdown; the mean is the "
            "maximum-likelihood one of the normal family, in which a ceiling counts as 'higher than that'.",
        )
    ]
    try:
        if k > 1 and between_sd is None:
            table = pd.DataFrame(
                {"kv": kv, "outcome": np.where(withstood, "withstood", "breakdown"), "filling": labels.astype(str)}
            )
            whole = components(table, fixed=(), factors=["filling"])
            mean, error, df = whole.mean_kv, whole.standard_error_kv, whole.df
            basis = "filling means, censored maximum likelihood"
        else:
            one = fit(kv, withstood, family="normal")
            mean, error, df = one.parameters["mean"], one.standard_errors["mean"], float(max((~withstood).sum() - 1, 1))
            basis = "censored maximum likelihood"
            sizes = np.bincount(labels) / len(kv)
            history = (between_sd or 0.0) ** 2 * float(np.sum(sizes**2))
            if between_sd is None:
                found.append(_ONE_FILLING)
            elif error > 0:
                df *= (1 + history / error**2) ** 2
            error = math.sqrt(error**2 + history)
    except NotEstimable as error_text:
        found.append(Caution("not_estimable", str(error_text)))
        return MeanUncertainty(None, None, None, "not estimable", tuple(found))
    return _with_instrument(float(mean), float(error) ** 2, float(df), basis, instrument_kv, found)
