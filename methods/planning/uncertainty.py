"""The expanded uncertainty of a reported mean, as a budget: what each source contributes, and how sure it is.

Source: JCGM 100:2008 (ISO/IEC Guide 98-3, "GUM"): law of propagation, clause 5; Type A and B, clause 4; effective
degrees of freedom after Welch and Satterthwaite and the coverage factor from t, G.4. Where few fillings meet sources
taken as certain that factor falls faster than the uncertainty grows, and a further source would make the expanded
uncertainty smaller (M. Ballico, *Metrologia* 37 (2000) 61, from memory): it is never let below that of the bench's own
scatter alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from methods.errors import InputError
from methods.planning import inputs
from methods.result import Caution, Shown
from methods.scatter.nested_pivots import matching_df, student

#: Divisors that turn the half-width of a distribution into its SD (JCGM 100:2008, 4.3).
DIVISORS: dict[str, float] = {
    "normal": 1.0,
    "rectangular": math.sqrt(3),
    "triangular": math.sqrt(6),
    "u-shaped": math.sqrt(2),
}


@dataclass(frozen=True)
class BudgetSource:
    """One line of a budget.

    ``kind`` is ``A`` (from repeated values) or ``B`` (from anything else). ``value`` with ``unit`` is what is known: an
    SD (normal) or the half-width of the distribution; ``standard_uncertainty`` is its SD in the same unit,
    ``sensitivity`` the kV for one such unit, ``contribution_kv`` their product, ``df`` its degrees of freedom
    (infinite: taken as certain), ``share_percent`` its part of the combined variance (None before it is combined).
    """

    source: str
    kind: str
    value: float
    unit: str
    distribution: str
    standard_uncertainty: float
    sensitivity: float
    contribution_kv: float
    df: float
    share_percent: float | None = None


@dataclass(frozen=True, repr=False)
class Budget(Shown):
    """A budget: combined standard uncertainty, effective degrees of freedom, coverage factor, expanded uncertainty.

    ``results``: of how many whole reported results the mean is, and ``result`` what one is; None and empty: not said.
    """

    mean_kv: float
    sources: tuple[BudgetSource, ...]
    standard_uncertainty_kv: float
    effective_df: float
    coverage_factor: float
    expanded_uncertainty_kv: float
    expanded_uncertainty_percent: float
    confidence: float
    sentence: str
    cautions: tuple[Caution, ...]
    results: int | None = None
    result: str = ""

    def table(self) -> pd.DataFrame:
        """The sources as a table, a row each."""
        return pd.DataFrame([vars(s) for s in self.sources])


def source(
    name: str,
    value: float,
    *,
    kind: str = "B",
    unit: str = "kV",
    distribution: str = "normal",
    sensitivity: float = 1.0,
    df: float = math.inf,
) -> BudgetSource:
    """Make one line of a budget.

    Parameters
    ----------
    value : float
        SD for ``normal``, otherwise the half-width of the distribution, in ``unit``.
    sensitivity : float
        kV for one ``unit``.
    df : float
        Degrees of freedom of that uncertainty. For a Type B value known to a fraction r: ``0.5 / r**2`` (GUM G.4.2).
    name : str
        What the source is.
    kind : str, default 'B'
        ``A`` (from repeated readings) or ``B``.
    unit : str, default 'kV'
        Of the value.
    distribution : str, default 'normal'
        What it follows: ``normal``, ``rectangular`` ...; see :data:`DIVISORS`.
    """
    if distribution not in DIVISORS:
        raise InputError(
            f"distribution is {distribution!r}; it is one of {', '.join(DIVISORS)}.", column="distribution"
        )
    if kind not in ("A", "B"):
        raise InputError(f"kind is {kind!r}; it is A or B.", column="kind", text=str(kind))
    known = inputs.positive(value, name, zero=True)
    if not df > 0 or not math.isfinite(sensitivity):
        raise InputError(f"{name}: degrees of freedom must be above zero and the sensitivity a number.", column=name)
    sd = known / DIVISORS[distribution]
    return BudgetSource(name, kind, known, unit, distribution, sd, float(sensitivity), abs(sd * sensitivity), float(df))


def _effective_df(sources: Sequence[BudgetSource]) -> float:
    """Effective degrees of freedom after Welch and Satterthwaite; infinite where all sources are certain, or none."""
    variance = sum(s.contribution_kv**2 for s in sources)
    rest = sum(s.contribution_kv**4 / s.df for s in sources if math.isfinite(s.df))
    return variance**2 / rest if rest > 0 else math.inf


def combine(mean_kv: float, sources: Sequence[BudgetSource], confidence: float = 0.95) -> Budget:
    """Combine independent sources into the expanded uncertainty of a mean; never below that of the type A ones alone.

    Parameters
    ----------
    mean_kv : float
        The mean, kV.
    sources : sequence of BudgetSource
        The lines of the budget.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    InputError
        No source, or none that contributes.
    """
    level = inputs.probability(confidence, "confidence")
    mean = inputs.positive(mean_kv, "mean_kv")
    variance = sum(s.contribution_kv**2 for s in sources)
    if not variance > 0:
        raise InputError("A budget needs one source at least that contributes something.")
    df, u = _effective_df(sources), math.sqrt(variance)
    factor, found = student(df, level), []
    scatter = [s for s in sources if s.kind == "A" and s.contribution_kv > 0]
    alone = math.sqrt(sum(s.contribution_kv**2 for s in scatter)) * student(_effective_df(scatter), level)
    if alone > factor * u * (1 + 1e-9):
        found.append(
            Caution(
                "scatter_alone",
                f"Taken by effective degrees of freedom alone the expanded uncertainty would be ± {factor * u:.2g} kV, "
                f"less than that of the scatter without the other sources; ± {alone:.2g} kV stands.",
            )
        )
        factor, df = alone / u, matching_df(alone / u, level)
    lines = tuple(
        BudgetSource(**{**vars(s), "share_percent": 100 * s.contribution_kv**2 / variance})
        for s in sorted(sources, key=lambda s: -s.contribution_kv)
    )
    largest = lines[0]
    if df < 4:
        found.append(
            Caution(
                "few",
                f"The uncertainty has {df:.1f} degrees of freedom: it rests on very few fillings (or breakdowns) "
                "and is itself hardly known, hence the large coverage factor.",
            )
        )
    return Budget(
        mean_kv=mean, sources=lines, standard_uncertainty_kv=u, effective_df=df, coverage_factor=factor,
        expanded_uncertainty_kv=factor * u, expanded_uncertainty_percent=100 * factor * u / mean, confidence=level,
        sentence=f"{mean:.1f} kV ± {factor * u:.1f} kV ({100 * level:g} %, k = {factor:.2f}); the largest part is "
        f"{largest.source} with {largest.share_percent:.0f} % of the variance.",
        cautions=tuple(found),
    )  # fmt: skip


def mean_budget(
    mean_kv: float,
    *,
    fillings: int,
    breakdowns_per_filling: int,
    within_sd: float | None = None,
    between_sd: float | None = None,
    filling_means_sd: float | None = None,
    history: bool = False,
    within_df: float | None = None,
    between_df: float | None = None,
    voltmeter_percent: float | None = None,
    voltmeter_df: float = math.inf,
    gap_mm: float | None = None,
    gap_tolerance_mm: float | None = None,
    exponent: float | None = None,
    temperature_half_width_k: float | None = None,
    kv_per_kelvin: float | None = None,
    scatter: BudgetSource | None = None,
    more: Sequence[BudgetSource] = (),
    confidence: float = 0.95,
) -> Budget:
    """Budget of a mean of ``breakdowns_per_filling`` on each of ``fillings``.

    Scatter comes in one of three ways. ``scatter``: a line made before.
    ``filling_means_sd``: the SD of the bench's own filling means, kV, which holds
    both parts (k - 1 degrees of freedom). Or ``within_sd`` and ``between_sd``, kV, each a line of its own; with
    ``history`` they are certain unless ``within_df``/``between_df`` are given, otherwise they have k * (n - 1) and
    k - 1 degrees of freedom.

    Parameters
    ----------
    voltmeter_percent : float
        Half-width of the voltmeter's calibration limits, per cent of the reading (rectangular).
    gap_mm, gap_tolerance_mm, exponent : float
        Gap, the half-width of its setting (rectangular) and the exponent m of V = a d^m at this gap: the sensitivity is
        ``m * mean / gap`` kV per mm. The exponent is the user's own (a fitted gap law), no default.
    temperature_half_width_k, kv_per_kelvin : float
        Half-width of the liquid's temperature (rectangular) and the user's own coefficient.
    more : sequence of BudgetSource
        Further lines.
    mean_kv : float
        The mean, kV.
    fillings : int
        Number of fillings.
    breakdowns_per_filling : int
        Breakdowns on each.
    within_sd : float, optional
        SD within fillings, kV.
    between_sd : float, optional
        SD between fillings, kV.
    filling_means_sd : float, optional
        SD of the filling means, kV.
    history : bool, default False
        Whether the SDs are known from earlier tests.
    within_df : float, optional
        Degrees of freedom of ``within_sd``.
    between_df : float, optional
        Degrees of freedom of ``between_sd``.
    voltmeter_df : float, default math.inf
        Degrees of freedom of the voltmeter's part.
    scatter : BudgetSource, optional
        A line of the budget that was made before.
    confidence : float, default 0.95
        Of the expanded uncertainty, a fraction.

    Raises
    ------
    InputError
        Scatter given twice or not at all; a gap without its exponent; a temperature without its coefficient.
    """
    mean = inputs.positive(mean_kv, "mean_kv")
    k, n = (
        inputs.whole_number(fillings, "fillings"),
        inputs.whole_number(breakdowns_per_filling, "breakdowns_per_filling"),
    )
    lines = (
        [scatter]
        if scatter is not None
        else _scatter_lines(k, n, within_sd, between_sd, filling_means_sd, history, within_df, between_df)
    )
    if voltmeter_percent is not None:
        lines.append(
            source(
                "voltmeter", inputs.positive(voltmeter_percent, "voltmeter_percent", zero=True), unit="%",
                distribution="rectangular", sensitivity=mean / 100, df=voltmeter_df,
            )
        )  # fmt: skip
    given = [v is not None for v in (gap_mm, gap_tolerance_mm, exponent)]
    if any(given):
        if not all(given):
            raise InputError("The gap's part needs the gap, its tolerance and the exponent of the gap law, all three.")
        gap = inputs.positive(gap_mm, "gap_mm")
        slope = inputs.positive(exponent, "exponent", zero=True) * mean / gap
        tolerance = inputs.positive(gap_tolerance_mm, "gap_tolerance_mm", zero=True)
        lines.append(source("gap setting", tolerance, unit="mm", distribution="rectangular", sensitivity=slope))
    if (temperature_half_width_k is None) != (kv_per_kelvin is None):
        raise InputError("The temperature's part needs its half-width and the kV for one kelvin, both.")
    if temperature_half_width_k is not None and kv_per_kelvin is not None:
        lines.append(
            source(
                "temperature", temperature_half_width_k, unit="K", distribution="rectangular", sensitivity=kv_per_kelvin
            )
        )
    return combine(mean, [*lines, *more], confidence)


def _scatter_lines(
    k: int,
    n: int,
    within: float | None,
    between: float | None,
    means_sd: float | None,
    history: bool,
    within_df: float | None,
    between_df: float | None,
) -> list[BudgetSource]:
    if (means_sd is None) == (within is None):
        raise InputError(
            "Give the scatter either as the SD of the filling means or as SDs within and between fillings, one of them."
        )
    if means_sd is not None:
        if k < 2:
            raise InputError("One filling has no SD of filling means; give the SDs within and between fillings.")
        return [source("scatter of filling means", means_sd, kind="A", sensitivity=1 / math.sqrt(k), df=float(k - 1))]
    certain = math.inf if history else None
    kind = "B" if history else "A"
    df_w = within_df or certain or float(k * (n - 1))
    if df_w < 1:
        raise InputError("One breakdown on each filling shows no scatter within fillings; give it from history.")
    lines = [source("scatter within fillings", within or 0.0, kind=kind, sensitivity=1 / math.sqrt(k * n), df=df_w)]
    if between is not None:
        df_b = between_df or certain or float(k - 1)
        if df_b < 1:
            raise InputError("One filling shows no scatter between fillings; give it from history (history=True).")
        lines.append(source("scatter between fillings", between, kind=kind, sensitivity=1 / math.sqrt(k), df=df_b))
    return lines
