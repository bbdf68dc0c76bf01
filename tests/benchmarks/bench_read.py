"""Reading a million rows beside a plain ``pandas.read_csv`` of the same file, in the same run.

    python -m tests.benchmarks.bench_read [ROWS]      # 0: the small sheets alone
    python -m tests.benchmarks.bench_read ROWS --workbook      # a workbook of so many rows alone

Prints, for a clean file and for one with a few soiled cells, the time of both and their ratio: medians of the
process's CPU time and of the wall time, the two readers taken in turn; and for a tenth of the rows as a workbook.
Then the small sheets of the tests, each
read three times after import, beside pandas taking the same bytes in: the slowest, and the ratio of all.
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

SHEETS = Path(__file__).parents[1] / "reference" / "sheets"


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


def _plain(path: Path) -> object:
    """The same bytes as pandas takes them in, without a question."""
    if path.suffix == ".xlsx":
        return pd.read_excel(path, sheet_name=None, header=None)
    return pd.read_csv(path, header=None, names=range(60), sep=None, engine="python", encoding_errors="replace")


def small() -> None:
    """Each small sheet beside pandas: median CPU and wall time, ms."""
    taken = []
    for path in sorted(SHEETS.iterdir()):
        if path.suffix not in (".csv", ".tsv", ".xlsx") or path.read_bytes()[:2] == b"\xff\xfe":
            continue
        plain, ours = interleaved(partial(_plain, path), partial(read, path), times=3)
        taken.append((ours[0], ours[1], plain[0], path.name))
    cpu, wall, _, name = max(taken)
    total, other = sum(t[0] for t in taken), sum(t[2] for t in taken)
    print(
        f"{len(taken)} small sheets: {1e3 * total / len(taken):.0f} ms CPU each, the slowest {name} with "
        f"{1e3 * cpu:.0f} ms CPU and {1e3 * wall:.0f} ms wall; ratio to pandas {total / other:.1f} CPU"
    )


def workbook(folder: Path, rows: int, times: int = 3) -> None:
    """A workbook of so many rows beside pandas with the same library under it."""
    write(folder / "book.csv", rows, False)
    path = folder / "book.xlsx"
    pd.read_csv(folder / "book.csv").to_excel(path, index=False)
    plain, ours = interleaved(partial(pd.read_excel, path, engine="calamine"), partial(read, path), times=times)
    print(
        f"{rows:,} rows, workbook: pandas.read_excel (calamine) {plain[0]:.2f} s CPU; read {ours[0]:.2f} s CPU; "
        f"{ours[1]:.2f} s wall; ratio {ours[0] / plain[0]:.2f} CPU, {ours[1] / plain[1]:.2f} wall; "
        f"load {os.getloadavg()[0]:.1f}"
    )


def main(rows: int = 1_000_000) -> None:
    small()
    if not rows:
        return
    with tempfile.TemporaryDirectory() as folder:
        workbook(Path(folder), rows // 10)
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
    if "--workbook" in sys.argv[2:]:
        with tempfile.TemporaryDirectory() as place:
            workbook(Path(place), int(sys.argv[1].replace("_", "")), 1)
    else:
        main(*(int(a.replace("_", "")) for a in sys.argv[1:2]))
