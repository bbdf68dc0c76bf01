"""Normal tolerance factors: how many SDs from the mean hold a stated share of all breakdowns, with confidence."""

from __future__ import annotations

import math

import numpy as np
import scipy

from methods.errors import InputError
from methods.planning.inputs import count, probability


def tolerance_one_sided(n: int, share: float, confidence: float = 0.95) -> float:
    """Factor k so that ``mean - k * sd`` of ``n`` breakdowns lies below a ``share`` of all, with ``confidence``.

    Exact, by the noncentral t. Source: ISO 16269-6; NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3.
    """
    size, p, level = count(n, "n", least=2), probability(share, "share"), probability(confidence, "confidence")
    return float(scipy.stats.nct.ppf(level, size - 1, scipy.special.ndtri(p) * math.sqrt(size)) / math.sqrt(size))


def tolerance_one_sided_approximate(n: int, share: float, confidence: float = 0.95) -> float:
    """Natrella's approximation of the one-sided factor (*Experimental Statistics*, NBS Handbook 91, 1963)."""
    size, p, level = count(n, "n", least=2), probability(share, "share"), probability(confidence, "confidence")
    z_p, z_c = scipy.special.ndtri(p), scipy.special.ndtri(level)
    a = 1 - z_c**2 / (2 * (size - 1))
    b = z_p**2 - z_c**2 / size
    if a <= 0 or z_p**2 < a * b:
        raise InputError(f"The approximation has no value for {size} breakdowns; use the exact factor.")
    return float((z_p + math.sqrt(z_p**2 - a * b)) / a)


def tolerance_two_sided(n: int, share: float, confidence: float = 0.95, method: str = "exact") -> float:
    """Factor k so that ``mean ± k * sd`` of ``n`` breakdowns holds a ``share`` of all, with ``confidence``.

    Parameters
    ----------
    method : {"exact", "howe"}
        The exact factor (an integral over the mean's deviation; Odeh and Owen 1980), or Howe's approximation
        (*J. Amer. Statist. Assoc.* 64 (1969) 610) with Guenther's correction left out.
    """
    size, p, level = count(n, "n", least=2), probability(share, "share"), probability(confidence, "confidence")
    df = size - 1
    howe = math.sqrt(df * (1 + 1 / size) * scipy.special.ndtri((1 + p) / 2) ** 2 / scipy.stats.chi2.ppf(1 - level, df))
    if method == "howe":
        return float(howe)
    if method != "exact":
        raise InputError(f"method is {method!r}; it is exact or howe.", column="method", text=str(method))
    nodes, weights = np.polynomial.legendre.leggauss(80)
    far = 8 / math.sqrt(size)
    x = far * (nodes + 1) / 2  # deviation of the mean, in SDs
    density = 2 * far / 2 * weights * math.sqrt(size) * scipy.stats.norm.pdf(x * math.sqrt(size))
    needed = scipy.stats.ncx2.ppf(p, 1, x**2)  # squared half-length that holds the share about a mean off by x

    def short(k: float) -> float:
        return float(np.sum(density * scipy.stats.chi2.sf(df * needed / k**2, df))) - level

    return float(scipy.optimize.brentq(short, howe / 2, howe * 2, xtol=1e-12, rtol=1e-12))
