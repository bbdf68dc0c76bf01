"""``gapshift shift``: how far the breakdown voltage shifts between the levels of a factor, and how surely."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_by, add_json, add_reading_options, columns, emit, open_records, probability
from methods.columns import name_level

NAME = "shift"
HELP = "compare the levels of a factor: shift of the mean and of the scatter, with limits"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    add_by(parser)
    parser.add_argument("--reference", metavar="LEVEL", help="compare with this level (default: most fillings)")
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the limits (default: 95%%)")
    parser.add_argument(
        "--within", metavar="COLUMN", action="append", default=[],
        help="compare only where this is equal, as the sample must be; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--model", choices=["filling_means", "mixed"], default="filling_means",
        help="how the shift is estimated (default: filling_means)",
    )  # fmt: skip
    parser.add_argument(
        "--with", dest="factors", metavar="COLUMN", action="append", default=[],
        help="for the mixed model: another factor whose effect is taken out; may be repeated",
    )  # fmt: skip
    parser.add_argument(
        "--samples", choices=["fixed", "random"], default="fixed", help="for the mixed model (default: fixed)"
    )  # fmt: skip
    parser.add_argument(
        "--history", metavar="FILE",
        help="earlier tests of the laboratory: their scatter between fillings serves a level with one filling",
    )  # fmt: skip
    parser.add_argument("--log", action="store_true", help="analyse log kV: geometric means, the shift as a ratio")
    parser.add_argument(
        "--adjust", choices=["holm", "bonferroni", "none"], default="holm",
        help="p-values over several levels (default: holm)",
    )  # fmt: skip
    parser.add_argument(
        "--percentiles", action="store_true",
        help="also the shift of percentiles and of the whole distribution, with a band",
    )  # fmt: skip
    parser.add_argument(
        "--p", type=probability, action="append", default=[], metavar="PERCENT",
        help="a percentile for --percentiles; may be repeated (default: 1%%, 10%%, 50%%)",
    )  # fmt: skip
    parser.add_argument("--family", help="the family for --percentiles (default: the one that fits best)")
    parser.add_argument("--resamples", type=int, default=2000, help="for --percentiles (default: 2000)")
    parser.add_argument("--seed", type=int, default=0, help="for --percentiles (default: 0)")
    parser.add_argument(
        "--all-pairs", choices=["games_howell", "tukey", "holm"], nargs="?", const="games_howell",
        help="also every pair of levels at once (default procedure: games_howell)",
    )  # fmt: skip
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    from methods.result import as_json
    from methods.shifts import all_pairs, percentile_shift, shift

    records = open_records(args)
    result = shift(
        records, args.by, reference=args.reference, confidence=args.confidence,
        log=args.log, adjust=args.adjust, within=args.within, model=args.model, factors=args.factors,
        samples=args.samples, history=read_history(args.history),
    )  # fmt: skip
    document = as_json(result)
    if args.percentiles or args.p:
        found = percentile_shift(
            records, args.by, reference=args.reference, percentiles=args.p or (0.01, 0.1, 0.5),
            confidence=args.confidence, resamples=args.resamples, seed=args.seed, family=args.family,
            within=args.within,
        )  # fmt: skip
        document["percentiles"] = as_json(found)
    if args.all_pairs:
        pairs = all_pairs(
            records, args.by, procedure=args.all_pairs, confidence=args.confidence, within=args.within
        )  # fmt: skip
        document["all_pairs"] = as_json(pairs)
    emit(args, document, text(document))
    return 0


def read_history(path: str | None) -> Any:
    """The records of the history file, or None."""
    if path is None:
        return None
    from methods import read

    return read(path)


def text(document: dict[str, Any]) -> str:
    """The sentences first, then the table, then the cautions."""
    lines = []
    for s in document["shifts"]:
        more = s["these_oils"]["sentence"] if s["these_oils"] else ""
        lines.append(f"{s['sentence']} {more}".strip())
    heads = ["level", "fillings", "breakdowns", "mean kV", "shift kV", "from", "to", "shift %", "from", "to", "p",
             "SD ratio", "from", "to"]  # fmt: skip
    keys = ["level", "fillings", "breakdowns", "mean_kv", "difference_kv", "low_kv", "high_kv", "difference_percent",
            "low_percent", "high_percent", "p_value", "sd_ratio", "sd_ratio_low", "sd_ratio_high"]  # fmt: skip
    lines += ["", columns([[s[k] for k in keys] for s in document["shifts"]], heads, digits=3)]
    reference = name_level(document["by"], document["reference"])
    lines += ["", f"Reference: {reference}; limits at {document['confidence'] * 100:g} % confidence."]
    methods = sorted({s["method"] for s in document["shifts"] if s["method"]})
    if methods:
        lines[-1] += f" Method: {'; '.join(methods)}."
    heads = ["level", "fillings", "breakdowns", "withstood", "samples", "mean kV", "SD kV"]
    keys = ["level", "fillings", "breakdowns", "withstood", "samples", "mean_kv", "sd_kv"]
    lines += ["", "All levels, over all of their rows:", ""]
    lines += [columns([[v[k] for k in keys] for v in document["levels"]], heads, digits=3)]
    cautions = list(document["cautions"])
    for part, show in (("percentiles", _percentiles), ("all_pairs", _pairs)):
        if part in document:
            lines += show(document[part])
            cautions += [w for w in document[part]["cautions"] if w not in cautions]
    if cautions:
        lines += ["", "Warnings:"]
        lines += [f"- {w['code']}: {w['text']}" for w in cautions]
    return "\n".join(lines)


def _percentiles(document: dict[str, Any]) -> list[str]:
    lines = ["", "Percentiles:"]
    heads = ["level", "by", "p", "kV", "reference kV", "shift kV", "from", "to", "shift %", "from", "to"]
    keys = ["p", "kv", "reference_kv", "difference_kv", "low_kv", "high_kv", "difference_percent", "low_percent",
            "high_percent"]  # fmt: skip
    rows = []
    for level in document["levels"]:
        lines.append(level["sentence"])
        for kind, by in (("points", level["family"]), ("points_from_data", "data")):
            rows += [[level["level"], by, *[r[k] for k in keys]] for r in level[kind]]
    return [*lines, "", columns(rows, heads, digits=3)]


def _pairs(document: dict[str, Any]) -> list[str]:
    heads = ["level", "against", "shift kV", "from", "to", "shift %", "p"]
    keys = ["second", "first", "difference_kv", "low_kv", "high_kv", "difference_percent", "p_value"]
    names = {"games_howell": "Games-Howell", "tukey": "Tukey", "holm": "Holm (limits pair by pair)"}
    table = columns([[pair[k] for k in keys] for pair in document["pairs"]], heads, digits=3)
    return ["", f"All pairs, {names[document['procedure']]}:", "", table]
