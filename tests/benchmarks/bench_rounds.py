"""How long and how much memory the summary of many rounds takes: ``python tests/benchmarks/bench_rounds.py 10000000``.

Writes an invented partitioned Parquet data set of that many breakdowns to a temporary folder, then prints
rows, megabytes on disk, seconds and peak memory of the summary and of the precision experiment.
"""

from __future__ import annotations

import argparse
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
    start = time.perf_counter()
    quick = summarise_rounds(rounds, by=["method", "laboratory"], fillings=False)
    print(f"summary without fillings: {time.perf_counter() - start:.1f} s, {quick.rows} rows, peak {peak():.0f} MB")
    start = time.perf_counter()
    precision_of_cells(round_cells(rounds, level=["sample", "method"]))
    print(f"precision from cells:     {time.perf_counter() - start:.1f} s, peak {peak():.0f} MB")
    start = time.perf_counter()
    full = summarise_rounds(rounds, by=["method", "laboratory"])
    fillings = int(full.groups["fillings"].sum())
    print(f"summary with fillings:    {time.perf_counter() - start:.1f} s, {fillings} fillings, peak {peak():.0f} MB")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", type=int, nargs="?", default=2_000_000)
    parser.add_argument("--memory", default="1GB", help="ceiling of the database's working memory")
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.measure:
        measure(args.measure, args.memory)
        return
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "rounds"
        start = time.perf_counter()
        write(place, args.rows)
        size = sum(p.stat().st_size for p in place.rglob("*.parquet")) / 1e6
        print(f"{args.rows} rows, {size:.0f} MB on disk, written in {time.perf_counter() - start:.1f} s", flush=True)
        command = [sys.executable, __file__, str(args.rows), "--memory", args.memory, "--measure", str(place)]
        subprocess.run(command, check=True)


if __name__ == "__main__":
    main()
