"""Consistency rules side by side: how often each asks for more against the true scatter, and what following it does."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from methods.protocols.rules import Rule
from methods.protocols.trip_rates import has_exact, rule_effect, trip_rate
from methods.randomness import Rng, seed_of

#: True scatter (fractions of the mean) at which the curves are drawn.
COVS: tuple[float, ...] = (0.02, 0.04, 0.06, 0.08, 0.10, 0.12, 0.14, 0.16, 0.18, 0.20, 0.23, 0.26, 0.30, 0.35, 0.40)


def judging(rules: Sequence[Rule]) -> list[Rule]:
    """The rules that can ask for more: those with a limit, charts apart."""
    return [r for r in rules if r.usable and r.kind not in ("chart", "none")]


def all_exact(rules: Sequence[Rule], family: str, between_cov: float) -> bool:
    """Whether every curve of these rules comes from a formula that is quickly computed.

    Parameters
    ----------
    rules : sequence of Rule
        The rules.
    family : str
        Family of the scatter within a filling.
    between_cov : float
        Scatter between fillings, a fraction of the mean.
    """
    slow = any(r.kind == "three_r" for r in rules) and between_cov > 0
    return not slow and all(has_exact(r, family) for r in rules)


def trip_curves(
    rules: Sequence[Rule],
    family: str = "normal",
    *,
    between_cov: float = 0.0,
    covs: Sequence[float] = COVS,
    repetitions: int = 20_000,
    rng: Rng = 1,
    progress: Callable[[float], object] | None = None,
) -> pd.DataFrame:
    """Probability that each rule asks for more, for each true scatter; exact where that is quick, simulated otherwise.

    Parameters
    ----------
    rules : sequence of Rule
        The rules.
    family : str, default 'normal'
        Family of the scatter within a filling.
    between_cov : float, default 0.0
        Scatter between fillings, a fraction of the mean.
    covs : sequence of float, default COVS
        True scatter within a filling, fractions of the mean.
    repetitions : int, default 20000
        Simulated series for each point that has no quick formula.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.
    progress : callable, optional
        Called with the share that is done, from 0 to 1.

    Returns
    -------
    DataFrame
        ``rule, title, family, n, cov_percent, probability_percent, standard_error_percent, method``.

    Raises
    ------
    InputError
        As :func:`methods.protocols.trip_rate`.
    """
    seed = seed_of(rng)
    rows = []
    for i, (rule, cov) in enumerate(pairs := [(r, c) for r in rules for c in covs]):
        quick = all_exact([rule], family, between_cov)
        found = trip_rate(
            rule, cov, family, between_cov=between_cov, exact=None if quick else False, repetitions=repetitions,
            rng=seed,
        )  # fmt: skip
        rows.append(
            {"rule": rule.key, "title": rule.title, "family": family, "n": found.n, "cov_percent": 100 * cov,
             "probability_percent": 100 * found.probability,
             "standard_error_percent": 100 * found.standard_error, "method": found.method}
        )  # fmt: skip
        if progress is not None:
            progress((i + 1) / len(pairs))
    return pd.DataFrame(rows)


def effect_table(
    rules: Sequence[Rule],
    covs: Sequence[float],
    family: str = "normal",
    *,
    between_cov: float = 0.0,
    repetitions: int = 50_000,
    rng: Rng = 1,
    progress: Callable[[float], object] | None = None,
) -> pd.DataFrame:
    """What following each rule does to the reported mean, for each true scatter (simulated).

    Parameters
    ----------
    rules : sequence of Rule
        The rules.
    covs : sequence of float
        True scatter within a filling, fractions of the mean.
    family : str, default 'normal'
        Family of the scatter within a filling.
    between_cov : float, default 0.0
        Scatter between fillings, a fraction of the mean.
    repetitions : int, default 50000
        Simulated tests for each row.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.
    progress : callable, optional
        Called with the share that is done, from 0 to 1.

    Returns
    -------
    DataFrame
        ``rule, cov_percent, more_percent, repeat_percent`` (nan where the second limit is empty), ``bias_percent``
        with ``bias_se``, ``sd_percent, sd_without_percent, breakdowns``.
    """
    seed = seed_of(rng)
    rows = []
    for i, (rule, cov) in enumerate(pairs := [(r, c) for r in rules for c in covs]):
        e = rule_effect(rule, cov, family, between_cov, repetitions=repetitions, rng=seed)
        rows.append(
            {"rule": rule.key, "cov_percent": 100 * cov, "more_percent": 100 * e.more,
             "repeat_percent": np.nan if e.repeat is None else 100 * e.repeat, "bias_percent": e.bias_percent,
             "bias_se": e.bias_percent_se, "sd_percent": e.sd_percent,
             "sd_without_percent": e.sd_without_percent, "breakdowns": e.breakdowns}
        )  # fmt: skip
        if progress is not None:
            progress((i + 1) / len(pairs))
    return pd.DataFrame(rows)
