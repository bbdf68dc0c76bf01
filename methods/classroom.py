"""What an instructor shows: one virtual test as it grows, and a hundred virtual laboratories at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import scipy
from numpy.typing import ArrayLike

from methods.errors import InputError
from methods.procedures.reported import Reported, reported_by
from methods.protocols.protocol import Protocol
from methods.protocols.verdict import judge
from methods.randomness import Rng, seed_of
from methods.result import Caution
from methods.simulate import Bench, Setting, draw, series

#: Designs that a class compares: (fillings, breakdowns on each).
DESIGNS: tuple[tuple[int, int], ...] = ((1, 5), (1, 6), (1, 10), (3, 2), (5, 2), (6, 1))

#: The longest virtual test.
MOST_TAKEN = 600


def running(kv: ArrayLike, withstood: ArrayLike | None = None, confidence: float = 0.95) -> pd.DataFrame:
    """Mean, SD and interval of the mean after each breakdown, as the bench would compute them.

    The interval is Student's t on the breakdowns taken so far: it holds for one filling's own long run and
    knows nothing of the next filling. From the first withstand on there is no mean: a ceiling is no value.

    Parameters
    ----------
    kv : array_like
        (n,) Voltages in the order taken, kV.
    withstood : array_like, optional
        (n,) Which of them are withstands; none by default.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.

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
        half = np.where(n > 1, scipy.stats.t.ppf(0.5 + confidence / 2, np.maximum(n - 1, 1)) * sd / np.sqrt(n), np.nan)
    known = ~np.maximum.accumulate(top) if len(top) else top
    frame = {"mean_kv": mean, "sd_kv": sd, "low_kv": mean - half, "high_kv": mean + half}
    return pd.DataFrame(
        {"n": n, "kv": values, "withstood": top, **{k: np.where(known, v, np.nan) for k, v in frame.items()}}
    )


@dataclass(frozen=True)
class Class:
    """A hundred virtual laboratories: one row each and design in ``results``, one row a design in ``summary``.

    ``design`` is the one by which a laboratory reports one result of the method (``1 × 6``).
    """

    bench: Bench
    count: int
    confidence: float
    limit_kv: float | None
    seed: int
    true_mean_kv: float
    results: pd.DataFrame
    summary: pd.DataFrame
    cautions: list[Caution]
    design: str = ""


def reported_design(protocol: Protocol | None, per_filling: int = 6) -> tuple[int, int]:
    """Fillings and breakdowns on each of what a laboratory reports: the method's, or one filling of ``per_filling``."""
    one = reported_by(protocol)
    return (1, per_filling) if one is None else (one.fillings, one.breakdowns_per_filling or per_filling)


def laboratories(
    bench: Bench,
    *,
    designs: Sequence[tuple[int, int]] | None = None,
    protocol: Protocol | None = None,
    count: int = 100,
    laboratory_cov: float = 0.0,
    limit_kv: float | None = None,
    confidence: float = 0.95,
    rng: Rng = 0,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
) -> Class:
    """Let ``count`` laboratories test the same oil by each design.

    With a protocol the design by which it reports one result is among them (``design``). Every laboratory reports its
    mean and two intervals: ``pooled`` treats all breakdowns as independent (as
    most sheets do), ``fillings`` is Student's t on the filling means (none for a single filling). The summary
    counts how often each contains the true mean, how far the means spread, and which share passes the limit.
    A laboratory that reached the ceiling has no mean; it is counted in ``no_mean``.

    Parameters
    ----------
    bench : Bench
        The oil and the test set.
    designs : sequence of tuple[int, int], optional
        Pairs of fillings and breakdowns on each; a few common ones by default.
    protocol : Protocol, optional
        A test method, whose own design is added.
    count : int, default 100
        Number of laboratories, 2 or more.
    laboratory_cov : float, default 0.0
        Scatter of the laboratories' own level, a fraction of the mean.
    limit_kv : float, optional
        Smallest mean that passes, kV.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    rng : int or Generator, default 0
        A seed or a generator; the same seed gives the same numbers.
    progress : callable, optional
        Called with the share that is done, from 0 to 1.
    cancel : callable, optional
        Asked now and then; True stops the work.

    Raises
    ------
    InputError
        Fewer than two laboratories, or a laboratory CoV outside 0 to 1.
    """
    seed = seed_of(rng)
    if count < 2:
        raise InputError(f"A class needs at least two laboratories, not {count}.", column="count", text=str(count))
    if not 0 <= laboratory_cov < 1:
        raise InputError("laboratory_cov must be from 0 to below 1.", column="laboratory_cov", text=str(laboratory_cov))
    rng = np.random.default_rng(seed)
    frames, rows = [], []
    own_design = reported_design(protocol)
    if designs is None:
        designs = DESIGNS if own_design in DESIGNS else (own_design, *DESIGNS)
    for i, (fillings, breakdowns) in enumerate(designs):
        if cancel is not None and cancel():
            break
        own = np.maximum(1 + laboratory_cov * rng.standard_normal(count), 0.05)
        results = _one_design(bench, fillings, breakdowns, count, own, confidence, limit_kv, rng)
        frames.append(results)
        rows.append(_summary(results, bench.true_mean_kv, confidence))
        if progress is not None:
            progress((i + 1) / len(designs))
    cautions = []
    lost = sum(int(frame["mean_kv"].isna().sum()) for frame in frames)
    if lost:
        cautions.append(
            Caution(
                "withstood",
                f"{lost} results met the ceiling of {bench.ceiling_kv:g} kV and have no mean: a ceiling is no value. "
                "The spread and the shares below are of the others and read low.",
            )
        )
    table = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()
    return Class(
        bench, count, confidence, limit_kv, seed, bench.true_mean_kv, table, pd.DataFrame(rows), cautions,
        f"{own_design[0]} × {own_design[1]}",
    )  # fmt: skip


def _one_design(
    bench: Bench, fillings: int, breakdowns: int, count: int, own: np.ndarray,
    confidence: float, limit_kv: float | None, rng: np.random.Generator,
) -> pd.DataFrame:  # fmt: skip
    endless = replace(bench, ceiling_kv=None)  # a laboratory's level shifts the oil, not the ceiling of its set
    kv, _ = draw(endless, fillings=fillings, breakdowns=breakdowns, repetitions=count, rng=rng)
    kv = kv * own[:, None, None]
    reached = kv >= (np.inf if bench.ceiling_kv is None else bench.ceiling_kv)
    flat = kv.reshape(count, -1)
    lost = reached.reshape(count, -1).any(axis=1)
    mean, n = flat.mean(axis=1), flat.shape[1]
    sd = flat.std(axis=1, ddof=1) if n > 1 else np.full(count, np.nan)
    tail = 0.5 + confidence / 2
    pooled = scipy.stats.t.ppf(tail, n - 1) * sd / np.sqrt(n) if n > 1 else np.full(count, np.nan)
    between = np.full(count, np.nan)
    if fillings > 1:
        between = scipy.stats.t.ppf(tail, fillings - 1) * kv.mean(axis=2).std(axis=1, ddof=1) / np.sqrt(fillings)
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
    limits = scipy.stats.binomtest(hits, n).proportion_ci(0.95, method="exact")
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


#: Relative saturation (fraction) up to which an oil with fibre reads as when dry, and at which it reads its
#: lowest: nearly flat to about 20-30 %, then a steep fall (from memory; studies agree on the shape, not the numbers).
FLAT_UNTIL, LOWEST_FROM = 0.2, 0.9


def wetness_at(relative_saturation: float) -> float:
    """How wet an oil behaves, from 0 to 1, at a relative saturation of water (a fraction); an illustration.

    A smooth step between :data:`FLAT_UNTIL` and :data:`LOWEST_FROM`: for the classroom, not for an oil.
    """
    if not relative_saturation >= 0:
        raise InputError("relative_saturation must be 0 or more.", column="relative_saturation")
    step = min(max((relative_saturation - FLAT_UNTIL) / (LOWEST_FROM - FLAT_UNTIL), 0.0), 1.0)
    return step * step * (3 - 2 * step)


def hidden_oil(number: int, item: Setting) -> Bench:
    """The oil of a challenge: the same for everybody who types the same number, and not to be read off it."""
    rng = np.random.default_rng([20260214, int(number)])
    bench = item.bench(float(rng.uniform(0, 1)))
    return replace(bench, mean_kv=float(bench.mean_kv * rng.uniform(0.85, 1.15)))


@dataclass(frozen=True)
class VirtualTest:
    """A virtual test so far: the breakdowns (``table``), the running figures, and the verdicts on full fillings.

    ``taken`` counts breakdowns. ``mean_kv`` to ``high_kv`` are the last row of the running figures (None where there is
    no mean). ``fillings_low_kv`` and ``fillings_high_kv`` are Student's t on the means of complete fillings,
    None below two of them. ``covers`` says whether the pooled interval holds the true mean. ``results`` counts the
    whole reported results so far, ``result`` says what one is.
    """

    bench: Bench
    taken: int
    fillings: int
    table: pd.DataFrame
    running: pd.DataFrame
    mean_kv: float | None
    sd_kv: float | None
    low_kv: float | None
    high_kv: float | None
    fillings_low_kv: float | None
    fillings_high_kv: float | None
    covers: bool | None
    verdicts: pd.DataFrame
    cautions: list[Caution]
    results: int = 0
    result: str = ""


def virtual_test(
    bench: Bench,
    taken: int,
    *,
    breakdowns_per_filling: int | None = None,
    protocol: Protocol | None = None,
    confidence: float = 0.95,
    rng: Rng = 0,
) -> VirtualTest:
    """The first ``taken`` breakdowns of the virtual test with this seed, filling after filling.

    Taking one more never changes those before. With a protocol, every complete filling is judged by its
    consistency rule, and a filling takes as many breakdowns as it prescribes (6 without one) unless said.

    Parameters
    ----------
    bench : Bench
        The oil and the test set.
    taken : int
        Number of breakdowns taken so far, 0 to 600.
    breakdowns_per_filling : int, optional
        After how many the cell is filled anew.
    protocol : Protocol, optional
        A test method, whose consistency rule judges each filling.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    rng : int or Generator, default 0
        A seed or a generator; the same seed gives the same numbers.

    Raises
    ------
    InputError
        ``taken`` outside 0 to 600, or no breakdown per filling.
    """
    seed = seed_of(rng)
    if not 0 <= taken <= MOST_TAKEN:
        raise InputError(f"taken is {taken}; it must lie from 0 to {MOST_TAKEN}.", column="taken", text=str(taken))
    fillings_of_one, usual = reported_design(protocol)
    breakdowns_per_filling = usual if breakdowns_per_filling is None else breakdowns_per_filling
    if breakdowns_per_filling < 1:
        raise InputError("A filling needs at least one breakdown.", column="breakdowns_per_filling")
    fillings = -(-taken // breakdowns_per_filling)
    parts = []
    for filling in range(fillings):
        one = series(bench, breakdowns=breakdowns_per_filling, rng=[seed, filling])
        parts.append(one.assign(filling=str(filling + 1)))
    table = pd.concat(parts, ignore_index=True).head(taken) if parts else series(bench, breakdowns=1).head(0)
    top = (table["outcome"] == "withstood").to_numpy()
    figures = running(table["kv"].to_numpy(), top, confidence)
    last = {k: None if figures.empty or np.isnan(figures[k].iloc[-1]) else float(figures[k].iloc[-1])
            for k in ("mean_kv", "sd_kv", "low_kv", "high_kv")}  # fmt: skip
    low, high = _filling_interval(table, breakdowns_per_filling, confidence)
    truth = bench.true_mean_kv
    covers = None if last["low_kv"] is None or last["high_kv"] is None else last["low_kv"] <= truth <= last["high_kv"]
    cautions = []
    if top.any():
        cautions.append(
            Caution(
                "withstood",
                f"{int(top.sum())} of {taken} reached the ceiling of {bench.ceiling_kv:g} kV. The mean is not known "
                "from there on: only that those are above the ceiling.",
            )
        )
    return VirtualTest(
        bench, taken, fillings, table, figures, last["mean_kv"], last["sd_kv"], last["low_kv"], last["high_kv"],
        low, high, covers, _verdicts(table, breakdowns_per_filling, protocol), cautions,
        taken // breakdowns_per_filling // fillings_of_one,
        Reported(fillings_of_one, breakdowns_per_filling).words,
    )  # fmt: skip


def _filling_interval(table: pd.DataFrame, per_filling: int, confidence: float) -> tuple[float | None, float | None]:
    groups = [g for _, g in table.groupby("filling", sort=False) if len(g) == per_filling]
    if len(groups) < 2 or any((g["outcome"] == "withstood").any() for g in groups):
        return None, None
    means = np.array([g["kv"].mean() for g in groups])
    half = scipy.stats.t.ppf(0.5 + confidence / 2, len(means) - 1) * means.std(ddof=1) / np.sqrt(len(means))
    return float(means.mean() - half), float(means.mean() + half)


def _verdicts(table: pd.DataFrame, per_filling: int, protocol: Protocol | None) -> pd.DataFrame:
    rows = []
    for label, group in table.groupby("filling", sort=False):
        if protocol is not None and len(group) == per_filling:
            verdict = judge(protocol, group["kv"].to_numpy(), withstood=(group["outcome"] == "withstood").to_numpy())
            rows.append(
                {"filling": label, "breakdowns": len(group), "value": verdict.value, "limit": verdict.limit,
                 "step": verdict.step, "sentence": verdict.sentence}
            )  # fmt: skip
    return pd.DataFrame(rows, columns=["filling", "breakdowns", "value", "limit", "step", "sentence"])
