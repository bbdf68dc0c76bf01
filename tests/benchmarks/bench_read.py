"""Reading a million rows beside a plain ``pandas.read_csv`` of the same file, in the same run.

    python -m tests.benchmarks.bench_read [ROWS]

Prints, for a clean file and for one with a few soiled cells, the time of both and their ratio: medians of the
process's CPU time and of the wall time, the two readers taken in turn.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from statistics import median

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd

from methods.records import read


def write(path: Path, rows: int, soiled: bool) -> None:
    """An invented long file: ten oils, two electrodes, fillings of six."""
    rng = np.random.default_rng(1)
    at = np.arange(rows)
    kv = pd.Series(np.round(rng.normal(55, 8, rows).clip(5, 99), 1)).astype(str)
    if soiled:
        kv.iloc[::5000] = ">60"
        kv.iloc[7::9000] = "58.4 (bubble)"
        kv.iloc[11::20000] = "-1"
    frame = pd.DataFrame({
        "sample": "oil-" + pd.Series(at // 6 % 10).astype(str),
        "method": "IEC 60156",
        "electrode": np.where(at // 600 % 2, "mushroom", "spherical"),
        "filling": at // 6 % 100_000,
        "order": at % 6 + 1,
        "kv": kv,
        "temperature_c": np.round(rng.normal(22, 1, rows), 1),
        "tested_on": "2025-03-" + pd.Series(at // 6 % 28 + 1).astype(str).str.zfill(2),
    })  # fmt: skip
    frame.to_csv(path, index=False)


def interleaved(*calls: Callable[[], object], times: int = 7) -> list[tuple[float, float]]:
    """Median process CPU time and median wall time of each call, in seconds, taken in turn: A B A B ..."""
    taken: list[list[tuple[float, float]]] = [[] for _ in calls]
    for call in calls:
        call()  # warm
    for _ in range(times):
        for at, call in enumerate(calls):
            cpu, wall = time.process_time(), time.perf_counter()
            call()
            taken[at].append((time.process_time() - cpu, time.perf_counter() - wall))
    return [(median(c for c, _ in one), median(w for _, w in one)) for one in taken]


def main(rows: int = 1_000_000) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for soiled in (False, True):
            path = Path(folder) / "rounds.csv"
            write(path, rows, soiled)
            plain, ours = interleaved(partial(pd.read_csv, path), partial(read, path))
            records = read(path)
            start = time.process_time()
            counts = records.fillings, records.conditions
            counted = time.process_time() - start
            print(
                f"{rows:,} rows, {'soiled' if soiled else 'clean'}: pandas.read_csv {plain[0]:.2f} s CPU, "
                f"{plain[1]:.2f} s wall; read {ours[0]:.2f} s CPU, {ours[1]:.2f} s wall; "
                f"ratio {ours[0] / plain[0]:.2f} CPU, {ours[1] / plain[1]:.2f} wall; "
                f"{counts[0]:,} fillings and {counts[1]} conditions counted in {counted:.2f} s CPU"
            )


if __name__ == "__main__":
    main(*(int(a.replace("_", "")) for a in sys.argv[1:2]))
