"""``gapshift rules``: series judged by their consistency rule, and how often a rule fires when nothing is wrong."""

from __future__ import annotations

import argparse
from typing import Any

from dashboard.commands.common import (
    FILES,
    add_json,
    add_reading_options,
    emit,
    open_records,
    percentage,
    probability,
    told,
)
from methods.errors import InputError
from methods.protocols.assumed import FAMILIES

NAME = "rules"
HELP = "judge each series of a file by its protocol's consistency rule; without a file, the false-alarm rates"

#: Scatter for which the rates are shown when none is asked for.
USUAL_COVS: tuple[float, ...] = (0.05, 0.08, 0.10, 0.12, 0.15, 0.20, 0.25, 0.30, 0.40)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", nargs="*", metavar="FILE", help=FILES)
    parser.add_argument("--rule", metavar="KEY", help="one of the known rules for all series, such as three_r")
    own = parser.add_argument_group("a rule of your own")
    own.add_argument("--kind", choices=["three_r", "range_percent", "cov_ceiling"], help="what is compared")
    own.add_argument("--limit", type=float, help="the factor of three_r, or %% of the mean")
    own.add_argument("--n", type=int, default=5, help="breakdowns that are judged (5)")
    own.add_argument("--more", type=int, default=5, help="breakdowns that are added when they fail (5)")
    own.add_argument("--second-limit", type=float, help="%% of the mean for all of them together")
    rates = parser.add_argument_group("false-alarm rates")
    rates.add_argument("--cov", type=percentage, action="append", help="true scatter such as 15%%; may be repeated")
    rates.add_argument("--between-cov", type=percentage, default=0.0, help="scatter of the fillings' levels")
    rates.add_argument(
        "--family", action="append", choices=FAMILIES,
        help="distribution of the breakdowns; may be repeated (normal and weibull)",
    )  # fmt: skip
    rates.add_argument("--effect", action="store_true", help="also what the rule does to the reported mean")
    rates.add_argument("--repetitions", type=int, default=100_000, help="of the simulations (100000)")
    rates.add_argument("--seed", type=int, default=1)
    parser.add_argument("--confidence", type=probability, default=0.95, help="of the limits of a rate (95%%)")
    parser.add_argument("--folder", help="a folder with protocols and rules of your own (also GAPSHIFT_PROTOCOLS)")
    add_reading_options(parser, file=False)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Judge the file, or list false-alarm rates, or both; a broken rule is a finding, not an error: exit 0."""
    document: dict[str, Any] = {}
    parts: list[str] = []
    rule = _rule(args)
    if args.file:
        parts += _judged(args, rule, document)
    if not args.file or args.cov or args.effect:
        parts += _rates(args, rule, document)
    from methods.protocols import CHECK

    document["check"] = CHECK
    emit(args, document, "\n".join([*parts, "", CHECK.capitalize() + "."]))
    return 0


def _rule(args: argparse.Namespace) -> Any:
    from methods.protocols import load_rules, own_rule

    if args.kind is not None:
        if args.rule is not None:
            raise InputError("--rule and --kind exclude each other.")
        if args.limit is None:
            raise InputError("--kind needs --limit: the factor of three_r, or the % of the mean.")
        return own_rule(args.kind, args.limit, n=args.n, more=args.more, second_limit=args.second_limit)
    if args.limit is not None or args.second_limit is not None:
        raise InputError("--limit and --second-limit belong to a rule of your own: add --kind.")
    if args.rule is None:
        return None
    known = load_rules(args.folder)
    if args.rule not in known:
        raise InputError(f"There is no rule {args.rule!r}; it must be one of {', '.join(known)}.", text=args.rule)
    return known[args.rule]


def _judged(args: argparse.Namespace, rule: Any, document: dict[str, Any]) -> list[str]:
    from methods.consistency import judge_records
    from methods.result import as_json

    found = judge_records(open_records(args), rule, confidence=args.confidence, folder=args.folder)
    verdicts = [
        {
            "group": series.labels, "protocol": series.protocol.key if series.protocol else None,
            "kv": series.kv.tolist(), "fillings": series.fillings, **as_json(verdict),
        }
        for series, verdict in found.verdicts
    ]  # fmt: skip
    document |= {"verdicts": verdicts, "rates": as_json(found.rates), "confidence": args.confidence}
    return told([found])


def _rates(args: argparse.Namespace, rule: Any, document: dict[str, Any]) -> list[str]:
    from methods.answers.rules import effects, trips
    from methods.protocols import load_rules, rule_effect, trip_rate
    from methods.result import as_json

    rules = (
        [rule] if rule is not None else [r for r in load_rules(args.folder).values() if r.usable and r.kind != "chart"]
    )
    covs, families = args.cov or list(USUAL_COVS), args.family or ["normal", "weibull"]
    settings = {"between_cov": args.between_cov, "repetitions": args.repetitions, "rng": args.seed}
    found = [trip_rate(r, c, f, **settings) for r in rules for f in families for c in covs]
    document["trip_rates"] = as_json(found)
    tables = [trips(found, rules)]
    if args.effect:
        effect = [rule_effect(r, c, f, **settings) for r in rules for f in families for c in covs]
        document["effects"] = as_json(effect)
        tables.append(effects(effect))
    return [line for t in tables for line in ("", f"{t.title}:", "", t.text(rows=len(t.frame)))]
