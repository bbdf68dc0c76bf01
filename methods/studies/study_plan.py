"""A comparison of procedures on the same oils: how many fillings, in which order, and how narrow its limits are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.confidence import check_confidence
from methods.errors import InputError
from methods.result import Caution
from methods.shifts.compare import ENOUGH_OILS
from methods.shifts.widening import widening
from methods.studies.plan_result import WithSheet
from methods.studies.procedure_plan import ProcedurePlan, from_mapping, from_records, from_text
from methods.studies.sheet import bench_sheet
from methods.wording import list_words, percent

#: Strongest over weakest oil where nothing is known of them: the more oils differ, the more the strong ones decide.
SPREAD = 2.0

#: Studies drawn for a promise.
_DRAWS = 16_000

#: Most fillings of each oil by each procedure that are looked at.
MOST = 200


@dataclass(frozen=True, repr=False)
class StudyPlan(WithSheet):
    """The result of :func:`plan_study`.

    ``fillings`` of each oil by each procedure; ``pairs`` has for each two procedures the half-width of their shift,
    averaged over these oils, in per cent of the mean: ``half_width_percent`` is what the limits come out at or below
    with the probability ``assurance``, ``median_percent`` what half of the studies stay below. ``half_width_percent``
    of the plan is the widest of them; ``curve`` has that pair's at other numbers of fillings. ``sheet`` holds a row a
    breakdown to fill in.
    """

    oils: list[str]
    procedures: list[str]
    breakdowns_per_filling: list[int]
    fillings: int
    runs: int
    bench_minutes: float
    days: int
    half_width_percent: float
    target_percent: float | None
    reaches_target: bool | None
    assurance: float
    confidence: float
    pairs: list[dict[str, Any]]
    curve: list[dict[str, float]]
    seed: int
    sheet: pd.DataFrame
    sentence: str
    cautions: list[Caution]


def plan_study(
    oils: Sequence[str],
    procedures: Sequence[str | Mapping[str, Any]] = (),
    *,
    data: Any = None,
    half_width: float | None = None,
    cov: float | None = None,
    between_cov: float | None = None,
    confidence: float = 0.95,
    assurance: float = 0.8,
    fillings: int | None = None,
    bench_hours: float | None = None,
    hours_a_day: float = 7.0,
    fully_random: bool = False,
    rng: int = 0,
) -> StudyPlan:
    """Plan a comparison in randomised complete blocks: each block holds every oil by every procedure once.

    What is promised is the quantile at ``assurance`` of the half-width that the shift between two procedures, averaged
    over the oils, will come out with: the scatter that the bench finds is itself an estimate (Kupper and Hafner, The
    American Statistician 43 (1989) 101).

    Parameters
    ----------
    oils : sequence of str
    procedures : sequence of str or mapping
        With ``data`` the procedures of the records by name (empty: all). Without: a method in words (``ASTM D1816
        1 mm``, ``IEC 60156, spherical, stirred``) or a mapping of the fields.
    data : Records or DataFrame, optional
        Earlier tests: what the procedures set, and their scatter.
    half_width : float, optional
        Wanted half-width of every shift, a fraction of the mean.
    cov, between_cov : float, optional
        Scatter within and between fillings, fractions; overrule what the records show.
    assurance : float
        Probability with which the promised width is kept.
    fillings : int, optional
        Fixed beforehand, 2 or more.
    bench_hours : float, optional
        Bench time at hand: without ``half_width`` as many fillings as it holds, with it a bound.
    fully_random : bool
        Every filling of a block in random order. By default the procedures of a block come in random order, and the
        oils in random order within each, so that the cell is set up once a block and procedure.
    rng : int
        The seed of the order, kept with the sheet.
    confidence : float, default 0.95
        Of the promised limits, a fraction.
    hours_a_day : float, default 7.0
        Bench hours of a day.

    Raises
    ------
    InputError
        Fewer than two procedures or no oil, nothing that fixes the size, numbers out of range, a width out of reach.
    """
    names = [str(o).strip() for o in oils if str(o).strip()]
    if not names:
        raise InputError("Name the oils that are to be tested.", rule="one oil or more")
    if len(set(names)) < len(names):
        raise InputError("An oil is named twice.", rule="each oil once")
    for value, what in ((half_width, "half-width"), (cov, "cov"), (between_cov, "between-cov")):
        if value is not None and not 0 <= value < 1:
            raise InputError(f"The {what} is {value!r}; it is a fraction of the mean below 1.", rule="0 to 1")
    check_confidence(confidence)
    if not 0 < assurance < 1:
        raise InputError(f"The assurance is {assurance!r}; it must lie between 0 and 1, such as 0.8.", rule="0 to 1")
    if isinstance(rng, bool) or not isinstance(rng, (int, np.integer)):
        raise InputError("The order needs a whole number as its seed, which the sheet keeps.", rule="a whole number")
    plans, means = _procedures(procedures, data, cov, between_cov)
    k = _fillings(names, plans, means, half_width, confidence, assurance, fillings, bench_hours)
    pairs = [_pair(a, b, len(names), k, means, confidence, assurance) for a, b in combinations(plans, 2)]
    widest = max(p["half_width_percent"] for p in pairs)
    minutes = k * len(names) * sum(p.minutes for p in plans)
    sheet, days = bench_sheet(names, plans, k, int(rng), hours_a_day, fully_random=fully_random)
    reaches = None if half_width is None else bool(widest <= 100 * half_width * (1 + 1e-9))
    return StudyPlan(
        names, [p.procedure for p in plans], [p.breakdowns_per_filling for p in plans], k,
        k * len(names) * len(plans), minutes, days, widest, None if half_width is None else 100 * half_width, reaches,
        assurance, confidence, pairs, _curve(names, plans, k, pairs, means, confidence, assurance), int(rng), sheet,
        _sentence(names, plans, k, minutes, days, widest, assurance, reaches),
        _cautions(plans, means, fully_random, data is not None),
    )  # fmt: skip


def _procedures(
    given: Sequence[str | Mapping[str, Any]], data: Any, cov: float | None, between_cov: float | None
) -> tuple[list[ProcedurePlan], dict[str, float]]:
    if data is not None:
        plans, means = from_records(data, [str(g) for g in given], cov, between_cov)
    else:
        means = {}
        plans = [
            from_text(g, cov, between_cov) if isinstance(g, str) else from_mapping(g, cov, between_cov) for g in given
        ]
    if len(plans) < 2:
        raise InputError("A comparison needs two procedures or more.", rule="two procedures")
    return plans, means


def _width(
    a: ProcedurePlan, b: ProcedurePlan, oils: int, k: int, means: Mapping[str, float], confidence: float,
    shares: Sequence[float],
) -> np.ndarray:  # fmt: skip
    """Quantiles of the half-width of the shift, fractions of the mean: 16,000 studies drawn, always the same ones.

    Each draws the means and the variances of every oil's fillings and makes of them what :func:`methods.shift` makes:
    limits in per cent of the reference's mean (Fieller), with Satterthwaite's degrees of freedom and t widened as
    there; where so many oils make the narrower limits, those with the oils as the unit, no oil having a shift of its
    own.
    """
    kv = np.resize(np.array(list(means.values()) or np.linspace(1, SPREAD, oils)), oils)
    weight = (kv / kv.sum()) ** 2  # strong oils scatter more kV, and each oil weighs alike
    rng = np.random.default_rng(1)
    cov = np.array([a.filling_cov**2, b.filling_cov**2])
    true = weight * cov[:, None] / k
    squares = rng.chisquare(k - 1, size=(_DRAWS, 2, oils)) / (k - 1)
    errors = rng.standard_normal((_DRAWS, 2, oils)) * np.sqrt(true)
    first, second = (1 + errors.sum(axis=2)).T
    widen = widening((k,) * oils, (k,) * oils)
    alike = scipy.stats.t.ppf(0.975, oils - 1) if oils >= ENOUGH_OILS else np.inf
    if widen.critical(0.95, 2 * oils * (k - 1)) < alike:
        parts = squares * true
        v_first, v_second = parts.sum(axis=2).T
        df = (v_first + v_second) ** 2 / (parts**2 / (k - 1)).sum(axis=(1, 2))
        t = widen.at(confidence) * scipy.special.stdtrit(df, 0.5 + confidence / 2)
        covariance = np.zeros(_DRAWS)
    else:  # each oil's part of both means, less its own share, as the oils scatter about their average
        about = errors - errors.mean(axis=2, keepdims=True)
        v_first, v_second = (about**2).sum(axis=2).T * oils / (oils - 1)
        covariance = (about[:, 0] * about[:, 1]).sum(axis=1) * oils / (oils - 1)
        t = np.full(_DRAWS, scipy.stats.t.ppf(0.5 + confidence / 2, oils - 1))
    return np.asarray(np.quantile(_fieller(first, second, v_first, v_second, covariance, t), shares))


def _fieller(
    first: np.ndarray, second: np.ndarray, v_first: np.ndarray, v_second: np.ndarray, covariance: np.ndarray,
    t: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """Half-width of the limits of first / second; infinite where the reference's mean is not told from zero."""
    a = second**2 - t**2 * v_second
    b = first * second - t**2 * covariance
    c = first**2 - t**2 * v_first
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(a > 0, np.sqrt(np.maximum(b**2 - a * c, 0.0)) / a, np.inf)


def _pair(
    a: ProcedurePlan, b: ProcedurePlan, oils: int, k: int, means: Mapping[str, float], confidence: float,
    assurance: float,
) -> dict[str, Any]:  # fmt: skip
    sure, half = _width(a, b, oils, k, means, confidence, (assurance, 0.5))
    return {
        "first": a.procedure, "second": b.procedure, "half_width_percent": 100 * float(sure),
        "median_percent": 100 * float(half),
    }  # fmt: skip


def _curve(
    oils: Sequence[str], plans: Sequence[ProcedurePlan], k: int, pairs: Sequence[Mapping[str, Any]],
    means: Mapping[str, float], confidence: float, assurance: float,
) -> list[dict[str, float]]:  # fmt: skip
    """The widest pair's half-widths at other numbers of fillings, with the bench minutes of the whole study."""
    at = max(range(len(pairs)), key=lambda i: pairs[i]["half_width_percent"])
    a, b = list(combinations(plans, 2))[at]
    steps = sorted({int(v) for v in np.linspace(2, max(2 * k, 8), 9)} | {k})
    out = []
    for n in steps:
        width = _pair(a, b, len(oils), n, means, confidence, assurance)
        out.append(
            {"fillings": n, "half_width_percent": width["half_width_percent"],
             "median_percent": width["median_percent"],
             "bench_minutes": n * len(oils) * sum(p.minutes for p in plans)}
        )  # fmt: skip
    return out


def _fillings(
    oils: Sequence[str], plans: Sequence[ProcedurePlan], means: Mapping[str, float], target: float | None,
    confidence: float, assurance: float, fixed: int | None, hours: float | None,
) -> int:  # fmt: skip
    block = len(oils) * sum(p.minutes for p in plans) / 60
    if fixed is not None:
        if fixed != int(fixed) or fixed < 2:
            raise InputError(f"{fixed} fillings: two or more show how fillings scatter.", rule="2 or more")
        return int(fixed)
    room = MOST if hours is None else int(hours / block + 1e-9)
    if hours is not None and room < 2:
        raise InputError(
            f"One filling of each of {len(oils)} oils by each of {len(plans)} procedures takes {block:.1f} h, and two "
            f"are needed: {hours:g} h are too few. Take fewer oils or procedures, or {2 * block:.1f} h."
        )
    if target is None:
        if hours is None:
            raise InputError("Say how large the study is: half_width, fillings or bench_hours.", rule="one of three")
        return room

    def widest(k: int) -> float:
        return max(
            float(_width(a, b, len(oils), k, means, confidence, (assurance,))[0]) for a, b in combinations(plans, 2)
        )

    if widest(room) <= target:
        low, high = 1, room  # the width falls with the fillings: halve the range that holds the answer
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if widest(middle) <= target else (middle, high)
        return high
    if hours is not None:
        return room  # the sentence says that the target is missed
    raise InputError(f"±{100 * target:g} % takes more than {MOST} fillings of each; ask for a wider interval.")


def _sentence(
    oils: Sequence[str], plans: Sequence[ProcedurePlan], k: int, minutes: float, days: int, widest: float, sure: float,
    reaches: bool | None,
) -> str:  # fmt: skip
    text = (
        f"{k} fillings of each of {len(oils)} oil{'s' if len(oils) > 1 else ''} by {len(plans)} procedures, "
        f"{k * len(oils) * len(plans)} in all, about {minutes / 60:.1f} h in {days} day{'s' if days > 1 else ''}: the "
        f"limits of every shift over these oils come out at ±{percent(widest)} % or narrower in "
        f"{100 * sure:g} % of such studies."
    )
    return text if reaches is not False else text + " That misses the width wanted: the bench hours do not hold more."


def _cautions(
    plans: Sequence[ProcedurePlan], means: Mapping[str, float], fully_random: bool, records: bool
) -> list[Caution]:
    out = [
        Caution(
            "these_oils",
            "The promise is about the shift on these oils. What holds for other oils hangs on how the shift differs "
            "from oil to oil, which more oils show, not more fillings.",
        )
    ]
    blind = [p.procedure for p in plans if p.between_cov == 0]
    if blind:
        text = f"{list_words(blind)}: planned without scatter between fillings; real fillings differ, and limits widen."
        out.append(Caution("between_unknown", text))
    if not means:
        text = f"Nothing is known of the oils: the strongest is taken to read {SPREAD:g} times the weakest."
        if records:
            text = f"No oil of the records was tested by all: each procedure's scatter is that on its own oils. {text}"
        out.append(Caution("oils_unknown", text))
    if not fully_random:
        text = (
            "Within a block each procedure is set up once; what a set-up does is then shared by the oils of that block."
        )
        out.append(Caution("set_up_shared", text))
    return out
