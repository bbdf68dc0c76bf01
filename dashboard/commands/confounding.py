"""``gapshift confounding``: which effects the tests can tell apart, and which tests are missing."""

from __future__ import annotations

import argparse

from dashboard.commands.common import add_json, add_reading_options, columns, emit, open_records, whole
from methods.columns import factor_name

NAME = "confounding"
HELP = "which effects (electrode, gap, stirring ...) the tests can tell apart, and which tests would separate the rest"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument(
        "--by", action="append", metavar="COLUMN", help="a factor; may be repeated (all that vary, unless said)"
    )
    parser.add_argument(
        "--over-oils", action="store_true", help="let effects be estimated between oils, not only within the same oil"
    )
    parser.add_argument("--most", type=whole, default=5, metavar="N", help="most tests to suggest (5)")
    add_json(parser)


def _named(effect: str) -> str:
    return " × ".join(factor_name(name) for name in effect.split(" × "))


def run(args: argparse.Namespace) -> int:
    from methods.shifts import confounding

    found = confounding(open_records(args), args.by, within_sample=not args.over_oils, most=args.most)
    rows = [
        [_named(e.effect), e.status, f"{e.estimable} of {e.of}", ", ".join(map(factor_name, e.aliased_with)) or None]
        for e in [*found.effects, *found.combinations]
    ]
    lines = [*found.sentences, "", columns(rows, ["effect", "estimable", "contrasts", "goes together with"])]
    if found.suggestions:
        lines += ["", "To separate them:" if found.complete else "To separate some of them:"]
        lines += [f"  {s}" for s in found.suggestions]
    if found.single_level:
        lines += ["", f"One level only, so nothing to compare: {', '.join(map(factor_name, found.single_level))}."]
    emit(args, found, "\n".join(lines))
    return 0
