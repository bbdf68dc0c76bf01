"""Two methods on the same oils: how far their results lie apart, and what one says of the other in these data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.agreement.laboratories import crossed, crossed_pivots
from methods.agreement.limits import AgreementLimits, limits_of_agreement, within_variance
from methods.agreement.lines import Line, deming, passing_bablok
from methods.agreement.pairing import by_laboratory, cell_words, pairable, pairs_of, two_levels
from methods.agreement.results import (
    Result,
    between_laboratories,
    known_rows,
    level_words,
    refuse_mixture,
    repeat_variance,
    results_of,
)
from methods.errors import InputError, NotEstimable
from methods.procedures import PROCEDURE as WHOLE
from methods.result import Caution, Shown

#: What stands beside every line between two methods.
STATEMENT = "association in these data, not a conversion"

#: From so many oils on the band for a new one covers what it says (calibration: agreement, band for a new oil).
LEAST_OILS = 6


@dataclass(frozen=True)
class Band:
    """What the other method would read on one new oil, as far as these data say: kV with limits of the prediction."""

    given_kv: float
    kv: float
    low_kv: float
    high_kv: float
    confidence: float
    statement: str
    cautions: tuple[Caution, ...]
    sentence: str = ""


@dataclass(frozen=True, repr=False)
class Agreement(Shown):
    """Agreement of ``second`` with ``first`` over the oils that both tested.

    ``pairs`` has a row an oil: ``sample, first_kv, second_kv, first_results, second_results``. ``absolute``
    are the limits of agreement of second - first in kV, ``relative`` those of their ratio in per cent; both for single
    results where the oils were repeated (``single_results``), otherwise for what was compared.
    ``within_first_kv`` and ``within_second_kv`` are the repeat SDs of a result. The lines are None where
    there are too few oils.

    ``laboratories``: how many tested the same oils by both; then a pair is one oil in one laboratory (``pairs`` has the
    column ``laboratory``), and bias and limits are for a further oil in a further laboratory.
    ``between_laboratories_kv`` is the SD, kV, of what laboratories add to the difference,
    ``first_between_laboratories_kv`` and ``second_between_laboratories_kv`` that of their levels by each method,
    ``rest_kv`` what is left of the difference. 0 and nan: not paired by laboratory.
    """

    by: str
    first: str
    second: str
    result: str
    samples: int
    pairs: pd.DataFrame
    single_results: bool
    within_first_kv: float
    within_second_kv: float
    absolute: AgreementLimits
    relative: AgreementLimits
    deming: Line | None
    passing_bablok: Line | None
    statement: str
    cautions: tuple[Caution, ...]
    laboratories: int = 0
    between_laboratories_kv: float = float("nan")
    first_between_laboratories_kv: float = float("nan")
    second_between_laboratories_kv: float = float("nan")
    rest_kv: float = float("nan")

    def predict(self, kv: float, *, beyond: bool = False, results: int = 1) -> Band:
        """Band for the second method's result on one new oil on which the first reads ``kv``.

        From the Deming line: t with n - 2 degrees of freedom, the line's own uncertainty and the scatter of
        oils about it, and of laboratories where pairs are of these. It holds for an oil like these, read as the mean
        of so many ``results`` by each method: where these oils had more, what one result scatters more than their means
        is added. So a limit of ``kv`` by the first method has no one counterpart by the second: oils at that limit may
        read anything within the band.

        Parameters
        ----------
        kv : float
            What the first method reads, kV.
        beyond : bool, default False
            Whether the line may be used far outside the tested oils; a caution then says so.
        results : int, default 1
            Of how many results the new oil's reading is the mean.

        Raises
        ------
        NotEstimable
            Fewer than six oils, no line, or ``kv`` outside the oils' range by more than half of it without
            ``beyond``.
        InputError
            ``results`` below 1.
        """
        if self.deming is None:
            raise NotEstimable("There are too few oils for a line, so nothing can be said of a new one.")
        if self.samples < LEAST_OILS:
            raise NotEstimable(
                f"{self.samples} oils are too few for what a new one may read: below {LEAST_OILS} the band does not "
                "hold what it says. Test more of the same oils by both."
            )
        if results < 1:
            raise InputError(f"{results!r} results; one or more.", rule="1 or more")
        line, x = self.deming, self.pairs["first_kv"].to_numpy(dtype=float)
        low, high = float(x.min()), float(x.max())
        reach = (high - low) / 2
        far = kv < low - reach or kv > high + reach
        if far and not beyond:
            raise NotEstimable(
                f"{kv:g} kV lies far outside the oils of these data ({low:.3g} to {high:.3g} kV by {self.first})."
            )
        at = np.array([1.0, kv])
        middle = float(at @ [line.intercept, line.slope])
        more = self._more(line.slope, results)
        half = self._half_width(float(at @ line.covariance @ at) + line.residual_sd**2 + more, line)
        notes = []
        if not low <= kv <= high:
            text = f"{kv:g} kV lies outside the oils of these data ({low:.3g} to {high:.3g} kV)."
            notes.append(Caution("far_outside_range" if far else "outside_range", text))
        low_kv, high_kv = middle - half, middle + half
        said = (
            f"Where {self.first} reads {kv:g} kV on one new oil like these, {self.second} may read {low_kv:.3g} to "
            f"{high_kv:.3g} kV ({100 * line.confidence:g} %, {self.samples} oils): {STATEMENT}. A limit of {kv:g} kV "
            f"by {self.first} is therefore no limit of {middle:.3g} kV by {self.second}."
        )
        return Band(kv, middle, low_kv, high_kv, line.confidence, STATEMENT, tuple(notes), said)

    def _more(self, slope: float, results: int) -> float:
        """Variance, in kV² of the second method, by which so many results scatter more than these oils' means."""
        out = 0.0
        for sd, column, by in (
            (self.within_first_kv, "first_results", slope), (self.within_second_kv, "second_results", 1.0),
        ):  # fmt: skip
            share = float((1 / self.pairs[column].to_numpy(dtype=float)).mean())
            if np.isfinite(sd) and 1 / results > share:
                out += (1 / results - share) * (by * sd) ** 2
        return out

    def _half_width(self, variance: float, line: Line) -> float:
        """Half-width of the band whose scatter about the line has this variance, kV².

        The line is of means over these laboratories, the new oil is read in one: what that adds is drawn, for a few
        laboratories hardly show it (:mod:`methods.agreement.laboratories`).
        """
        if not self.laboratories:
            return float(scipy.stats.t.ppf(0.5 + line.confidence / 2, line.n - 2) * np.sqrt(variance))
        codes = [np.unique(self.pairs[k].to_numpy(dtype=str), return_inverse=True)[1] for k in ("sample", "laboratory")]
        drawn = crossed_pivots(
            crossed((self.pairs["second_kv"] - self.pairs["first_kv"]).to_numpy(dtype=float), *codes)
        )
        assert drawn is not None  # pairs are of laboratories only where these can be told from oils
        added = (1 + 1 / self.laboratories) * drawn.laboratories + (1 - 1 / self.laboratories) * drawn.rest
        about = np.random.default_rng(2).standard_t(line.n - 2, len(added)) * np.sqrt(variance)
        return float(np.quantile(np.abs(about + drawn.normal * np.sqrt(added)), line.confidence))


def compare_methods(
    data: Any,
    *,
    by: str | Sequence[str] = WHOLE,
    first: str | None = None,
    second: str | None = None,
    result: Result = "result",
    confidence: float = 0.95,
) -> Agreement:
    """Agreement of two levels of ``by`` on the same oils.

    Parameters
    ----------
    data : Records or DataFrame
        The record table, with ``sample`` naming the oil.
    by : str or sequence of str
        What separates the two: the procedure, a column, or several together; ``first`` and ``second`` are its levels
        (in the order of the file when there are just two).
    result : {"result", "filling", "breakdown"} or int
        What is one result, as for :func:`methods.precision`: what the method reports unless said.
    confidence : float
        Of every interval.
    first : str, optional
        The level that is compared with; the first of two by default.
    second : str, optional
        The level that is compared; the other of two by default.

    Raises
    ------
    InputError
        No such column or level, or more than two levels without saying which.
    NotEstimable
        Fewer than three oils tested by both.
    """
    table, by, notes = known_rows(data, by)
    first, second = two_levels(list(dict.fromkeys(level_words(table[by]))), by, first, second)
    refuse_mixture(table, by, (first, second))
    table = table[level_words(table[by]).isin([first, second])]
    rows, more = results_of(table, by, result)
    notes += more
    rows, more = pairable(rows, first, second)
    notes += more
    oils = rows["sample"].nunique()
    if oils < 3:
        left = any(n.code == "incomplete_results" for n in notes)
        what = "has a whole result" if oils == 1 else "have whole results"
        done = what if left else "was tested" if oils == 1 else "were tested"
        raise NotEstimable(
            f"{oils} {'oil' if oils == 1 else 'oils'} {done} by both {first} and {second}; at least three are needed."
        )
    rows, keys, more = by_laboratory(rows)
    notes += more
    sides = [rows[rows["level"] == name] for name in (first, second)]
    sides = [side.assign(sample=cell_words(side, keys)) for side in sides]
    pairs = pairs_of(rows, keys, first, second)
    x, y = pairs["first_kv"].to_numpy(dtype=float), pairs["second_kv"].to_numpy(dtype=float)
    codes = {k: np.unique(pairs[k].to_numpy(dtype=str), return_inverse=True)[1] for k in keys}
    oil, laboratory = (codes["sample"], codes["laboratory"]) if len(keys) > 1 else (None, None)
    (v1, df1), (v2, df2) = (repeat_variance(side, breakdowns=True) for side in sides)
    m1, m2 = (float(len(pairs) / (1 / pairs[c]).sum()) for c in ("first_results", "second_results"))
    repeated = max(m1, m2) > 1
    extra, extra_log = _extra(sides, (m1, m2)) if repeated else (0.0, 0.0)
    both: dict[str, Any] = {"oil": oil, "laboratory": laboratory, "confidence": confidence}
    absolute = limits_of_agreement(x, y, added_variance=extra, **both)
    relative = limits_of_agreement(x, y, log=True, added_variance=extra_log, **both)
    means = pairs.groupby("sample", sort=False)[["first_kv", "second_kv"]].mean().to_numpy()
    lines, more = _lines(means[:, 0], means[:, 1], (v1 / m1, v2 / m2), min(df1, df2), confidence)
    oils = len(means)
    notes += more + _cautions(table, by, (first, second), oils, absolute, repeated)
    if oil is None or laboratory is None:
        notes += between_laboratories(rows)
        apart: tuple[Any, ...] = ()
    else:
        c = [crossed(v, oil, laboratory) for v in (y - x, x, y)]
        apart = (c[0].laboratory_count, *(float(np.sqrt(v.laboratories)) for v in c), float(np.sqrt(c[0].rest)))
        notes += _few_laboratories(c[0].laboratory_count)
    return Agreement(
        by, first, second, str(result), oils, pairs, repeated, float(np.sqrt(v1)), float(np.sqrt(v2)), absolute,
        relative, lines[0], lines[1], STATEMENT, tuple(notes), *apart,
    )  # fmt: skip


def _few_laboratories(count: int) -> list[Caution]:
    if count >= 5:
        return []
    return [
        Caution(
            "few_laboratories",
            f"{count} laboratories: how far laboratories differ in this is itself hardly known, and the limits of the "
            "mean difference are wide for it.",
        )
    ]


def _extra(sides: list[pd.DataFrame], m: tuple[float, float]) -> tuple[float, float]:
    """What single results vary more than means, in kV² and on the log scale."""
    plain = logs = 0.0
    for side, count in zip(sides, m, strict=True):
        variance, df = within_variance(side["kv"].to_numpy(), side["sample"].to_numpy())
        log_variance, _ = within_variance(np.log(side["kv"].to_numpy()), side["sample"].to_numpy())
        if df > 0:
            plain += (1 - 1 / count) * variance
            logs += (1 - 1 / count) * log_variance
    return plain, logs


def _lines(
    x: np.ndarray, y: np.ndarray, error: tuple[float, float], df: float, confidence: float
) -> tuple[tuple[Line | None, Line | None], list[Caution]]:
    notes = []
    if len(x) < 5:
        text = f"{len(x)} oils are too few for a line between the methods."
        return (None, None), [Caution("few_oils", text)]
    ratio = error[1] / error[0] if error[0] > 0 and np.isfinite(error[1]) and error[1] > 0 else float("nan")
    if not np.isfinite(ratio):
        ratio = 1.0
        notes.append(
            Caution(
                "variance_ratio", "No result was repeated, so equal scatter of both methods is supposed for the line."
            )
        )
    elif df < 10:
        notes.append(
            Caution(
                "variance_ratio",
                f"The ratio of the methods' scatter rests on {df:.0f} degrees of freedom; the line moves with it.",
            )
        )
    one, two = None, None
    try:
        one = deming(x, y, variance_ratio=ratio, confidence=confidence)
        two = passing_bablok(x, y, confidence=confidence)
    except NotEstimable as why:
        notes.append(Caution("no_line", str(why)))
    return (one, two), notes


def _cautions(
    table: pd.DataFrame, by: str, names: tuple[str, str], oils: int, absolute: AgreementLimits, repeated: bool
) -> list[Caution]:
    notes = []
    if oils < 10:
        notes.append(
            Caution(
                "few_oils",
                f"With {oils} oils the limits of agreement are themselves poorly known; see their own limits.",
            )
        )
    if not repeated:
        notes.append(
            Caution(
                "not_repeated",
                "No oil has two results by one method, so the limits cannot be split into scatter and difference.",
            )
        )
    if absolute.slope_p < 0.05:
        notes.append(
            Caution(
                "level",
                "The difference changes with the level: one pair of limits in kV misleads; look at ratio and line.",
            )
        )
    return notes
