"""The long run of the property tests, in pieces that a stop does not lose.

Run ``python -m tests.hostile.long_run [--files 100000] [--piece 250] [--kept FILE] [--out RESULTS.md]``. Each piece
tries so many files of each of the seven kinds, with a seed of its own; begun again, it goes on after the last piece.
What failed stands in the file of pieces, with the words of the test.
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import platform
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
KINDS = 7


def piece(seed: int, files: int) -> dict[str, object]:
    """Try ``files`` of each kind; how long it took, and what was said where a test failed."""
    begun = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-n", "0", "--no-header", "--tb=short", f"--hypothesis-seed={seed}",
         "-k", "not nothing and not long_run", "tests/hostile/test_properties.py"],
        cwd=ROOT, env={**os.environ, "GAPSHIFT_EXAMPLES": str(files), "PYTHONPATH": str(ROOT)}, capture_output=True,
        text=True,
    )  # fmt: skip
    said = "" if done.returncode == 0 else (done.stdout + done.stderr)[-6000:]
    return {"seed": seed, "files": files * KINDS, "failed": done.returncode != 0, "said": said,
            "seconds": round(time.monotonic() - begun, 1)}  # fmt: skip


def written(kept: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in kept.read_text().splitlines()] if kept.exists() else []


def table(pieces: list[dict[str, object]], wanted: int) -> str:
    tried = sum(int(str(p["files"])) for p in pieces)
    failed = [p for p in pieces if p["failed"]]
    hours = sum(float(str(p["seconds"])) for p in pieces) / 3600
    return "\n".join([
        "# Files of all kinds that nobody would write",
        "",
        "Made by `python -m tests.hostile.long_run`: bytes, bytes that say that they are something, text, tables in",
        "memory and Parquet, workbooks by hand, sound workbooks with a damaged place (`test_properties.py`).",
        "Each must end in records whose numbers add up, or in one `InputError`.",
        "",
        "| | |", "| --- | --- |",
        f"| files tried | {tried:,} of {wanted:,} |",
        f"| pieces that failed | {len(failed)} of {len(pieces)}"
        + (f" (seeds {', '.join(str(p['seed']) for p in failed)})" if failed else "") + " |",
        f"| hours on the clock | {hours:.2f} |",
        f"| Python | {platform.python_version()} |",
        f"| last piece | {datetime.date.today().isoformat()} |",
        "",
    ])  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--files", type=int, default=100_000)
    parser.add_argument("--piece", type=int, default=250)
    parser.add_argument("--kept", type=Path, default=ROOT / "build" / "hostile_pieces.jsonl")
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    args.kept.parent.mkdir(parents=True, exist_ok=True)
    pieces = written(args.kept)
    while sum(int(str(p["files"])) for p in pieces) < args.files:
        pieces.append(piece(1000 + len(pieces), args.piece))
        with args.kept.open("a") as file:
            file.write(json.dumps(pieces[-1]) + "\n")
        print(f"{sum(int(str(p['files'])) for p in pieces):,} files, {sum(bool(p['failed']) for p in pieces)} failed",
              flush=True)  # fmt: skip
        if args.out:
            args.out.write_text(table(pieces, args.files), encoding="utf-8")


if __name__ == "__main__":
    main()
