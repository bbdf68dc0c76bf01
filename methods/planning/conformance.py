"""Guard bands and the probability of conformance: what a mean with its uncertainty says of a limit (JCGM 106:2012)."""

from __future__ import annotations

import math

import scipy

from methods.planning import inputs


def guard_band(standard_uncertainty_kv: float, risk: float = 0.05, df: float = math.inf) -> float:
    """How far above a lower limit a mean must lie, so that a pass is wrong with at most ``risk``; kV.

    ``t(1 - risk, df) * u``. Source: JCGM 106:2012 (ISO/IEC Guide 98-4), guarded acceptance.

    Parameters
    ----------
    standard_uncertainty_kv : float
        Of the mean, kV.
    risk : float, default 0.05
        Of a wrong pass, a fraction.
    df : float, default math.inf
        Degrees of freedom of the uncertainty.

    Examples
    --------
    >>> round(guard_band(2.0), 2)
    3.29
    """
    u, chance = inputs.positive(standard_uncertainty_kv, "standard_uncertainty_kv"), inputs.probability(risk, "risk")
    return float(scipy.stats.t.ppf(1 - chance, df) * u)


def conformance_probability(mean: float, limit: float, standard_uncertainty: float, df: float = math.inf) -> float:
    """Probability that the true value lies at or above a lower ``limit`` (JCGM 106:2012, clause 7).

    Parameters
    ----------
    mean : float
        The estimate, kV.
    limit : float
        The limit, kV.
    standard_uncertainty : float
        Of the mean, kV.
    df : float, default math.inf
        Degrees of freedom of the uncertainty.

    Examples
    --------
    >>> conformance_probability(50.0, 50.0, 2.0)
    0.5
    """
    u = inputs.positive(standard_uncertainty, "standard_uncertainty")
    return float(scipy.stats.t.cdf((mean - limit) / u, df))
