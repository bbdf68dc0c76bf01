"""One series judged by a consistency rule: report the mean, take more, or repeat; and why, in a sentence."""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from methods.errors import InputError
from methods.protocols.protocol import CHECK, Protocol
from methods.protocols.rules import Rule, exceeds, rule_of, spread

_COUNT = {1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight", 9: "nine", 10: "ten"}


@dataclass(frozen=True)
class Verdict:
    """What a rule says about one series.

    ``value`` and ``limit`` are in ``unit`` (kV or %); ``ok`` is ``None`` where it cannot be judged. ``step``:
    ``report``, ``five_more`` (``six_more`` ...), ``repeat``, ``incomplete``, ``no_rule`` or ``withstood``.
    ``reported_mean_kv`` is the unrounded mean of all ``n_used`` values (nothing is discarded), ``None`` while
    there is nothing to report; ``reported_rounded_kv`` follows the rounding of the protocol, where it has one.
    """

    rule: str
    value: float | None
    limit: float | None
    unit: str | None
    ok: bool | None
    step: str
    sentence: str
    reported_mean_kv: float | None
    reported_rounded_kv: float | None
    n_used: int
    n_more: int = 0
    check: str = CHECK


def rounded(kv: float, digits: int | None) -> float | None:
    """A mean to so many significant digits (halves away from zero), or ``None`` without a prescribed rounding."""
    if digits is None or not kv > 0:
        return None
    scale = 10.0 ** (digits - 1 - int(np.floor(np.log10(kv))))
    return float(np.floor(kv * scale + 0.5 + 1e-9) / scale)


def checked_series(kv: ArrayLike, withstood: ArrayLike | None) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """The series as floats with its withstood flags.

    Raises
    ------
    InputError
        No value, a value that is not a number above zero, flags of another length.
    """
    x = np.asarray(kv, dtype=float).ravel()
    if x.size == 0:
        raise InputError("There is no breakdown to judge.", column="kv", rule="at least one value")
    if not (np.isfinite(x) & (x > 0)).all():
        raise InputError("A breakdown voltage must be a number above zero.", column="kv", rule="kv > 0")
    held = np.zeros(x.size, dtype=bool) if withstood is None else np.asarray(withstood, dtype=bool).ravel()
    if held.size != x.size:
        raise InputError(
            f"{held.size} withstood flags for {x.size} values.", column="withstood", rule="one flag a value"
        )
    return x, held


def judge(
    protocol_or_rule: Protocol | Rule,
    kv: ArrayLike,
    *,
    withstood: ArrayLike | None = None,
    folder: str | os.PathLike[str] | None = None,
) -> Verdict:
    """Judge one series of breakdowns, in the order in which they were taken.

    Parameters
    ----------
    protocol_or_rule : Protocol or Rule
        A protocol is judged by its own rule and rounding.
    kv : array, shape (n,)
        Breakdown voltages in kV. ``n`` of the rule are judged by its first step, ``n + more`` by its sequel.
    withstood : array of bool, shape (n,), optional
        Where the ceiling was reached: the spread is then only known to be at least so much.
    folder : str or path, optional
        The user's own files beside those that are shipped; by default the folder that the environment names.

    Raises
    ------
    InputError
        Values that are no voltages.

    Notes
    -----
    ``three_r`` from memory of ASTM D877; the D1816 limits for five from ASTM D1816-04 cl. 9.5; the ceiling of
    20 % from memory of GOST 6581-75. Check against your own copy of the standard.
    """
    if isinstance(protocol_or_rule, Protocol):
        rule = rule_of(protocol_or_rule, folder)
        digits = protocol_or_rule.rounding_digits.value
        open_gap = protocol_or_rule.family == "astm_d1816" and not protocol_or_rule.gap_mm.known
    else:
        rule, digits, open_gap = protocol_or_rule, None, False
    x, held = checked_series(kv, withstood)
    if held.any():
        return _withstood(rule, x, held)
    mean = float(x.mean())
    report = (mean, rounded(mean, digits), int(x.size))
    if rule.kind == "none":
        why = "its limit depends on the gap, which is not stated" if open_gap else "no consistency rule is known here"
        return _verdict(rule, "no_rule", f"Not judged: {why}. Mean of all {x.size}: {mean:.2f} kV.", *report)
    if rule.kind == "chart":
        return _by_chart(rule, x, report)
    if not rule.usable:
        return _verdict(
            rule,
            "no_rule",
            f"Not judged: the numbers of {rule.title} are empty; enter them from your own copy.",
            *report,
        )
    n, more = int(rule.n.value), int(rule.more.value or 0)
    if x.size == n:
        return _first(rule, x, report)
    if more and x.size == n + more:
        return _sequel(rule, x, n, report)
    expected = f"{n}" if not more else f"{n} or, with the sequel, {n + more}"
    if x.size < n + more:
        return _verdict(
            rule, "incomplete", f"{x.size} breakdowns where the rule judges {expected}: incomplete.", n=x.size
        )
    return _verdict(rule, "no_rule", f"{x.size} breakdowns; the rule judges {expected}: not judged.", *report)


def _verdict(
    rule: Rule, step: str, sentence: str, mean: float | None = None, short: float | None = None, n: int = 0,
    *, value: float | None = None, limit: float | None = None, unit: str | None = None, ok: bool | None = None,
    n_more: int = 0,
) -> Verdict:  # fmt: skip
    return Verdict(rule.key, value, limit, unit, ok, step, sentence, mean, short, int(n), n_more, rule.check)


def _numbers(rule: Rule, x: NDArray[np.float64], *, second: bool = False) -> tuple[float, float, str, str]:
    """Value, limit, unit and the words that compare them."""
    value, reference = (float(v) for v in spread(rule, x))
    if rule.kind == "three_r":
        factor = float(rule.factor.value)
        words = f"{factor:g} times the range is {factor * value:.4g} kV, the next-to-lowest {reference:.4g} kV"
        return factor * value, reference, "kV", words
    limit = float(rule.second_limit_percent.value if second else rule.limit_percent.value)
    name = "range" if rule.kind == "range_percent" else "standard deviation"
    percent = 100 * value / reference
    return percent, limit, "%", f"the {name} is {percent:.1f} % of the mean, the limit {limit:g} %"


def _first(rule: Rule, x: NDArray[np.float64], report: tuple[float, float | None, int]) -> Verdict:
    value, limit, unit, words = _numbers(rule, x)
    if not bool(exceeds(rule, x)):
        return _verdict(
            rule, "report", f"In order: {words}. Report the mean, {report[0]:.2f} kV.", *report,
            value=value, limit=limit, unit=unit, ok=True,
        )  # fmt: skip
    more = int(rule.more.value or 0)
    if not more:
        return _verdict(
            rule, "repeat", f"Too much spread: {words}. Repeat the test.", n=x.size,
            value=value, limit=limit, unit=unit, ok=False,
        )  # fmt: skip
    word = _COUNT.get(more, str(more))
    sentence = f"Too much spread: {words}. Take {word} more and average all {x.size + more}; discard nothing."
    return _verdict(
        rule, f"{word}_more", sentence, n=x.size, value=value, limit=limit, unit=unit, ok=False, n_more=more
    )


def _sequel(rule: Rule, x: NDArray[np.float64], n: int, report: tuple[float, float | None, int]) -> Verdict:
    """All values of both blocks together; nothing is discarded, whatever the first block said."""
    needed = bool(exceeds(rule, x[:n]))
    first = "" if needed else f" (The first {n} met the rule by themselves; what was taken stays in.)"
    if rule.kind == "three_r":  # no second limit: the ten are averaged
        value, limit, unit, _ = _numbers(rule, x[:n])
        sentence = f"Report the mean of all {x.size}, {report[0]:.2f} kV; nothing is discarded.{first}"
        return _verdict(rule, "report", sentence, *report, value=value, limit=limit, unit=unit, ok=True)
    if rule.second_limit_percent.value is None:
        value, reference = (float(v) for v in spread(rule, x))
        sentence = (
            f"Not judged: the limit for {x.size} is empty (uncertain); enter it from your own copy. "
            f"The spread is {100 * value / reference:.1f} % of the mean of {x.size}, {report[0]:.2f} kV.{first}"
        )
        return _verdict(rule, "no_rule", sentence, *report, value=100 * value / reference, unit="%")
    value, limit, unit, words = _numbers(rule, x, second=True)
    if bool(exceeds(rule, x, second=True)):
        sentence = f"Still too much spread over all {x.size}: {words}. Look for the cause and repeat the test."
        return _verdict(rule, "repeat", sentence, n=x.size, value=value, limit=limit, unit=unit, ok=False)
    sentence = f"In order over all {x.size}: {words}. Report the mean of all, {report[0]:.2f} kV.{first}"
    return _verdict(rule, "report", sentence, *report, value=value, limit=limit, unit=unit, ok=True)


def _by_chart(rule: Rule, x: NDArray[np.float64], report: tuple[float, float | None, int]) -> Verdict:
    """SD/mean against the band of the user's chart; the standard asks for no repetition."""
    n = rule.n.value
    if n is not None and x.size < n:
        return _verdict(rule, "incomplete", f"{x.size} breakdowns where the protocol takes {n}: incomplete.", n=x.size)
    mean = report[0]
    ratio = float(x.std(ddof=1)) / mean if x.size > 1 else float("nan")
    words = f"SD/mean is {100 * ratio:.1f} % at {mean:.2f} kV"
    if not rule.usable:
        sentence = (
            f"Not judged: the chart is empty; enter it from your own copy. {words}. "
            "The standard rejects nothing: report the mean."
        )
        return _verdict(rule, "no_rule", sentence, *report, value=100 * ratio, unit="%")
    chart = np.array(rule.points)
    if not chart[0, 0] <= mean <= chart[-1, 0]:
        span = f"{chart[0, 0]:g} to {chart[-1, 0]:g} kV"
        sentence = f"Not judged: the mean lies outside the chart ({span}). {words}."
        return _verdict(rule, "no_rule", sentence, *report, value=100 * ratio, unit="%")
    low, high = (float(np.interp(mean, chart[:, 0], chart[:, i])) for i in (1, 3))
    inside = low <= ratio <= high
    band = f"the band is {100 * low:.1f} to {100 * high:.1f} %"
    tail = "Report the mean." if inside else "Outside the band: look for a cause; the standard still rejects nothing."
    limit = 100 * (low if ratio < low else high)
    return _verdict(
        rule, "report", f"{words}; {band}. {tail}", *report, value=100 * ratio, limit=limit, unit="%", ok=inside
    )


def _withstood(rule: Rule, x: NDArray[np.float64], held: NDArray[np.bool_]) -> Verdict:
    """With withstood values the range is only known to be at least so much, so a pass cannot be shown."""
    sentence = (
        f"{int(held.sum())} of {x.size} reached the ceiling without a breakdown: the spread is at least what is seen, "
        "so the rule cannot be judged exactly, and the plain mean would be too low."
    )
    n = rule.n.value
    lowest = np.argsort(x, kind="stable")[:2]
    if rule.kind == "three_r" and rule.usable and x.size == n and not held[lowest].any() and bool(exceeds(rule, x)):
        value, limit, unit, words = _numbers(rule, x)
        sentence += f" Even with the ceiling as value it is broken: {words}."
        return _verdict(rule, "withstood", sentence, n=x.size, value=value, limit=limit, unit=unit, ok=False)
    return _verdict(rule, "withstood", sentence, n=x.size)
