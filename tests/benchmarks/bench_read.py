"""Reading a million rows beside a plain ``pandas.read_csv`` of the same file, in the same run.

    python -m tests.benchmarks.bench_read [ROWS]

Prints, for a clean file and for one with a few soiled cells, the time of both and their ratio.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

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


def fastest(call: Callable[[], object], times: int = 3) -> float:
    """The least of a few wall times, in seconds."""
    out = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        out.append(time.perf_counter() - start)
    return min(out)


def main(rows: int = 1_000_000) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for soiled in (False, True):
            path = Path(folder) / "rounds.csv"
            write(path, rows, soiled)
            plain = fastest(lambda: pd.read_csv(path))  # noqa: B023
            ours = fastest(lambda: read(path))  # noqa: B023
            records = read(path)
            start = time.perf_counter()
            counts = records.fillings, records.conditions
            counted = time.perf_counter() - start
            print(
                f"{rows:,} rows, {'soiled' if soiled else 'clean'}: pandas.read_csv {plain:.2f} s, read {ours:.2f} s, "
                f"ratio {ours / plain:.2f}; {counts[0]:,} fillings and {counts[1]} conditions counted in {counted:.2f} s"  # noqa: E501
            )


if __name__ == "__main__":
    main(*(int(a.replace("_", "")) for a in sys.argv[1:2]))
