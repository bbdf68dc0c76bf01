"""Critical values of the tests on laboratories: computed, never looked up in a table."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import scipy

from methods.errors import InputError

#: Normal samples drawn for the two-value Grubbs statistic, which has no closed form; the seed is fixed so that
#: a verdict never changes between runs. 200,000 draws give a 1 % point to about 0.0003 on the statistic.
_DRAWS = 200_000
_SEED = 57252


def _need(laboratories: int, least: int, what: str) -> None:
    if laboratories < least:
        raise InputError(f"{what} needs at least {least} laboratories; there are {laboratories}.")


def mandel_h_critical(laboratories: int, confidence: float = 0.95) -> float:
    """Two-sided critical value of Mandel's h among ``laboratories`` cell means.

    Source: ISO 5725-2, ASTM E691; closed form through Student's t with p - 2 degrees of freedom
    (Wilrich, AStA Advances in Statistical Analysis 97 (2013) 1).
    """
    alpha = 1 - confidence
    _need(laboratories, 3, "Mandel's h")
    p = laboratories
    t = scipy.stats.t.ppf(1 - alpha / 2, p - 2)
    return float((p - 1) * t / np.sqrt(p * (t * t + p - 2)))


def mandel_k_critical(laboratories: int, replicates: int, confidence: float = 0.95) -> float:
    """Upper critical value of Mandel's k for ``replicates`` values in each of ``laboratories`` cells.

    Source: ISO 5725-2, ASTM E691; closed form through F (Wilrich 2013).

    Parameters
    ----------
    laboratories : int
        Number of laboratories.
    replicates : int
        Values in each cell.
    confidence : float, default 0.95
        Of the test, a fraction.

    Examples
    --------
    >>> round(mandel_k_critical(9, 3), 2)
    1.68
    """
    return k_critical_unequal([replicates] * laboratories, 0, confidence)


def k_critical_unequal(counts: list[int] | np.ndarray, which: int, confidence: float = 0.95) -> float:
    """Upper critical value of k for cell ``which`` when the cells hold ``counts`` values.

    For equal counts this is the exact closed form; for unequal ones the degrees of freedom of the cell
    and of the rest take its place, which is close and said to be an approximation.

    Parameters
    ----------
    counts : list of int or ndarray
        (cells,) Values in each cell; cells of one value do not count.
    which : int
        The cell that is judged, from 0.
    confidence : float, default 0.95
        Of the test, a fraction.
    """
    alpha = 1 - confidence
    freedom = np.asarray(counts, dtype=float) - 1
    _need(int((freedom > 0).sum()), 2, "Mandel's k")
    own, rest = freedom[which], freedom.sum() - freedom[which]
    if own <= 0 or rest <= 0:
        return float("nan")
    p = int((freedom > 0).sum())
    f = scipy.stats.f.ppf(1 - alpha, own, rest)
    return float(np.sqrt(p * f / (f + p - 1)))


def cochran_critical(laboratories: int, replicates: int, confidence: float = 0.95) -> float:
    """Critical value of Cochran's C (largest cell variance over their sum); alpha / p for each laboratory.

    Source: ISO 5725-2; closed form through F.

    Parameters
    ----------
    laboratories : int
        Number of laboratories.
    replicates : int
        Values in each cell.
    confidence : float, default 0.95
        Of the test, a fraction.

    Examples
    --------
    >>> round(cochran_critical(9, 3), 3)
    0.477
    """
    alpha = 1 - confidence
    _need(laboratories, 2, "Cochran's test")
    p, freedom = laboratories, replicates - 1
    f = scipy.stats.f.ppf(1 - alpha / p, freedom, (p - 1) * freedom)
    return float(f / (f + p - 1))


def cochran_p(variances: np.ndarray, counts: np.ndarray) -> float:
    """Bonferroni p-value that the largest of the cell variances is no larger than chance makes it."""
    freedom = counts - 1.0
    worst = int(np.argmax(variances))
    rest = np.arange(variances.size) != worst
    pooled = float((variances * freedom)[rest].sum() / freedom[rest].sum())
    if variances[worst] <= 0:
        return 1.0
    ratio = np.inf if pooled == 0 else variances[worst] / pooled
    return float(min(1.0, variances.size * scipy.stats.f.sf(ratio, freedom[worst], freedom[rest].sum())))


@lru_cache(maxsize=64)
def _pair_draws(laboratories: int) -> np.ndarray:
    """Sorted draws of S²(without the two highest) / S² for normal means."""
    rng = np.random.default_rng([_SEED, laboratories])
    out = []
    size = max(1, 2_000_000 // laboratories)
    left = _DRAWS
    while left > 0:
        take = min(size, left)
        x = np.sort(rng.standard_normal((take, laboratories)), axis=1)
        out.append(x[:, :-2].var(axis=1) * (laboratories - 2) / (x.var(axis=1) * laboratories))
        left -= take
    return np.sort(np.concatenate(out))


def grubbs_pair_critical(laboratories: int, confidence: float = 0.95) -> float:
    """Critical value of Grubbs' statistic for the two highest (or two lowest) means: suspect when *below* it.

    Two-sided, alpha / 2 for each end, as ISO 5725-2 tabulates it.

    Source: Grubbs and Beck, Technometrics 14 (1972) 847, and ISO 5725-2; by seeded simulation, as the
    distribution has no closed form.
    """
    alpha = 1 - confidence
    _need(laboratories, 4, "Grubbs' test for two values")
    return float(np.quantile(_pair_draws(laboratories), alpha / 2))


def grubbs_pair_p(statistic: float, laboratories: int) -> float:
    """Two-sided p-value of the two-value statistic.

    By seeded simulation where the simulation reaches; beyond it the bound C(p, 2) g^((p-3)/2), since for
    one fixed pair the statistic is Beta((p - 3)/2, 1).
    """
    repetitions = _pair_draws(laboratories)
    below = int(np.searchsorted(repetitions, statistic, side="right"))
    if below >= 20:
        return min(1.0, 2 * below / repetitions.size)
    bound = scipy.special.comb(laboratories, 2) * statistic ** ((laboratories - 3) / 2)
    return float(min(2 * bound, 2 * (below + 1) / repetitions.size))
