"""What an instructor shows: one virtual test as it grows, and a hundred virtual laboratories at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from methods.errors import InputError
from methods.result import Caution
from methods.simulate import Bench, draw

#: Designs that a class compares: (fillings, breakdowns on each).
DESIGNS: tuple[tuple[int, int], ...] = ((1, 5), (1, 6), (1, 10), (3, 2), (5, 2), (6, 1))


def running(kv: Sequence[float], withstood: Sequence[bool] | None = None, confidence: float = 0.95) -> pd.DataFrame:
    """Mean, SD and interval of the mean after each breakdown, as the bench would compute them.

    The interval is Student's t on the breakdowns taken so far: it holds for one filling's own long run and
    knows nothing of the next filling. From the first withstand on there is no mean: a ceiling is no value.

    Returns
    -------
    DataFrame
        Columns n, kv, withstood, mean_kv, sd_kv, low_kv, high_kv; one row a breakdown.
    """
    values = np.asarray(kv, dtype=float)
    top = np.zeros(len(values), dtype=bool) if withstood is None else np.asarray(withstood, dtype=bool)
    n = np.arange(1, len(values) + 1)
    mean = np.cumsum(values) / n
    # Sums of squares about the running mean (Welford): no cancellation for values that lie close together.
    step = np.diff(np.concatenate([[0.0], mean]))
    square = np.cumsum(np.where(n > 1, (values - mean) * (values - mean + step), 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        sd = np.where(n > 1, np.sqrt(square / np.maximum(n - 1, 1)), np.nan)
        half = np.where(n > 1, stats.t.ppf(0.5 + confidence / 2, np.maximum(n - 1, 1)) * sd / np.sqrt(n), np.nan)
    known = ~np.maximum.accumulate(top) if len(top) else top
    frame = {"mean_kv": mean, "sd_kv": sd, "low_kv": mean - half, "high_kv": mean + half}
    return pd.DataFrame(
        {"n": n, "kv": values, "withstood": top, **{k: np.where(known, v, np.nan) for k, v in frame.items()}}
    )


@dataclass(frozen=True)
class Class:
    """A hundred virtual laboratories: one row each and design in ``results``, one row a design in ``summary``."""

    bench: Bench
    count: int
    confidence: float
    limit_kv: float | None
    seed: int
    true_mean_kv: float
    results: pd.DataFrame
    summary: pd.DataFrame
    warnings: list[Caution]


def laboratories(
    bench: Bench,
    *,
    designs: Sequence[tuple[int, int]] = DESIGNS,
    count: int = 100,
    laboratory_cov: float = 0.0,
    limit_kv: float | None = None,
    confidence: float = 0.95,
    seed: int = 0,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
) -> Class:
    """Let ``count`` laboratories test the same oil by each design.

    Every laboratory reports its mean and two intervals: ``pooled`` treats all breakdowns as independent (as
    most sheets do), ``fillings`` is Student's t on the filling means (none for a single filling). The summary
    counts how often each contains the true mean, how far the means spread, and which share passes the limit.
    A laboratory that reached the ceiling has no mean; it is counted in ``no_mean``.

    Raises
    ------
    InputError
        Fewer than two laboratories, or a laboratory CoV outside 0 to 1.
    """
    if count < 2:
        raise InputError(f"A class needs at least two laboratories, not {count}.", column="count", text=str(count))
    if not 0 <= laboratory_cov < 1:
        raise InputError("laboratory_cov must be from 0 to below 1.", column="laboratory_cov", text=str(laboratory_cov))
    rng = np.random.default_rng(seed)
    frames, rows = [], []
    for i, (fillings, breakdowns) in enumerate(designs):
        if cancel is not None and cancel():
            break
        own = np.maximum(1 + laboratory_cov * rng.standard_normal(count), 0.05)
        results = _one_design(bench, fillings, breakdowns, count, own, confidence, limit_kv, rng)
        frames.append(results)
        rows.append(_summary(results, bench.true_mean_kv, confidence))
        if progress is not None:
            progress((i + 1) / len(designs))
    warnings = []
    lost = sum(row["no_mean"] for row in rows)
    if lost:
        warnings.append(
            Caution(
                "withstood",
                f"{lost} results met the ceiling of {bench.ceiling_kv:g} kV and have no mean: a ceiling is no value. "
                "The spread and the shares below are of the others and read low.",
            )
        )
    table = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()
    return Class(bench, count, confidence, limit_kv, seed, bench.true_mean_kv, table, pd.DataFrame(rows), warnings)


def _one_design(
    bench: Bench, fillings: int, breakdowns: int, count: int, own: np.ndarray,
    confidence: float, limit_kv: float | None, rng: np.random.Generator,
) -> pd.DataFrame:  # fmt: skip
    kv, reached = draw(bench, fillings=fillings, breakdowns=breakdowns, repetitions=count, seed=rng)
    kv = kv * own[:, None, None]
    flat = kv.reshape(count, -1)
    lost = reached.reshape(count, -1).any(axis=1)
    mean, n = flat.mean(axis=1), flat.shape[1]
    sd = flat.std(axis=1, ddof=1) if n > 1 else np.full(count, np.nan)
    tail = 0.5 + confidence / 2
    pooled = stats.t.ppf(tail, n - 1) * sd / np.sqrt(n) if n > 1 else np.full(count, np.nan)
    between = np.full(count, np.nan)
    if fillings > 1:
        between = stats.t.ppf(tail, fillings - 1) * kv.mean(axis=2).std(axis=1, ddof=1) / np.sqrt(fillings)
    truth = bench.true_mean_kv
    frame = pd.DataFrame(
        {
            "design": f"{fillings} × {breakdowns}", "fillings": fillings, "breakdowns": breakdowns,
            "laboratory": np.arange(1, count + 1), "mean_kv": mean, "sd_kv": sd,
            "pooled_low_kv": mean - pooled, "pooled_high_kv": mean + pooled,
            "fillings_low_kv": mean - between, "fillings_high_kv": mean + between,
        }
    )  # fmt: skip
    numbers = [c for c in frame.columns if c.endswith("_kv")]
    frame.loc[lost, numbers] = np.nan
    for kind in ("pooled", "fillings"):
        low, high = frame[f"{kind}_low_kv"], frame[f"{kind}_high_kv"]
        frame[f"{kind}_covers"] = ((low <= truth) & (truth <= high)).where(low.notna())
    frame["passes"] = (frame["mean_kv"] >= limit_kv).where(frame["mean_kv"].notna()) if limit_kv else None
    return frame


def _share(column: pd.Series) -> tuple[float, float, float]:
    """A share with its 95 % Clopper-Pearson limits; not-a-number when nothing can be counted."""
    known = column.dropna()
    if known.empty:
        return (np.nan, np.nan, np.nan)
    hits, n = int(known.astype(bool).sum()), len(known)
    limits = stats.binomtest(hits, n).proportion_ci(0.95, method="exact")
    return hits / n, float(limits.low), float(limits.high)


def _summary(results: pd.DataFrame, truth: float, confidence: float) -> dict[str, object]:
    means = results["mean_kv"].dropna()
    row: dict[str, object] = {
        "design": results["design"].iloc[0],
        "fillings": int(results["fillings"].iloc[0]),
        "breakdowns": int(results["fillings"].iloc[0] * results["breakdowns"].iloc[0]),
        "laboratories": len(means),
        "no_mean": int(results["mean_kv"].isna().sum()),
        "mean_of_means_kv": float(means.mean()),
        "sd_of_means_kv": float(means.std(ddof=1)) if len(means) > 1 else np.nan,
        "spread_percent": float(100 * means.std(ddof=1) / truth) if len(means) > 1 else np.nan,
        "lowest_kv": float(means.min()),
        "highest_kv": float(means.max()),
        "confidence": confidence,
    }
    for kind in ("pooled_covers", "fillings_covers", "passes"):
        share, low, high = _share(results[kind])
        row |= {kind: share, f"{kind}_low": low, f"{kind}_high": high}
    return row
