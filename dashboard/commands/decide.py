"""``gapshift decide``: pass or fail against a limit of the same method, and how sure that is."""

from __future__ import annotations

import argparse
from typing import Any

import numpy as np

from dashboard.commands.common import (
    add_json,
    add_judging,
    add_proof,
    add_reading_options,
    add_reported,
    emit,
    executor_of,
    history_of,
    judging,
    kilovolts,
    open_records,
    probability,
    told,
)
from dashboard.commands.progress import progress
from methods.errors import InputError
from methods.result import as_json

NAME = "decide"
HELP = "judge each oil of a file against a limit of its method, with the chance that the verdict is wrong"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_reading_options(parser)
    parser.add_argument("--limit", required=True, metavar="KV", help="kV, or the key of a limit document's entry")
    parser.add_argument("--limit-method", metavar="TEXT", help="the method for which a limit in kV is written")
    parser.add_argument("--limit-liquid", metavar="LIQUID", help="the liquid that a limit in kV is for: mineral oil")
    parser.add_argument(
        "--poor-below", type=kilovolts, metavar="KV", help="grades of your own: good above --limit, poor below this"
    )
    add_judging(parser)
    parser.add_argument("--confidence", type=probability, default=0.95, metavar="95%", help="95%% unless said")
    parser.add_argument("--by", action="append", metavar="COLUMN", help="what tells the cases apart; may be repeated")
    parser.add_argument(
        "--history", metavar="FILE", action="append",
        help="earlier tests from which the scatter within and between fillings is borrowed"
        " (study: the other oils of this file)"
    )  # fmt: skip
    add_reported(parser)
    add_proof(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the verdicts; exit 0 whatever they are."""
    from methods.planning import decide_all
    from methods.protocols import CHECK

    records = open_records(args)
    with progress("Verdicts") as tell:
        found = decide_all(
            records, args.limit, limit_method=args.limit_method, limit_liquid=args.limit_liquid,
            poor_below=args.poor_below, by=args.by, confidence=args.confidence, history=history_of(args),
            result=args.result, progress=tell, **judging(args),
        )  # fmt: skip
    lines = [*told([found]), f"\n{CHECK[:1].upper()}{CHECK[1:]}."]
    if not args.prove:
        emit(args, found, "\n".join(lines))
        return 0
    proofs = _proofs(args, records)
    lines += [f"\n{p['case']}: {p['proof'].sentence}" for p in proofs]
    emit(args, {**as_json(found), "proofs": as_json(proofs)}, "\n".join(lines))
    return 0


def _proofs(args: argparse.Namespace, records: Any) -> list[dict[str, Any]]:
    """Coverage of the limits of the mean, once for each different design among the cases."""
    from methods.planning.standing import series_of
    from methods.prove import prove_oil

    if args.history or args.between_sd or args.instrument:
        raise InputError("--prove counts limits from the records alone: leave out what is known besides.")
    out: dict[tuple[int, ...], dict[str, Any]] = {}
    for case in series_of(records):
        sizes = tuple(sorted(np.unique(case.filling, return_counts=True)[1].tolist()))
        if sizes in out or case.withstood or len(case.kv) < 2:
            continue
        with executor_of(args) as executor, progress(f"Proof of {case.label}") as tell:
            made = prove_oil(
                case.kv, None, case.filling, confidence=args.confidence, percentiles=(), repetitions=args.prove,
                rng=args.rng, progress=tell, executor=executor,
            )  # fmt: skip
        out[sizes] = {"case": case.label, "proof": made}
    return list(out.values())
