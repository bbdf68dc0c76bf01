"""``gapshift order``: trend, first breakdown and correlation within fillings."""

from __future__ import annotations

import argparse

from dashboard.commands.common import add_json, add_reading_options, emit, grouped, open_records, probability

NAME = "order"
HELP = "see whether the place in the series matters: trend, first breakdown, correlation of neighbours"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--by", metavar="COLUMN", action="append", default=[], help="one more analysis for each level")
    parser.add_argument("--confidence", type=probability, default=0.95, help="such as 95%% or 0.95 (default)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the order effects of the whole file and, with ``--by``, of each group."""
    from methods.scatter import order_effects

    result = order_effects(open_records(args), by=args.by, confidence=args.confidence)
    emit(args, result, grouped(result))
    return 0
