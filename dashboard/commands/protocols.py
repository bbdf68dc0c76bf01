"""``gapshift protocols``: the test methods that are known, or the card of one of them."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import add_json, columns, emit

NAME = "protocols"
HELP = "list the test protocols, or show one with the mark of every value"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("protocol", nargs="?", metavar="NAME", help="a designation such as 'D1816 2 mm', or a key")
    parser.add_argument("--folder", help="a folder with protocols of your own (also GAPSHIFT_PROTOCOLS)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """List all protocols, or show one; a name that is not recognised raises and exits 2."""
    if args.protocol is None:
        _list(args)
    else:
        _card(args)
    return 0


def _list(args: argparse.Namespace) -> None:
    from methods.columns import PRESCRIBED
    from methods.protocols import CHECK, load

    protocols = list(load(args.folder).values())
    heads = ["key", "designation", "edition", *PRESCRIBED, "breakdowns", "fillings"]
    rows = [
        [
            p.key, p.designation, p.edition, " or ".join(p.electrode_choices) or None, p.gap_mm.value,
            " or ".join(p.stirring_choices) or None, p.rise_kv_s.value, p.breakdowns_per_filling.value,
            p.fillings.value,
        ]
        for p in protocols
    ]  # fmt: skip
    text = columns(rows, heads) + f"\n\n–: not known here. Before a result is judged: {CHECK}."
    emit(args, {"protocols": [p.to_dict() for p in protocols]}, text)


def _card(args: argparse.Namespace) -> None:
    from methods.protocols import as_protocol, comparable_limits, precision_statements, rule_of

    p = as_protocol(args.protocol, args.folder)
    rule, limits = rule_of(p, args.folder), comparable_limits(p)
    said = [s for key, s in precision_statements(args.folder).items() if key in (p.key, p.family)]
    document: dict[str, Any] = {"protocol": p.to_dict(), "rule": rule, "limits": limits, "precision": said}

    def shown(value: Any, choices: tuple[Any, ...]) -> str:
        if value is not None:
            return f"{value:g}" if isinstance(value, float) else str(value)
        return " or ".join(str(c) for c in choices) if choices else "–"

    rows = [[n, shown(v.value, v.choices), v.mark, v.source] for n, v in p.values.items()]
    lines = [f"{p.designation} (values of edition: {p.edition})", p.title, ""]
    lines += [columns(rows, ["value", "", "mark", "source"]), "", f"Rule: {rule.title}"]
    lines += [f"Limit: {x.title}: {x.kv.value:g} kV ({x.kv.mark})" for x in limits]
    lines += [f"Note: {n}" for n in p.notes] + ["", p.check.capitalize() + "."]
    emit(args, document, "\n".join(lines))
