"""What the three decision rules do: the chance that an oil passes, against its true mean.

``simple``: the mean of all breakdowns reaches the limit (what the standards compare). ``guarded``: the lower
confidence limit of the mean reaches it. ``every``: the lowest breakdown reaches it. Vocabulary of ISO/IEC Guide 98-4
(JCGM 106:2012) and of the older rules; closed forms where scatter is normal, seeded simulation otherwise.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import scipy
from numpy.typing import ArrayLike

from methods.errors import InputError
from methods.families import DRAWN, weibull_shape_for_cov
from methods.planning import inputs
from methods.planning.obtained import mean_obtained, one_filling_reach
from methods.randomness import Rng, seed_of

RULES: tuple[str, ...] = ("simple", "guarded", "every")


def check_rule(rule: str) -> str:
    """Give the rule back; refuse one that does not exist."""
    if rule not in RULES:
        raise InputError(f"There is no rule {rule!r}; there are {', '.join(RULES)}.", column="rule", text=str(rule))
    return rule


def pass_probability(
    true_mean: ArrayLike,
    limit: float,
    within_sd: ArrayLike,
    between_sd: ArrayLike | None = None,
    *,
    fillings: int = 1,
    breakdowns_per_filling: int = 6,
    rule: str = "simple",
    confidence: float = 0.95,
    scatter_known: bool = False,
    believing_luck: bool = False,
) -> np.ndarray:
    """Chance that an oil of each true mean passes; normal scatter, kV throughout; closed form or quadrature.

    Parameters
    ----------
    true_mean, within_sd, between_sd : float or array
        Broadcast together. ``between_sd`` None: fillings are alike.
    confidence : float
        One-sided confidence of the guarded rule.
    scatter_known : bool
        The guarded rule uses the scatter known from history (normal quantile) instead of what the bench finds (t).
    believing_luck : bool
        The guarded rule goes by Student's t even for fillings that agree by luck, which the analysis does not: quick,
        and never less than what it delivers.
    limit : float
        Smallest mean that passes, kV.
    fillings : int, default 1
        Number of fillings.
    breakdowns_per_filling : int, default 6
        Breakdowns on each.
    rule : str, default 'simple'
        ``simple``, ``guarded`` or ``every``.

    On one filling the guarded rule goes by what the oil's mean surely lies above, with what another filling may differ
    by in it, as :func:`methods.planning.decide` does.

    Raises
    ------
    InputError
        A guarded rule on one breakdown, which shows no scatter.
    """
    k, n = (
        inputs.whole_number(fillings, "fillings"),
        inputs.whole_number(breakdowns_per_filling, "breakdowns_per_filling"),
    )
    mean, within = np.broadcast_arrays(np.asarray(true_mean, dtype=float), np.asarray(within_sd, dtype=float))
    between = np.zeros(mean.shape) if between_sd is None else np.broadcast_to(np.asarray(between_sd, float), mean.shape)
    check_rule(rule)
    error = np.sqrt(between**2 / k + within**2 / (k * n))
    if rule == "simple":
        return np.asarray(scipy.special.ndtr((mean - limit) / error))
    if rule == "every":
        return _every(mean - limit, within, between, k, n)
    level = inputs.probability(confidence, "confidence")
    if scatter_known:
        return np.asarray(scipy.special.ndtr((mean - limit) / error - scipy.special.ndtri(level)))
    noncentrality = np.clip((mean - limit) / error, -37, 200)
    if k > 1 and n > 1 and not believing_luck:
        return _guarded(noncentrality, within / error, k, n, level)
    if k > 1:
        return np.asarray(scipy.stats.nct.sf(scipy.stats.t.ppf(level, k - 1), k - 1, noncentrality))
    reach = one_filling_reach(n, level)
    return np.asarray(scipy.stats.nct.sf(reach * within / error, n - 1, noncentrality))


def _guarded(away: np.ndarray, within: np.ndarray, k: int, n: int, confidence: float) -> np.ndarray:
    """Chance that the lower limit over fillings is reached; distances and SDs within, by the mean's standard error."""
    obtained = mean_obtained(k, n, confidence)
    out = np.empty(away.shape)
    for sd in np.unique(within.round(12)):
        same = within.round(12) == sd
        out[same] = obtained.reaches(away[same], float(k), float(sd) ** 2)
    return out


def _every(distance: np.ndarray, within: np.ndarray, between: np.ndarray, k: int, n: int) -> np.ndarray:
    """All of k * n reach the limit: on each filling the chance is integrated over the filling's own mean."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    shifted = distance[..., None] + between[..., None] * nodes
    one = np.sum(weights * scipy.special.ndtr(shifted / within[..., None]) ** n, axis=-1) / math.sqrt(2 * math.pi)
    return np.asarray(np.clip(one, 0, 1) ** k)


def simulated_pass_probability(
    true_mean: float,
    limit: float,
    cov: float,
    between_cov: float | None = None,
    *,
    fillings: int = 1,
    breakdowns_per_filling: int = 6,
    rule: str = "simple",
    confidence: float = 0.95,
    family: str = "normal",
    repetitions: int = 20_000,
    rng: Rng = 1,
) -> float:
    """The same by seeded simulation, for any of :data:`methods.families.DRAWN` within fillings (fillings: normal).

    A check on the closed forms, and the answer where there is none. Its own error is at most ``0.5 / sqrt(draws)``.

    Parameters
    ----------
    true_mean : float
        Of the oil, kV.
    limit : float
        Smallest mean that passes, kV.
    cov : float
        Scatter within a filling, a fraction of the mean.
    between_cov : float, optional
        Scatter between fillings, a fraction of the mean.
    fillings : int, default 1
        Number of fillings.
    breakdowns_per_filling : int, default 6
        Breakdowns on each.
    rule : str, default 'simple'
        ``simple``, ``guarded`` or ``every``.
    confidence : float, default 0.95
        Of the guard band, a fraction.
    family : str, default 'normal'
        Of the scatter within a filling.
    repetitions : int, default 20000
        Simulated tests.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.
    """
    seed = seed_of(rng)
    rng = np.random.default_rng([seed, fillings, breakdowns_per_filling])
    shape = (repetitions, fillings, breakdowns_per_filling)
    relative = _relative(family, cov, rng, shape)
    effect = (between_cov or 0.0) * rng.standard_normal((repetitions, fillings, 1))
    kv = true_mean * (relative + effect)
    if check_rule(rule) == "simple":
        return float(np.mean(kv.mean(axis=(1, 2)) >= limit))
    if rule == "every":
        return float(np.mean(kv.min(axis=(1, 2)) >= limit))
    means, k, n = kv.mean(axis=2), fillings, breakdowns_per_filling
    if k == 1:
        reach = one_filling_reach(n, confidence) * kv[:, 0].std(axis=1, ddof=1)
    else:
        error = means.std(axis=1, ddof=1) / math.sqrt(k)
        reach = scipy.stats.t.ppf(confidence, k - 1) * error
        if n > 1:
            inside = np.sqrt(kv.var(axis=2, ddof=1).mean(axis=1) / (k * n))
            reach = inside * mean_obtained(k, n, confidence).reach_at(error / inside)
    return float(np.mean(means.mean(axis=1) - reach >= limit))


def _relative(family: str, cov: float, rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    """Breakdowns of mean one with this coefficient of variation."""
    if family == "normal":
        return 1 + cov * rng.standard_normal(shape)
    if family == "lognormal":
        spread = math.sqrt(math.log1p(cov**2))
        return np.asarray(np.exp(spread * rng.standard_normal(shape) - spread**2 / 2))
    if family == "weibull":
        exponent = weibull_shape_for_cov(cov)
        return np.asarray(rng.weibull(exponent, shape) / scipy.special.gamma(1 + 1 / exponent))
    raise InputError(f"There is no family {family!r} here; there are {', '.join(DRAWN)}.", column="family")


def operating_characteristic(
    true_means: ArrayLike,
    limit: float,
    cov: float,
    between_cov: float | None = None,
    n: int = 6,
    k: int = 1,
    rule: str = "simple",
    *,
    confidence: float = 0.95,
    scatter_known: bool = False,
    family: str = "normal",
    rng: Rng = 1,
) -> pd.DataFrame:
    """Operating characteristic of ``k`` fillings of ``n`` under one rule.

    The SDs are ``cov`` and ``between_cov`` (fractions) times the true mean. A wrong verdict is a pass below the limit
    or a fail at or above it.

    Parameters
    ----------
    true_means : array_like
        (m,) True means, kV.
    limit : float
        Smallest mean that passes, kV.
    cov : float
        Scatter within a filling, a fraction of the mean.
    between_cov : float, optional
        Scatter between fillings, a fraction of the mean.
    n : int, default 6
        Breakdowns on each filling.
    k : int, default 1
        Number of fillings.
    rule : str, default 'simple'
        ``simple``, ``guarded`` or ``every``.
    confidence : float, default 0.95
        Of the guard band, a fraction.
    scatter_known : bool, default False
        Whether the guard band comes from known scatter.
    family : str, default 'normal'
        Of the scatter within a filling.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.

    Returns
    -------
    DataFrame
        ``true_mean_kv``, ``pass_probability``, ``wrong_verdict_probability``; a row a true mean.
    """
    seed = seed_of(rng)
    means = np.atleast_1d(np.asarray(true_means, dtype=float))
    if not np.all(np.isfinite(means) & (means > 0)):
        raise InputError("True means must be above zero.", column="true_means")
    kv, spread = inputs.positive(limit, "limit"), inputs.positive(cov, "cov")
    between = None if between_cov is None else inputs.positive(between_cov, "between_cov", zero=True)
    options: dict[str, Any] = {
        "fillings": k,
        "breakdowns_per_filling": n,
        "rule": check_rule(rule),
        "confidence": confidence,
    }
    if family == "normal":
        sd = None if between is None else between * means
        chance = pass_probability(means, kv, spread * means, sd, scatter_known=scatter_known, **options)
    else:
        found = [simulated_pass_probability(m, kv, spread, between, family=family, rng=seed, **options) for m in means]
        chance = np.array(found)
    wrong = np.where(means >= kv, 1 - chance, chance)
    return pd.DataFrame({"true_mean_kv": means, "pass_probability": chance, "wrong_verdict_probability": wrong})


def characteristics_by_protocol(
    true_means: ArrayLike,
    limit: Any,
    cov: float,
    between_cov: float | None = None,
    rule: str = "simple",
    **options: Any,
) -> pd.DataFrame:
    """Operating characteristic of every protocol whose results may be compared with ``limit``.

    Parameters
    ----------
    limit : Limit or str
        A limit of :mod:`methods.protocols.limits`, or its key; protocols of other methods are left out, because the
        limit is not theirs.
    true_means : array_like
        (m,) True means, kV.
    cov : float
        Scatter within a filling, a fraction of the mean.
    between_cov : float, optional
        Scatter between fillings, a fraction of the mean.
    rule : str, default 'simple'
        ``simple``, ``guarded`` or ``every``.

    Returns
    -------
    DataFrame
        As :func:`operating_characteristic`, with ``protocol``, ``fillings`` and ``breakdowns_per_filling`` in front.

    Raises
    ------
    InputError
        An empty limit, or no protocol that goes with it.
    """
    from methods.protocols.library import load
    from methods.protocols.limits import limit_for, refusal

    entry = limit_for(limit) if isinstance(limit, str) else limit
    if entry.kv.value is None:
        raise InputError(f"The value of {entry.title} is empty; enter it from your own copy.", column="limit")
    tables = []
    for key, protocol in load().items():
        n, k = protocol.breakdowns_per_filling.value, protocol.fillings.value
        if refusal(entry, protocol) is not None or n is None or k is None:
            continue
        one = operating_characteristic(
            true_means, float(entry.kv.value), cov, between_cov, n=int(n), k=int(k), rule=rule, **options
        )
        one.insert(0, "breakdowns_per_filling", int(n))
        one.insert(0, "fillings", int(k))
        one.insert(0, "protocol", key)
        tables.append(one)
    if not tables:
        raise InputError(f"No protocol goes with {entry.title}.", column="limit", text=entry.key)
    return pd.concat(tables, ignore_index=True)
