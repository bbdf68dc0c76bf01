"""How components and shifts grow from 10,000 to 1,000,000 breakdowns, beside a plain grouping by pandas.

Run: ``python -m tests.benchmarks.bench_growth``. Prints seconds by the clock and of the processor, the best of three,
and the ratio of the latter to the grouping. On a machine that others use too, the processor's time is the one to read.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from methods import shift
from methods.records.table import as_table
from methods.result import as_json
from methods.scatter import components

SIZES = (10_000, 100_000, 1_000_000)


class Table:
    """What the functions of ``methods`` take without checking it again."""

    def __init__(self, table: pd.DataFrame) -> None:
        self.table = table


def invented(rows: int, seed: int = 1) -> Table:
    """Invented: fifty oils, two electrodes, fillings of five; 2 kV between oils, 1.5 between fillings, 4 within."""
    rng, fillings = np.random.default_rng(seed), rows // 5
    oil, electrode = rng.integers(0, 50, fillings), rng.integers(0, 2, fillings)
    level = 55 + 2 * rng.normal(size=50)[oil] + 3 * electrode + 1.5 * rng.normal(size=fillings)
    kv = np.maximum(level[:, None] + 4 * rng.normal(size=(fillings, 5)), 1).ravel()
    at = np.repeat(np.arange(fillings), 5)
    return Table(as_table(pd.DataFrame({
        "sample": np.array([f"O{i}" for i in range(50)])[oil][at], "filling": at.astype(str),
        "electrode": np.array(["disk", "mushroom"])[electrode][at], "kv": kv.round(1),
    })))  # fmt: skip


def best(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds by the clock and of the processor."""
    clock, processor = [], []
    for _ in range(3):
        began, busy = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - began)
        processor.append(time.process_time() - busy)
    return min(clock), min(processor)


def main() -> None:
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for rows in SIZES:
        data = invented(rows)
        keys = ["sample", "electrode", "filling"]
        plain = best(lambda t=data.table, k=keys: t.groupby(k)["kv"].agg(["mean", "var", "size"]))
        print(f"{rows:>9,} breakdowns: grouping by pandas {plain[0]:.3f} s, processor {plain[1]:.3f} s")
        for name, work in (
            ("components", lambda d=data: components(d)),
            ("shift, filling means", lambda d=data: shift(d, "electrode")),
            ("shift, mixed model", lambda d=data: shift(d, "electrode", model="mixed")),
        ):
            clock, processor = best(work)
            print(f"{'':>10}{name:<22}{clock:8.3f} s, processor {processor:7.3f} s  {processor / plain[1]:6.1f} times")
    found = as_json(components(data))
    print("found:", {c["factor"]: round(c["sd"], 3) for c in found["components"]}, "(invented: 2, 1.5, 4)")


if __name__ == "__main__":
    main()
