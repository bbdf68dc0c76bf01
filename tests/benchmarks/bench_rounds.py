"""How long and how much memory the summary of many rounds takes, and how that grows.

Run ``python -m tests.benchmarks.bench_rounds [1000000 10000000 100000000] [--figure dashboard/docs/tasks/growth.svg]``.
Writes an invented partitioned Parquet data set of that many breakdowns to a temporary folder, then prints rows,
megabytes on disk, seconds by the clock and of the processor, and peak memory, of the summary and of the precision
experiment; with several sizes the figure shows them on logarithmic axes.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def write(place: Path, rows: int, part: int = 2_000_000) -> None:
    """Invented rounds: 40 laboratories, 6 oils, 3 methods, fillings of 6; a file of at most ``part`` rows at a time."""
    import numpy as np
    import pyarrow as pa
    import pyarrow.parquet as pq

    rng = np.random.default_rng(1)
    done = 0
    while done < rows:
        n = min(part, rows - done)
        number = np.arange(done, done + n)
        filling, lab = number // 6, (number // 6) % 40
        oil, method = (number // 240) % 6, (number // 1440) % 3
        level = 30 + 8 * oil + 5 * method
        kv = np.round(level * rng.weibull(9, n), 1).clip(0.1)
        for m in range(3):
            at = method == m
            if not at.any():
                continue
            table = pa.table(
                {
                    "sample": pa.array(oil[at].astype("U1")).dictionary_encode(),
                    "laboratory": pa.array(lab[at].astype("U2")).dictionary_encode(),
                    "gap_mm": np.where(m == 2, 2.0, 2.5).repeat(int(at.sum())),
                    "filling": filling[at],
                    "order": (number[at] % 6 + 1).astype("int8"),
                    "kv": kv[at],
                }
            )
            folder = place / f"method=M{m}"
            folder.mkdir(parents=True, exist_ok=True)
            pq.write_table(table, folder / f"part{done}.parquet")
        done += n


def measure(place: Path, memory: str) -> None:
    """The work itself, in a process of its own so that the peak is its own."""
    sys.path.insert(0, str(ROOT))
    from methods.interlab import precision_of_cells
    from methods.records.rounds import open_rounds, round_cells, summarise_rounds

    def peak() -> float:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

    rounds = open_rounds(place, memory=memory)
    works = {
        "summary without fillings": lambda: summarise_rounds(rounds, by=["method", "laboratory"], fillings=False),
        "precision from cells": lambda: precision_of_cells(round_cells(rounds, level=["sample", "method"])),
        "summary with fillings": lambda: summarise_rounds(rounds, by=["method", "laboratory"]),
    }
    found = {}
    for name, work in works.items():
        clock, busy = time.perf_counter(), time.process_time()
        work()
        found[name] = [time.perf_counter() - clock, time.process_time() - busy, peak()]
    print(json.dumps(found))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", type=int, nargs="*", default=[2_000_000])
    parser.add_argument("--figure", type=Path, help="where to put the figure (SVG)")
    parser.add_argument("--memory", default="1GB", help="ceiling of the database's working memory")
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.measure:
        measure(args.measure, args.memory)
        return
    sizes: dict[int, dict[str, list[float]]] = {}
    for rows in args.rows:
        with tempfile.TemporaryDirectory() as folder:
            place = Path(folder) / "rounds"
            write(place, rows)
            size = sum(p.stat().st_size for p in place.rglob("*.parquet")) / 1e6
            print(f"{rows:,} rows, {size:.0f} MB on disk; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores",
                  flush=True)  # fmt: skip
            command = [sys.executable, __file__, "--memory", args.memory, "--measure", str(place)]
            done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
            sizes[rows] = json.loads(done.stdout)
        for name, (clock, busy, peak) in sizes[rows].items():
            print(f"  {name:26}{clock:8.1f} s, processor {busy:8.1f} s, peak {peak:6.0f} MB", flush=True)
    if args.figure:
        draw(sizes, args.figure)


def draw(sizes: dict[int, dict[str, list[float]]], path: Path) -> None:
    """Processor time and peak memory against breakdowns."""
    import matplotlib

    matplotlib.use("svg")
    matplotlib.rcParams.update({"svg.hashsalt": "growth", "font.size": 9})
    from matplotlib import pyplot

    figure, (left, right) = pyplot.subplots(1, 2, figsize=(7.6, 3.2), layout="constrained")
    rows = sorted(sizes)
    for name, mark in zip(sizes[rows[0]], "os^", strict=True):
        left.loglog(rows, [sizes[r][name][1] for r in rows], marker=mark, label=name)
        right.loglog(rows, [sizes[r][name][2] for r in rows], marker=mark, label=name)
    left.loglog(rows, [sizes[rows[0]]["summary with fillings"][1] * r / rows[0] for r in rows], "k:", lw=0.8,
                label="in proportion")  # fmt: skip
    left.set(xlabel="breakdowns", ylabel="processor time (s)")
    right.set(xlabel="breakdowns", ylabel="peak memory (MB)", ylim=(100, 10_000))
    left.legend(frameon=False)
    for axes in (left, right):
        axes.grid(True, which="major", alpha=0.3)
    figure.savefig(path, metadata={"Date": None})


if __name__ == "__main__":
    main()
