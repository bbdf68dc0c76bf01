"""A round of laboratories: how well repeatability, reproducibility and their ratio become known, and its sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
import scipy

from methods.errors import InputError
from methods.result import Caution
from methods.studies.plan_result import WithSheet
from methods.studies.procedure_plan import from_mapping, from_text
from methods.studies.sheet import bench_sheet


@dataclass(frozen=True, repr=False)
class RoundPlan(WithSheet):
    """The result of :func:`plan_round`. Uncertainties are fractions at ``confidence``: 0.3 is 30 % either way.

    ``uncertainty_ratio`` is that of s_R / s_r; ``pooled_*`` are those of the figures pooled over the oils, where
    they are proportional to the level; ``curve`` has the three at other numbers of laboratories.
    """

    laboratories: list[str]
    oils: list[str]
    results: int
    procedure: str
    gamma: float
    uncertainty_s_r: float
    uncertainty_s_R: float
    uncertainty_ratio: float
    pooled_uncertainty_s_r: float
    curve: list[dict[str, float]]
    confidence: float
    seed: int
    sheet: pd.DataFrame
    sentence: str
    cautions: list[Caution]


def uncertainty(laboratories: int, results: int, gamma: float, confidence: float = 0.95) -> tuple[float, float]:
    """How far s_r and s_R found in a round lie from the true ones, as fractions (ISO 5725-1:1994, clause 6.3.2).

    ``A_r = z sqrt(1 / (2 p (n - 1)))`` and ``A_R = z sqrt((p (1 + n (g^2 - 1))^2 + (n - 1)(p - 1)) / (2 g^4 n^2 (p - 1)
    p))`` with p laboratories, n results and g = s_R / s_r (recalled from memory; check against your own copy).

    Parameters
    ----------
    laboratories : int
        Number of laboratories, 2 or more.
    results : int
        Results of each, 2 or more.
    gamma : float
        ``s_R / s_r``, 1 or more.
    confidence : float, default 0.95
        With which the true ones lie so near, a fraction.

    Examples
    --------
    >>> [round(v, 2) for v in uncertainty(10, 2, 2.0)]
    [0.44, 0.41]
    """
    p, n, g = laboratories, results, gamma
    if p < 2 or n < 2 or not g >= 1:
        raise InputError("A round needs two laboratories, two results each, and s_R / s_r of 1 or more.")
    z = float(scipy.stats.norm.ppf(0.5 + confidence / 2))
    within = z * math.sqrt(1 / (2 * p * (n - 1)))
    whole = (p * (1 + n * (g**2 - 1)) ** 2 + (n - 1) * (p - 1)) / (2 * g**4 * n**2 * (p - 1) * p)
    return within, z * math.sqrt(whole)


def uncertainty_of_ratio(laboratories: int, results: int, gamma: float, confidence: float = 0.95) -> float:
    """How far s_R / s_r found in a round lies from the true ratio, as a fraction.

    The ratio's square is ``F / n + 1 - 1 / n`` with F the ratio of the mean squares between and within laboratories,
    whose logarithm has the variance ``2 / (p - 1) + 2 / (p (n - 1))``; the same derivation gives the two formulas of
    :func:`uncertainty`.

    Parameters
    ----------
    laboratories : int
        Number of laboratories, 2 or more.
    results : int
        Results of each, 2 or more.
    gamma : float
        ``s_R / s_r``, 1 or more.
    confidence : float, default 0.95
        With which the true one lies so near, a fraction.
    """
    p, n = laboratories, results
    share = (n * (gamma**2 - 1) + 1) / (n * gamma**2)
    z = float(scipy.stats.norm.ppf(0.5 + confidence / 2))
    return z * 0.5 * share * math.sqrt(2 / (p - 1) + 2 / (p * (n - 1)))


def _curve(laboratories: int, results: int, gamma: float, confidence: float) -> list[dict[str, float]]:
    """The uncertainties from three laboratories to twice as many as take part."""
    out = []
    for p in range(3, max(2 * laboratories, 12) + 1):
        a_r, a_big = uncertainty(p, results, gamma, confidence)
        out.append(
            {"laboratories": p, "uncertainty_s_r": a_r, "uncertainty_s_R": a_big,
             "uncertainty_ratio": uncertainty_of_ratio(p, results, gamma, confidence)}
        )  # fmt: skip
    return out


def plan_round(
    laboratories: Sequence[str] | int,
    oils: Sequence[str],
    procedure: str | Mapping[str, Any],
    *,
    results: int = 2,
    gamma: float = 2.0,
    confidence: float = 0.95,
    hours_a_day: float = 7.0,
    rng: int = 0,
) -> RoundPlan:
    """Plan a round: every laboratory tests every oil ``results`` times by one procedure, each in an order of its own.

    Parameters
    ----------
    laboratories : sequence of str, or int
        Their names, or how many there are.
    results : int
        Reported results of each laboratory on each oil.
    gamma : float
        Expected s_R / s_r.
    oils : sequence of str
        Names of the oils.
    procedure : str or mapping of str to object
        A method in words, or a mapping of the fields.
    confidence : float, default 0.95
        With which s_r and s_R lie so near the true ones, a fraction.
    hours_a_day : float, default 7.0
        Bench hours of a day.
    rng : int, default 0
        Seed of the order, kept with the sheet.

    Raises
    ------
    InputError
        Fewer than two laboratories or results, no oil, an unknown method.
    """
    names = (
        [f"Laboratory {i + 1}" for i in range(laboratories)] if isinstance(laboratories, int) else list(laboratories)
    )
    if not list(oils):
        raise InputError("Name the oils of the round.", rule="one oil or more")
    a_r, a_big = uncertainty(len(names), results, gamma, confidence)
    ratio = uncertainty_of_ratio(len(names), results, gamma, confidence)
    plan = from_text(procedure, 0.1, 0.0) if isinstance(procedure, str) else from_mapping(procedure, 0.1, 0.0)
    sheet, _ = bench_sheet(list(oils), [plan], results, int(rng), hours_a_day, laboratories=names)
    sentence = (
        f"{len(names)} laboratories, {results} results of each of {len(oils)} oils: at each oil s_r becomes known to "
        f"±{100 * a_r:.0f} %, s_R to ±{100 * a_big:.0f} % and their ratio to ±{100 * ratio:.0f} % "
        f"({100 * confidence:g} % confidence, s_R about {gamma:g} times s_r). "
        + ("More results help s_r only; s_R asks for more laboratories." if a_big > 1.3 * a_r else "")
    ).strip()
    notes = []
    if len(names) < 8:
        text = "Fewer than eight laboratories: s_R is hardly known, and one laboratory that stands out decides it."
        notes.append(Caution("few_laboratories", text))
    return RoundPlan(
        names, list(oils), results, plan.procedure, gamma, a_r, a_big, ratio, a_r / math.sqrt(len(oils)),
        _curve(len(names), results, gamma, confidence), confidence, int(rng), sheet, sentence, notes,
    )  # fmt: skip
