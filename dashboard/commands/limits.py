"""``gapshift limits``: every acceptance limit that is known, with its document, what it is for, and its mark."""

from __future__ import annotations

import argparse

from dashboard.commands.common import add_json, columns, emit
from methods.errors import InputError

NAME = "limits"
HELP = "list the acceptance limits, with document, edition, liquid, stage, equipment, method, gap and mark"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--method", metavar="NAME", help="limits for results of this method only")
    parser.add_argument("--fluid", metavar="LIQUID", help="limits for this liquid only, such as natural ester")
    parser.add_argument("--folder", help="a folder with documents of your own (also GAPSHIFT_LIMITS)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the limits; exit 0."""
    from methods.protocols import CHECK, as_protocol
    from methods.protocols.fitting import liquid_of
    from methods.protocols.limits import limit_table, load

    table = limit_table(args.folder)
    if args.method is not None:
        wanted = as_protocol(args.method)
        table = table[table["method"] == wanted.family]
        gap = wanted.gap_mm.value
        if gap is not None:
            table = table[table["gap_mm"].isna() | ((table["gap_mm"] - float(gap)).abs() <= 0.05)]
    if args.fluid is not None:
        kind = liquid_of(args.fluid)
        if kind is None:
            raise InputError(
                f"No liquid is known as {args.fluid!r}; say mineral oil, natural ester, synthetic ester, blended ester "
                "or silicone.", text=args.fluid,
            )  # fmt: skip
        table = table[table["liquid"].map(liquid_of) == kind]
    empty = [d for d in load(args.folder).values() if not d.limits]
    heads = ["key", "document", "edition", "liquid", "stage", "equipment", "kind", "method", "gap_mm", "kv", "mark"]
    lines = [columns(table[heads].astype(object).where(table[heads].notna(), None).to_numpy().tolist(), heads)]
    if empty and args.method is None and args.fluid is None:
        lines += ["", "Without numbers here: " + ", ".join(f"{d.document} ({d.edition})" for d in empty) + "."]
    lines += ["", f"–: not known here, or not said. Before a result is judged: {CHECK}."]
    documents = [{"key": d.key, "document": d.document, "edition": d.edition, "notes": d.notes} for d in empty]
    emit(args, {"limits": table, "without_numbers": documents, "check": CHECK}, "\n".join(lines))
    return 0
