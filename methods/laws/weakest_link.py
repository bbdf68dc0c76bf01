"""Weakest link: what more stressed oil does to the breakdown voltage, predicted and beside the observed shift."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.columns import CONDITION, without
from methods.errors import InputError, NotEstimable
from methods.laws.geometry import Electrode, Stress, effective_area, effective_volume, find_electrode, stressed
from methods.protocols.limits import limit_table
from methods.protocols.protocol import CHECK
from methods.records.table import as_table, filling_codes, withstood
from methods.result import Caution, Shown


@dataclass(frozen=True)
class WeibullModel:
    """A Weibull model of several groups: one shape, ``scales_kv`` a group, log-likelihood of the kV.

    ``beta`` and ``covariance`` are of (the location parameters, ln(1/shape)); ``clusters`` is the number of
    fillings behind the covariance, which counts fillings and not breakdowns where there are enough.
    """

    shape: float
    shape_low: float
    shape_high: float
    scales_kv: tuple[float, ...]
    log_likelihood: float
    beta: np.ndarray
    covariance: np.ndarray
    clusters: int
    df: int


def _negative(
    theta: np.ndarray, y: np.ndarray, design: np.ndarray, tilt: np.ndarray, event: np.ndarray
) -> tuple[float, np.ndarray, np.ndarray]:
    """Minus log-likelihood of ln kV, its gradient, and the scores a row; mu = design β - σ tilt, ln σ last."""
    log_sigma = np.clip(theta[-1], -12, 6)
    sigma = np.exp(log_sigma)
    w = (y - design @ theta[:-1]) / sigma + tilt
    e = np.exp(np.minimum(w, 600))
    value = -(event * (w - log_sigma) - e).sum()
    dw = event - e  # derivative of a row's log-likelihood by w
    scores = np.column_stack([dw[:, None] * (-design / sigma), dw * (tilt - w) - event])
    return float(value), -scores.sum(axis=0), scores


def fit_scales(
    kv: np.ndarray, design: np.ndarray, tilt: np.ndarray, event: np.ndarray, cluster: np.ndarray, confidence: float
) -> WeibullModel:
    """Weibull scales of oils and geometries with one common shape, by maximum likelihood, withstands right-censored.

    Parameters
    ----------
    kv : ndarray
        (n,) Voltages, kV.
    design : ndarray
        (n, scales) Which scale a row has, 1 or 0.
    tilt : ndarray
        (n,) Logarithm of what the weakest link multiplies, such as the area.
    event : ndarray
        (n,) 1 for a breakdown, 0 for a withstand.
    cluster : ndarray
        (n,) Codes of the fillings, from 0.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    y = np.log(kv)
    if event.sum() < design.shape[1] + 1 or np.ptp(y[event > 0]) == 0:
        raise NotEstimable("A Weibull shape needs at least two different breakdowns (withstood tests do not count).")
    beta0, *_ = np.linalg.lstsq(design, y, rcond=None)
    spread = float(np.std(y - design @ beta0)) * np.sqrt(6) / np.pi
    start = np.append(beta0, np.log(max(spread, 1e-4)))
    found = scipy.optimize.minimize(  # type: ignore[call-overload]
        lambda t: _negative(t, y, design, tilt, event)[:2], start, jac=True, method="BFGS", options={"gtol": 1e-9}
    )
    theta, count = found.x, design.shape[1]
    _, _, scores = _negative(theta, y, design, tilt, event)
    step = 1e-5
    hessian = np.array(
        [
            (_negative(theta + d, y, design, tilt, event)[1] - _negative(theta - d, y, design, tilt, event)[1])
            / (2 * step)
            for d in np.eye(count + 1) * step
        ]
    )
    bread = np.linalg.inv((hessian + hessian.T) / 2)
    groups = int(cluster.max()) + 1
    cov, df = bread, len(y) - count - 1
    if count + 1 < groups < len(y):  # fillings are the replicates: sandwich over fillings
        sums = np.zeros((groups, count + 1))
        np.add.at(sums, cluster, scores)
        cov, df = bread @ (sums.T @ sums) @ bread * groups / (groups - count), groups - count
    t = scipy.stats.t.ppf(0.5 + confidence / 2, df) if df > 0 else float("nan")
    sigma, se = float(np.exp(theta[-1])), float(np.sqrt(cov[-1, -1]))
    likelihood = -float(_negative(theta, y, design, tilt, event)[0]) - float((event * y).sum())
    return WeibullModel(
        1 / sigma, float(np.exp(-theta[-1] - t * se)), float(np.exp(-theta[-1] + t * se)),
        tuple(float(v) for v in np.exp(theta[:-1])), likelihood, theta, cov, groups, df,
    )  # fmt: skip


@dataclass(frozen=True, repr=False)
class GeometryShift(Shown):
    """Predicted and observed ratio of the Weibull scale, ``second`` over ``first`` electrode and gap.

    ``area_effect`` is (A_first / A_second)^(1/shape) at the chosen field fraction, ``field_effect`` the
    ratio of the voltages that give both the same peak field, ``predicted`` their product with the limits
    that the shape's uncertainty gives, ``predicted_by_volume`` the same with the stressed volume in the area's place
    (across gaps the volume grows with the gap, which the area leaves out); ``criteria`` the prediction for other
    fractions and for the weakest-link integral, which shows what the choice of criterion is worth. The observed
    figures are nan for a bare prediction.
    """

    first: Stress
    second: Stress
    shape: float
    shape_low: float
    shape_high: float
    area_effect: float
    volume_effect: float
    field_effect: float
    predicted: float
    predicted_low: float
    predicted_high: float
    predicted_by_volume: float
    by_volume_low: float
    by_volume_high: float
    criteria: pd.DataFrame
    observed: float
    observed_low: float
    observed_high: float
    breakdowns: int
    fillings: int
    confidence: float
    cautions: tuple[Caution, ...]


def _ratio(first: Stress, second: Stress, shape: float) -> tuple[float, float, float]:
    """What stressed area, stressed volume and field at the same voltage do to the voltage."""
    area = (first.area_mm2 / second.area_mm2) ** (1 / shape)
    volume = (first.volume_mm3 / second.volume_mm3) ** (1 / shape)
    return float(area), float(volume), float(first.peak_per_kv / second.peak_per_kv)


#: From so far apart, a share of the prediction, it is said that area and volume do not agree.
_APART = 0.03


def _across_gaps(first: Stress, second: Stress, by_area: float, by_volume: float) -> list[Caution]:
    """Across gaps the oil between the electrodes grows with the gap, and the area alone leaves that out."""
    if np.isclose(first.gap_mm, second.gap_mm) or abs(by_area / by_volume - 1) < _APART:
        return []
    over = (by_area > by_volume) == (second.gap_mm > first.gap_mm)
    text = (
        f"Across gaps the stressed oil grows with the gap too, not only the surface: by the area alone the ratio is "
        f"{by_area:.2f}, by the volume {by_volume:.2f}. The area alone "
        + ("overstates what the gap does." if over else "understates what the gap does here: at the larger gap the "
           "field in the middle falls below the share of the peak that counts.")
    )  # fmt: skip
    if {first.electrode, second.electrode} == {"mushroom"} and {first.gap_mm, second.gap_mm} == {1.0, 2.0}:
        low, high = limit_ratios()
        text += f" Pairs of limits for the two gaps in the same documents stand at {low:.2f} to {high:.2f}: {CHECK}."
    return [Caution("area_and_volume", text)]


def limit_ratios() -> tuple[float, float]:
    """Smallest and largest ratio of the limits that a document sets for mushroom electrodes at 2 mm and at 1 mm."""
    table = limit_table().dropna(subset=["kv"])
    table = table[table["method"] == "astm_d1816"]
    pairs = table.pivot_table(index=["document", "edition", "stage", "equipment"], columns="gap_mm", values="kv")
    ratios = (pairs[2.0] / pairs[1.0]).dropna()
    return float(ratios.min()), float(ratios.max())


def predict_geometry(
    first: tuple[str | Electrode, float],
    second: tuple[str | Electrode, float],
    shape: float,
    *,
    shape_low: float = float("nan"),
    shape_high: float = float("nan"),
    fraction: float = 0.9,
    confidence: float = 0.95,
) -> GeometryShift:
    """Weakest-link prediction of the shift from one electrode and gap (mm) to another, for a Weibull shape.

    Assumes that the oil's strength is a property of the field, that links are alike on both electrodes,
    and that stirring and rate of rise are the same. Weber and Endicott, AIEE Trans. 75 (1956) (from memory)
    is the classic evidence for the area effect in oil.

    Parameters
    ----------
    first : tuple[str or Electrode, float]
        Electrode and gap (mm) from which the shift is counted.
    second : tuple[str or Electrode, float]
        Electrode and gap (mm) to which.
    shape : float
        Weibull shape of the breakdown voltage.
    shape_low : float, default float('nan')
        Lower limit of the shape; nan where there is none.
    shape_high : float, default float('nan')
        Upper limit of the shape.
    fraction : float, default 0.9
        Share of the peak field that counts as stressed.
    confidence : float, default 0.95
        Of the shape's limits, a fraction; it is passed on.

    Raises
    ------
    NotEstimable
        Disks. InputError for an unknown electrode, gap or shape not above zero.
    """
    if not shape > 0:
        raise InputError(f"shape is {shape!r}; it must be above zero.")
    one, two = stressed(*first, fraction=fraction), stressed(*second, fraction=fraction)
    area, volume, field = _ratio(one, two, shape)
    shapes = [s for s in (shape_low, shape_high) if np.isfinite(s) and s > 0]
    ends = [field * _ratio(one, two, s)[0] for s in shapes]
    ends_volume = [field * _ratio(one, two, s)[1] for s in shapes]
    rows: list[dict[str, object]] = []
    for f in sorted({0.8, 0.9, 0.95, fraction}):
        a, b = stressed(*first, fraction=f), stressed(*second, fraction=f)
        part, oil, same = _ratio(a, b, shape)
        rows.append(
            {
                "criterion": f"field ≥ {f:.0%} of peak",
                "first_mm2": a.area_mm2,
                "second_mm2": b.area_mm2,
                "ratio": part * same,
                "first_mm3": a.volume_mm3,
                "second_mm3": b.volume_mm3,
                "ratio_by_volume": oil * same,
            }
        )
    a_eff, b_eff = effective_area(*first, shape), effective_area(*second, shape)
    a_oil, b_oil = effective_volume(*first, shape), effective_volume(*second, shape)
    rows.append(
        {"criterion": "weakest-link integral", "first_mm2": a_eff, "second_mm2": b_eff,
         "ratio": field * (a_eff / b_eff) ** (1 / shape), "first_mm3": a_oil, "second_mm3": b_oil,
         "ratio_by_volume": field * (a_oil / b_oil) ** (1 / shape)}
    )  # fmt: skip
    nan = float("nan")
    return GeometryShift(
        one, two, shape, shape_low, shape_high, area, volume, field, area * field,
        min(ends, default=nan), max(ends, default=nan), volume * field, min(ends_volume, default=nan),
        max(ends_volume, default=nan), pd.DataFrame(rows), nan, nan, nan, 0, 0, confidence,
        tuple(_across_gaps(one, two, area * field, volume * field)),
    )  # fmt: skip


def _choose(table: pd.DataFrame, pick: tuple[str, float]) -> pd.Series:
    return (table["electrode"] == pick[0]) & np.isclose(table["gap_mm"].astype(float), pick[1])


def compare_geometry(
    data: Any,
    first: tuple[str, float],
    second: tuple[str, float],
    *,
    fraction: float = 0.9,
    confidence: float = 0.95,
) -> GeometryShift:
    """Prediction and observation of the shift between two electrode-and-gap pairs that the data holds.

    The shape is the common one of both, estimated within oils (an own scale for each oil and geometry), by
    maximum likelihood with withstood tests right-censored; the observed ratio is the mean over the oils
    tested on both, its limits from the fillings.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    first : tuple[str, float]
        Electrode and gap (mm) from which the shift is counted.
    second : tuple[str, float]
        Electrode and gap (mm) to which.
    fraction : float, default 0.9
        Share of the peak field that counts as stressed.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        No oil tested on both, disks, or too few breakdowns.
    """
    for pick in (first, second):
        find_electrode(pick[0])
    table = as_table(data)
    table = table.assign(_f=filling_codes(table))
    parts = [table[_choose(table, pick)] for pick in (first, second)]
    names = [f"{pick[0]} at {pick[1]:g} mm" for pick in (first, second)]
    for part, name in zip(parts, names, strict=True):
        if part.empty:
            raise NotEstimable(f"The data hold no breakdowns of {name}.")
    parts, shared, notes = _blocks(parts, names)
    notes += _confounded(parts, names)
    both = pd.concat(parts)
    side = np.repeat([0, 1], [len(p) for p in parts])
    where = both["_block"].map({o: i for i, o in enumerate(shared)}).to_numpy()
    design = np.eye(2 * len(shared))[2 * where + side]
    event = 1.0 - withstood(both)
    cluster = np.unique(both["_f"], return_inverse=True)[1]
    model = fit_scales(both["kv"].to_numpy(dtype=float), design, np.zeros(len(both)), event, cluster, confidence)
    if model.clusters <= design.shape[1]:
        notes.append(
            Caution(
                "one_filling",
                "One filling for each oil and electrode: the limits leave out the scatter between fillings.",
            )
        )
    contrast = np.append(np.tile([-1.0, 1.0], len(shared)) / len(shared), 0.0)
    log_ratio, se = float(contrast @ model.beta), float(np.sqrt(contrast @ model.covariance @ contrast))
    t = float(scipy.stats.t.ppf(0.5 + confidence / 2, model.df))
    base = predict_geometry(
        first, second, model.shape, shape_low=model.shape_low, shape_high=model.shape_high, fraction=fraction,
        confidence=confidence,
    )  # fmt: skip
    return replace(
        base, observed=float(np.exp(log_ratio)), observed_low=float(np.exp(log_ratio - t * se)),
        observed_high=float(np.exp(log_ratio + t * se)), breakdowns=len(both), fillings=model.clusters,
        cautions=(*base.cautions, *notes),
    )  # fmt: skip


def _blocks(parts: list[pd.DataFrame], names: list[str]) -> tuple[list[pd.DataFrame], list[str], list[Caution]]:
    """Rows of the oils tested on both, at a stirring and rate of rise that both saw (or at any, if none is shared)."""
    for keys in (["sample", "stirring", "rise_kv_s"], ["sample"]):
        marked = []
        for part in parts:
            block = part[keys].astype("object").where(part[keys].notna(), "–").astype(str).agg(" / ".join, axis=1)
            marked.append(part.assign(_block=block))
        shared = sorted(set(marked[0]["_block"]) & set(marked[1]["_block"]))
        if shared:
            break
    else:
        raise NotEstimable(
            f"No oil was tested with both {names[0]} and {names[1]}, so oil and electrode cannot be told apart."
        )
    lone = sorted(set(marked[0]["_block"]) ^ set(marked[1]["_block"]))
    notes = [Caution("unpaired", f"Tested on one of the two only and left out: {'; '.join(lone)}.")] if lone else []
    return [p[p["_block"].isin(shared)] for p in marked], shared, notes


def _confounded(parts: list[pd.DataFrame], names: list[str]) -> list[Caution]:
    notes = []
    other = [
        c
        for c in without(CONDITION, "electrode", "gap_mm", "fluid")
        if set(parts[0][c].dropna()) != set(parts[1][c].dropna())
    ]
    if other:
        notes.append(
            Caution(
                "confounded",
                f"{names[0]} and {names[1]} differ in {', '.join(other)} too: the observed shift is not the "
                "geometry's alone.",
            )
        )
    return notes
