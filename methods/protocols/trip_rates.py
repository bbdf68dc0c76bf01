"""How often a consistency rule fires although nothing is wrong, and what it does to the reported mean."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import NDArray

from methods.errors import InputError
from methods.protocols.assumed import AssumedScatter
from methods.protocols.rules import Rule, exceeds
from methods.randomness import Rng, seed_of
from methods.result import Caution

_CHUNK = 50_000
Progress = Callable[[float], object]
Cancel = Callable[[], bool]


@dataclass(frozen=True)
class TripRate:
    """The probability that a rule asks for more after its first ``n`` breakdowns.

    ``cov`` and ``between_cov`` are fractions of the mean; ``method`` is ``exact`` (``standard_error`` 0 but for
    rounding) or ``simulation``, with the repetitions that were really made.
    """

    rule: str
    family: str
    cov: float
    between_cov: float
    n: int
    probability: float
    standard_error: float
    method: str
    repetitions: int
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class RuleEffect:
    """What following a rule does to what is reported; shares and percentages of the true mean.

    ``more`` is the share of tests that are asked for more; ``repeat`` the share whose whole series fails and
    is repeated (``None`` where the second limit is empty); ``bias_percent`` and ``sd_percent`` describe the
    reported mean, ``bias_without_percent`` and ``sd_without_percent`` the plain mean of the first ``n``;
    ``breakdowns`` is the mean number taken for a reported result, repeats included. The ``*_se`` are the
    standard errors of the simulation.
    """

    rule: str
    family: str
    cov: float
    between_cov: float
    n: int
    more: float
    more_se: float
    repeat: float | None
    repeat_se: float | None
    bias_percent: float
    bias_percent_se: float
    sd_percent: float
    bias_without_percent: float
    sd_without_percent: float
    breakdowns: float
    repetitions: int
    new_filling: bool
    cautions: tuple[Caution, ...] = ()


def _settings(rule: Rule, n: int | None, between_cov: float, repetitions: int) -> int:
    if not rule.usable or rule.kind == "chart":
        raise InputError(
            f"The rule {rule.key!r} asks for no more breakdowns or has no limit; enter one from your own copy.",
            column="rule", text=rule.key, rule="a rule with a limit",
        )  # fmt: skip
    size = int(rule.n.value) if n is None else n
    if size != int(size) or size < 3:
        raise InputError(f"n is {n}; it must be a whole number, 3 or more.", column="n", rule="3 or more")
    if not 0 <= between_cov <= 1:
        raise InputError(
            f"between_cov is {between_cov}; it must be between 0 and 100 %, as a fraction.",
            column="between_cov", rule="0 to 1",
        )  # fmt: skip
    if repetitions < 100:
        raise InputError(f"{repetitions} repetitions are too few; take 100 or more.", column="repetitions")
    return int(size)


def has_exact(rule: Rule, family: str) -> bool:
    """Whether the probability has a formula here: the 3R rule for all families, the others for the normal."""
    return rule.kind == "three_r" or (rule.kind in ("range_percent", "cov_ceiling") and family == "normal")


def trip_rate(
    rule: Rule,
    cov: float,
    family: str = "normal",
    n: int | None = None,
    between_cov: float = 0.0,
    *,
    exact: bool | None = None,
    repetitions: int = 100_000,
    rng: Rng = 1,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> TripRate:
    """Probability that the first ``n`` breakdowns of one filling break the rule.

    Parameters
    ----------
    rule : Rule
    cov : float
        True coefficient of variation within the filling, a fraction.
    family : str
        ``normal``, ``lognormal``, ``weibull`` or ``contaminated`` (one in ten at 0.4 to 0.7 of its value;
        ``cov`` is that of the others).
    n : int, optional
        By default that of the rule.
    between_cov : float
        Scatter of the filling's level (normal, added), a fraction; all ``n`` share the filling.
    exact : bool, optional
        ``None``: exact where there is a formula, otherwise simulated.
    repetitions : int
    rng : int or numpy.random.Generator
        Of the simulation.
    progress, cancel : callable, optional
        ``progress(fraction)`` is called after each chunk; ``cancel()`` returning True ends the simulation
        early, with the repetitions made so far.

    Raises
    ------
    InputError
        A rule without a limit, arguments out of range, ``exact=True`` where there is no formula.

    Notes
    -----
    Range rule, normal: range and mean of normal values are independent, so the probability is the integral of
    the survival function of the range (studentized range with infinite degrees of freedom) over the mean.
    Ceiling of the coefficient of variation, normal: noncentral t. 3R rule: the joint density of the two lowest
    order statistics, by Gauss-Legendre quadrature.
    """
    seed = seed_of(rng)
    scatter = AssumedScatter(family, cov)
    size = _settings(rule, n, between_cov, repetitions)
    if exact and not has_exact(rule, family):
        raise InputError(
            f"There is no exact probability for {rule.kind} and {family}; use the simulation.",
            column="exact", rule="three_r, or a normal distribution",
        )  # fmt: skip
    if exact is not False and has_exact(rule, family):
        found = min(max(_exact(rule, scatter, size, between_cov), 0.0), 1.0)
        if progress is not None:
            progress(1.0)
        return TripRate(rule.key, family, cov, between_cov, size, found, 0.0, "exact", 0, _cautions(scatter))
    rng = np.random.default_rng(seed)
    fired = done = 0
    for m in _chunks(repetitions, progress, cancel):
        x = scatter.draw(rng, (m, size))
        if between_cov:
            x += between_cov * rng.standard_normal((m, 1))
        fired += int(exceeds(rule, x).sum())
        done += m
    if not done:
        raise InputError("Cancelled before anything was simulated.", rule="at least one chunk")
    share = fired / done
    # The usual standard error is zero at 0 or 1; half a count keeps it honest.
    padded = (fired + 0.5) / (done + 1)
    error = float(np.sqrt(padded * (1 - padded) / done))
    return TripRate(rule.key, family, cov, between_cov, size, share, error, "simulation", done, _cautions(scatter))


def _cautions(scatter: AssumedScatter) -> tuple[Caution, ...]:
    if scatter.family != "contaminated":
        return ()
    text = (
        "Low breakdowns are part of this family: its whole coefficient of variation is "
        f"{100 * scatter.total_cov:.0f} %, and a rule that fires may be right to do so."
    )
    return (Caution("contaminated", text),)


def _chunks(repetitions: int, progress: Progress | None, cancel: Cancel | None) -> Iterator[int]:
    """Sizes of the pieces of a simulation; tells the progress after each, stops when cancelled."""
    done = 0
    while done < repetitions and not (cancel is not None and cancel()):
        size = min(_CHUNK, repetitions - done)
        yield size
        done += size
        if progress is not None:
            progress(done / repetitions)


def _exact(rule: Rule, scatter: AssumedScatter, n: int, between: float) -> float:
    if rule.kind == "three_r":
        factor = float(rule.factor.value)
        if not between:
            return _three_r(scatter, n, factor, 0.0)
        nodes, weights = np.polynomial.hermite_e.hermegauss(21)
        weights = weights / weights.sum()
        return float(sum(w * _three_r(scatter, n, factor, between * z) for z, w in zip(nodes, weights, strict=True)))
    limit, sigma = float(rule.limit_percent.value) / 100, scatter.cov
    spread_of_mean = float(np.hypot(between, sigma / np.sqrt(n)))
    if rule.kind == "cov_ceiling":
        # S > c M  <=>  (M / tau) / (S / sigma) < sigma / (tau c): a noncentral t with n - 1 degrees of freedom
        return float(scipy.stats.nct.cdf(sigma / (spread_of_mean * limit), n - 1, 1 / spread_of_mean))
    z, weight = np.polynomial.legendre.leggauss(60)
    mean = 1 + 9 * spread_of_mean * z
    density = 9 * weight * scipy.stats.norm.pdf(9 * z)
    width = np.maximum(limit * mean / sigma, 0)
    return float(density @ _range_survival(width, n))


def _range_survival(width: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """Survival function of the range of ``n`` standard normal values: the studentized range, infinite freedom."""
    return np.asarray(scipy.stats.studentized_range.sf(width, n, np.inf))


def _three_r(scatter: AssumedScatter, n: int, factor: float, shift: float) -> float:
    """P(factor * range > next-to-lowest) when all values are shifted by the filling's level.

    The rule holds if, with a the lowest and b the next, all others lie between b and a + b / factor.
    """
    low, high = scatter.range_of_support()
    x, law, density = _tabulated(scatter)
    u, w = np.polynomial.legendre.leggauss(96)

    def cdf(at: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.interp(at - shift, x, law)

    def holds(b_low: float, b_high: float) -> float:
        b = b_low + (b_high - b_low) * (u + 1) / 2
        weight_b = w * (b_high - b_low) / 2 * np.interp(b - shift, x, density)
        first = np.maximum(b * (1 - 1 / factor), low + shift)  # the lowest a for which any room is left above b
        a = first[:, None] + (b - first)[:, None] * (u + 1) / 2
        weight_a = w * ((b - first) / 2)[:, None] * np.interp(a - shift, x, density)
        room = np.maximum(cdf(a + b[:, None] / factor) - cdf(b)[:, None], 0)
        return float(weight_b @ (weight_a * room ** (n - 2)).sum(axis=1))

    start, end = max(low + shift, 0.0), high + shift
    if end <= 0:
        return 1.0
    edges = np.linspace(start, end, 5)
    return 1 - n * (n - 1) * sum(holds(p, q) for p, q in zip(edges[:-1], edges[1:], strict=True))


@lru_cache(maxsize=64)
def _tabulated(scatter: AssumedScatter) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Distribution function and density on a fine grid: a mixture of many parts is slow to evaluate."""
    x = np.linspace(*scatter.range_of_support(), 20_001)
    return x, scatter.cdf(x), np.nan_to_num(scatter.pdf(x))


def rule_effect(
    rule: Rule,
    cov: float,
    family: str = "normal",
    between_cov: float = 0.0,
    *,
    new_filling: bool = False,
    repetitions: int = 100_000,
    rng: Rng = 1,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> RuleEffect:
    """Bias and scatter of the reported mean, and the breakdowns taken, when the rule is followed (simulated).

    ``new_filling``: the additional breakdowns come from another filling. Where the whole series still fails
    its second limit, the test is repeated from the start until a series is reported.

    Parameters
    ----------
    rule : Rule
        The rule.
    cov : float
        True scatter within a filling, a fraction of the mean.
    family : str, default 'normal'
        Its family.
    between_cov : float, default 0.0
        Scatter between fillings, a fraction of the mean.
    new_filling : bool, default False
        Whether the additional breakdowns come from another filling.
    repetitions : int, default 100000
        Simulated tests.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.
    progress : callable, optional
        Called with the share that is done, from 0 to 1.
    cancel : callable, optional
        Asked now and then; True stops the work.

    Raises
    ------
    InputError
        As :func:`trip_rate`.
    """
    seed = seed_of(rng)
    scatter = AssumedScatter(family, cov)
    n = _settings(rule, None, between_cov, repetitions)
    more = int(rule.more.value or 0)
    judged = rule.kind == "three_r" or rule.second_limit_percent.value is not None or not more
    rng = np.random.default_rng(seed)
    fired = failed = tests = taken = 0
    sums = np.zeros(4)  # reported mean and its square, mean of the first n and its square; about the true mean
    for m in _chunks(repetitions, progress, cancel):
        level = between_cov * rng.standard_normal((m, 1))
        other = between_cov * rng.standard_normal((m, 1)) if new_filling else level
        x = scatter.draw(rng, (m, n)) + level
        y = scatter.draw(rng, (m, more)) + other
        trips = exceeds(rule, x)
        all_of_them = np.concatenate([x, y], axis=1)
        bad = trips.copy() if not more else np.zeros(m, dtype=bool)
        if more and rule.kind != "three_r" and rule.second_limit_percent.value is not None:
            bad = trips & exceeds(rule, all_of_them, second=True)
        reported = np.where(trips & (more > 0), all_of_them.mean(axis=1), x.mean(axis=1))[~bad] - scatter.mean
        plain = x.mean(axis=1) - scatter.mean
        sums += [reported.sum(), (reported**2).sum(), plain.sum(), (plain**2).sum()]
        fired, failed, tests = fired + int(trips.sum()), failed + int(bad.sum()), tests + m
        taken += m * n + int(trips.sum()) * more
    if not tests:
        raise InputError("Cancelled before anything was simulated.", rule="at least one chunk")
    good = tests - failed
    if good < 2:
        raise InputError("No test of the simulation reached a reported result.", rule="a rule that can be met")
    bias, plain_bias = sums[0] / good, sums[2] / tests
    sd = float(np.sqrt(max(sums[1] / good - bias**2, 0)))
    plain_sd = float(np.sqrt(max(sums[3] / tests - plain_bias**2, 0)))
    share, part = fired / tests, failed / tests
    cautions = list(_cautions(scatter))
    if not judged:
        text = "The second limit is empty, so no test is repeated here; enter it from your own copy."
        cautions.append(Caution("no_second_limit", text))
    scale = 100 / scatter.mean
    return RuleEffect(
        rule.key, family, cov, between_cov, n, share, float(np.sqrt(share * (1 - share) / tests)),
        part if judged else None, float(np.sqrt(part * (1 - part) / tests)) if judged else None,
        float(bias * scale), float(sd * scale / np.sqrt(good)), sd * scale, float(plain_bias * scale),
        plain_sd * scale, taken / good, tests, new_filling, tuple(cautions),
    )  # fmt: skip
