"""Scores of laboratories in a round: z and z' against an assigned value."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from methods.errors import NotEstimable
from methods.interlab.robust import algorithm_a


def _words(score: float) -> str:
    """ISO 13528's reading of a score: up to 2 satisfactory, from 3 unsatisfactory."""
    if not np.isfinite(score):
        return "none"
    size = abs(score)
    return "satisfactory" if size <= 2 else "questionable" if size < 3 else "unsatisfactory"


def z_scores(
    cells: pd.DataFrame,
    *,
    assigned: Mapping[str, float] | None = None,
    sigma: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Score every laboratory's cell mean at every level (ISO 13528, clause 9).

    Parameters
    ----------
    cells : DataFrame
        ``level, laboratory, mean`` as in :attr:`methods.interlab.Precision.cells`.
    assigned : mapping, optional
        Level -> assigned value from outside the round, taken as exact. Otherwise the robust mean of the
        laboratories (algorithm A), whose standard uncertainty is 1.25 s* / √p.
    sigma : mapping, optional
        Level -> standard deviation for proficiency. Otherwise the robust standard deviation.

    Returns
    -------
    DataFrame
        ``level, laboratory, mean, assigned, sigma, assigned_uncertainty, z, z_prime, score, verdict``.
        ``score`` is z, or z' where the uncertainty of the assigned value exceeds 0.3 sigma, as it does
        in every round of fewer than 18 laboratories that sets its own value. Levels with fewer than
        three laboratories and no outside values are absent.
    """
    rows: list[dict[str, object]] = []
    for level, group in cells.groupby("level", sort=False):
        means = group["mean"].to_numpy(dtype=float)
        given, spread = (assigned or {}).get(str(level)), (sigma or {}).get(str(level))
        uncertainty = 0.0
        if given is None or spread is None:
            try:
                robust = algorithm_a(means)
            except NotEstimable:
                continue
            if given is None:
                given, uncertainty = robust.mean, robust.standard_uncertainty
            spread = robust.sd if spread is None else spread
        for lab, mean in zip(group["laboratory"].astype(str), means, strict=True):
            z = (mean - given) / spread if spread > 0 else float("nan")
            z_prime = (mean - given) / np.hypot(spread, uncertainty) if spread > 0 else float("nan")
            score = z_prime if uncertainty > 0.3 * spread else z
            rows.append(
                {
                    "level": str(level), "laboratory": lab, "mean": float(mean), "assigned": float(given),
                    "sigma": float(spread), "assigned_uncertainty": float(uncertainty), "z": float(z),
                    "z_prime": float(z_prime), "score": float(score), "verdict": _words(score),
                }
            )  # fmt: skip
    heads = [
        "level", "laboratory", "mean", "assigned", "sigma", "assigned_uncertainty", "z", "z_prime", "score", "verdict",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=heads)
