"""Time of the whole-distribution shift: 2,000 resamples of 3,000 breakdowns, against a plain loop.

Run as ``python -m tests.benchmarks.bench_percentile_shift``. Prints; passes or fails nothing.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from methods.shifts import percentile_shift
from methods.shifts.resampling import bootstrap_percentiles

FILLINGS, BREAKDOWNS, RESAMPLES = 250, 6, 2000
P = np.arange(1, 100) / 100


def invented(seed: int = 0) -> pd.DataFrame:
    """Two electrodes, 250 fillings of 6 each, with a ceiling at 60 kV (invented)."""
    rng = np.random.default_rng(seed)
    parts = []
    for electrode, mean in (("spherical", 52.0), ("mushroom", 48.0)):
        centre = np.repeat(rng.normal(mean, 2.0, FILLINGS), BREAKDOWNS)
        kv = centre + rng.normal(0, 5.0, len(centre))
        parts.append(
            pd.DataFrame({"electrode": electrode, "filling": np.repeat(np.arange(FILLINGS), BREAKDOWNS), "kv": kv})
        )
    frame = pd.concat(parts, ignore_index=True)
    frame["outcome"] = np.where(frame["kv"] >= 60, "withstood", "breakdown")
    frame["kv"] = frame["kv"].clip(upper=60.0)
    return frame.assign(sample="invented", filling=frame["filling"].astype(str))


def plain_loop(kv: np.ndarray, gone: np.ndarray, filling: np.ndarray, repetitions: int, seed: int) -> np.ndarray:
    """The same bootstrap, a resample at a time with Kaplan-Meier by the book."""
    rng = np.random.default_rng(seed)
    groups = [np.flatnonzero(filling == f) for f in np.unique(filling)]
    out = []
    for _ in range(repetitions):
        rows = np.concatenate([groups[i] for i in rng.integers(0, len(groups), len(groups))])
        order = np.lexsort([gone[rows], kv[rows]])
        x, g = kv[rows][order], gone[rows][order]
        times, first = np.unique(x, return_index=True)
        events = np.add.reduceat((~g).astype(float), first)
        survival = np.cumprod(1 - events / (len(x) - first))
        keep = events > 0
        middle = (1 - survival + np.concatenate([[0.0], 1 - survival[:-1]])) / 2
        out.append(np.interp(P, middle[keep], times[keep], left=np.nan, right=np.nan))
    return np.array(out)


def best(work: Callable[[], object], times: int = 3) -> float:
    """Seconds of the fastest of several runs, which a busy machine disturbs least."""
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        taken.append(time.perf_counter() - started)
    return min(taken)


def main() -> None:
    frame = invented()
    whole = best(lambda: percentile_shift(frame, "electrode", reference="spherical", repetitions=RESAMPLES))
    sides = [
        (rows["kv"].to_numpy(), (rows["outcome"] == "withstood").to_numpy(), rows["filling"].astype(int).to_numpy())
        for _, rows in frame.groupby("electrode")
    ]
    vector = best(
        lambda: [list(bootstrap_percentiles(*side, P, RESAMPLES, np.random.default_rng(0))) for side in sides]
    )
    loop = 10 * best(lambda: [plain_loop(*side, RESAMPLES // 10, 0) for side in sides])
    print(f"percentile_shift, {RESAMPLES} resamples of {len(frame)} breakdowns: {whole:.2f} s with families and limits")
    print(f"resampling alone: {vector:.2f} s; plain loop {loop:.2f} s; ratio {loop / vector:.1f}")


if __name__ == "__main__":
    main()
