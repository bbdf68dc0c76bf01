"""``gapshift check-oil``: the same oil tested again and again: limits, run rules, the electrode log."""

from __future__ import annotations

import argparse

from dashboard.commands.common import add_json, add_reading_options, emit, open_records, told, whole

NAME = "check-oil"
HELP = "chart the same oil tested again and again: does the test set still read as it did?"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument(
        "--chart", choices=["individuals", "mean_and_sd"], default="individuals",
        help="limits from the moving range of results (default), or from the SD within fillings",
    )  # fmt: skip
    parser.add_argument("--baseline", type=whole, metavar="N", help="make the limits of the first N results (all)")
    parser.add_argument("--rule", metavar="KEY", action="append", default=[], help="run rules to ask (1, 2, 5, 6)")
    parser.add_argument(
        "--mark", metavar="'YYYY-MM-DD TEXT'", action="append", default=[],
        help="an entry of the electrode log, besides those of the archive; may be repeated",
    )  # fmt: skip
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Exit 0 where no rule is broken, 1 where one is."""
    import pandas as pd

    from methods.control import check_oil
    from methods.control.check_oil import RULES
    from methods.records.only import day

    records = open_records(args)
    said = [m.strip().partition(" ") for m in args.mark]
    own = pd.DataFrame([{"marked_on": day(d), "what": what.strip() or "marked"} for d, _, what in said])
    marks = pd.concat([records.marks, own], ignore_index=True) if len(own) else None
    found = check_oil(
        records, chart=args.chart, baseline=args.baseline, rules=args.rule or RULES, marks=marks
    )  # fmt: skip
    emit(args, found, "\n\n".join(told([found])))
    return 1 if (found.points["broken"] != "").any() else 0
