"""Stop or go on: how many more breakdowns (or fillings) after those taken, and how honest such a rule is.

Stein's two-stage rule fixes the total from the SD of the first stage and keeps that SD and its degrees of freedom in
the interval, whose coverage is then exact for normal values. Looking at one's own interval after every breakdown and
stopping when it is narrow enough is not: it stops just when the SD happens to be small.

Source: C. Stein, *Annals of Mathematical Statistics* 16 (1945) 243-258.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import ArrayLike

from methods.errors import InputError, NotEstimable
from methods.planning import inputs
from methods.planning.obtained import mean_obtained
from methods.randomness import Rng, seed_of
from methods.result import Caution, Shown
from methods.scatter.nested_pivots import mean_error, student, summarise

#: The rules that :func:`error_rates` compares.
STEP_RULES: tuple[str, ...] = ("two_stage", "stop_when_narrow")


@dataclass(frozen=True)
class ErrorRates:
    """Simulated honesty of one rule: coverage of its interval, average and 95 % point of the total taken."""

    rule: str
    coverage: float
    average_total: float
    total_95: float
    not_stopped: float


@dataclass(frozen=True, repr=False)
class NextStep(Shown):
    """What to do after ``taken`` units (``breakdowns``, or ``fillings`` of the same size).

    ``more`` units give the ``target_kv``; ``half_width_kv`` is the interval now, ``half_width_after_kv`` the one that
    the two-stage rule will give with the total of ``taken + more`` (mean of all, SD and degrees of freedom of those
    taken now). ``rates`` are the honest error rates of that rule and of stopping when the interval looks narrow.
    """

    unit: str
    taken: int
    more: int
    total: int
    stop: bool
    mean_kv: float
    sd_kv: float
    half_width_kv: float
    half_width_percent: float
    half_width_after_kv: float
    target_kv: float
    target_percent: float
    confidence: float
    quantile: float
    rates: tuple[ErrorRates, ...]
    sentence: str
    cautions: tuple[Caution, ...]


def stein_total(sd: float, n: int, target: float, confidence: float = 0.95) -> int:
    """Total that the two-stage rule asks for after ``n`` values with this SD: max(n, ceil((t s / target)^2)).

    Parameters
    ----------
    sd : float
        SD of the first values.
    n : int
        How many they are.
    target : float
        Half-width that is wanted, in the unit of the SD.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Examples
    --------
    >>> stein_total(9.0, 6, 5.0)
    22
    """
    t = float(scipy.stats.t.ppf(0.5 + confidence / 2, n - 1))
    return max(n, math.ceil((t * sd / target) ** 2 * (1 - 1e-12)))


def next_step(
    kv: ArrayLike,
    target: float = 0.10,
    *,
    fillings: ArrayLike | None = None,
    target_kv: float | None = None,
    confidence: float = 0.95,
    repetitions: int = 4000,
    rng: Rng = 1,
) -> NextStep:
    """Say how many more are needed after the breakdowns taken so far.

    Parameters
    ----------
    kv : array (n,)
        Breakdown voltages so far, kV.
    target, target_kv : float
        Half-width wanted, as a fraction of the mean, or in kV (which wins).
    fillings : array (n,), optional
        The filling of each; with two or more the unit is the filling (of the size taken so far).
    repetitions : int
    rng : int or numpy.random.Generator
        Of the simulated error rates.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    InputError, NotEstimable
        Fewer than two units, values that are not voltages, no scatter, or more than 100 000 units needed.
    """
    seed = seed_of(rng)
    values = np.asarray(kv, dtype=float).ravel()
    if values.size == 0 or not np.all(np.isfinite(values) & (values > 0)):
        raise InputError("Breakdown voltages must be numbers above zero.", column="kv")
    level = inputs.probability(confidence, "confidence")
    unit, found = "breakdowns", []
    units, each = values, 1
    if fillings is not None:
        labels = np.asarray(fillings).ravel()
        if labels.shape != values.shape:
            raise InputError("There must be one filling for each breakdown.", column="fillings")
        codes = np.unique(labels, return_inverse=True)[1]
        sizes = np.bincount(codes)
        if len(sizes) > 1:
            unit, units, each = "fillings", np.bincount(codes, values) / sizes, round(float(sizes.mean()))
            if sizes.min() != sizes.max():
                found.append(Caution("unequal", "The fillings are of unequal size; their means count alike here."))
    if unit == "breakdowns":
        found.append(
            Caution("one_filling", "This is about the mean of one filling: more breakdowns on it never tell the oil's.")
        )
    n = len(units)
    if n < 2:
        raise NotEstimable("One breakdown shows no scatter: take another before planning the rest.")
    mean, sd = float(units.mean()), float(units.std(ddof=1))
    if sd == 0:
        raise NotEstimable("All values are equal, so nothing can be said about how many more are needed.")
    width = (
        inputs.positive(target_kv, "target_kv") if target_kv is not None else mean * inputs.positive(target, "target")
    )
    t = float(scipy.stats.t.ppf(0.5 + level / 2, n - 1))
    total = stein_total(sd, n, width, level)
    if total > inputs.MOST_BREAKDOWNS:
        raise InputError(f"More than {inputs.MOST_BREAKDOWNS} would be needed; ask for a wider interval.")
    now, after = t * sd / math.sqrt(n), t * sd / math.sqrt(total)
    if unit == "fillings":
        error, df, lucky = mean_error(summarise(values, codes), level)
        if lucky:
            now = student(df, level) * error
            total = max(total, math.ceil(n * (now / width) ** 2 * (1 - 1e-12)))
            after = now * math.sqrt(n / total)
            found.append(
                Caution(
                    "lucky_fillings",
                    "The filling means agree better than the scatter within fillings lets one expect: the interval "
                    "rests on that scatter and leaves room for more, and the advice does not believe the chance.",
                )
            )
    if n < 5:
        found.append(
            Caution("few", f"The SD rests on {n} {unit} and may be off by half or double: so may this advice.")
        )
    inside = first_stage(values, fillings)[1]
    rates = error_rates(
        sd / mean, width / mean, n, cov_df=n - 1, inside=None if inside is None else (inside[0] / mean, *inside[1:]),
        confidence=level, repetitions=repetitions, rng=seed,
    )  # fmt: skip
    more = total - n
    size = f" of {each}" if unit == "fillings" else ""
    percent = 100 * width / mean
    head = f"After {n} {unit}{size}: ±{now:.1f} kV ({100 * now / mean:.1f} %). "
    act = (
        f"That is within ±{percent:.1f} %: stop."
        if more == 0
        else f"{more} more give{'s' if more == 1 else ''} ±{100 * after / mean:.1f} %, by an interval with today's SD."
    )
    return NextStep(
        unit=unit, taken=n, more=more, total=total, stop=more == 0, mean_kv=mean, sd_kv=sd, half_width_kv=now,
        half_width_percent=100 * now / mean, half_width_after_kv=after, target_kv=width, target_percent=percent,
        confidence=level, quantile=t, rates=rates, sentence=head + act, cautions=tuple(found),
    )  # fmt: skip


def first_stage(kv: np.ndarray, fillings: ArrayLike | None) -> tuple[np.ndarray, tuple[float, int, int] | None]:
    """The units taken so far, and what is inside them.

    Parameters
    ----------
    kv : ndarray
        (n,) Breakdowns, kV.
    fillings : array (n,) or None
        The filling of each.

    Returns
    -------
    units : ndarray
        Means of the fillings where there are several, else the breakdowns, kV.
    inside : tuple or None
        SD within fillings, kV, its degrees of freedom and the usual number of breakdowns; None where none repeat.
    """
    codes = np.zeros(len(kv), int) if fillings is None else np.unique(np.ravel(fillings), return_inverse=True)[1]
    sizes = np.bincount(codes)
    if len(sizes) < 2:
        return kv, None
    s = summarise(kv, codes)
    inside = None
    if s.within_df > 0 and s.within_ss > 0:
        inside = (math.sqrt(s.within_variance), s.within_df, max(round(s.harmonic), 2))
    return np.bincount(codes, kv) / sizes, inside


def error_rates(
    cov: float,
    target: float,
    start: int,
    *,
    cov_df: float = math.inf,
    inside: tuple[float, float, int] | None = None,
    confidence: float = 0.95,
    most: int = 300,
    repetitions: int = 4000,
    rng: Rng = 1,
) -> tuple[ErrorRates, ...]:
    """Coverage and numbers of the two rules by seeded simulation of normal breakdowns.

    Parameters
    ----------
    cov, target : float
        Coefficient of variation and the half-width wanted, both as fractions of the mean.
    cov_df : float
        Degrees of freedom on which ``cov`` rests: each repetition has a true one that may be behind it. Infinite: it is
        the true one.
    inside : tuple, optional
        The units are means of fillings: SD within them as a fraction of the mean, the degrees of freedom behind it, and
        breakdowns in each. Fillings that agree by luck are then not believed, as the analysis does not.
    start : int
        Units taken before the first look.
    most : int
        The rule that stops when narrow gives up after so many.
    confidence : float, default 0.95
        Of the two rules, a fraction.
    repetitions : int, default 4000
        Simulated tests.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.

    Returns
    -------
    tuple of ErrorRates
        In the order of :data:`STEP_RULES`. Standard error of a coverage: below ``0.5 / sqrt(draws)``.
    """
    seed = seed_of(rng)
    found, width = inputs.positive(cov, "cov"), inputs.positive(target, "target")
    first = inputs.whole_number(start, "start", least=2)
    level = inputs.probability(confidence, "confidence")
    last = max(inputs.whole_number(most, "most"), first + 1)
    rng = np.random.default_rng(seed)
    spread = np.full(repetitions, found)
    if math.isfinite(cov_df):
        spread *= np.sqrt(cov_df / rng.chisquare(cov_df, repetitions))
    within = None
    if inside is not None:
        sd, df, each = inside
        sds = np.full(repetitions, inputs.positive(sd, "inside"))
        if math.isfinite(df):
            sds *= np.sqrt(df / rng.chisquare(df, repetitions))
        within, spread = Within(sds, each), np.maximum(spread, sds / math.sqrt(each))
    return (
        _two_stage(spread, within, width, first, level, repetitions, rng),
        _when_narrow(spread, within, width, first, level, last, repetitions, rng),
    )


@dataclass(frozen=True)
class Within:
    """What is inside the units of a simulated rule: SD of breakdowns (draws,), and how many to a filling."""

    sd: np.ndarray
    each: int

    def squares(self, fillings: int, rng: np.random.Generator) -> np.ndarray:
        """Sums of squares of so many fillings (draws,)."""
        return np.asarray(self.sd**2 * rng.chisquare(fillings * (self.each - 1), len(self.sd)))

    def half(self, squares: np.ndarray, means_sd: np.ndarray, fillings: int, level: float) -> np.ndarray:
        """Half-width as the analysis makes it, from the sum of squares and the SD of the filling means (draws,).

        Parameters
        ----------
        squares : ndarray
            (draws,) Sums of squares within fillings.
        means_sd : ndarray
            (draws,) SDs of the filling means.
        fillings : int
            Number of fillings.
        level : float
            Confidence, a fraction.
        """
        inside = np.sqrt(squares / (fillings * (self.each - 1)) / (fillings * self.each))
        ratio = means_sd / math.sqrt(fillings) / inside
        low = max(k for k in _TABLES if k <= fillings)
        high = min((k for k in _TABLES if k >= fillings), default=low)
        one, two = (mean_obtained(k, self.each, level).half_at(ratio) for k in (low, high))
        share = 0.0 if low == high else (1 / low - 1 / fillings) / (1 / low - 1 / high)
        plain = student(fillings - 1.0, level) * ratio
        # Student's t between two tables is known; only what is added to it where fillings agree by luck is read off.
        more = (1 - share) * (one - student(low - 1.0, level) * ratio) + share * (
            two - student(high - 1.0, level) * ratio
        )
        return np.asarray(inside * (plain + np.where(ratio < 1, np.maximum(more, 0.0), 0.0)))


#: Numbers of fillings at which the analysis is asked how wide it makes its limits; between them by what it adds.
_TABLES = (2, 3, 4, 5, 6, 8, 11, 16, 25, 50, 150, 100_000)


def _two_stage(
    spread: np.ndarray, within: Within | None, width: float, first: int, level: float, repetitions: int, rng: Any
) -> ErrorRates:
    sd = spread * np.sqrt(rng.chisquare(first - 1, repetitions) / (first - 1))
    t = scipy.stats.t.ppf(0.5 + level / 2, first - 1)
    now = t * sd / math.sqrt(first)
    if within is not None:
        now = within.half(within.squares(first, rng), sd, first, level)
    total = np.maximum(first, np.ceil(first * (now / width) ** 2))
    error = (
        spread / np.sqrt(total) * rng.standard_normal(repetitions)
    )  # the mean is independent of the first stage's SD
    inside = np.abs(error) <= now * np.sqrt(first / total)
    return ErrorRates(
        "two_stage", float(inside.mean()), float(total.mean()), float(np.quantile(total, 0.95, method="higher")), 0.0
    )


def _when_narrow(
    spread: np.ndarray, within: Within | None, width: float, first: int, level: float, last: int, repetitions: int,
    rng: Any,
) -> ErrorRates:  # fmt: skip
    x = spread[:, None] * rng.standard_normal((repetitions, last))
    n = np.arange(1, last + 1)
    mean = np.cumsum(x, axis=1) / n
    square = np.cumsum(x**2, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        sd = np.sqrt(np.maximum(square - n * mean**2, 0) / (n - 1))
        half = scipy.stats.t.ppf(0.5 + level / 2, np.maximum(n - 1, 1)) * sd / np.sqrt(n)
    if within is not None:
        squares, going = within.squares(first - 1, rng), np.arange(repetitions)  # those that have not stopped
        for k in range(first, last + 1):
            squares += within.squares(1, rng)
            half[going, k - 1] = within.half(squares[going], sd[going, k - 1], k, level)
            going = going[half[going, k - 1] > width]
            if not len(going):
                break
    narrow = half <= width
    narrow[:, : first - 1] = False
    stopped = narrow.any(axis=1)
    where = np.where(stopped, narrow.argmax(axis=1), last - 1)
    rows = np.arange(repetitions)
    inside = np.abs(mean[rows, where]) <= half[rows, where]
    total = where + 1
    return ErrorRates(
        "stop_when_narrow", float(inside.mean()), float(total.mean()), float(np.quantile(total, 0.95, method="higher")),
        float(1 - stopped.mean()),
    )  # fmt: skip
