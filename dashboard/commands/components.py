"""``gapshift components``: how much of the scatter lies between laboratories, samples, fillings and breakdowns."""

from __future__ import annotations

import argparse

from dashboard.commands.common import add_json, add_reading_options, emit, grouped, open_records, probability

NAME = "components"
HELP = "divide the scatter among laboratory, sample, filling and breakdown"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--by", metavar="COLUMN", action="append", default=[], help="one more analysis for each level")
    parser.add_argument(
        "--fixed", metavar="COLUMN", action="append",
        help="hold this column fixed (default: method, electrode, gap ... where they differ); may be repeated",
    )  # fmt: skip
    parser.add_argument("--common-mean", action="store_true", help="hold nothing fixed: one mean for all")
    parser.add_argument("--factor", metavar="COLUMN", action="append", help="random factors from the outside in")
    parser.add_argument("--residual-by", metavar="COLUMN", action="append", default=[],
                        help="let the scatter within fillings differ between the levels of this column")  # fmt: skip
    parser.add_argument("--confidence", type=probability, default=0.95, help="such as 95%% or 0.95 (default)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the components of the whole file and, with ``--by``, of each group."""
    from methods.scatter import components

    result = components(
        open_records(args), by=args.by, fixed=() if args.common_mean else args.fixed, confidence=args.confidence,
        factors=args.factor, residual_by=args.residual_by,
    )  # fmt: skip
    emit(args, result, grouped(result))
    return 0
