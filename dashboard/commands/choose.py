"""``gapshift choose``: whole procedures beside each other on the same oils, and how surely one is the best."""

from __future__ import annotations

import argparse

from dashboard.commands.common import (
    add_json,
    add_reading_options,
    add_reported,
    emit,
    open_records,
    percentage,
    probability,
    told,
)
from dashboard.commands.progress import progress
from methods.errors import InputError

NAME = "choose"
HELP = "compare whole procedures on the same oils, and say which to choose and how sure that is"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument(
        "--half-width", type=percentage, default=0.10, help="wanted half-width of an oil's mean (default: 10%%)"
    )
    parser.add_argument("--confidence", type=probability, default=0.95, help="of every interval (95%%)")
    parser.add_argument(
        "--weight", metavar="CRITERION=WEIGHT", action="append", default=[],
        help="how much precision, time, oil, discrimination or history weighs, such as oil=1; may be repeated",
    )  # fmt: skip
    parser.add_argument("--history", metavar="PROCEDURE", help="the procedure that past results were taken by")
    parser.add_argument("--reference", metavar="PROCEDURE", help="shifts are measured from this one")
    parser.add_argument(
        "--only", metavar="PROCEDURE", action="append", default=[], help="compare these only; may be repeated"
    )
    add_reported(parser)
    parser.add_argument("--seed", type=int, default=0, help="of what is drawn again (default: 0)")
    add_json(parser)


def weights(items: list[str]) -> dict[str, float]:
    """Read ``precision=2`` and the like."""
    out: dict[str, float] = {}
    for item in items:
        name, sign, value = item.partition("=")
        try:
            out[name.strip().lower()] = float(value.replace(",", "."))
        except ValueError:
            sign = ""
        if not sign:
            raise InputError(f"--weight {item!r}: write it as CRITERION=WEIGHT, such as precision=2.", text=item)
    return out


def run(args: argparse.Namespace) -> int:
    from methods.choosing import choose
    from methods.result import as_json

    records, weighed = open_records(args), weights(args.weight)
    with progress("Choice") as tell:
        found = choose(
            records, half_width=args.half_width, confidence=args.confidence, weights=weighed, history=args.history,
            reference=args.reference, only=args.only, rng=args.seed, result=args.result, progress=tell,
        )  # fmt: skip
    emit(args, as_json(found), "\n".join(told([found])))
    return 0
