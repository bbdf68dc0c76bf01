"""``gapshift limits``: every acceptance limit that is known, with its document, what it is for, and its mark."""

from __future__ import annotations

import argparse

from dashboard.commands.common import add_json, emit, told

NAME = "limits"
HELP = "list the acceptance limits, with document, edition, liquid, stage, equipment, method, gap and mark"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--method", metavar="NAME", help="limits for results of this method only")
    parser.add_argument("--fluid", metavar="LIQUID", help="limits for this liquid only, such as natural ester")
    parser.add_argument("--folder", help="a folder with documents of your own (also GAPSHIFT_LIMITS)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the limits; exit 0."""
    from methods.protocols.limit_list import list_limits

    found = list_limits(args.method, args.fluid, folder=args.folder)
    emit(args, found, "\n".join(told([found])))
    return 0
