"""``gapshift rounds``: many rounds on disk, summarised without loading them."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_json, columns, emit, probability, told
from methods.errors import InputError

NAME = "rounds"
HELP = "summarise a folder or partitioned Parquet data set of rounds without loading it"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("path", metavar="PATH", help="a Parquet or CSV file, or a folder of them")
    parser.add_argument("--by", metavar="COLUMN", action="append", help="what makes a group; may be repeated")
    parser.add_argument(
        "--column", metavar="NAME=HEADING", action="append", default=[],
        help="what a column is called in the files, such as kv=V; may be repeated",
    )  # fmt: skip
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
    parser.add_argument("--bins", type=int, default=64, help="bars of the histogram (64)")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the precision's limits (95%%)")
    add_json(parser)


def _mapping(items: list[str]) -> dict[str, str]:
    out = {}
    for item in items:
        name, sign, heading = item.partition("=")
        if not sign or not name.strip() or not heading.strip():
            raise InputError(f"--column {item!r}: write it as NAME=HEADING, such as kv=V.")
        out[name.strip()] = heading.strip()
    return out


def text(found: Any, precision: Any) -> str:
    head = f"{found.rows_read} rows in {found.files} files: {found.rows} kept, {found.refused} refused"
    lines = [head, "", columns(found.groups.to_numpy().tolist(), list(found.groups.columns))]
    lines += [f"Caution: {w.text}" for w in found.cautions]
    if precision is not None:
        lines += ["", *told([precision])]
    return "\n".join(lines)


def run(args: argparse.Namespace) -> int:
    from methods.interlab import precision_of_cells
    from methods.records.rounds import open_rounds, round_cells, summarise_rounds
    from methods.result import as_json

    rounds = open_rounds(args.path, columns=_mapping(args.column), memory=args.memory)
    found = summarise_rounds(rounds, by=args.by, bins=args.bins, fillings=not args.no_fillings)
    precision = None
    if args.level:
        cells = round_cells(rounds, level=args.level, laboratory=args.laboratory, result=args.result)
        precision = precision_of_cells(
            cells, laboratory=args.laboratory, level_columns=args.level, result=args.result, confidence=args.confidence
        )
    emit(args, {**as_json(found), "precision": precision}, text(found, precision))
    return 0
