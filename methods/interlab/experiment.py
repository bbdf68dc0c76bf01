"""A precision experiment: repeatability and reproducibility over laboratories and levels."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable
from methods.interlab.cells import Exclusion, gather, natural
from methods.interlab.level import LIMIT_FACTOR, Level, estimate_cells, level_precision
from methods.interlab.published import NAMES, published_precision
from methods.interlab.relation import relations
from methods.interlab.robust import algorithm_a, algorithm_s
from methods.interlab.scores import z_scores
from methods.records.table import frame_of
from methods.result import Caution, Shown


@dataclass(frozen=True, repr=False)
class Precision(Shown):
    """The result of a precision experiment.

    ``levels`` holds a :class:`Level` a level. ``cells`` has a row a cell (``level, laboratory, n, mean, sd, h, k``),
    ``flags`` a row for each straggler and outlier that Cochran's and Grubbs' tests found (nothing is ever
    removed for it), ``relations`` the forms of s_r and s_R against the level, ``robust`` the robust
    counterpart of each level, ``scores`` the laboratories' z-scores, ``exclusions`` the cells that the user
    left out with the reason, ``cautions`` what the reader must know, ``published`` what the standards say of the
    precision of the methods in the data (:func:`methods.interlab.published.published_precision`).
    """

    levels: list[Level]
    laboratory: str
    level_columns: tuple[str, ...]
    result: str
    confidence: float
    limit_factor: float
    cells: pd.DataFrame
    flags: pd.DataFrame
    relations: pd.DataFrame
    robust: pd.DataFrame
    scores: pd.DataFrame
    exclusions: tuple[Exclusion, ...]
    cautions: tuple[Caution, ...]
    published: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(NAMES)))


def precision(
    data: Any,
    *,
    laboratory: str = "laboratory",
    level: str | Sequence[str] | None = None,
    value: str = "kv",
    result: str | int = "result",
    exclude: Iterable[Any] = (),
    confidence: float = 0.95,
) -> Precision:
    """Repeatability s_r, between-laboratory s_L and reproducibility s_R per level, with h, k and outlier flags.

    Parameters
    ----------
    data : Records or DataFrame
        A row a breakdown; see :func:`methods.records.table.as_table`.
    laboratory, value : str
        The columns that name the laboratory and hold the values.
    level : str or sequence of str, optional
        The column or columns that make a level. By default the sample, split further by whatever of method,
        electrode, gap, stirring, rate of rise and fluid differs within it. Levels that are named are split in the
        same way, so that no oils or procedures are pooled into one repeatability.
    result : {"result", "filling", "breakdown"} or int
        What counts as one result: what the method reports (the mean of one filling, or of as many as it prescribes;
        in a file without fillings each row), the mean of each filling, or each breakdown. A number answers for rows
        whose method does not say it: the mean of so many fillings; otherwise one is taken, with a caution that asks.
    exclude : iterable of (laboratory, level, reason)
        Cells to leave out, or with the level ``*`` a laboratory at all levels; the reason is kept in the result.
    confidence : float
        Of the limits of s_r, s_L and s_R.

    Raises
    ------
    InputError
        No such column, an exclusion without a reason or without a cell, a confidence outside 0 to 1.
    NotEstimable
        No level gives any figure.

    Notes
    -----
    ISO 5725-2:2019 and ASTM E691; the factor 2.8 of r and R is 1.96 √2 = 2.77 rounded as those documents
    do. Limits: chi-square for s_r, Williams for s_L, Graybill and Wang for s_R; they assume normal
    laboratories and cells.
    """
    check_confidence(confidence)
    cells = gather(data, laboratory=laboratory, level=level, value=value, result=result, exclude=exclude)
    names = sorted(dict.fromkeys(cells.rows["level"]), key=natural)
    groups = dict(list(cells.rows.groupby("level", sort=False)))
    found = [level_precision(name, groups[name], confidence) for name in names]
    made = across_levels(
        found, cells.cautions, cells.level_columns, cells.exclusions,
        laboratory=laboratory, result=cells.result, confidence=confidence,
    )  # fmt: skip
    return replace(made, published=published_precision(frame_of(data)))


def precision_of_cells(
    cells: pd.DataFrame,
    *,
    laboratory: str = "laboratory",
    level_columns: Sequence[str] = (),
    result: str = "breakdown",
    confidence: float = 0.95,
) -> Precision:
    """The same experiment from the cells alone, such as :func:`methods.records.rounds.round_cells` sums them on disk.

    Parameters
    ----------
    cells : DataFrame
        ``level, laboratory, n, mean, sd, withstood``, a row a level and laboratory; ``sd`` is nan where n is 1.
    laboratory : str, default 'laboratory'
        What the laboratories are called.
    level_columns : sequence of str, optional
        Columns of which a level was made.
    result : str, default 'breakdown'
        What one value is.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    InputError
        A missing column. NotEstimable when no level gives any figure.
    """
    need = ["level", "laboratory", "n", "mean", "sd", "withstood"]
    missing = [c for c in need if c not in cells.columns]
    if missing:
        raise InputError(f"The cells have no column {missing[0]!r}; they need {', '.join(need)}.", column=missing[0])
    table = cells[need].astype({"n": int, "mean": float, "sd": float, "withstood": int})
    table = table.assign(level=table["level"].astype(str), laboratory=table["laboratory"].astype(str))
    parts = {str(name): part.drop(columns="level") for name, part in table.groupby("level", sort=False)}
    found = [estimate_cells(name, parts[name], confidence) for name in sorted(parts, key=natural)]
    return across_levels(
        found, (), tuple(level_columns), (), laboratory=laboratory, result=result, confidence=confidence
    )


def across_levels(
    found: list[tuple[Level, pd.DataFrame]],
    notes: Sequence[Caution],
    level_columns: tuple[str, ...],
    exclusions: tuple[Exclusion, ...],
    *,
    laboratory: str,
    result: str,
    confidence: float,
) -> Precision:
    """Put the levels together with what is told across levels: relation, robust figures, scores, cautions.

    Parameters
    ----------
    found : list of tuple[Level, DataFrame]
        The levels, each with its cells.
    notes : sequence of Caution
        Cautions from sorting the rows.
    level_columns : tuple of str
        Columns that make a level.
    exclusions : tuple of Exclusion
        The cells that were left out, with their reasons.
    laboratory : str
        Column that says who tested.
    result : str
        What one result is.
    confidence : float
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        No level gives any figure.
    """
    levels = [level for level, _ in found]
    if not levels or all(level.error for level in levels):
        first = next((f" First of them, {lv.level}: {lv.error}" for lv in levels if lv.error), "")
        raise NotEstimable("No level has a repeatability that can be estimated." + first)
    table = pd.concat([part for _, part in found], ignore_index=True)
    usable = pd.DataFrame(
        [{k: getattr(lv, k) for k in ("level", "mean", "s_r", "df_r", "s_R", "df_R")} for lv in levels if not lv.error]
    )
    return Precision(
        levels=levels,
        laboratory=laboratory,
        level_columns=level_columns,
        result=result,
        confidence=confidence,
        limit_factor=LIMIT_FACTOR,
        cells=table,
        flags=_flags(levels),
        relations=relations(usable),
        robust=_robust(table, levels),
        scores=z_scores(table[table["mean"].notna()]),
        exclusions=exclusions,
        cautions=(*notes, *_cautions(levels)),
    )


def _flags(levels: Iterable[Level]) -> pd.DataFrame:
    rows: list[dict[str, object]] = []
    for level in levels:
        c = level.cochran
        if c and c["verdict"] != "none":
            rows.append(
                {"level": level.level, "test": "cochran", "laboratories": c["laboratory"], "statistic": c["C"],
                 "p_value": c["p_value"], "verdict": c["verdict"]}
            )  # fmt: skip
        single = any(g["verdict"] != "none" for g in level.grubbs if g["test"] in ("high", "low"))
        for g in level.grubbs:
            pair = str(g["test"]).startswith("two")
            if g["verdict"] == "none" or (
                pair and single
            ):  # ISO 5725-2: the pair is tried only if no single one stands out
                continue
            labs = ", ".join(str(x) for x in g["laboratories"])  # type: ignore[attr-defined]
            rows.append(
                {"level": level.level, "test": f"grubbs_{g['test']}", "laboratories": labs,
                 "statistic": g["statistic"], "p_value": g["p_value"], "verdict": g["verdict"]}
            )  # fmt: skip
    return pd.DataFrame(rows, columns=["level", "test", "laboratories", "statistic", "p_value", "verdict"])


def _robust(cells: pd.DataFrame, levels: Iterable[Level]) -> pd.DataFrame:
    """Robust mean, s_r and s_R of each level (algorithms A and S), beside the classical ones."""
    rows = []
    for level in levels:
        part = cells[cells["level"] == level.level]
        if level.error or len(part) < 3:
            continue
        middle = algorithm_a(part["mean"].to_numpy())
        counts = part["n"].to_numpy(dtype=float)
        s_r = algorithm_s(part["sd"].to_numpy(), counts)
        per_cell = float(counts.size / (1 / counts).sum())  # harmonic: what a cell mean's own spread divides by
        s_big = float(np.sqrt(max(middle.sd**2 - s_r**2 / per_cell, 0.0) + s_r**2))
        rows.append(
            {"level": level.level, "laboratories": len(part), "mean": middle.mean, "s_means": middle.sd,
             "mean_uncertainty": middle.standard_uncertainty, "s_r": s_r, "s_R": s_big,
             "r": LIMIT_FACTOR * s_r, "R": LIMIT_FACTOR * s_big}
        )  # fmt: skip
    names = ["level", "laboratories", "mean", "s_means", "mean_uncertainty", "s_r", "s_R", "r", "R"]
    return pd.DataFrame(rows, columns=names)


def _cautions(levels: list[Level]) -> list[Caution]:
    out = []
    stood = [lv for lv in levels if lv.withstood]
    if stood:
        out.append(
            Caution(
                "withstood",
                f"{len(stood)} of {len(levels)} levels hold withstood results and have no figures "
                f"({_levels([lv.level for lv in stood])}): averaging a ceiling as a value makes scatter look small.",
            )
        )
    lone = [lv.level for lv in levels if lv.laboratories == 1 and not lv.error]
    if lone:
        out.append(Caution("one_laboratory", f"One laboratory only at {_levels(lone)}: s_r is given, s_R cannot be."))
    few = [lv.laboratories for lv in levels if 1 < lv.laboratories < 8 and not lv.error]
    if few:
        out.append(
            Caution(
                "few",
                f"With {min(few)} laboratories s_R is poorly known (look at its limits); ISO 5725-1 and "
                "ASTM E691 ask for at least 8 (common practice: never fewer than 6) before r and R are published.",
            )
        )
    zero = [lv.level for lv in levels if not lv.error and lv.s_L_squared < 0]
    if zero:
        out.append(
            Caution(
                "s_L_zero",
                f"At {_levels(zero)} the laboratories' means differ less than their own scatter explains: s_L is set "
                "to zero and s_R to s_r. That is no proof that laboratories agree; see the upper limit of s_L.",
            )
        )
    return out


#: Levels that a caution names one by one; beyond them their number and the table say which.
MOST_NAMED = 4


def _levels(names: Sequence[str]) -> str:
    """The levels by name, or their number where the names would fill a page."""
    return ", ".join(names) if len(names) <= MOST_NAMED else f"{len(names)} levels (see their rows in the table)"
