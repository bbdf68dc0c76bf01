"""The subcommands of ``gapshift``, one module each.

A module has ``NAME``, ``HELP``, ``add_arguments(parser)`` and ``run(args) -> int``. It imports what it
computes with inside ``run``, so that the help text comes at once.
"""

from __future__ import annotations

#: Module names in the order in which the help lists them.
COMMANDS: tuple[str, ...] = (
    "serve", "check", "choose", "fit", "shift", "equivalence", "confounding", "plan", "decide", "budget", "components",
    "order", "precision", "gap_law", "rate", "geometry", "agreement", "sensitivity", "rounds", "archive", "check_oil",
    "protocols", "limits", "rules", "report",
)  # fmt: skip
