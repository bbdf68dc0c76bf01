"""How components and shifts grow from 10,000 to 1,000,000 breakdowns, beside a plain grouping by pandas.

Run: ``python -m tests.benchmarks.bench_growth``. Prints seconds, the best of two, and the ratio to the grouping.
"""

from __future__ import annotations

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


def best(work: Callable[[], object]) -> float:
    times = []
    for _ in range(2):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return min(times)


def main() -> None:
    for rows in SIZES:
        data = invented(rows)
        keys = ["sample", "electrode", "filling"]
        plain = best(lambda t=data.table, k=keys: t.groupby(k)["kv"].agg(["mean", "var", "size"]))
        print(f"{rows:>9,} breakdowns: grouping by pandas {plain:.3f} s")
        for name, work in (
            ("components", lambda d=data: components(d)),
            ("shift, filling means", lambda d=data: shift(d, "electrode")),
            ("shift, mixed model", lambda d=data: shift(d, "electrode", model="mixed")),
        ):
            took = best(work)
            print(f"{'':>10}{name:<22}{took:8.2f} s  {took / plain:6.1f} times")
    found = as_json(components(data))
    print("found:", {c["factor"]: round(c["sd"], 3) for c in found["components"]}, "(invented: 2, 1.5, 4)")


if __name__ == "__main__":
    main()
