"""What a user would pick instead, in one table: how long, and whether it finds the same.

Run ``python -m tests.benchmarks.bench_peers [--out tests/benchmarks/PEERS.md]``. The libraries of ``peers.txt`` are
installed once into ``build/peers``, an environment of their own, and run there in the same minute on the same invented
data. Seconds are those of the processor, the best of several calls; what gapshift gives besides (limits, cautions)
counts into its time.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from tests.benchmarks.peers import Case, timed

ROOT = Path(__file__).resolve().parents[2]
#: Case -> what it is, and what its values are.
CASES = {
    "weibull": ("Weibull law of 60 breakdowns, a fifth withstood", "scale, shape"),
    "weibull, 10,000 at once": ("the same among 10,000 that are fitted together, a fit", "scale, shape"),
    "lognormal": ("lognormal law of the same", "mean and SD of logarithms"),
    "kaplan_meier": ("Kaplan-Meier curve of 3,000", "shares that withstand 45, 50, 55 kV"),
    "mixed": ("fillings within one oil, 200 of 5", "mean, SD between and within"),
    "table": ("reading 200,000 rows of a clean CSV", "rows, sum of kV"),
}


def problem(place: Path) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(7)
    kv, many = 50 * rng.weibull(8, 60), 50 * rng.weibull(8, 3_000)
    filling = np.repeat(np.arange(200), 5)
    out = {
        "kv": np.minimum(kv, 53.0), "stood": kv > 53.0, "many": np.minimum(many.round(1), 56.0),
        "many_stood": many.round(1) > 56.0, "filling": filling,
        "mixed": 55 + 2 * rng.normal(size=200)[filling] + 3 * rng.normal(size=1_000),
    }  # fmt: skip
    np.savez(place / "problem.npz", **out)
    rows = 200_000
    pd.DataFrame({
        "electrode": np.array(["disk", "sphere"])[rng.integers(0, 2, rows)], "filling": np.arange(rows) // 6,
        "order": np.arange(rows) % 6 + 1, "kv": (50 * rng.weibull(8, rows)).round(1) + 1,
    }).to_csv(place / "table.csv", index=False)  # fmt: skip
    return out


def ours(p: dict[str, np.ndarray], path: Path) -> dict[str, Case]:
    import methods

    frame = pd.DataFrame({"filling": p["filling"].astype(str), "kv": p["mixed"]})
    others = 50 * np.random.default_rng(8).weibull(8, (9_999, 60))
    batch = np.vstack([p["kv"], np.minimum(others, 53.0)]), np.vstack([p["stood"], others > 53.0])

    def weibull() -> list[float]:
        found = methods.fit(p["kv"], p["stood"], "weibull").parameters
        return [found["scale"], found["shape"]]

    def together() -> list[float]:
        found = methods.fit_many(*batch, family="weibull")
        return [float(found["scale"].iloc[0]), float(found["shape"].iloc[0])]

    def lognormal() -> list[float]:
        return list(methods.fit(p["kv"], p["stood"], "lognormal").parameters.values())

    def kaplan_meier() -> list[float]:
        found = methods.kaplan_meier(p["many"], p["many_stood"])
        at = np.searchsorted(found["kv"].to_numpy(), [45.05, 50.05, 55.05], side="right") - 1
        return [float(v) for v in found["survival"].to_numpy()[at]]

    def mixed() -> list[float]:
        found = methods.components(frame)
        return [found.mean_kv, *(c.sd for c in found.components)]

    def table() -> list[float]:
        held = methods.read(path).table
        return [float(len(held)), float(held["kv"].sum())]

    return {"weibull": weibull, "weibull, 10,000 at once": together, "lognormal": lognormal,
            "kaplan_meier": kaplan_meier, "mixed": mixed, "table": table}  # fmt: skip


def environment() -> Path:
    """The interpreter of the peers; installed at the first run."""
    home = ROOT / "build" / "peers"
    python = home / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    if not python.exists():
        print("installing the libraries of peers.txt into build/peers ...", file=sys.stderr)
        subprocess.run([sys.executable, "-m", "venv", str(home)], check=True)
        wanted = ["-r", str(Path(__file__).with_name("peers.txt"))]
        subprocess.run([str(python), "-m", "pip", "install", "-q", *wanted], check=True)
    return python


def apart(one: list[float], other: list[float]) -> float:
    """The largest relative difference of two lists of values."""
    return max(abs(a - b) / max(abs(b), 1e-12) for a, b in zip(one, other, strict=True))


def rows_of(mine: dict[str, Any], theirs: dict[str, Any]) -> list[list[str]]:
    out = []
    for name, (what, values) in CASES.items():
        own, found = mine[name]
        each = own / 10_000 if "at once" in name else own
        for who, (took, other) in theirs[name.partition(",")[0]].items():
            out.append([what, f"{1e3 * each:,.3g} ms", who, f"{1e3 * took:,.3g} ms", f"{took / each:,.3g}",
                        f"{values}: {apart(found, other):.0e}"])  # fmt: skip
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    python = environment()
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        p = problem(place)
        done = subprocess.run([str(python), str(Path(__file__).with_name("peers.py")), folder], check=True,
                              stdout=subprocess.PIPE, text=True)  # fmt: skip
        theirs = json.loads(done.stdout.strip().splitlines()[-1])
        mine = {name: timed(work) for name, work in ours(p, place / "table.csv").items()}
    versions = ", ".join(line for line in Path(__file__).with_name("peers.txt").read_text().split() if "==" in line)
    text = "\n".join([
        "# Beside what a user would pick instead", "",
        "Made by `python -m tests.benchmarks.bench_peers --out tests/benchmarks/PEERS.md`: processor time of a call,",
        "the best of several, all in one run on the same invented data; *times* is how much longer the other takes.",
        "The last column is the largest relative difference of results.",
        f"Beside: {versions}.", "",
        "| what | gapshift | beside | takes | times | results differ by |", "| --- | --- | --- | --- | --- | --- |",
        *(f"| {' | '.join(row)} |" for row in rows_of(mine, theirs)), "",
        "Gapshift's fit brings limits of each parameter and percentile, its components limits of each SD, its reading",
        "an account of every cell; the others give estimates, and pandas takes the file at its word.", "",
    ])  # fmt: skip
    if args.out:
        args.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
