"""``gapshift agreement``: two methods on the same oils."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import (
    add_json,
    add_reading_options,
    columns,
    emit,
    kilovolts,
    open_records,
    probability,
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
    parser.add_argument(
        "--result", choices=["filling", "breakdown"], default="filling",
        help="what is one result: the mean of a filling, or each breakdown",
    )  # fmt: skip
    parser.add_argument(
        "--predict", type=kilovolts, metavar="KV", action="append", default=[],
        help="band for a new oil that reads this by the first method; may be repeated",
    )  # fmt: skip
    parser.add_argument("--beyond", action="store_true", help="predict also far outside the oils of the file")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of every interval (95%%)")
    add_json(parser)


def text(a: Any, bands: list[Any]) -> str:
    rows = []
    for name, v in (("kV", a.absolute), ("%", a.relative)):
        spans = [
            f"{p:.3g} – {q:.3g}"
            for p, q in ((v.bias_low, v.bias_high), (v.lower_low, v.lower_high), (v.upper_low, v.upper_high))
        ]
        rows.append([name, v.bias, spans[0], v.lower, spans[1], v.upper, spans[2]])
    kind = "single results" if a.single_results else "what was compared"
    lines = [
        f"{a.second} minus {a.first}, {a.samples} oils, limits for {kind}:",
        "",
        columns(rows, ["", "bias", "", "lower", "", "upper", ""], 3),
        "",
    ]
    for line in (a.deming, a.passing_bablok):
        if line is not None:
            lines.append(
                f"{line.method.replace('_', '-')}: {a.second} = {line.intercept:.3g} + {line.slope:.3g} × {a.first}; "
                f"slope {line.slope_low:.3g} to {line.slope_high:.3g} ({a.statement})"
            )
    for b in bands:
        if isinstance(b, dict):
            lines.append(f"A new oil that reads {b['given_kv']:g} kV by {a.first}: {b['error']}")
            continue
        lines.append(
            f"A new oil that reads {b.given_kv:g} kV by {a.first}: {b.kv:.3g} kV by {a.second}, "
            f"{b.low_kv:.3g} to {b.high_kv:.3g} ({b.statement})"
        )
        lines += [f"Caution: {w.text}" for w in b.cautions]
    lines += [f"Caution: {w.text}" for w in a.cautions]
    return "\n".join(lines)


def _band(found: Any, kv: float, beyond: bool) -> Any:
    try:
        return found.predict(kv, beyond=beyond)
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
    bands = [_band(found, kv, args.beyond) for kv in args.predict]
    emit(args, {**as_json(found), "predictions": bands}, text(found, bands))
    return 0
