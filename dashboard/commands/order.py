"""``gapshift order``: trend, first breakdown and correlation within fillings."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_json, add_reading_options, columns, emit, open_records, probability

NAME = "order"
HELP = "see whether the place in the series matters: trend, first breakdown, correlation of neighbours"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--by", metavar="COLUMN", action="append", default=[], help="one more analysis for each level")
    parser.add_argument("--confidence", type=probability, default=0.95, help="such as 95%% or 0.95 (default)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the order effects of the whole file and, with ``--by``, of each group."""
    from methods.scatter import order_effects

    result = order_effects(open_records(args), by=args.by, confidence=args.confidence)
    emit(args, result, _text(result))
    return 0


def _text(result: Any) -> str:
    level = f"{100 * result.confidence:g} %"
    mean = "no mean, as some withstood" if result.mean_kv != result.mean_kv else f"mean {result.mean_kv:.4g} kV"
    out = [f"{result.breakdowns} breakdowns, {result.fillings} fillings, {mean}"]
    rows = []
    for name, e in (("trend, a breakdown", result.trend), ("first minus the rest", result.first)):
        if e is not None:
            rows.append(
                [name, e.kv, e.low_kv, e.high_kv, e.percent, e.low_percent, e.high_percent, e.p_value, e.fillings]
            )
    if rows:
        heads = ["effect", "kV", "low", "high", "%", "low %", "high %", "p", "fillings"]
        out += ["", columns(rows, heads, 3), f"({level} limits)"]
    if result.neighbours is not None:
        n, v = result.neighbours, result.variance_inflation
        limits = f"low {n.low:.2f}, high {n.high:.2f}" if n.low == n.low else "too few fillings for limits"
        # Neighbours that seem to balance in short series are no reason to count on more breakdowns than there are.
        some = v.effective_breakdowns > v.breakdowns
        counts = f"{v.breakdowns} or more" if some else f"{v.effective_breakdowns:.2g}"
        out += ["", (
            f"correlation of neighbours {n.correlation:.2f} ({limits}; corrected for short "
            f"series, {n.uncorrected:.2f} before); a mean of {v.breakdowns} then has {v.factor:.2f} times the variance "
            f"and counts as {counts} independent breakdowns"
        )]  # fmt: skip
    if result.tests:
        rows = [[t.name, t.statistic, t.expected, t.z, t.p_value, t.fillings] for t in result.tests]
        out += ["", columns(rows, ["test", "found", "expected", "z", "p", "fillings"], 3)]
    out += [f"\n! {w.text}" for w in result.cautions]
    for group in result.groups or []:
        label = ", ".join(f"{k} {'–' if v is None else v}" for k, v in group.group.items())
        out += ["", f"== {label}", _text(group)]
    return "\n".join(out)
