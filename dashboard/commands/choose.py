"""``gapshift choose``: whole procedures beside each other on the same oils, and how surely one is the best."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import (
    add_json,
    add_reading_options,
    add_reported,
    columns,
    emit,
    open_records,
    percentage,
    probability,
)
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

    found = choose(
        open_records(args), half_width=args.half_width, confidence=args.confidence, weights=weights(args.weight),
        history=args.history, reference=args.reference, only=args.only, rng=args.seed,
        result=args.result,
    )  # fmt: skip
    emit(args, as_json(found), text(found))
    return 0


def text(found: Any) -> str:
    """The sentence, the table of procedures in two parts, what is published of them, and the cautions."""
    rows = found.procedures
    heads = ["procedure", "oils", "results", "mean kV", "shift %", "from", "to", "CoV in %", "CoV betw. %", "top %"]
    keys = ["procedure", "oils", "results", "mean_kv", "shift_percent", "low_percent", "high_percent",
            "cov_within_percent", "cov_between_percent", "withstood_percent"]  # fmt: skip
    lines = [found.sentence, "", columns([[getattr(r, k) for k in keys] for r in rows], heads, 3)]
    heads = ["procedure", "fillings", "of", "min", "litres", "± %", "from", "to", "apart", "per hour", "alarm %",
             "wrong %", "best %"]  # fmt: skip
    keys = ["procedure", "fillings", "breakdowns_per_filling", "bench_minutes", "oil_litres", "half_width_percent",
            "half_width_low_percent", "half_width_high_percent", "discrimination_per_result", "discrimination_per_hour",
            "false_alarm_percent", "wrong_verdict_percent"]  # fmt: skip
    table = [[*(getattr(r, k) for k in keys), 100 * r.probability_best] for r in rows]
    lines += ["", f"For ±{found.half_width_percent:g} % at {100 * found.confidence:g} % confidence:", ""]
    lines += [columns(table, heads, 3)]
    lines += [
        "",
        f"Shifts are against {found.reference}. 'apart': spread between these oils over the scatter of one result; "
        "'wrong': one result of an oil 10 % from its limit falls on the wrong side.",
    ]
    for note in dict.fromkeys(n for r in rows for n in r.notes):
        lines.append(f"Published: {note}")
    if found.cautions:
        lines += ["", "Cautions:", *(f"- {c.code}: {c.text}" for c in found.cautions)]
    return "\n".join(lines)
