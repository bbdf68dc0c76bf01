"""``gapshift rounds``: many rounds on disk, summarised without holding them in memory."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard import words
from dashboard.commands.common import (
    add_json,
    add_reading_options,
    add_workers,
    columns,
    emit,
    executor_of,
    probability,
    reading_arguments,
    told,
    whole,
)
from dashboard.commands.progress import progress

NAME = "rounds"
HELP = "summarise files, folders or a partitioned Parquet data set of rounds, also larger than memory"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file", metavar="PATH", nargs="+",
        help="files that 'gapshift check' reads, or folders of them; record tables in order are left on disk",
    )  # fmt: skip
    parser.add_argument("--by", metavar="COLUMN", action="append", help="what makes a group; may be repeated")
    parser.add_argument(
        "--level", metavar="COLUMN", action="append",
        help="also the precision experiment, with these columns as level; may be repeated",
    )  # fmt: skip
    parser.add_argument("--laboratory", metavar="COLUMN", default="laboratory", help="the laboratory's column")
    parser.add_argument(
        "--result",
        choices=["result", "filling", "breakdown"],
        default="result",
        help="what counts as one (default: the mean of a filling, where the file names fillings)",
    )
    parser.add_argument("--no-fillings", action="store_true", help="do not count fillings (faster)")
    parser.add_argument("--memory", default="1GB", help="ceiling of the database's working memory (1GB)")
    parser.add_argument("--bins", type=whole, default=64, help="bars of the histogram (64)")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the precision's limits (95%%)")
    add_workers(parser, "have the files summed, each by itself,")
    add_reading_options(parser, file=False)
    add_json(parser)


def text(found: Any, precision: Any) -> str:
    where = words.plural(found.files, "file")
    lines = [f"{found.rows_read} readings in {where}: {found.rows} kept, {found.refused} refused"]
    if len(found.read_first):
        count = words.plural(len(found.read_first), "file")
        lines.append(f"Read first, being no record table in order: {count}; 'gapshift check' says how")
    lines += ["", columns(found.groups.to_numpy().tolist(), list(found.groups.columns))]
    lines += [f"Caution: {w.text}" for w in found.cautions]
    if precision is not None:
        lines += ["", *told([precision])]
    return "\n".join(lines)


def run(args: argparse.Namespace) -> int:
    from methods.cage import read_in_cage
    from methods.interlab import precision_of_cells
    from methods.records.rounds import open_rounds, round_cells, summarise_rounds
    from methods.result import as_json

    with progress("reading") as line:
        rounds = open_rounds(
            args.file, memory=args.memory, reader=read_in_cage, progress=line, **reading_arguments(args)
        )
    precision = None
    with executor_of(args) as executor:
        found = summarise_rounds(
            rounds, by=args.by, bins=args.bins, fillings=not args.no_fillings, executor=executor
        )  # fmt: skip
        if args.level:
            cells = round_cells(
                rounds, level=args.level, laboratory=args.laboratory, result=args.result, executor=executor
            )  # fmt: skip
    if args.level:
        precision = precision_of_cells(
            cells, laboratory=args.laboratory, level_columns=args.level, result=args.result, confidence=args.confidence
        )
    emit(args, {**as_json(found), "precision": precision}, text(found, precision))
    return 0
