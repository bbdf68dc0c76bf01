"""``gapshift shift``: how far the breakdown voltage shifts between the levels of a factor, and how surely."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_json, add_reading_options, columns, emit, open_records, probability

NAME = "shift"
HELP = "compare the levels of a factor: shift of the mean and of the scatter, with limits"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--by", required=True, metavar="COLUMN", help="the factor, such as electrode")
    parser.add_argument("--reference", metavar="LEVEL", help="compare with this level (default: most fillings)")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the limits (default: 95%%)")
    parser.add_argument(
        "--within", metavar="COLUMN", action="append", default=[],
        help="compare only where this is equal, as the sample must be; may be repeated",
    )  # fmt: skip
    parser.add_argument("--log", action="store_true", help="analyse log kV: geometric means, the shift as a ratio")
    parser.add_argument(
        "--adjust", choices=["holm", "bonferroni", "none"], default="holm",
        help="p-values over several levels (default: holm)",
    )  # fmt: skip
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    from methods.contrast import shift
    from methods.result import as_json

    records = open_records(args)
    result = shift(
        records, args.by, reference=args.reference, confidence=args.confidence,
        log=args.log, adjust=args.adjust, within=args.within,
    )  # fmt: skip
    document = as_json(result)
    emit(args, document, text(document))
    return 0


def text(document: dict[str, Any]) -> str:
    """The sentences first, then the table, then the warnings."""
    lines = [s["sentence"] for s in document["shifts"]]
    heads = ["level", "fillings", "breakdowns", "mean kV", "shift kV", "from", "to", "shift %", "from", "to", "p",
             "SD ratio", "from", "to"]  # fmt: skip
    keys = ["level", "fillings", "breakdowns", "mean_kv", "difference_kv", "low_kv", "high_kv", "difference_percent",
            "low_percent", "high_percent", "p_value", "sd_ratio", "sd_ratio_low", "sd_ratio_high"]  # fmt: skip
    lines += ["", columns([[s[k] for k in keys] for s in document["shifts"]], heads, digits=3)]
    lines += ["", f"Reference: {document['reference']}; limits at {document['confidence'] * 100:g} % confidence."]
    methods = sorted({s["method"] for s in document["shifts"] if s["method"]})
    if methods:
        lines[-1] += f" Method: {'; '.join(methods)}."
    heads = ["level", "fillings", "breakdowns", "withstood", "samples", "mean kV", "SD kV"]
    keys = ["level", "fillings", "breakdowns", "withstood", "samples", "mean_kv", "sd_kv"]
    lines += ["", "All levels, over all of their rows:", ""]
    lines += [columns([[v[k] for k in keys] for v in document["levels"]], heads, digits=3)]
    if document["warnings"]:
        lines += ["", "Warnings:"]
        lines += [f"- {w['code']}: {w['text']}" for w in document["warnings"]]
    return "\n".join(lines)
