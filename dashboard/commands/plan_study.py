"""``gapshift plan study`` and ``plan round``: a comparison as a run sheet, with the precision that it promises."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_reading_options, amount, emit, percentage, probability, told, whole
from methods.errors import InputError


def add_study(parser: argparse.ArgumentParser) -> None:
    _shared(parser)
    parser.add_argument("file", metavar="FILE", nargs="*", help="earlier tests: procedures and their scatter")
    add_reading_options(parser, file=False)
    parser.add_argument(
        "--procedure", metavar="TEXT", action="append", default=[],
        help='one of the file\'s, or a method such as "IEC 60156, spherical, stirred"; may be repeated',
    )  # fmt: skip
    parser.add_argument("--half-width", type=percentage, metavar="8%", help="wanted for every shift")
    parser.add_argument("--cov", type=percentage, metavar="15%", help="scatter within a filling (default: the file's)")
    parser.add_argument("--between-cov", type=percentage, metavar="5%", help="scatter between fillings")
    parser.add_argument("--assurance", type=probability, default=0.8, help="with which the width is kept (80%%)")
    parser.add_argument("--fillings", type=whole, metavar="K", help="of each oil by each procedure")
    parser.add_argument("--bench-hours", type=amount, metavar="H", help="at hand in all")
    parser.add_argument("--missing", action="store_true", help="instead: the tests that take confounded factors apart")
    parser.add_argument("--fully-random", action="store_true", help="each filling of a block in random order")


def add_round(parser: argparse.ArgumentParser) -> None:
    _shared(parser)
    parser.add_argument("--laboratories", type=whole, metavar="P", help="how many take part")
    parser.add_argument("--laboratory", metavar="NAME", action="append", default=[], help="or their names; repeat")
    parser.add_argument("--procedure", metavar="TEXT", required=True, help="the one that all use")
    parser.add_argument("--results", type=whole, default=2, metavar="N", help="of each laboratory on each oil (2)")
    parser.add_argument("--gamma", type=amount, default=2.0, help="expected s_R / s_r (default: 2)")


def _shared(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--oil", metavar="NAME", action="append", default=[], help="an oil to test; may be repeated")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the limits (95%%)")
    parser.add_argument("--hours-a-day", type=amount, default=7.0, metavar="H", help="bench hours of a day (7)")
    parser.add_argument("--seed", type=int, default=0, help="of the order (default: 0)")
    parser.add_argument("--out", metavar="SHEET", help="write the run sheet: .xlsx or .csv")


def run_study(args: argparse.Namespace) -> int:
    from dashboard.commands.common import open_records
    from methods.studies import plan_missing, plan_study

    records = open_records(args) if args.file else None
    if args.missing:
        if records is None:
            raise InputError("What is missing follows from records: name their file.")
        lacking = plan_missing(records, fillings=args.fillings or 2, hours_a_day=args.hours_a_day, rng=args.seed)
        return _finish(args, lacking)
    oils = args.oil
    if not oils and records is not None:
        oils = list(records.table["sample"].dropna().unique())
    plan = plan_study(
        oils, args.procedure, data=records, half_width=args.half_width, cov=args.cov, between_cov=args.between_cov,
        confidence=args.confidence, assurance=args.assurance, fillings=args.fillings, bench_hours=args.bench_hours,
        hours_a_day=args.hours_a_day, fully_random=args.fully_random, rng=args.seed,
    )  # fmt: skip
    return _finish(args, plan)


def run_round(args: argparse.Namespace) -> int:
    from methods.studies import plan_round

    if bool(args.laboratory) == (args.laboratories is not None):
        raise InputError("Say the laboratories once: --laboratories 8, or --laboratory NAME for each.")
    plan = plan_round(
        args.laboratory or args.laboratories, args.oil, args.procedure, results=args.results, gamma=args.gamma,
        confidence=args.confidence, hours_a_day=args.hours_a_day, rng=args.seed,
    )  # fmt: skip
    return _finish(args, plan)


def _finish(args: argparse.Namespace, plan: Any) -> int:
    from methods.result import as_json
    from methods.studies import write_sheet

    document, lines = {**as_json(plan), "out": None}, told([plan])
    if args.out:
        write_sheet(plan.sheet, args.out, [plan.sentence, f"Order drawn with seed {plan.seed}."])
        document["out"] = args.out
        lines.append(f"Wrote {args.out}: {len(plan.sheet)} breakdowns to fill in. gapshift reads it back as it is.")
    emit(args, document, "\n".join(lines))
    return 0
