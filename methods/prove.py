"""Coverage at one's own design: how often such limits hold the truth, counted.

The design at hand (its fillings and breakdowns, its ceiling, the scatter that was found) is invented again and again
with a known truth, and the very procedure that made the limits is run on each. Nothing is assumed about the procedure.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from methods.errors import InputError, NotEstimable
from methods.families import family_of
from methods.scatter.arguments import check_values
from methods.scatter.fitting import estimate
from methods.scatter.one_oil import one_oil
from methods.workers import carry_out, pieces

Array = np.ndarray[Any, Any]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Held:
    """One kind of limits: of ``repetitions`` invented studies that gave an answer, the share ``held`` whose limits held
    the truth; ``low, high`` are 95 % limits of that share (Clopper & Pearson), ``claimed`` what the limits claim."""

    what: str
    claimed: float
    held: float
    low: float
    high: float
    repetitions: int


@dataclass(frozen=True)
class Proof:
    """What was counted, the design in words, and a sentence."""

    rows: tuple[Held, ...]
    design: str
    sentence: str


def count(what: str, claimed: float, hits: Sequence[bool] | Array) -> Held:
    """Count outcomes (repetitions,); repetitions without an answer are nan and left out.

    Parameters
    ----------
    what : str
        Name of what is counted.
    claimed : float
        The confidence that is claimed, a fraction.
    hits : sequence of bool or ndarray
        (repetitions,) Whether it held; nan where there was no answer.
    """
    values = np.asarray(hits, dtype=float)
    values = values[np.isfinite(values)]
    if not len(values):
        raise NotEstimable(f"{what}: no invented study gave an answer.")
    given = scipy.stats.binomtest(int(values.sum()), len(values)).proportion_ci(0.95, method="exact")
    return Held(what, claimed, float(values.mean()), float(given.low), float(given.high), len(values))


def proof(rows: Sequence[Held], design: str) -> Proof:
    """Rows with their sentence."""
    first = rows[0]
    text = (
        f"At this design ({design}) such limits of the {first.what} held the truth in {100 * first.held:.0f} of 100 "
        f"invented studies ({first.repetitions} were made)"
    )
    if len(rows) > 1:
        text += "; of the " + ", the ".join(f"{r.what} in {100 * r.held:.0f}" for r in rows[1:])
    return Proof(tuple(rows), design, text + ".")


def prove_oil(
    kv: Any,
    withstood: Any = None,
    fillings: Any = None,
    *,
    family: str = "normal",
    confidence: float = 0.95,
    percentiles: Sequence[float] = (0.01, 0.1),
    repetitions: int = 2000,
    rng: Any = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Proof:
    """Coverage of the limits of one oil's mean and percentiles at its own design.

    Parameters
    ----------
    kv, withstood, fillings
        As for :func:`methods.scatter.one_oil`; the largest ceiling among the withstands is every value's.
    family : str
        The law whose percentiles are proved; values of one filling share normal scores with the correlation found.
    repetitions : int
        Invented studies.
    rng : seed or generator, optional
        1 unless said. The same seed gives the same numbers whatever the executor.
    progress : callable, optional
        Called with the number done and the number in all; may raise to stop.
    executor : concurrent.futures.Executor, optional
        What works on the pieces (:mod:`methods.workers`).
    confidence : float, default 0.95
        Of the limits that are proved, a fraction.
    percentiles : sequence of float, default (0.01, 0.1)
        Fractions whose voltages are proved.

    Raises
    ------
    NotEstimable
        Nothing scatters, or nothing broke down.
    """
    if repetitions < 1:
        raise InputError(f"{repetitions} repetitions prove nothing; name a number above zero.", column="repetitions")
    x, gone = check_values(kv, withstood)
    code = None if fillings is None else np.unique(np.asarray(fillings), return_inverse=True)[1]
    fam = family_of(family)
    if fam.name == "weibull3":
        raise InputError("Limits of the Weibull family with a threshold are not proved; choose another family.")
    if fam.name == "normal" and not gone.any() and np.ptp(x) == 0:
        raise NotEstimable("All values are equal, so there is no scatter to invent studies with.")
    truth = estimate(x, gone, fam.name, code).found
    mu, sigma = float(truth.mu[0]), float(truth.sigma[0])
    oil = one_oil(x, gone, code, confidence=confidence, percentiles=percentiles)
    if fam.name == "normal":
        mu, sigma = oil.mean_kv, oil.sd_kv
    share = _correlation(oil.within_sd_kv, oil.between_sd_kv)
    ceiling = float(x[gone].max()) if gone.any() else math.inf
    wanted = fam.kernel.quantile(np.asarray(percentiles, dtype=float))
    true = mu + sigma * np.asarray(wanted, dtype=float)
    true = np.exp(true) if fam.log else true
    shared = (fam.name, mu, sigma, share, code, len(x), ceiling, confidence, tuple(percentiles), true)
    hits = counted(_oil_piece, shared, repetitions, rng, progress, executor)
    named = [] if fam.name != "normal" else [count("mean", confidence, hits[:, 0])]
    rows = [count(f"{100 * p:g} % point", confidence, hits[:, 1 + j]) for j, p in enumerate(percentiles)]
    return proof([*named, *rows], _design(code, len(x), share, sigma, fam.title, ceiling))


def counted(
    function: Callable[..., Array], shared: tuple[Any, ...], repetitions: int, rng: Any, progress: Progress | None,
    executor: Executor | None,
) -> Array:  # fmt: skip
    """What each invented study came to (repetitions, ...), worked on in pieces.

    Parameters
    ----------
    function : callable
        Works on one piece: gets ``shared``, the number of its studies and a seed.
    shared : tuple of object
        Arguments that every piece gets.
    repetitions : int
        How many studies are invented.
    rng : int, Generator or None
        A seed or a generator; 1 if None.
    progress : callable or None
        Called with the number done and the number in all.
    executor : Executor or None
        Computes the pieces elsewhere; without it they are computed here.
    """
    parts = pieces(repetitions, 1 if rng is None else rng)

    def done(some: int, _: int) -> None:
        if progress is not None:
            progress(sum(size for size, _ in parts[:some]), repetitions)

    return np.concatenate(carry_out(function, shared, parts, executor=executor, progress=done))


def _oil_piece(
    family: str, mu: float, sigma: float, share: float, code: Array | None, n: int, ceiling: float, confidence: float,
    percentiles: tuple[float, ...], true: Array, repetitions: int, seed: Any,
) -> Array:  # fmt: skip
    fam, random = family_of(family), np.random.default_rng(seed)
    hits = np.full((repetitions, 1 + len(true)), np.nan)
    for i in range(repetitions):
        drawn = _drawn(fam, mu, sigma, share, code, n, random)
        stood = drawn >= ceiling
        try:
            hits[i] = _hits(np.minimum(drawn, ceiling), stood, code, fam.name, confidence, percentiles, mu, true)
        except NotEstimable:
            continue
    return hits


def _design_piece(
    fillings: int, breakdowns_per_filling: int, within_cov: float, between_cov: float, confidence: float,
    repetitions: int, seed: Any,
) -> Array:  # fmt: skip
    """For each study: whether the limits held the mean of 100 kV, and their half-width."""
    k, n, random = fillings, breakdowns_per_filling, np.random.default_rng(seed)
    code, out = np.repeat(np.arange(k), n), np.full((repetitions, 2), np.nan)
    for i in range(repetitions):
        kv = 100 * (1 + between_cov * random.standard_normal(k)[code] + within_cov * random.standard_normal(k * n))
        oil = one_oil(np.maximum(kv, 1e-3), fillings=code if k > 1 else None, confidence=confidence, percentiles=())
        if not oil.df > 0:
            raise NotEstimable("One breakdown has no limits.")
        out[i] = oil.mean_low_kv <= 100 <= oil.mean_high_kv, (oil.mean_high_kv - oil.mean_low_kv) / 2
    return out


def _correlation(within: float, between: float) -> float:
    if not (math.isfinite(within) and math.isfinite(between)) or within + between == 0:
        return 0.0
    return between**2 / (within**2 + between**2)


def _drawn(
    fam: Any, mu: float, sigma: float, share: float, code: Array | None, n: int, rng: np.random.Generator
) -> Array:
    score = rng.standard_normal(n)
    if share > 0 and code is not None:
        score = math.sqrt(share) * rng.standard_normal(int(code.max()) + 1)[code] + math.sqrt(1 - share) * score
    z = score if fam.kernel.quantile is scipy.special.ndtri else fam.kernel.quantile(scipy.special.ndtr(score))
    y = mu + sigma * z
    return np.asarray(np.exp(y) if fam.log else np.maximum(y, 1e-3))


def _hits(
    kv: Array, gone: Array, code: Array | None, family: str, confidence: float, percentiles: Sequence[float],
    mean: float, true: Array,
) -> list[float]:  # fmt: skip
    if family == "normal":
        oil = one_oil(kv, gone, code, confidence=confidence, percentiles=percentiles)
        if not oil.df > 0:
            raise NotEstimable("One value has no limits.")
        points: Sequence[Any] = oil.percentiles
        first = float(oil.mean_low_kv <= mean <= oil.mean_high_kv)
    else:
        points = estimate(kv, gone, family, code).fit(confidence=confidence, percentiles=percentiles).percentiles
        first = math.nan
    return [first, *(float(p.low <= t <= p.high) for p, t in zip(points, true, strict=True))]


def _design(code: Array | None, n: int, share: float, sigma: float, law: str, ceiling: float) -> str:
    if code is None:
        what = f"{n} values"
    else:
        sizes = np.bincount(code)
        alike = f"{sizes[0]}" if len(set(sizes.tolist())) == 1 else f"{sizes.min()} to {sizes.max()}"
        what = f"{len(sizes)} filling{'s' if len(sizes) > 1 else ''} of {alike}"
    ratio = math.sqrt(share / (1 - share)) if share < 1 else math.inf
    parts = [what, f"{law} law"]
    if code is not None and 1 < len(np.bincount(code)) < n:
        parts.append(f"SD between fillings {ratio:.2g} times that within")
    if math.isfinite(ceiling):
        parts.append(f"ceiling {ceiling:g} kV")
    return ", ".join(parts)


def prove_design(
    fillings: int,
    breakdowns_per_filling: int,
    *,
    within_cov: float,
    between_cov: float = 0.0,
    half_width: float | None = None,
    confidence: float = 0.95,
    repetitions: int = 2000,
    rng: Any = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Proof:
    """What a planned design delivers: how often its limits of the mean hold the truth, and are as narrow as asked.

    ``within_cov``, ``between_cov`` and ``half_width`` are fractions of the mean. Errors as for :func:`prove_oil`.

    Parameters
    ----------
    fillings : int
        Number of fillings.
    breakdowns_per_filling : int
        Breakdowns on each.
    within_cov : float
        Scatter within a filling, a fraction of the mean.
    between_cov : float, default 0.0
        Scatter between fillings, a fraction of the mean.
    half_width : float, optional
        Half-width that was asked for, a fraction of the mean.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    repetitions : int, default 2000
        How many studies are invented.
    rng : object, optional
        A seed or a generator; the same seed gives the same numbers.
    progress : callable, optional
        Called with the share that is done, from 0 to 1.
    executor : Executor, optional
        Computes the pieces elsewhere; without it they are computed here.
    """
    k, n = fillings, breakdowns_per_filling
    found = counted(_design_piece, (k, n, within_cov, between_cov, confidence), repetitions, rng, progress, executor)
    holds = found[:, 0]
    narrow = found[:, 1] <= 100 * half_width if half_width is not None else np.full(repetitions, np.nan)
    rows = [count("mean", confidence, holds)]
    scatter = f"CoV {100 * within_cov:g} % within and {100 * between_cov:g} % between"
    design = f"{k} filling{'s' if k > 1 else ''} of {n}, {scatter}"
    made = proof(rows, design)
    if half_width is None:
        return made
    share = count("half-width as narrow as asked", math.nan, narrow)
    text = f"{made.sentence} The half-width was no wider than {100 * half_width:g} % in {100 * share.held:.0f} of 100."
    return Proof((*rows, share), design, text)
