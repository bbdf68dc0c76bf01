"""Two methods in the same round: the ratios of their s_r and s_R, level by level and over all."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from methods.errors import InputError, NotEstimable
from methods.interlab.cells import EVERY
from methods.interlab.experiment import Precision, precision
from methods.procedures import PROCEDURE, with_factor
from methods.result import Caution, Shown
from methods.wording import list_words


@dataclass(frozen=True)
class LevelSpreadRatio:
    """Spread of ``second`` over that of ``first`` at one level, or over all (``level`` empty).

    ``kind`` is ``s_r`` or ``s_R``; ``ratio`` with its limits is that of the spreads in kV, ``ratio_of_cov`` the same of
    the spreads in per cent of the means, whose own uncertainty is not in its limits.
    """

    level: str
    kind: str
    first: float
    second: float
    ratio: float
    low: float
    high: float
    p_value: float
    ratio_of_cov: float
    cov_low: float
    cov_high: float
    laboratories: int


@dataclass(frozen=True, repr=False)
class PrecisionRatio(Shown):
    """The result of :func:`compare_precision`: ``ratios`` of every level, ``overall`` of all, both experiments."""

    by: str
    first: str
    second: str
    levels: list[str]
    confidence: float
    ratios: list[LevelSpreadRatio]
    overall: list[LevelSpreadRatio]
    first_precision: Precision
    second_precision: Precision
    sentence: str
    cautions: tuple[Caution, ...]


def compare_precision(
    data: Any,
    *,
    by: str | Sequence[str] = PROCEDURE,
    first: str | None = None,
    second: str | None = None,
    laboratory: str = "laboratory",
    result: str | int = "result",
    exclude: Iterable[Any] = (),
    confidence: float = 0.95,
) -> PrecisionRatio:
    """Compare the precision of two methods over the same oils and laboratories.

    At a level the ratio of s_r has F limits (exact for normal results); that of s_R has F limits with the degrees of
    freedom of the two s_R, which are approximate, and wide where both methods share the laboratories. Over all levels
    the ratio is taken to be one: the logarithms, freed of their bias, are averaged with the weights of what each level
    knows (mean and variance of log chi-square: digamma and trigamma).

    Parameters
    ----------
    data : Records or DataFrame
    by : str or sequence of str
        What separates the methods; ``first`` and ``second`` are its levels (the only two where there are two).
    laboratory, result, exclude, confidence
        As for :func:`methods.interlab.precision`; an exclusion's level is the oil.
    first : str, optional
        The level that is compared with.
    second : str, optional
        The level that is compared.

    Raises
    ------
    InputError
        No such column or level, or more than two without saying which.
    NotEstimable
        No oil has figures by both.
    """
    table, name = with_factor(data, by)
    words = table[name].astype("str")
    present = list(dict.fromkeys(words.dropna()))
    for wanted in (first, second):
        if wanted is not None and wanted not in present:
            raise InputError(
                f"{name} has no level {wanted!r}; it has {', '.join(present)}.", column=name, text=str(wanted)
            )
    if first is None or second is None:
        rest = [p for p in present if p not in (first, second)]
        if len(present) < 2 or (first is None and second is None and len(present) != 2) or (
            (first is None) != (second is None) and len(rest) != 1
        ):  # fmt: skip
            raise InputError(
                f"{name} has {len(present)} levels ({', '.join(present)}); say which two to compare.",
                lacks="two_levels",
            )
        first, second = (first or rest[0]), (second or rest[-1])
    if first == second:
        raise InputError(f"{first} cannot be compared with itself.", column=name)
    sides = []
    cut = list(exclude)
    for side in (first, second):
        part = table[(words == side).to_numpy()].reset_index(drop=True)
        labs, oils = set(part[laboratory].astype(str)), set(part["sample"].astype(str))
        mine = [e for e in cut if _of(e, 0) in labs and _of(e, 1) in {*oils, EVERY}]
        sides.append(
            precision(part, laboratory=laboratory, level="sample", result=result, exclude=mine, confidence=confidence)
        )
    one, two = ({lv.level: lv for lv in s.levels if not lv.error} for s in sides)
    shared = [n for n in one if n in two]
    if not shared:
        raise NotEstimable(f"No oil has figures by both {first} and {second}: test the same oils by both.")
    ratios = []
    for level in shared:
        a, b = one[level], two[level]
        laboratories = min(a.laboratories, b.laboratories)
        for kind, df in (("s_r", "df_r"), ("s_R", "df_R")):
            s = (float(getattr(a, kind)), float(getattr(b, kind)))
            d = (float(getattr(a, df)), float(getattr(b, df)))
            ratios.append(_at(level, kind, s, d, (a.mean, b.mean), laboratories, confidence))
    ratios = [r for r in ratios if np.isfinite(r.ratio)]
    overall = [
        _over_all(kind, [(one[n], two[n]) for n in shared], confidence)
        for kind in ("s_r", "s_R")
        if sum(r.kind == kind for r in ratios) > 1
    ]
    told = [*overall, *[r for r in ratios if not overall]]
    return PrecisionRatio(
        name, first, second, shared, confidence, ratios, overall, sides[0], sides[1],
        " ".join(_words(r, first, second, len(shared), confidence) for r in told),
        tuple(_cautions(sides, shared, first, second)),
    )  # fmt: skip


def _of(entry: Any, at: int) -> str:
    return str(entry[("laboratory", "level")[at]] if isinstance(entry, dict) else entry[at]).strip()


def _at(
    level: str, kind: str, s: tuple[float, float], df: tuple[float, float], means: tuple[float, float],
    laboratories: int, confidence: float,
) -> LevelSpreadRatio:  # fmt: skip
    """The ratio at one level by the F distribution; nan where a spread or its freedom is not known."""
    nan = float("nan")
    known = min(s) > 0 and all(np.isfinite(d) and d > 0 for d in df)
    if not known:
        return LevelSpreadRatio(level, kind, *s, nan, nan, nan, nan, nan, nan, nan, laboratories)
    ratio = s[1] / s[0]
    law = scipy.stats.f(df[1], df[0])
    low, high = (ratio / np.sqrt(law.ppf(0.5 + sign * confidence / 2)) for sign in (1, -1))
    p = 2 * min(float(law.sf(ratio**2)), float(law.cdf(ratio**2)))
    of_mean = means[0] / means[1]
    return LevelSpreadRatio(
        level, kind, s[0], s[1], float(ratio), float(low), float(high), min(p, 1.0), float(ratio * of_mean),
        float(low * of_mean), float(high * of_mean), laboratories,
    )  # fmt: skip


def _over_all(kind: str, levels: Sequence[tuple[Any, Any]], confidence: float) -> LevelSpreadRatio:
    """One ratio for all levels, from log variances."""
    logs, weights, shift, pooled = [], [], [], [0.0, 0.0]
    df = {"s_r": "df_r", "s_R": "df_R"}[kind]
    for pair in levels:
        s, d = [getattr(v, kind) for v in pair], [getattr(v, df) for v in pair]
        if min(s) <= 0 or not all(np.isfinite(v) and v > 0 for v in d):
            continue
        half = np.array(d) / 2
        bias = scipy.special.digamma(half) - np.log(half)
        logs.append(2 * np.log(s[1] / s[0]) - (bias[1] - bias[0]))
        weights.append(1 / scipy.special.polygamma(1, half).sum())
        shift.append(np.log(pair[0].mean / pair[1].mean))
        pooled = [p + w * np.log(v) for p, w, v in zip(pooled, [weights[-1]] * 2, s, strict=True)]
    w = np.array(weights)
    middle, error = float(np.average(logs, weights=w)) / 2, 0.5 / np.sqrt(w.sum())
    z = scipy.special.ndtri(0.5 + confidence / 2)
    ratio, low, high = (float(np.exp(middle + t * error)) for t in (0.0, -z, z))
    of_mean = float(np.exp(np.average(shift, weights=w)))
    p = 2 * float(scipy.special.ndtr(-abs(middle) / error))
    first, second = (float(np.exp(v / w.sum())) for v in pooled)
    laboratories = min(v.laboratories for pair in levels for v in pair)
    return LevelSpreadRatio(
        "", kind, first, second, ratio, low, high, p, ratio * of_mean, low * of_mean, high * of_mean, laboratories
    )  # fmt: skip


def _words(r: LevelSpreadRatio, first: str, second: str, levels: int, confidence: float) -> str:
    where = f"at {r.level}" if r.level else f"over {levels} oils"
    what = "repeats itself" if r.kind == "s_r" else "agrees between laboratories"
    shown = r.low > 1 or r.high < 1
    verdict = f"{second} {what} {'less' if r.ratio > 1 else 'more'} closely than {first}" if shown else (
        f"Neither of {first} and {second} is shown to {'repeat itself' if r.kind == 's_r' else 'agree'} more closely"
        + ("" if r.kind == "s_r" else " between laboratories")
    )  # fmt: skip
    return (
        f"{verdict}: {r.kind} of {second} over that of {first} is {r.ratio:.3g} {where} ({r.low:.3g} to {r.high:.3g}, "
        f"{100 * confidence:g} %; in per cent of the mean {r.ratio_of_cov:.3g}, {r.cov_low:.3g} to {r.cov_high:.3g})."
    )


def _cautions(sides: Sequence[Precision], shared: Sequence[str], first: str, second: str) -> list[Caution]:
    out = []
    labs = [set(s.cells.loc[s.cells["level"].isin(shared), "laboratory"]) for s in sides]
    if labs[0] != labs[1]:
        lone = sorted(map(str, labs[0] ^ labs[1]))
        text = f"{list_words(lone)} tested by one of the two only: a difference may be theirs and not the method's."
        out.append(Caution("other_laboratories", text))
    if labs[0] & labs[1] and any(lv.laboratories > 1 for lv in sides[0].levels):
        out.append(
            Caution(
                "shared_laboratories",
                "The same laboratories used both methods and tested several oils: what a laboratory brings to both is "
                "shared, and the limits of the ratio of s_R take it as independent.",
            )
        )
    left = [n for s in sides for n in (lv.level for lv in s.levels) if n not in shared]
    if left:
        text = f"Without figures by both, and left out: {list_words(list(dict.fromkeys(left)))}."
        out.append(Caution("unpaired", text))
    for name, s in ((first, sides[0]), (second, sides[1])):
        out += [Caution(c.code, f"{name}: {c.text}") for c in s.cautions]
    return out
