"""``gapshift budget``: the expanded uncertainty of reported means, source by source."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import (
    add_json,
    add_reading_options,
    add_reported,
    amount,
    coefficient,
    emit,
    history_of,
    kilovolts,
    open_records,
    percentage,
    probability,
    told,
)
from methods.errors import InputError, NotEstimable

NAME = "budget"
HELP = "expanded uncertainty of each oil's mean under each condition, as a table of sources"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--case", metavar="TEXT", help="only the oil and condition with this in its name")
    parser.add_argument(
        "--between-sd", type=kilovolts, metavar="KV", help="scatter between fillings from history, for single fillings"
    )
    parser.add_argument(
        "--history",
        metavar="FILE",
        action="append",
        help="earlier tests from which the scatter within and between fillings is borrowed",
    )
    parser.add_argument("--voltmeter", type=percentage, metavar="1%", help="half-width of its calibration limits")
    parser.add_argument("--gap-tolerance", type=amount, metavar="MM", help="half-width of the gap's setting")
    parser.add_argument("--exponent", type=amount, metavar="M", help="of your own gap law V = a d^m")
    parser.add_argument("--temperature", type=amount, metavar="K", help="half-width of the oil's temperature")
    parser.add_argument("--per-kelvin", type=coefficient, metavar="KV", help="kV for one kelvin, your own coefficient")
    parser.add_argument(
        "--source", action="append", metavar="TEXT", help="a source of your own, may be repeated: 'resolution 0.1 kV', "
        "'trip delay 0.05 s at 3 kV/s', 'crest factor 1 %%', 'rate of rise 5 %% exponent 17', 'any name 0.4 kV normal'",
    )  # fmt: skip
    add_reported(parser)
    parser.add_argument("--confidence", type=probability, default=0.95, metavar="95%", help="95%% unless said")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print a budget for each oil under each condition; those without one are named with the reason."""
    from methods.planning.case_budget import budget_of
    from methods.planning.standing import series_of

    if (args.gap_tolerance is None) != (args.exponent is None):
        raise InputError("The gap's part needs both --gap-tolerance and --exponent.")
    records = open_records(args)
    cases, past = series_of(records), _history(args, records)
    chosen = [c for c in cases if args.case is None or args.case.casefold() in c.label.casefold()]
    if not chosen:
        raise InputError(f"--case {args.case!r} is in none of: {'; '.join(c.label for c in cases[:12])}.")
    bench: dict[str, Any] = {
        "between_sd": args.between_sd,
        "history": past,
        "voltmeter_percent": None if args.voltmeter is None else 100 * args.voltmeter,
        "temperature_half_width_k": args.temperature,
        "kv_per_kelvin": args.per_kelvin,
        "confidence": args.confidence,
        "own": "; ".join(args.source or ()),
        "result": args.result,
    }
    budgets, refused = [], []
    for case in chosen:
        gap: dict[str, Any] = {}
        if args.gap_tolerance is not None:
            if case.gap_mm is None:
                refused.append({"case": case.label, "reason": f"{case.label}: the file does not say the gap."})
                continue
            gap = {"gap_mm": case.gap_mm, "gap_tolerance_mm": args.gap_tolerance, "exponent": args.exponent}
        try:
            budgets.append({"case": case.label, "budget": budget_of(case, **bench, **gap)})
        except NotEstimable as why:
            refused.append({"case": case.label, "reason": str(why)})
    if not budgets:
        more = f" (and {len(refused) - 1} more)" if len(refused) > 1 else ""
        raise NotEstimable(f"{refused[0]['reason']}{more}")
    emit(args, {"confidence": args.confidence, "budgets": budgets, "refused": refused}, _text(budgets, refused))
    return 0


def _history(args: argparse.Namespace, records: Any) -> Any:
    """The scatter that the history lends, from tests by the same procedure where it has enough; or None."""
    from methods.scatter.history import scatter_history

    past = history_of(args)
    return None if past is None else scatter_history(past, records)


def _text(budgets: list[dict[str, Any]], refused: list[dict[str, Any]]) -> str:
    made = told([found["budget"] for found in budgets])
    lines = [f"== {found['case']}\n{text}" for found, text in zip(budgets, made, strict=True)]
    return "\n\n".join([*lines, *(f"No budget. {r['reason']}" for r in refused)])
