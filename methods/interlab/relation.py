"""How the repeatability and the reproducibility depend on the level: constant, proportional, linear, log-log."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
import scipy

#: name, number of parameters, how it reads
FORMS: tuple[tuple[str, int, str], ...] = (
    ("constant", 1, "s = a"),
    ("proportional", 1, "s = b m"),
    ("linear", 2, "s = a + b m"),
    ("log_log", 2, "log s = log a + b log m"),
)


def _loss(sigma: np.ndarray, s: np.ndarray, freedom: np.ndarray) -> float:
    """Minus the log-likelihood of variances s² with ``freedom`` degrees of freedom, up to a constant."""
    if np.any(~np.isfinite(sigma)) or np.any(sigma <= 0):
        return float("inf")
    return float((freedom / 2 * (2 * np.log(sigma) + (s / sigma) ** 2)).sum())


def _two(
    curve: Callable[[np.ndarray], np.ndarray], starts: Sequence[Sequence[float]], s: np.ndarray, freedom: np.ndarray
) -> np.ndarray:
    best, best_loss = np.array(starts[0], dtype=float), np.inf
    for start in starts:
        found = scipy.optimize.minimize(  # type: ignore[call-overload]
            lambda p: _loss(curve(p), s, freedom), np.asarray(start, dtype=float), method="Nelder-Mead",
            options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000, "maxfev": 8000},
        )  # fmt: skip
        if found.fun < best_loss:
            best, best_loss = found.x, found.fun
    return best


def _fit(form: str, m: np.ndarray, s: np.ndarray, freedom: np.ndarray) -> tuple[float, float, np.ndarray]:
    """Parameters a, b and the fitted spreads of one form."""
    total = freedom.sum()
    flat = float(np.sqrt((freedom * s**2).sum() / total))
    slope = float(np.sqrt((freedom * (s / m) ** 2).sum() / total))
    if form == "constant":
        return flat, float("nan"), np.full_like(m, flat)
    if form == "proportional":
        return float("nan"), slope, slope * m
    if form == "linear":
        middle = float(m.mean())

        def line(p: np.ndarray) -> np.ndarray:  # spread at the mean level, and slope relative to it
            return p[0] + p[1] * (m - middle) / middle

        p = _two(line, [(flat, 0.0), (slope * middle, slope * middle)], s, freedom)
        b = p[1] / middle
        return float(p[0] - b * middle), float(b), line(p)
    centre = np.log(m).mean()

    def power(p: np.ndarray) -> np.ndarray:
        return np.exp(np.clip(p[0] + p[1] * (np.log(m) - centre), -700, 700))

    p = _two(power, [(np.log(flat), 0.0), (np.log(slope) + centre, 1.0)], s, freedom)
    return float(np.exp(p[0] - p[1] * centre)), float(p[1]), power(p)


def relations(
    levels: pd.DataFrame, *, kinds: Sequence[tuple[str, str]] = (("s_r", "df_r"), ("s_R", "df_R"))
) -> pd.DataFrame:
    """Fit every form to every kind of spread and say which describes the data best.

    ``levels`` has a row a level with ``mean``, the spreads and their degrees of freedom. The spread of a
    level is a root of chi-square over its degrees of freedom, so the fit is maximum likelihood (a gamma
    regression of s²), which weights each level by what it knows. The forms are those of ISO 5725-2
    (7.5: proportional, linear, log-log) and the constant; the lowest AIC is chosen, and of two forms
    within 2 of each other the simpler.

    Returns
    -------
    DataFrame
        ``kind, form, reads, a, b, parameters, aic, lack_of_fit_p, chosen``; empty with fewer than three levels.
    """
    rows: list[dict[str, object]] = []
    for kind, df_name in kinds:
        use = levels[(levels[kind] > 0) & (levels["mean"] > 0) & (levels[df_name] > 0)]
        if len(use) < 3:
            continue
        m, s, freedom = (use[c].to_numpy(dtype=float) for c in ("mean", kind, df_name))
        perfect = _loss(s, s, freedom)
        found: list[dict[str, object]] = []
        for form, count, reads in FORMS:
            a, b, fitted = _fit(form, m, s, freedom)
            loss = _loss(fitted, s, freedom)
            left = len(use) - count
            found.append(
                {
                    "kind": kind, "form": form, "reads": reads, "a": a, "b": b, "parameters": count,
                    "aic": 2 * loss + 2 * count,
                    "lack_of_fit_p": float(scipy.stats.chi2.sf(2 * (loss - perfect), left)) if left else float("nan"),
                }
            )  # fmt: skip
        best = min(float(f["aic"]) for f in found)  # type: ignore[arg-type]
        near = [f for f in found if float(f["aic"]) <= best + 2]  # type: ignore[arg-type]
        pick = min(near, key=lambda f: (f["parameters"], f["aic"]))
        rows += [{**f, "chosen": f is pick} for f in found]
    names = ["kind", "form", "reads", "a", "b", "parameters", "aic", "lack_of_fit_p", "chosen"]
    return pd.DataFrame(rows, columns=names)


def relation_curve(fitted: pd.DataFrame, kind: str, mean: Sequence[float] | np.ndarray) -> np.ndarray:
    """The chosen form of one kind of spread at these means (any shape); nan where no form was fitted.

    ``fitted`` is what :func:`relations` gave.

    Parameters
    ----------
    fitted : DataFrame
        What :func:`relations` gave.
    kind : str
        Which spread, as in its column ``kind``.
    mean : sequence of float or ndarray
        Level means, kV (any shape).
    """
    at = np.asarray(mean, dtype=float)
    row = fitted[(fitted["kind"] == kind) & fitted["chosen"].astype(bool)] if len(fitted) else fitted
    if not len(row):
        return np.full(at.shape, np.nan)
    form, a, b = row["form"].iloc[0], float(row["a"].iloc[0]), float(row["b"].iloc[0])
    if form == "constant":
        return np.full(at.shape, a)
    if form == "proportional":
        return b * at
    return np.asarray(a + b * at if form == "linear" else a * at**b)


def spread_curves(found: Any, points: int = 41) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """The chosen relation of s_r and of s_R over the levels' means of a precision experiment: means, spreads, kV."""
    means = [level.mean for level in found.levels if not level.error]
    at = np.linspace(min(means), max(means), points)
    return {kind: (at, relation_curve(found.relations, kind, at)) for kind in ("s_r", "s_R")}
