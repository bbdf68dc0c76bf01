"""``gapshift equivalence``: do the levels of a factor agree within a margin chosen before?"""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import (
    add_by,
    add_json,
    add_reading_options,
    columns,
    emit,
    history_of,
    kilovolts,
    open_records,
    percentage,
    probability,
)

NAME = "equivalence"
HELP = "test whether the levels of a factor agree within a margin chosen before"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    add_by(parser)
    margin = parser.add_mutually_exclusive_group(required=True)
    margin.add_argument("--margin", type=percentage, metavar="PERCENT", help="of the reference mean, such as 5%%")
    margin.add_argument("--margin-kv", type=kilovolts, metavar="KV", help="in kV")
    parser.add_argument("--reference", metavar="LEVEL", help="compare with this level (default: most fillings)")
    parser.add_argument(
        "--confidence", type=probability, default=0.95, help="of each one-sided test (default: 95%%)"
    )  # fmt: skip
    parser.add_argument(
        "--within", metavar="COLUMN", action="append", default=[],
        help="compare only where this is equal, as the sample must be; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--history", metavar="FILE", action="append",
        help="earlier tests of the laboratory: their scatter between fillings serves a level with one filling",
    )  # fmt: skip
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    from methods.result import as_json
    from methods.shifts import equivalence

    result = equivalence(
        open_records(args), args.by, margin=args.margin, margin_kv=args.margin_kv, reference=args.reference,
        confidence=args.confidence, within=args.within, history=history_of(args),
    )  # fmt: skip
    document = as_json(result)
    emit(args, document, text(document))
    return 0


def text(document: dict[str, Any]) -> str:
    """The sentences first, then the table, then the cautions."""
    lines = [v["sentence"] for v in document["levels"]]
    heads = ["level", "fillings", "shift kV", "from", "to", "shift %", "from", "to", "p", "agreement"]
    keys = ["level", "fillings", "difference_kv", "low_kv", "high_kv", "difference_percent", "low_percent",
            "high_percent", "p_value", "verdict"]  # fmt: skip
    lines += ["", columns([[v[k] for k in keys] for v in document["levels"]], heads, digits=3)]
    lines += ["", f"Reference: {document['reference']}; two one-sided tests at {document['confidence'] * 100:g} %, "
                  f"limits at {200 * document['confidence'] - 100:g} %. "
                  "The margin is meaningful only if it was chosen before the tests."]  # fmt: skip
    if document["cautions"]:
        lines += ["", "Warnings:"]
        lines += [f"- {w['code']}: {w['text']}" for w in document["cautions"]]
    return "\n".join(lines)
