"""``gapshift sensitivity``: which method tells the oils apart better, per result and per bench hour."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_json, add_reading_options, add_result, emit, open_records, probability, told
from methods.errors import InputError, NotEstimable
from methods.procedures import PROCEDURE

NAME = "sensitivity"
HELP = "which method tells oils apart better: discrimination per result and per bench hour"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument(
        "--by", metavar="COLUMN", action="append", help="what separates the methods (default: procedure)"
    )
    parser.add_argument(
        "--minutes", metavar="LEVEL=MINUTES", action="append", default=[],
        help="bench time of one result; without it the protocol's own waits and pauses where it is recognised",
    )  # fmt: skip
    add_result(parser)
    parser.add_argument("--confidence", type=probability, default=0.95, help="of every interval (95%%)")
    add_json(parser)


def _given(items: list[str]) -> dict[str, float]:
    out = {}
    for item in items:
        level, sign, minutes = item.rpartition("=")
        try:
            out[level.strip()] = float(minutes.replace(",", "."))
        except ValueError:
            out[level.strip()] = 0.0
        if not sign or not 0 < out[level.strip()] < float("inf"):
            raise InputError(f"--minutes {item!r}: write it as LEVEL=MINUTES, such as D1816=25.")
    return out


def text(found: Any, ratios: list[Any]) -> str:
    lines = told([found])
    for r in ratios:
        lines.append(
            f"{r.second} against {r.first}: sensitivity ratio {r.ratio:.3g} ({r.ratio_low:.3g} to {r.ratio_high:.3g}); "
            f"one result of {r.second} is worth {r.equivalent_results:.3g} of {r.first}."
        )
    return "\n\n".join(lines)


def run(args: argparse.Namespace) -> int:
    from methods.agreement.sensitivity import discrimination, sensitivity_ratio
    from methods.procedures import minutes_of, with_factor
    from methods.result import as_json

    records, by = with_factor(open_records(args), args.by or PROCEDURE)
    minutes = minutes_of(records, by, args.result)
    minutes |= _given(args.minutes)
    found = discrimination(records, by=by, minutes=minutes, result=args.result, confidence=args.confidence)
    order, ratios = list(found.methods["method"]), []
    for other in order[1:]:
        try:
            ratios.append(
                sensitivity_ratio(
                    records, by=by, first=other, second=order[0], result=args.result, confidence=args.confidence
                )
            )
        except NotEstimable:
            continue  # the table above says which method has no repeated results
    emit(args, {**as_json(found), "ratios": ratios}, text(found, ratios))
    return 0
