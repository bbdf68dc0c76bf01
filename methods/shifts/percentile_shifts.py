"""The shift of the whole distribution: tail points by a fitted family, every percentile by the data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from methods.columns import name_level
from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.families import EVERY_FAMILY, PLANNED, family_title
from methods.randomness import Rng, seed_of
from methods.result import Caution, Shown
from methods.shifts import cautions as say
from methods.shifts.compare import Comparison, compare
from methods.shifts.pairing import CodedRows, choose_reference, layout
from methods.shifts.percentile_errors import Spread, data_spread, family_spread
from methods.shifts.resampling import Cancel, Progress
from methods.wording import list_words, percent

#: Percentiles of the curve.
CURVE: tuple[float, ...] = tuple(i / 100 for i in range(1, 100))


@dataclass(frozen=True)
class PercentilePoint:
    """The shift at one percentile ``p``; ``band_*`` hold for all percentiles of a curve at once, nan elsewhere."""

    p: float
    kv: float
    reference_kv: float
    difference_kv: float
    low_kv: float
    high_kv: float
    difference_percent: float
    low_percent: float
    high_percent: float
    band_low_kv: float = float("nan")
    band_high_kv: float = float("nan")
    band_low_percent: float = float("nan")
    band_high_percent: float = float("nan")


@dataclass(frozen=True)
class LevelPercentiles:
    """One level against the reference.

    ``points``: by the fitted family; ``points_from_data``: the same percentiles by Kaplan-Meier, nan beyond
    the data; ``curve``: every whole percentile within the data, with the simultaneous band;
    ``other_families``: family -> shift in percent at the lowest percentile asked, to see how far that
    point leans on the family.
    """

    level: Any
    fillings: int
    breakdowns: int
    withstood: int
    family: str
    points: list[PercentilePoint]
    points_from_data: list[PercentilePoint]
    curve: list[PercentilePoint]
    other_families: dict[str, float]
    sentence: str


@dataclass(frozen=True, repr=False)
class PercentileShift(Shown):
    """The result of :func:`percentile_shift`."""

    by: str
    reference: Any
    confidence: float
    percentiles: list[float]
    repetitions: int
    seed: int
    levels: list[LevelPercentiles]
    cautions: list[Caution] = field(default_factory=list)


def percentile_shift(
    data: Any,
    by: str | Sequence[str],
    *,
    reference: Any = None,
    percentiles: Sequence[float] = (0.01, 0.1, 0.5),
    confidence: float = 0.95,
    repetitions: int = 2000,
    rng: Rng = 0,
    family: str | None = None,
    within: Sequence[str] = (),
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> PercentileShift:
    """Shift of percentiles between the levels of a factor, withstands right-censored, within the same oil.

    Over several oils a percentile is taken oil by oil and averaged with equal weights. Errors are those of
    fillings: for the family by leaving out one filling at a time (jackknife; Lipsitz, Dear and Zhao,
    Biometrics 50 (1994) 842), for the data by resampling whole fillings (cluster bootstrap; Davison and
    Hinkley 1997, section 3.8), each widened by sqrt(k / (k - 1)) and used with t on the fillings' degrees of
    freedom, because few fillings resampled show too little scatter. The band is by the
    quantile of the largest standardised deviation over the percentiles (sup-t; Montiel Olea and
    Plagborg-Moller, J. Applied Econometrics 34 (2019) 1), divided by one scatter for all that is known with the
    fillings' degrees of freedom (multivariate t; Hothorn, Bretz and Westfall, Biometrical J. 50 (2008) 346, from
    memory). Where an oil has one filling a level the oils are the unit; with one filling in all the
    breakdowns are, and the caution says so.

    Parameters
    ----------
    percentiles : sequence of float
        Between 0 and 1.
    family : str, optional
        One of the families; by default the one of smallest AICc over the compared rows of both levels.
    repetitions : int
    rng : int or numpy.random.Generator
        Of the bootstrap. The same seed gives the same numbers whatever the executor.
    progress : callable, optional
        Called with the fraction done.
    cancel : callable, optional
        When it returns True the bootstrap stops; ``repetitions`` then says how many were done.
    executor : concurrent.futures.Executor, optional
        What works on the resamples (:mod:`methods.workers`).
    data : Records or DataFrame
        The records.
    by : str or sequence of str
        Column or columns of the factor.
    reference : object, optional
        The level that others are compared with; the one with most fillings by default.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    within : sequence of str, optional
        Columns within whose levels the oils are compared.

    Raises
    ------
    InputError
        Percentiles outside 0 to 1, fewer than 100 resamples, unknown column, reference or family.
    NotEstimable
        Nothing that can be compared, or stopped before 100 resamples.
    """
    seed = seed_of(rng)
    check_confidence(confidence)
    wanted = sorted({float(p) for p in percentiles})
    if not wanted or not all(0 < p < 1 for p in wanted):
        raise InputError("Percentiles lie between 0 and 1: 0.01 is the 1 % point.")
    if repetitions < 100:
        raise InputError("A bootstrap needs at least 100 resamples.")
    if family is not None and family not in EVERY_FAMILY:
        raise InputError(f"There is no family {family!r}; use one of {', '.join(EVERY_FAMILY)}.")
    lay = layout(data, by, within)
    base = choose_reference(lay, reference)
    found = [compare(lay, i, base) for i in range(len(lay.levels)) if i != base]
    usable = [c for c in found if c.difference is not None]
    if not usable:
        raise NotEstimable("; ".join(dict.fromkeys(c.problem for c in found)))
    levels, notes, done = [], [], []
    for i, c in enumerate(usable):
        share = _share(progress, i, len(usable))
        level, cautions, count = _level(
            lay, c, base, wanted, confidence, repetitions, np.random.default_rng([seed, i]), family, share, cancel,
            executor,
        )  # fmt: skip
        levels.append(level)
        notes += cautions
        done.append(count)
    return PercentileShift(
        by=lay.by, reference=lay.levels[base], confidence=confidence, percentiles=wanted, repetitions=min(done),
        seed=seed, levels=levels, cautions=[*say.cautions(lay, found, base, confidence, False), *notes],
    )  # fmt: skip


def _share(progress: Progress | None, part: int, parts: int) -> Progress | None:
    if progress is None:
        return None
    return lambda fraction: progress((part + fraction) / parts)


def _level(
    lay: CodedRows, c: Comparison, base: int, wanted: list[float], confidence: float, repetitions: int,
    rng: np.random.Generator, family: str | None, progress: Progress | None, cancel: Cancel | None,
    executor: Executor | None,
) -> tuple[LevelPercentiles, list[Caution], int]:  # fmt: skip
    grid = np.array(sorted({*CURVE, *wanted}))
    empirical, done = data_spread(c, grid, repetitions, rng, progress, cancel, executor)
    rows = _points(grid, empirical, confidence, band=True)
    by_p = {r.p: r for r in rows}
    whole = set(CURVE)
    curve = [r for r in rows if r.p in whole and math.isfinite(r.difference_kv)]
    # The Weibull with threshold is not among them: its threshold is hardly ever estimable.
    names = [family] if family else list(PLANNED)
    fits = {name: family_spread(c, name, np.array(wanted), rng) for name in names}
    fitted = {name: s for name, s in fits.items() if s is not None and math.isfinite(s.aicc)}
    points: list[PercentilePoint] = []
    others: dict[str, float] = {}
    chosen = ""
    if fitted:
        chosen = min(fitted, key=lambda n: fitted[n].aicc)
        points = _points(np.array(wanted), fitted[chosen], confidence, band=False)
        others = {
            n: 100 * float(s.first[0] / s.second[0] - 1) for n, s in fitted.items() if s.first[0] > 0 < s.second[0]
        }
    level = LevelPercentiles(
        level=lay.levels[c.level], fillings=lay.fillings_of(c.pair.rows),
        breakdowns=int((c.pair.rows & ~lay.withstood).sum()), withstood=int((c.pair.rows & lay.withstood).sum()),
        family=chosen, points=points, points_from_data=[by_p[p] for p in wanted], curve=curve, other_families=others,
        sentence=_sentence([name_level(lay.by, lay.levels[i]) for i in (c.level, base)], chosen, points),
    )  # fmt: skip
    return level, _notes(lay, level, base, wanted, family), done


def _points(p: np.ndarray, s: Spread, confidence: float, *, band: bool) -> list[PercentilePoint]:
    """Limits from estimates, standard errors and degrees of freedom; nan where something is not estimable."""
    with np.errstate(invalid="ignore", divide="ignore"):
        t = s.critical(confidence)
        difference = s.first - s.second
        low, high = difference - t * s.error, difference + t * s.error
        positive = (s.first > 0) & (s.second > 0)
        ratio = np.log(np.where(positive, s.first / s.second, np.nan))
        low_per, high_per = np.expm1(ratio - t * s.log_error), np.expm1(ratio + t * s.log_error)
        wide = [s.band(confidence, log=False), s.band(confidence, log=True)] if band else [np.full(len(p), np.nan)] * 2
        band_low, band_high = difference - wide[0], difference + wide[0]
        band_low_per, band_high_per = np.expm1(ratio - wide[1]), np.expm1(ratio + wide[1])
    table = np.column_stack(
        [p, s.first, s.second, difference, low, high, 100 * np.expm1(ratio), 100 * low_per, 100 * high_per,
         band_low, band_high, 100 * band_low_per, 100 * band_high_per]
    )  # fmt: skip
    return [PercentilePoint(*(float(v) for v in row)) for row in table]


def _sentence(names: list[str], family: str, points: list[PercentilePoint]) -> str:
    one, two = names
    if not points:
        return f"{one} against {two}: no family could be fitted to both, so no tail percentile is given."
    parts = []
    for point in points:
        if math.isfinite(point.difference_percent):
            side = "lower" if point.difference_percent < 0 else "higher"
            parts.append(
                f"the {100 * point.p:g} % point is {percent(point.difference_percent)} % {side} "
                + f"({point.low_percent:+.0f} to {point.high_percent:+.0f} %)".replace("-", "\u2212")
            )
        else:
            parts.append(f"the {100 * point.p:g} % point cannot be compared in percent")
    return f"{one} against {two}, {family_title(family)}: {list_words(parts)}."


def _notes(
    lay: CodedRows, level: LevelPercentiles, base: int, wanted: list[float], family: str | None
) -> list[Caution]:
    one, two = name_level(lay.by, level.level), name_level(lay.by, lay.levels[base])
    out = []
    beyond = [p for p, r in zip(wanted, level.points_from_data, strict=True) if not math.isfinite(r.difference_kv)]
    if beyond:
        out.append(
            Caution(
                "percentile_beyond_data",
                f"{one} against {two}: the data by themselves do not reach the "
                f"{list_words([f'{100 * p:g} %' for p in beyond])} point; what is given there rests on the fitted "
                "family alone.",
            )
        )
    if not level.points:
        out.append(
            Caution(
                "no_family",
                f"{one} against {two}: {'no family' if family is None else family_title(family)} could be fitted to "
                "both.",
            )
        )
    elif family is None and len(level.other_families) > 1:
        spread = max(level.other_families.values()) - min(level.other_families.values())
        width = level.points[0].high_percent - level.points[0].low_percent
        if not spread < 0.25 * width:
            words = [f"{v:+.0f} % {family_title(n)}".replace("-", "\u2212") for n, v in level.other_families.items()]
            out.append(
                Caution(
                    "tail_leans_on_family",
                    f"{one} against {two}: the shift of the {100 * wanted[0]:g} % point depends on the family assumed "
                    f"({list_words(words)}); the limits hold for {family_title(level.family)} only.",
                )
            )
    return out
