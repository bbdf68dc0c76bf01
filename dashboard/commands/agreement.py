"""``gapshift agreement``: two methods on the same oils."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import (
    add_json,
    add_reading_options,
    add_result,
    emit,
    kilovolts,
    open_records,
    probability,
    told,
    whole,
)
from methods.errors import NotEstimable
from methods.procedures import PROCEDURE

NAME = "agreement"
HELP = "limits of agreement and lines between two methods on the same oils"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument(
        "--by", metavar="COLUMN", action="append", help="what separates the methods (default: procedure)"
    )
    parser.add_argument("--first", metavar="LEVEL", help="the method to compare with")
    parser.add_argument("--second", metavar="LEVEL", help="the method that is compared")
    add_result(parser)
    parser.add_argument(
        "--predict", type=kilovolts, metavar="KV", action="append", default=[],
        help="band for a new oil that reads this (or a limit that is this) by the first method; may be repeated",
    )  # fmt: skip
    parser.add_argument("--results", type=whole, default=1, metavar="N", help="read as the mean of so many results (1)")
    parser.add_argument("--beyond", action="store_true", help="predict also far outside the oils of the file")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of every interval (95%%)")
    add_json(parser)


def text(found: Any, bands: list[Any]) -> str:
    lines = told([found])
    for b in bands:
        if isinstance(b, dict):
            lines.append(f"A new oil that reads {b['given_kv']:g} kV by {found.first}: {b['error']}")
            continue
        lines.append(b.sentence)
        lines += [f"- {w.code}: {w.text}" for w in b.cautions]
    return "\n\n".join(lines)


def _band(found: Any, kv: float, beyond: bool, results: int) -> Any:
    try:
        return found.predict(kv, beyond=beyond, results=results)
    except NotEstimable as why:
        return {"given_kv": kv, "error": str(why)}


def run(args: argparse.Namespace) -> int:
    from methods.agreement.agreement import compare_methods
    from methods.result import as_json

    records = open_records(args)
    found = compare_methods(
        records, by=args.by or PROCEDURE, first=args.first, second=args.second, result=args.result,
        confidence=args.confidence,
    )  # fmt: skip
    bands = [_band(found, kv, args.beyond, args.results) for kv in args.predict]
    emit(args, {**as_json(found), "predictions": bands}, text(found, bands))
    return 0
