"""A power law V = a x^b fitted to filling means, oil by oil: what the gap law and the rate law share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from methods.columns import factor_name
from methods.errors import InputError, NotEstimable
from methods.records.table import WITHSTOOD, filling_codes, group_codes
from methods.result import Caution

NAN = float("nan")


@dataclass(frozen=True)
class PowerPrediction:
    """Value at x: ``kv``, limits of the curve ``low_kv, high_kv`` and of one new unit ``band_low_kv, band_high_kv``."""

    x: float
    kv: float
    low_kv: float
    high_kv: float
    band_low_kv: float
    band_high_kv: float
    confidence: float
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class PowerFit:
    """V = a x^b with one exponent for several oils, each with its own a.

    ``units`` rows went into the fit (fillings, or breakdowns where there is one filling a level: ``unit``).
    ``a`` is the geometric mean over the oils; ``oils`` has a row an oil with its own a. ``residual_sd_log``
    is the scatter of a unit about the law as a fraction. ``beta`` and ``covariance`` belong to the oils'
    ln a followed by b. ``points`` has a row an oil and x with the mean of its units.
    """

    column: str
    a: float
    a_low: float
    a_high: float
    b: float
    b_low: float
    b_high: float
    b_standard_error: float
    df: int
    unit: str
    units: int
    breakdowns: int
    levels: tuple[float, ...]
    residual_sd_log: float
    lack_of_fit_f: float
    lack_of_fit_p: float
    confidence: float
    oils: pd.DataFrame
    points: pd.DataFrame
    beta: np.ndarray
    covariance: np.ndarray
    cautions: tuple[Caution, ...]

    def row(self, x: float, oil: str | None = None) -> np.ndarray:
        """The row of the design matrix for one x: of one oil, or of the average oil."""
        names = list(self.oils["oil"])
        if oil is not None and oil not in names:
            raise InputError(f"There is no oil {oil!r} in this fit; it has {', '.join(names)}.")
        weights = np.full(len(names), 1 / len(names)) if oil is None else np.eye(len(names))[names.index(oil)]
        return np.append(weights, np.log(x))

    def predict(self, x: float, *, oil: str | None = None) -> PowerPrediction:
        """The law and the band for one new unit at x, with no check of the range: see the laws' own ``predict``."""
        at = self.row(x, oil)
        middle, var = float(at @ self.beta), float(at @ self.covariance @ at)
        t = scipy.stats.t.ppf(0.5 + self.confidence / 2, self.df)
        line, band = t * np.sqrt(var), t * np.sqrt(var + self.residual_sd_log**2)
        kv, low, high, band_low, band_high = (float(np.exp(middle + d)) for d in (0.0, -line, line, -band, band))
        return PowerPrediction(float(x), kv, low, high, band_low, band_high, self.confidence)

    def curve(self, low: float, high: float, *, oil: str | None = None, points: int = 41) -> pd.DataFrame:
        """The law from ``low`` to ``high``, evenly on the log scale: ``x`` and the fields of :meth:`predict`.

        Parameters
        ----------
        low : float
            Where the curve begins, in the unit of the fit.
        high : float
            Where it ends.
        oil : str, optional
            Name of an oil of the fit; by default the average of them.
        points : int, default 41
            Number of points.
        """
        found = [self.predict(float(x), oil=oil) for x in np.geomspace(low, high, points)]
        names = ["x", "kv", "low_kv", "high_kv", "band_low_kv", "band_high_kv"]
        return pd.DataFrame([[getattr(p, n) for n in names] for p in found], columns=names)


def _units(table: pd.DataFrame, column: str) -> tuple[pd.DataFrame, str, list[Caution]]:
    """One row a filling; or a breakdown, where there are too few fillings to judge the scatter by."""
    codes = filling_codes(table)
    frame = table.assign(_f=codes, _log=np.log(table["kv"].to_numpy(dtype=float)))
    grouped = frame.groupby(["_oil", column, "_f"], sort=False)
    fillings = grouped.agg(kv=("kv", "mean"), n=("kv", "size"), var=("_log", "var")).reset_index()
    parameters = frame["_oil"].nunique() + 1
    if len(fillings) > parameters:
        return fillings, "filling" if len(fillings) < len(frame) else "breakdown", []
    single = frame[["_oil", column, "_f", "kv"]].assign(n=1, var=NAN)
    note = Caution(
        "one_filling",
        "There is one filling for each oil and level, so the limits come from the breakdowns alone and leave "
        "out how much a second filling would differ; they are too narrow.",
    )
    return single, "breakdown", [note]


def _weights(units: pd.DataFrame, design: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Weights for fillings of unequal size from the scatter within and between them; ones for equal sizes."""
    n = units["n"].to_numpy(dtype=float)
    weights = np.ones_like(y)
    if np.all(n == n[0]):
        return weights
    freedom = n - 1
    within = float((freedom * np.nan_to_num(units["var"].to_numpy(dtype=float))).sum() / max(freedom.sum(), 1))
    df = max(len(y) - design.shape[1], 1)
    for _ in range(10):
        root = np.sqrt(weights)
        beta, *_ = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)
        mean_square = float(((y - design @ beta) ** 2).sum() / df)
        between = max(mean_square - within * float((1 / n).mean()), 0.0)
        variance = between + within / n
        if not np.all(variance > 0):
            return np.ones_like(y)
        weights = (1 / variance) / (1 / variance).mean()
    return weights


def _lack_of_fit(cell: np.ndarray, y: np.ndarray, w: np.ndarray, rss: float, df: int) -> tuple[float, float]:
    """F and p of the law against a free mean for every oil and level; needs repeated units."""
    count = int(cell.max()) + 1
    sums = np.bincount(cell, weights=w * y, minlength=count) / np.bincount(cell, weights=w, minlength=count)
    pure = float((w * (y - sums[cell]) ** 2).sum())
    df_pure = len(y) - count
    df_lack = df - df_pure
    if df_pure < 1 or df_lack < 1 or pure <= 0:
        return NAN, NAN
    f = (rss - pure) / df_lack / (pure / df_pure)
    return float(f), float(scipy.stats.f.sf(f, df_lack, df_pure))


def oil_names(table: pd.DataFrame, oil: Sequence[str] = ("sample", "laboratory")) -> pd.Series:
    """For each row the oil that it belongs to, as :attr:`PowerFit.oils` and ``points`` name it."""
    names = [c for c in oil if c in table.columns and table[c].notna().any()]
    joined = table[names[0]].astype("object").fillna("–").astype(str) if names else pd.Series("all", index=table.index)
    for c in names[1:]:
        joined = joined + " / " + table[c].astype("object").fillna("–").astype(str)
    return joined


def without_withstood(table: pd.DataFrame, column: str) -> tuple[pd.DataFrame, list[Caution]]:
    """Leave out the whole oil-and-level cells that hold a withstood test; their mean is unknown."""
    stood = table["outcome"].eq(WITHSTOOD)
    if not stood.any():
        return table, []
    keys = table["_oil"].astype(str) + " at " + table[column].map(lambda v: f"{v:g}")
    bad = sorted(set(keys[stood]))
    note = Caution(
        "withstood",
        f"Left out because they hold withstood tests, whose mean is unknown: {'; '.join(bad)}. If those are the "
        "strongest oils or the widest gaps, the exponent is pulled down.",
    )
    return table[~keys.isin(bad)], [note]


def fit_power(
    table: pd.DataFrame, column: str, *, oil: Sequence[str] = ("sample", "laboratory"), confidence: float = 0.95
) -> PowerFit:
    """Fit one exponent with an own factor for each oil (and laboratory), fillings as units.

    Ordinary least squares on ln V when the fillings are of equal size, weighted by their scatter otherwise;
    t limits on the residual degrees of freedom. Draper and Smith, Applied Regression Analysis (1998), ch. 2
    for lack of fit.

    Parameters
    ----------
    table : DataFrame
        Rows of the record table.
    column : str
        What the voltage depends on, such as ``gap_mm``.
    oil : sequence of str, optional
        Columns that make an oil.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

    Raises
    ------
    NotEstimable
        Fewer than two levels, no oil measured at two, or no degree of freedom left.
    """
    use = table[table[column].notna() & (table[column].astype(float) > 0)].copy()
    factor = factor_name(column)
    cautions: list[Caution] = []
    if len(use) < len(table):
        cautions.append(Caution("no_level", f"{len(table) - len(use)} rows have no {factor} and were left out."))
    use["_oil"], use[column] = oil_names(use, oil), use[column].astype(float)
    use, notes = without_withstood(use, column)
    cautions += notes
    per_oil = use.groupby("_oil")[column].nunique()
    lone = list(per_oil.index[per_oil < 2])
    if len(lone) == len(per_oil):
        raise NotEstimable(
            f"No oil was tested at two values of the {factor}, so how the voltage depends on it cannot be seen; "
            "test one oil at two or more."
        )
    if lone:
        use = use[~use["_oil"].isin(lone)]
        text = f"Tested at one value of the {factor} only and left out: {', '.join(lone)}."
        cautions.append(Caution("one_level", text))
    units, unit, notes = _units(use, column)
    return _solve(units, column, unit, len(use), confidence, cautions + notes)


def _solve(
    units: pd.DataFrame, column: str, unit: str, breakdowns: int, confidence: float, cautions: list[Caution]
) -> PowerFit:
    oils = list(dict.fromkeys(units["_oil"]))
    index = units["_oil"].map({o: i for i, o in enumerate(oils)}).to_numpy()
    x, y = units[column].to_numpy(dtype=float), np.log(units["kv"].to_numpy(dtype=float))
    design = np.column_stack([np.eye(len(oils))[index], np.log(x)])
    df = len(y) - design.shape[1]
    if df < 1:
        raise NotEstimable(
            f"{len(y)} results for {len(oils)} oils and one exponent leave nothing to judge the scatter by; "
            "test more fillings."
        )
    w = _weights(units, design, y)
    root = np.sqrt(w)
    beta, *_ = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)
    rss = float((w * (y - design @ beta) ** 2).sum())
    sigma2 = rss / df
    cov = np.linalg.inv(design.T @ (design * w[:, None])) * sigma2
    t = float(scipy.stats.t.ppf(0.5 + confidence / 2, df))
    se = np.sqrt(np.diag(cov))
    average = np.append(np.full(len(oils), 1 / len(oils)), 0.0)
    middle, spread = float(average @ beta), float(np.sqrt(average @ cov @ average))
    f, p = _lack_of_fit(group_codes(units, ["_oil", column]), y, w, rss, df)
    if np.isfinite(p) and p < 1 - confidence:
        cautions.append(
            Caution(
                "lack_of_fit", f"The points do not follow one power law (p = {p:.2g}); its exponent is only an average."
            )
        )
    points = units.groupby(["_oil", column], sort=True).agg(kv=("kv", "mean"), units=("kv", "size")).reset_index()
    table = pd.DataFrame(
        {
            "oil": oils,
            "a": np.exp(beta[:-1]),
            "a_low": np.exp(beta[:-1] - t * se[:-1]),
            "a_high": np.exp(beta[:-1] + t * se[:-1]),
        }
    )
    return PowerFit(
        column=column, a=float(np.exp(middle)), a_low=float(np.exp(middle - t * spread)),
        a_high=float(np.exp(middle + t * spread)), b=float(beta[-1]), b_low=float(beta[-1] - t * se[-1]),
        b_high=float(beta[-1] + t * se[-1]), b_standard_error=float(se[-1]), df=df, unit=unit, units=len(y),
        breakdowns=breakdowns, levels=tuple(float(v) for v in np.unique(x)), residual_sd_log=float(np.sqrt(sigma2)),
        lack_of_fit_f=f, lack_of_fit_p=p, confidence=confidence, oils=table,
        points=points.rename(columns={"_oil": "oil"}), beta=beta, covariance=cov, cautions=tuple(cautions),
    )  # fmt: skip
