"""``gapshift fit``: distributions of the breakdown voltages of each group, with percentiles and their limits."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from dashboard.commands.common import (
    FILES,
    add_json,
    add_proof,
    add_reading_options,
    emit,
    executor_of,
    history_of,
    open_records,
    probability,
    told,
)
from dashboard.commands.progress import progress
from methods.errors import InputError
from methods.families import EVERY_FAMILY, FAMILIES

NAME = "fit"
HELP = "fit distributions to each group: parameters, low percentiles, limits"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    # Not required here: `--by electrode FILE` would be read as two columns; `_settle_file` sorts that out.
    parser.add_argument("file", metavar="FILE", nargs="*", help=FILES)
    add_reading_options(parser, file=False)
    parser.add_argument(
        "--by", metavar="COLUMN", nargs="+", action="extend", default=[],
        help="one group for each level of this column, or combination of levels of several",
    )  # fmt: skip
    parser.add_argument(
        "--family", metavar="NAME", nargs="+", action="extend", default=[],
        help=f"one of {', '.join(EVERY_FAMILY)} (default: {', '.join(FAMILIES)})",
    )  # fmt: skip
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the limits (default: 95%%)")
    parser.add_argument(
        "--percentile", metavar="P", type=probability, action="append", default=[],
        help="such as 1%%; may be repeated (default: 1%%, 10%%, 50%%)",
    )  # fmt: skip
    parser.add_argument(
        "--interval", choices=["pivot", "wald", "profile"], default="pivot",
        help="how the limits are made (default: pivot, which holds with few values and knows of fillings)",
    )  # fmt: skip
    parser.add_argument(
        "--history", metavar="FILE", action="append",
        help="earlier tests from which the scatter within and between fillings is borrowed"
    )  # fmt: skip
    add_proof(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    from methods.result import as_json
    from methods.scatter import fit_groups

    _settle_file(args)
    families = [f.strip() for item in args.family for f in item.split(",") if f.strip()]
    records = open_records(args)
    fits = fit_groups(
        records, args.by, families or FAMILIES, confidence=args.confidence,
        percentiles=args.percentile or (0.01, 0.1, 0.5), interval=args.interval, history=history_of(args),
    )  # fmt: skip
    if args.prove:
        _prove(args, records, fits)
    lines = told([fits])
    lines += [f"{r['family']}: {r['proof'].sentence}" for r in fits if r.get("proof") is not None]
    emit(args, {"fits": as_json(fits)}, "\n\n".join(lines))
    return 0


def _prove(args: argparse.Namespace, records: Any, fits: list[dict[str, Any]]) -> None:
    """Add to each fit how often its limits hold the truth at its own design; default limits only."""
    from methods.prove import prove_oil
    from methods.scatter import estimate_groups

    if args.interval != "pivot" or args.history:
        raise InputError("--prove counts the default limits: leave out --interval and --history.", column="prove")
    found = estimate_groups(records, args.by, [f["family"] for f in fits])
    by_key = {(repr(e.group), e.head["family"]): e.estimate for e in found}
    for at, row in enumerate(fits, 1):
        estimate = by_key.get((repr(row["group"]), row["family"]))
        if estimate is None or row["family"] == "weibull3":
            continue
        with executor_of(args) as executor, progress(f"Proof {at} of {len(fits)}") as tell:
            row["proof"] = prove_oil(
                estimate.kv, estimate.withstood, estimate.fillings, family=row["family"], confidence=args.confidence,
                percentiles=args.percentile or (0.01, 0.1, 0.5), repetitions=args.prove, rng=args.rng, progress=tell,
                executor=executor,
            )  # fmt: skip


def _settle_file(args: argparse.Namespace) -> None:
    """Find the file when it stands behind an option that takes several words."""
    if args.file:
        return
    lists = [words for words in (args.by, args.family) if words]
    for words in lists:
        for word in words:
            if Path(word).is_file():
                words.remove(word)
                args.file = [word]
                return
    tail = next((words for words in lists if len(words) > 1), None)
    if tail is None:
        raise InputError("Name the file to fit: gapshift fit FILE.", column="FILE")
    args.file = [tail.pop()]  # opening it says that it is not there
