"""Differences of two methods by laboratory and oil: what oils, laboratories and the rest scatter, and their mean.

A difference is ``mean + oil + laboratory + rest``, the last three random. The variances come from sums of squares of
the two-way table, each freed of the other factor (Henderson's third method: Searle, Casella and McCulloch, Variance
Components (1992), ch. 5), which for complete tables are those of analysis of variance; cells may be missing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy


@dataclass(frozen=True)
class Crossed:
    """Variances of the differences (their unit squared) and what they make of the mean and of one difference.

    ``mean_variance`` with ``mean_df`` degrees of freedom is that of the mean for oils and laboratories like these;
    ``total`` with ``total_df`` the variance of the difference of one further oil in one further laboratory.
    """

    mean: float
    oils: float
    laboratories: float
    rest: float
    mean_variance: float
    mean_df: float
    total: float
    total_df: float
    laboratory_count: int


def crossed(values: np.ndarray, oil: np.ndarray, laboratory: np.ndarray) -> Crossed:
    """Take the variance of ``values`` (n,) apart by oil and laboratory (codes, (n,)).

    The degrees of freedom are Satterthwaite's (Biometrics 2 (1946) 110) of the sums of mean squares; a part that comes
    out below zero counts as none. With no freedom left for the rest (each oil in one laboratory) it is nan.
    """
    n = len(values)
    z_oil, z_lab = (_indicators(c) for c in (oil, laboratory))
    full = _projection(np.hstack([z_oil, z_lab]))
    by_oil, by_lab = _projection(z_oil), _projection(z_lab)
    free = n - _rank(full)
    rest = float(values @ (np.eye(n) - full) @ values) / free if free > 0 else float("nan")
    found = {}
    for name, z, other in (("oil", z_oil, by_lab), ("lab", z_lab, by_oil)):
        more = full - other
        df = _rank(more)
        square = float(values @ more @ values) / df if df else float("nan")
        found[name] = (square, df, float(np.trace(z.T @ more @ z)) / df if df else float("nan"))
    sizes = {"oil": z_oil.sum(axis=0), "lab": z_lab.sum(axis=0)}
    parts = {k: max((ms - rest) / each, 0.0) for k, (ms, _, each) in found.items()}
    share = {k: float((sizes[k] ** 2).sum()) / n**2 for k in found}
    mean_variance = share["oil"] * parts["oil"] + share["lab"] * parts["lab"] + rest / n
    total = parts["oil"] + parts["lab"] + rest
    return Crossed(
        float(values.mean()), parts["oil"], parts["lab"], rest, mean_variance,
        _freedom(mean_variance, found, rest, free, parts, share, 1 / n), total,
        _freedom(total, found, rest, free, parts, {"oil": 1.0, "lab": 1.0}, 1.0), z_lab.shape[1],
    )  # fmt: skip


def _freedom(
    variance: float, found: dict[str, tuple[float, int, float]], rest: float, free: int, parts: dict[str, float],
    weight: dict[str, float], of_rest: float,
) -> float:  # fmt: skip
    """Satterthwaite's degrees of freedom of ``weight``ed variances, each of them a difference of two mean squares."""
    below, left = 0.0, of_rest
    for name, (square, df, each) in found.items():
        if parts[name] > 0:
            below += (weight[name] / each * square) ** 2 / df
            left -= weight[name] / each
    below += (left * rest) ** 2 / free if free else 0.0
    return variance**2 / below if below > 0 else float("nan")


def mean_limits(found: Crossed, confidence: float) -> tuple[float, float]:
    """Limits of the mean difference for oils and laboratories like these."""
    half = float(scipy.stats.t.ppf(0.5 + confidence / 2, found.mean_df)) * np.sqrt(found.mean_variance)
    return found.mean - half, found.mean + half


def _indicators(codes: np.ndarray) -> np.ndarray:
    levels, index = np.unique(codes, return_inverse=True)
    return np.asarray(np.eye(len(levels))[index])


def _projection(columns: np.ndarray) -> np.ndarray:
    return np.asarray(columns @ np.linalg.pinv(columns))


def _rank(projection: np.ndarray) -> int:
    return round(float(np.trace(projection)))
